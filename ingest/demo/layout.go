package demo

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"scanledger/ingest/contract"
)

// file is one record file before it is written.
type file struct {
	name string // the ending says the format
	set  *contract.Set
	form form
	rows []row
}

// row is one row of a file.
type row struct {
	cells []string
	raw   string // where not empty, what stands in a text file instead of the cells
}

// form is how a file departs from plain CSV with the contract's columns, times with offset.
type form struct {
	delimiter    rune // 0: comma
	decimalComma bool
	bom, crlf    bool
	reversed     bool   // columns in reverse order
	extra        string // a further column, which the contract does not know
	local        bool   // times without offset
}

// ending is the part of the name that says the format, such as .csv or .jsonl.gz.
func (f *file) ending() string { return f.name[strings.IndexByte(f.name, '.'):] }

func (f *file) add(cells []string) { f.rows = append(f.rows, row{cells: cells}) }

// localRegion is the region that hands in one quarter, and the readings of its first month,
// without offsets.
const (
	localRegion  = 1
	localQuarter = "2025q2"
	localMonth   = "2025-04"
)

// lateFinding is the share of findings that are handed in late, all in one file.
const lateFinding = 0.04

const configName = "scanledger.toml"

// layOut sorts the scenario's rows into files and counts them.
func layOut(s *scenario) ([]*file, Summary) {
	files := references(s)
	files = append(files, inspectionFiles(s)...)
	files = append(files, readingFiles(s)...)
	files = append(files, findingFiles(s)...)
	summary := Summary{Config: configName}
	files = append(files, logFiles(s, &summary)...)
	for _, f := range files {
		summary.Files = append(summary.Files, f.name)
		if f.set.Name != "unit_log" { // whose repeated rows are counted apart
			*summary.Rows.of(f.set.Name) += len(f.rows)
		}
	}
	return files, summary
}

// of points at the count of a record set.
func (c *Counts) of(set string) *int {
	return map[string]*int{
		"regions": &c.Regions, "technicians": &c.Technicians, "units": &c.Units, "materials": &c.Materials,
		"inspections": &c.Inspections, "readings": &c.Readings, "findings": &c.Findings, "unit_log": &c.UnitLog,
	}[set]
}

// newFile panics on a name that is no record set's: the names are this package's own.
func newFile(name string, how form) *file {
	end := strings.IndexFunc(name, func(r rune) bool { return r != '_' && (r < 'a' || r > 'z') })
	set, err := contract.Lookup(name[:end])
	if err != nil {
		panic(err)
	}
	return &file{name: name, set: set, form: how}
}

func references(s *scenario) []*file {
	regions := newFile("regions.csv", form{})
	for i := range s.regions {
		regions.add(s.regions[i].cells())
	}
	technicians := newFile("technicians.csv", form{bom: true, crlf: true})
	for i := range s.people {
		technicians.add(s.people[i].cells())
	}
	units := newFile("units.csv", form{})
	for i := range s.units {
		units.add(s.units[i].cells())
	}
	walls := newFile("materials.csv", form{delimiter: ';', decimalComma: true})
	for i := range materials {
		walls.add(materials[i].cells())
	}
	return []*file{regions, technicians, units, walls}
}

// shelf hands out files by name, in the order in which they were first asked for.
type shelf struct{ files []*file }

func (sh *shelf) file(name string, how form) *file {
	if i := slices.IndexFunc(sh.files, func(f *file) bool { return f.name == name }); i >= 0 {
		return sh.files[i]
	}
	f := newFile(name, how)
	sh.files = append(sh.files, f)
	return f
}

func quarter(day time.Time) string {
	return fmt.Sprintf("%dq%d", day.Year(), (int(day.Month())+2)/3)
}

// inspectionFiles has a file a quarter, one more for what came without offsets, and a late one.
func inspectionFiles(s *scenario) []*file {
	var sh shelf
	for _, v := range s.visits {
		name, how, layout := quarter(v.day), form{}, offsetTime
		if name == localQuarter && v.site.region == localRegion {
			name, how.local, layout = name+"-"+s.regions[localRegion].id, true, localTime
		}
		how.reversed = name == "2025q3"
		sh.file("inspections-"+name+".csv", how).add(v.cells(s, layout))
	}
	return append(sh.files, newFile("inspections-late.csv", form{}))
}

// readingForms says which months are not plain CSV.
var readingForms = map[string]struct {
	ending string
	how    form
}{
	"2024-10": {".csv.gz", form{}},
	"2024-11": {".csv", form{extra: "van_km"}},
	"2024-12": {".csv", form{reversed: true}},
	"2025-02": {".jsonl", form{}},
	"2025-05": {".xlsx", form{}},
	"2025-07": {".csv.gz", form{}},
	"2025-08": {".parquet", form{}},
	"2025-11": {".jsonl.gz", form{}},
	"2026-01": {".parquet.gz", form{}},
	"2026-03": {".csv.gz", form{}},
	"2026-04": {".tsv", form{delimiter: '\t'}},
	"2026-06": {".csv.gz", form{}},
}

// readingFiles has a file a month, one more for what came without offsets, and a late one.
func readingFiles(s *scenario) []*file {
	var sh shelf
	for _, v := range s.visits {
		name, ending, how, layout := v.day.Format("2006-01"), ".csv", form{}, offsetTime
		if special, ok := readingForms[name]; ok {
			ending, how = special.ending, special.how
		}
		if name == localMonth && v.site.region == localRegion {
			name, how.local, layout = name+"-"+s.regions[localRegion].id, true, localTime
		}
		f := sh.file("readings-"+name+ending, how)
		for _, cells := range v.readingCells(s, layout) {
			f.add(cells)
		}
	}
	return append(sh.files, newFile("readings-late.csv", form{}))
}

// findingFiles has a file a half-year and one for what was handed in late.
func findingFiles(s *scenario) []*file {
	var sh shelf
	late := newFile("findings-late.csv", form{})
	r := stream(s.opt.Seed, "late findings")
	for _, f := range s.found {
		half := fmt.Sprintf("findings-%dh%d.csv", f.on.Year(), (int(f.on.Month())+5)/6)
		if chance(r, lateFinding) {
			late.add(f.cells())
			continue
		}
		sh.file(half, form{delimiter: halfDelimiter[half]}).add(f.cells())
	}
	return append(sh.files, late)
}

// halfDelimiter says which half-years are not split by commas.
var halfDelimiter = map[string]rune{"findings-2025h1.csv": ';', "findings-2025h2.csv": '\t'}
