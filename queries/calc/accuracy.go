package calc

var accuracyMethods = []Method{}
