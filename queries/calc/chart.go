package calc

var chartMethods = []Method{}
