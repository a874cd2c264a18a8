// Package bench measures what the program costs beside the least that the same work takes.
//
// In: a size. Out: invented records of that size, and for each stage the ratio of its time to that of its floor, run in
// alternation on the same machine, with peak memory and bytes. It never decides whether a figure is good enough.
package bench

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"
)

// Size is how much is made.
type Size struct {
	Readings int // rows of readings, bad ones among them
	Months   int // over which they spread, from September 2023 on
}

// What the invented records are like.
const (
	perInspection = 30  // readings
	perPoint      = 3   // readings of one point
	badEvery      = 100 // one row in so many breaks a rule
	foundEvery    = 8   // points, of which one is opened later
	people        = 60
)

var (
	firstDay  = time.Date(2023, time.September, 1, 0, 0, 0, 0, time.UTC)
	regions   = []string{"north", "south", "wet"}
	schemes   = []string{"north_four", "south_four", "south_wet_dry"}
	zones     = []string{"America/New_York", "Australia/Sydney", "Australia/Darwin"}
	materials = []string{"board", "ply", "weather", "cement", "block", "veneer", "brick", "stone"}
	classes   = []string{"light", "light", "light", "medium", "medium", "dense", "dense", "dense"}
)

// mix turns a number into another that looks drawn (splitmix64, Steele, Lea and Flood 2014).
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// draw gives a number below n for a purpose and a row.
func draw(purpose, row, n int) int {
	return int(mix(uint64(row)<<8|uint64(purpose)) % uint64(n)) //nolint:gosec // below n
}

// Write makes the record files in dir: reference sets, and by month inspections, readings and findings. It returns the
// files of readings, and all others, each in order of months where it has one.
func (s Size) Write(dir string) (readings, others []string, err error) {
	if s.Readings < perInspection || s.Months < 1 || s.Months > 600 {
		return nil, nil, fmt.Errorf("make records: %d readings in %d months; give at least %d, and 1 to 600 months", s.Readings, s.Months, perInspection)
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, nil, err
	}
	write := func(name string, fill func(w *bufio.Writer)) string {
		path := filepath.Join(dir, name)
		err = errors.Join(err, create(path, fill))
		return path
	}
	others = append(others, write("regions.csv", writeRegions), write("technicians.csv", writeTechnicians), write("units.csv", writeUnits), write("materials.csv", writeMaterials))
	visits := s.Readings / perInspection
	for m := range s.Months {
		from, to := visits*m/s.Months, visits*(m+1)/s.Months
		month := firstDay.AddDate(0, m, 0)
		name := month.Format("2006-01") + ".csv"
		others = append(others, write("inspections-"+name, func(w *bufio.Writer) { writeInspections(w, month, from, to) }),
			write("findings-"+name, func(w *bufio.Writer) { writeFindings(w, month, from, to) }))
		readings = append(readings, write("readings-"+name, func(w *bufio.Writer) { writeReadings(w, month, from, to) }))
	}
	return readings, others, err
}

func create(path string, fill func(w *bufio.Writer)) (err error) {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	w := bufio.NewWriterSize(f, 1<<20)
	fill(w)
	return w.Flush()
}

// line writes a line; a bufio.Writer keeps its first error for Flush.
func line(w io.Writer, format string, args ...any) { _, _ = fmt.Fprintf(w, format+"\n", args...) }

func writeRegions(w *bufio.Writer) {
	line(w, "region,label,season_scheme,time_zone,latitude")
	for i, r := range regions {
		line(w, "%s,%s,%s,%s,%d", r, r, schemes[i], zones[i], []int{35, -33, -12}[i])
	}
}

func writeTechnicians(w *bufio.Writer) {
	line(w, "technician_id,name,started_on,accredited_until")
	for i := range people {
		line(w, "T%02d,Invented %d,2020-01-01,2099-01-01", i, i)
	}
}

func writeUnits(w *bufio.Writer) {
	line(w, "unit_id,model,gain_min,gain_max,gain_start,in_service_on,service_due_on")
	for i := range people {
		line(w, "U%02d,model-%d,0,9,2,2020-01-01,2099-01-01", i, i%3)
	}
}

func writeMaterials(w *bufio.Writer) {
	line(w, "material,label,density_class,gain_low,gain_high,typical_thickness_mm")
	for i, m := range materials {
		line(w, "%s,%s,%s,2,%d,%d", m, m, classes[i], 4+i/3, 10+20*i)
	}
}

// start is when an inspection begins: from 8 to 16 hours UTC on a day of its month.
func start(month time.Time, visit int) time.Time {
	return month.AddDate(0, 0, draw(1, visit, 28)).Add(time.Duration(8*3600+draw(2, visit, 8*3600)) * time.Second)
}

func writeInspections(w *bufio.Writer, month time.Time, from, to int) {
	line(w, "inspection_id,site_id,region,technician_id,started_at,ended_at,purpose,air_temp_c,wind_kmh,rain,outcome")
	for v := from; v < to; v++ {
		at := start(month, v)
		line(w, "I%08d,S%07d,%s,T%02d,%s,%s,routine,%d,%d,none,%s", v, v/2, regions[v/2%len(regions)], draw(3, v, people), at.Format(time.RFC3339),
			at.Add(2*time.Hour).Format(time.RFC3339), draw(4, v, 35), draw(5, v, 60), []string{"clear", "active"}[draw(6, v, 2)])
	}
}

// moves tells whether a point seems to move in an inspection.
func moves(visit, point int) bool { return draw(7, visit*perInspection+point, 14) == 0 }

func writeReadings(w *bufio.Writer, month time.Time, from, to int) {
	line(w, "reading_id,inspection_id,unit_id,point_id,taken_at,material,thickness_mm,gain,hold_s,level_pct,call,battery_pct,control")
	for v := from; v < to; v++ {
		at, unit := start(month, v), draw(3, v, people)
		for k := range perInspection {
			row := v*perInspection + k
			point := k / perPoint
			material := draw(8, v/2*perInspection+point, len(materials))
			call, level := "clear", 1+draw(9, row, 200)
			if moves(v, point) && k%perPoint > 0 {
				call, level = "active", 450+draw(9, row, 500)
			}
			if draw(10, row, badEvery) == 0 {
				level = 1400
			}
			at = at.Add(time.Duration(60+draw(11, row, 90)) * time.Second)
			line(w, "R%09d,I%08d,U%02d,P%02d,%s,%s,%d,%d,%d.%d,%d.%d,%s,%d,false", row, v, unit, point, at.Format(time.RFC3339), materials[material], 10+20*material, 2+k%perPoint,
				20+draw(12, row, 30), row%10, level/10, level%10, call, 90-k)
		}
	}
}

func writeFindings(w *bufio.Writer, month time.Time, from, to int) {
	line(w, "finding_id,site_id,point_id,inspection_id,found_on,method,result")
	for v := from; v < to; v++ {
		for p := range perInspection / perPoint {
			id := v*perInspection + p
			if moves(v, p) && draw(13, id, 4) > 0 || draw(14, id, foundEvery*5) == 0 {
				result := "nothing"
				if moves(v, p) && draw(15, id, 2) == 0 {
					result = "active"
				}
				line(w, "F%09d,S%07d,P%02d,I%08d,%s,opened,%s", id, v/2, p, v, start(month, v).AddDate(0, 0, 3+draw(16, id, 30)).Format(time.DateOnly), result)
			}
		}
	}
}
