package queries

import "slices"

// FigureChange is one figure of a month that is another than was issued, and the records that came in since.
type FigureChange struct {
	Name    string        `json:"name"`
	Title   string        `json:"title"`
	Kind    string        `json:"kind"`
	From    MonthValue    `json:"from"`
	To      MonthValue    `json:"to"`
	Because []LateRecords `json:"because"` // empty where only reference records changed
}

// dependsOn lists the record sets that a figure of a month is made of.
func dependsOn(name string) []string {
	switch name {
	case "inspections", "sites", "technicians":
		return []string{"inspections"}
	case "readings", "points", "active_calls", ActiveRate, UnsureRate:
		return []string{"inspections", "readings"}
	}
	return []string{"inspections", "readings", "findings"}
}

// CompareMonths lists the figures that are not what was issued, each with the late records that it is made of.
func CompareMonths(issued, now []MonthFigure, late []LateRecords) []FigureChange {
	out := []FigureChange{}
	for _, f := range now {
		i := slices.IndexFunc(issued, func(old MonthFigure) bool { return old.Name == f.Name })
		if i >= 0 && issued[i].Now.same(f.Now) {
			continue
		}
		change := FigureChange{Name: f.Name, Title: f.Title, Kind: f.Kind, From: MonthValue{Value: Unknown, Low: Unknown, High: Unknown}, To: f.Now, Because: []LateRecords{}}
		if i >= 0 {
			change.From = issued[i].Now
		}
		for _, r := range late {
			if slices.Contains(dependsOn(f.Name), r.RecordSet) {
				change.Because = append(change.Because, r)
			}
		}
		out = append(out, change)
	}
	return out
}

// same compares what is shown; figures that are not known are alike.
func (v MonthValue) same(w MonthValue) bool {
	alike := func(a, b Figure) bool { return a == b || !a.Known() && !b.Known() }
	return alike(v.Value, w.Value) && alike(v.Low, w.Low) && alike(v.High, w.High) && v.Events == w.Events && v.Of == w.Of && v.Enough == w.Enough
}
