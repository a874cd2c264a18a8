package calc

var agreementMethods = []Method{}
