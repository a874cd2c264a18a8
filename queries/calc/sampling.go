package calc

var samplingMethods = []Method{}
