package calc

var tableMethods = []Method{}
