package calc

var trendMethods = []Method{}
