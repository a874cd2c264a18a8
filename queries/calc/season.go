package calc

var seasonMethods = []Method{}
