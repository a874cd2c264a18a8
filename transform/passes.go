package transform

import "slices"

// A pass makes some tables of every month before the next pass begins, since later passes look at months around the
// one at hand. Tables see the month under their own names, and other months under near_ (those within truth_days),
// year_ (the year that ends with it) and before_ (all earlier ones).
type pass struct {
	name   string   // the column of months.parquet that says what its tables were made of
	tables []string // in the order in which they are made
	named  []string // those that name ids in sentences, made after them
	loaded bool     // readings of the month are put into memory first

	reads              []string // tables of earlier passes
	near, year, before []string
}

// all are its tables, in the order in which they are made.
func (p pass) all() []string { return slices.Concat(p.tables, p.named) }

// passes in their order. What a table of a pass is made of is told by maker.digest.
var passes = []pass{
	{
		name: "alone", loaded: true,
		tables: []string{"point_decisions", "reading_cells", "unit_visits", "unit_levels", "repeated_readings", "technician_levels", "material_levels", "level_sequences"},
		named:  []string{"protocol_readings"},
		reads:  []string{"visits"},
	},
	{
		name:   "around",
		tables: []string{"called_elsewhere", "level_thresholds", "level_cuts", "return_checks"},
		reads:  []string{"point_decisions"},
		near:   []string{"visits", "point_decisions"},
		year:   []string{"material_levels"},
	},
	{
		name:   "found",
		tables: []string{"point_truth", "point_visits", "visit_counts", "verified_readings"},
		named:  []string{"checked_calls", "protocol_calls", "protocol_points", "protocol_visits"},
		reads:  []string{"visits", "point_decisions", "reading_cells", "unit_visits", "called_elsewhere", "level_thresholds", "level_cuts", "return_checks"},
	},
	{
		name:   "copied",
		named:  []string{"copied_levels"},
		reads:  []string{"level_sequences"},
		year:   []string{"technician_levels"},
		before: []string{"level_sequences"},
	},
	{ // what analyses add up over months
		name:   "counted",
		tables: []string{"inspection_counts", "call_counts", "gain_counts", "accuracy_counts", "people_counts", "condition_counts", "habit_counts", "unit_counts", "stepping_counts", "gain_mixes"},
		reads:  []string{"visits", "point_visits", "reading_cells"},
	},
	{
		name:  "checked",
		named: []string{"check_counts", "inspection_breaches"},
		reads: []string{"visits", "protocol_readings", "protocol_points", "protocol_calls", "copied_levels", "protocol_visits"},
	},
}

// monthly lists the tables of one file a month.
func monthly() []string {
	out := []string{"visits"}
	for _, p := range passes {
		out = append(out, p.all()...)
	}
	return out
}
