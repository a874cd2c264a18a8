package calc

var measurementMethods = []Method{}
