package calc

var multiplicityMethods = []Method{}
