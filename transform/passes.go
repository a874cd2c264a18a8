package transform

import "slices"

// A pass makes some tables of every month. The next one begins when it has gone through all of them, since it looks at
// months around the one at hand, unless it follows: then it takes each month as soon as that is made. Tables see the
// months at hand under their own names, and months around them under near_ (those within truth_days) and year_ (the years
// that end with them); these_months has a row for each month at hand, with the first month of its year.
type pass struct {
	name    string   // the column of months.parquet that says what its tables were made of
	follows bool     // needs the pass before of the months at hand only
	tables  []string // in the order in which they are made
	named   []string // those that name ids in sentences, made after them
	loads   string   // what of the readings of the months at hand is put into memory first, as these_readings

	reads      []string // tables of earlier passes
	near, year []string
}

// all are the tables of a pass.
func (p pass) all() []string { return slices.Concat(p.tables, p.named) }

// visited makes the table of visits, of which months come to be known.
var visited = pass{name: "visits", tables: []string{"visits"}}

// passes in their order. What a table of a pass is made of is told by maker.digest.
var passes = []pass{
	{
		name: "alone", loads: "month_readings",
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
		tables: []string{"point_truth", "point_visits", "visit_counts"},
		named:  []string{"checked_calls", "protocol_points", "protocol_visits"},
		reads:  []string{"visits", "point_decisions", "reading_cells", "unit_visits", "called_elsewhere", "level_cuts", "return_checks"},
	},
	{
		name: "read", follows: true, loads: "called_readings",
		tables: []string{"verified_readings"},
		named:  []string{"protocol_calls"},
		reads:  []string{"visits", "point_visits", "level_thresholds"},
	},
	{
		name: "copied", follows: true, loads: "called_readings",
		named: []string{"copied_levels"},
		reads: []string{"visits", "level_sequences"},
		year:  []string{"technician_levels", "level_sequences"},
	},
	{ // what analyses add up over months
		name: "counted", follows: true,
		tables: []string{"inspection_counts", "call_counts", "gain_counts", "accuracy_counts", "people_counts", "condition_counts", "habit_counts", "unit_counts", "stepping_counts", "gain_mixes"},
		reads:  []string{"visits", "point_visits", "reading_cells"},
	},
	{
		name: "checked", follows: true,
		named: []string{"check_counts", "inspection_breaches"},
		reads: []string{"visits", "protocol_readings", "protocol_points", "protocol_calls", "copied_levels", "protocol_visits"},
	},
}

// stages are the passes, with those that follow another together with it.
func stages() (out [][]pass) {
	for _, p := range passes {
		if p.follows {
			out[len(out)-1] = append(out[len(out)-1], p)
		} else {
			out = append(out, []pass{p})
		}
	}
	return out
}

// monthly lists the tables of one file a month.
func monthly() []string {
	out := slices.Clone(visited.tables)
	for _, p := range passes {
		out = append(out, p.all()...)
	}
	return out
}
