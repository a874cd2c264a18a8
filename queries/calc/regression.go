package calc

var regressionMethods = []Method{}
