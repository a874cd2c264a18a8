package demo

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
)

// stain is one way in which a row breaks the contract: one cell holds what it must not.
type stain struct {
	set, ending   string // of the files that get it
	column, value string
	times         int
}

// longAgo lies before every visit.
const longAgo = "2024-01-15T09:00:00Z"

var stains = []stain{
	{"readings", ".csv", "call", "maybe", 6},
	{"readings", ".csv", "level_pct", "140", 6},
	{"readings", ".csv", "point_id", "", 5},
	{"readings", ".csv", "taken_at", longAgo, 6},
	{"readings", ".csv", "taken_at", "2025-02-30T10:00:00+10:00", 3},
	{"readings", ".csv", "gain", "15", 4},
	{"readings", ".csv", "gain", "-1", 2},
	{"readings", ".csv", "hold_s", "0", 2},
	{"readings", ".csv.gz", "call", "yes", 2},
	{"readings", ".tsv", "level_pct", "-3", 1},
	{"readings", ".jsonl", "level_pct", "140", 2},
	{"readings", ".xlsx", "call", "maybe", 2},
	{"readings", ".xlsx", "level_pct", "n/a", 1},
	{"readings", ".parquet", "level_pct", "140", 2},
	{"inspections", ".csv", "outcome", "maybe", 3},
	{"inspections", ".csv", "ended_at", longAgo, 3},
	{"inspections", ".csv", "purpose", "recheck", 2}, // without saying of what
	{"inspections", ".csv", "air_temp_c", "75", 1},
	{"findings", ".csv", "found_on", "2025-02-30", 3},
	{"findings", ".csv", "method", "guess", 2},
	{"findings", ".csv", "result", "", 1},
}

// How many rows are given again, given anew, cut, or left waiting.
const (
	brokenQuotes  = 4
	shortRows     = 3
	brokenObjects = 1
	repeatsBeside = 6 // in the same file
	repeatsLate   = 3 // in each late file
	corrections   = 4 // in each late file
	lostReadings  = 4
	lostFindings  = 1
	lostVisit     = "I-LOST-1"
)

// soiler plants rows that a loader must not simply take.
type soiler struct {
	r       *rand.Rand
	files   []*file
	summary *Summary
	used    map[string]bool // keys of rows given again or anew
}

// soil plants the dirty, repeated, corrected and waiting rows and counts them. Where the demo is
// too short to have a fitting file, that kind is left out.
func soil(seed uint64, files []*file, summary *Summary) {
	so := &soiler{stream(seed, "soil"), files, summary, map[string]bool{}}
	for _, st := range stains {
		for range st.times {
			so.stain(st)
		}
	}
	so.breakText("readings", ".csv", brokenQuotes, func(f *file, cells []string) string {
		at := f.set.Field("call")
		cells[at] = cells[at][:2] + `"` + cells[at][2:]
		return strings.Join(cells, ",")
	})
	so.breakText("readings", ".csv", shortRows, func(_ *file, cells []string) string { return strings.Join(cells[:5], ",") })
	so.breakText("readings", ".jsonl", brokenObjects, func(_ *file, cells []string) string { return `{"reading_id":"` + cells[0] + `","insp` })
	for range repeatsBeside {
		so.repeatBeside()
	}
	so.late("readings", "hold_s", "30.25")
	so.late("inspections", "areas_not_inspected", "roof void: hatch painted shut")
	so.late("findings", "method", "opened")
	so.lose("readings", lostReadings)
	so.lose("findings", lostFindings)
}

// take draws a row of a usual file and gives it with a copy of its cells, or a nil file. Rows that
// are themselves planted are passed over, as are rechecks, whose rules would hide a stain.
func (so *soiler) take(set, ending string) (*file, []string) {
	var fitting []*file
	for _, f := range so.files {
		if f.set.Name == set && f.ending() == ending && f.usual() && len(f.rows) > 0 {
			fitting = append(fitting, f)
		}
	}
	if len(fitting) == 0 {
		return nil, nil
	}
	for range 100 {
		f := pick(so.r, fitting)
		got := pick(so.r, f.rows)
		if got.raw == "" && !so.used[got.cells[0]] && !slices.Contains(got.cells, "recheck") {
			return f, slices.Clone(got.cells)
		}
	}
	return nil, nil
}

// usual tells whether the file came in on time, has just the contract's columns in their order, and
// writes times with their offset.
func (f *file) usual() bool {
	return !f.form.reversed && f.form.extra == "" && !f.form.local && !strings.Contains(f.name, "late")
}

// insert puts a row somewhere into the file and marks its key.
func (so *soiler) insert(f *file, planted row) {
	so.used[planted.cells[0]] = true
	f.rows = slices.Insert(f.rows, so.r.IntN(len(f.rows)+1), planted)
}

func (so *soiler) stain(st stain) {
	f, cells := so.take(st.set, st.ending)
	if f == nil {
		return
	}
	cells[0] = so.dirtyKey()
	cells[f.set.Field(st.column)] = st.value
	so.insert(f, row{cells: cells})
}

// dirtyKey gives the next dirty row a key that no sound row has, and counts it.
func (so *soiler) dirtyKey() string {
	so.summary.Dirty++
	return fmt.Sprintf("X%04d", so.summary.Dirty)
}

// breakText plants lines that are not even rows.
func (so *soiler) breakText(set, ending string, times int, line func(*file, []string) string) {
	for range times {
		if f, cells := so.take(set, ending); f != nil {
			cells[0] = so.dirtyKey()
			so.insert(f, row{cells: cells, raw: line(f, cells)})
		}
	}
}

func (so *soiler) repeatBeside() {
	if f, cells := so.take("readings", ".csv"); f != nil {
		so.insert(f, row{cells: cells})
		so.summary.Duplicate++
	}
}

// late plants repeated and corrected rows in the late file of a set.
func (so *soiler) late(set, column, value string) {
	into := so.lateFile(set)
	for range repeatsLate {
		if f, cells := so.take(set, ".csv"); f != nil {
			so.insert(into, row{cells: cells})
			so.summary.Duplicate++
		}
	}
	for range corrections {
		f, cells := so.take(set, ".csv")
		if f == nil || cells[f.set.Field(column)] == value {
			continue // a row that says so already would come in as a duplicate
		}
		cells[f.set.Field(column)] = value
		so.insert(into, row{cells: cells})
		so.summary.Corrected++
	}
}

// lose plants sound rows that name a visit nobody handed in.
func (so *soiler) lose(set string, times int) {
	into := so.lateFile(set)
	for i := range times {
		if f, cells := so.take(set, ".csv"); f != nil {
			cells[0] = fmt.Sprintf("W%s%03d", strings.ToUpper(set[:1]), i+1)
			cells[f.set.Field("inspection_id")] = lostVisit
			so.insert(into, row{cells: cells})
			so.summary.Waiting++
		}
	}
}

func (so *soiler) lateFile(set string) *file {
	i := slices.IndexFunc(so.files, func(f *file) bool { return f.name == set+"-late.csv" })
	return so.files[i]
}
