package dashboards

import (
	"encoding/json"
	"fmt"
	"html/template"
	"slices"

	"scanledger/queries"
)

// cutChoices is what the pages of the navigation let a reader choose, and what is known of each cut.
type cutChoices struct {
	Months      []choice  `json:"months"`
	Regions     []choice  `json:"regions"`
	Materials   []choice  `json:"materials"`
	Technicians []choice  `json:"technicians"`
	Cuts        []cutSaid `json:"cuts"`
}

// choice is a code, and the name that pages show for it.
type choice [2]string

// cutSaid is a cut, by places in the lists of choices from 0 (-1 where it is not cut by that), and what is to be said of it.
type cutSaid [5]any

// mostCuts bounds the cuts that a page carries: some 85 bytes each.
const mostCuts = 900

// cutData is the choices and cuts as JSON; empty where there is nothing to choose from.
func cutData(b *queries.Book) (template.JS, error) {
	var c cutChoices
	for _, r := range b.Cuts {
		switch r.By {
		case "month":
			c.Months = append(c.Months, choice{*r.Month, monthName(*r.Month)})
		case "region":
			c.Regions = append(c.Regions, choice{*r.Region, b.Labels.Region(*r.Region)})
		case "material":
			c.Materials = append(c.Materials, choice{*r.Material, b.Labels.Material(*r.Material)})
		case "technician":
			c.Technicians = append(c.Technicians, choice{*r.TechnicianID, *r.TechnicianID})
		}
	}
	if len(c.Months) == 0 {
		return "", nil
	}
	place := func(choices []choice, code *string) int {
		if code == nil {
			return -1
		}
		return slices.IndexFunc(choices, func(ch choice) bool { return ch[0] == *code })
	}
	for _, r := range b.Cuts[:min(len(b.Cuts), mostCuts)] {
		c.Cuts = append(c.Cuts, cutSaid{place(c.Months, r.Month), place(c.Regions, r.Region), place(c.Materials, r.Material), place(c.Technicians, r.TechnicianID), cutText(r)})
	}
	raw, err := json.Marshal(c)
	return template.JS(raw), err //nolint:gosec // json.Marshal escapes what could end a script
}

// cutText says what is known of a cut.
func cutText(r queries.CutRow) string {
	text := counted(r.PointVisits, "point", "points")
	if r.Enough {
		text += fmt.Sprintf(", %s active (%s)", queries.Percent(r.Rate), queries.Range(r.Low, r.High))
	} else {
		text += fmt.Sprintf(", %s active", queries.Count(r.Active))
	}
	if r.PPVEnough {
		return text + fmt.Sprintf("; %s of %s checked confirmed (%s)", queries.Percent(r.PPV), queries.Count(r.ActiveVerified), queries.Range(r.PPVLow, r.PPVHigh))
	}
	return text + fmt.Sprintf("; %s of %s checked confirmed", queries.Count(r.Confirmed), queries.Count(r.ActiveVerified))
}
