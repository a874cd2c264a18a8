package calc

var periodMethods = []Method{}
