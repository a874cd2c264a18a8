package dashboards

import (
	"html/template"

	"scanledger/queries"
)

func confirmedMonths(*queries.Book) template.HTML                         { return "" }
func flowFigure(map[string]int64) template.HTML                           { return "" }
func heatFigure(*queries.Book, string) template.HTML                      { return "" }
func materialDots(*queries.Book) template.HTML                            { return "" }
func detectionMonths(*queries.Book) template.HTML                         { return "" }
func confirmedDots(*queries.Book) template.HTML                           { return "" }
func funnelFigure(string, string, []queries.ConsistencyRow) template.HTML { return "" }
