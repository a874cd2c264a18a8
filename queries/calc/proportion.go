package calc

var proportionMethods = []Method{}
