package demo

import (
	"math/rand/v2"
	"slices"
	"strconv"
	"time"
)

// Which units hand in logs, and of which month: the last but two, so that most walls to be opened have been since.
var logUnits = []string{"U05", "U09"}

func (s *scenario) logMonth() int { return max(0, len(s.months)-3) }

// How a unit writes.
const (
	sampleEvery = 250 * time.Millisecond // while its head is live
	idleEvery   = 5 * time.Second        // while not
	leftEvery   = time.Second            // once it has lain still for long
	logTime     = "2006-01-02T15:04:05.000Z"
)

// sample is what a unit writes at one moment.
type sample struct {
	at      time.Time
	sensing bool
	gain    int
	level   float64
	battery float64
}

func (m sample) cells(unit string) []string {
	return []string{unit, m.at.UTC().Format(logTime), strconv.FormatBool(m.sensing), strconv.Itoa(m.gain), number(m.level), number(m.battery)}
}

// held is one hold as it was made, which may differ from what was written down.
type held struct {
	start   time.Time
	seconds float64
	gain    int
	level   float64 // the highest
	battery float64
	looks   look
	written bool
	call    string
	active  bool    // activity is there
	period  float64 // s, of movement that keeps time: that of what moves behind the point
}

func (h held) end() time.Time { return h.start.Add(time.Duration(h.seconds * float64(time.Second))) }

// logOf makes the log of one unit: its holds as they were made, the faults planted among them, then the samples.
func (s *scenario) logOf(unit string) []sample {
	var visits []*visit
	for _, v := range s.visits {
		if v.unit.id == unit && v.month == s.logMonth() {
			visits = append(visits, v)
		}
	}
	r := stream(s.opt.Seed, "unit log "+unit)
	var holds [][]held // by visit
	for _, v := range visits {
		holds = append(holds, s.holdsOf(r, v))
	}
	plantLogFaults(r, visits, holds)
	var out []sample
	for i, v := range visits {
		last := i+1 == len(visits) || !visits[i+1].day.Equal(v.day)
		out = append(out, slow(unit, v, samplesOf(r, holds[i], last))...)
	}
	if unit == leftUnit && len(visits) > 0 {
		out = append(out, leftOn(r, visits[len(visits)/2])...)
	}
	return out
}

// How a hold comes to be written down.
const (
	writeSoonest, writeLatest = 3.0, 6.0 // s from the end of a hold to its reading
	leastApart                = 3.0      // s from one hold to the next
	usualHold                 = 25.0     // s, where nobody noted how long
)

// holdsOf are the holds behind a visit's readings, in order of time.
func (s *scenario) holdsOf(r *rand.Rand, v *visit) []held {
	var out []held
	add := func(rd reading, pv *pointVisit) {
		h := held{seconds: rd.hold, gain: rd.gain, level: rd.level, battery: rd.battery, written: true, call: rd.call}
		if h.seconds == 0 {
			h.seconds = usualHold
		}
		if pv != nil {
			h.active, h.period = pv.active, between(stream(s.opt.Seed, "period", v.site.number, pv.place), shortPeriod, longPeriod)
		}
		h.looks = lookOf(rd, pv)
		h.start = rd.at.Add(-time.Duration((between(r, writeSoonest, writeLatest) + h.seconds) * float64(time.Second)))
		if n := len(out); n > 0 {
			if earliest := out[n-1].end().Add(time.Duration(leastApart * float64(time.Second))); h.start.Before(earliest) { // levels and holds were copied
				h.seconds -= earliest.Sub(h.start).Seconds()
				h.start = earliest
			}
		}
		out = append(out, h)
	}
	for _, rd := range v.controls {
		add(rd, nil)
	}
	for i := range v.points {
		for _, rd := range v.points[i].readings {
			add(rd, &v.points[i])
		}
	}
	return slices.DeleteFunc(out, func(h held) bool { return h.seconds < leastApart })
}

// samplesOf makes the samples of a visit: a live head while held, an idle one between, and after the last visit of a day an idle
// one until the unit shuts itself down.
func samplesOf(r *rand.Rand, holds []held, last bool) []sample {
	var out []sample
	idle := func(from, to time.Time, h held) {
		for at := from.Add(idleEvery); at.Before(to); at = at.Add(idleEvery) {
			out = append(out, sample{at, false, h.gain, tenths(3 * r.Float64()), h.battery})
		}
	}
	for i, h := range holds {
		for k, level := range levels(r, h) {
			jitter := time.Duration(r.IntN(9)-4) * time.Millisecond
			out = append(out, sample{h.start.Add(time.Duration(k)*sampleEvery + jitter), true, h.gain, level, h.battery})
		}
		end := h.end().Add(time.Duration(60+r.IntN(120)) * time.Second)
		switch {
		case i+1 < len(holds):
			end = holds[i+1].start.Add(-sampleEvery) // whose first sample may come a little early
		case last:
			end = h.end().Add(time.Duration(1600+r.IntN(260)) * time.Second)
		}
		idle(h.end(), end, h)
	}
	return out
}

// logFiles has a file for each unit: one plain and packed, with blocks of rows out of order, and one a table.
func logFiles(s *scenario, summary *Summary) []*file {
	var out []*file
	month := s.months[s.logMonth()].Format("2006-01")
	for i, unit := range logUnits {
		samples := s.logOf(unit)
		if len(samples) == 0 {
			continue
		}
		ending := []string{".csv.gz", ".parquet"}[i]
		f := newFile("unit_log-"+unit+"-"+month+ending, form{})
		for _, m := range samples {
			f.add(m.cells(unit))
		}
		if i == 0 {
			disorder(stream(s.opt.Seed, "log order"), f)
			summary.Duplicate += repeatSamples(stream(s.opt.Seed, "log repeats"), f)
		}
		summary.Rows.UnitLog += len(samples)
		out = append(out, f)
	}
	return out
}

// How a log is handed in.
const (
	blockRows       = 400
	repeatedSamples = 40
)

// disorder puts the file's blocks of rows in any order, as a unit does that reads its memory out by pages.
func disorder(r *rand.Rand, f *file) {
	blocks := slices.Collect(slices.Chunk(slices.Clone(f.rows), blockRows))
	r.Shuffle(len(blocks), func(i, j int) { blocks[i], blocks[j] = blocks[j], blocks[i] })
	f.rows = slices.Concat(blocks...)
}

// repeatSamples gives some rows a second time, and counts them.
func repeatSamples(r *rand.Rand, f *file) int {
	n := min(repeatedSamples, len(f.rows))
	for _, i := range r.Perm(len(f.rows))[:n] {
		f.rows = append(f.rows, row{cells: slices.Clone(f.rows[i].cells)})
	}
	return n
}
