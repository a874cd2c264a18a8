package calc

var ratioMethods = []Method{}
