package calc

var mixMethods = []Method{}
