package queries

import (
	"context"
	_ "embed"
	"fmt"
	"strings"

	"scanledger/ingest/store"
	"scanledger/transform/engine"
)

//go:embed frame.sql
var frameSQL string

// A Sign is one thing that makes a point more worth checking again, and what it adds to the score.
type Sign struct {
	Points int32  `json:"points"`
	Text   string `json:"text"`
}

// The signs of risk and their weights are the house's choice; every point starts with a score of 1, so that
// every one may be drawn. A score is no finding: it says where to look more often, and the weighting by
// chance takes it out of every estimate again.
var (
	signUnstepped = Sign{3, "dense wall cleared without stepping up"}
	signHighGain  = Sign{2, "active call in the top quarter of the unit's gain range"}
	signAct       = Sign{2, "a comparison of the technician's calls asks for a look"}
	signWatch     = Sign{1, "a comparison of the technician's calls is near a limit"}
	signUnit      = Sign{1, "the unit's figures ask for a look"}
	signOverdue   = Sign{1, "unit past its service date"}
	signShortHold = Sign{1, "held under 10 s"}
)

// Signs lists every sign of risk, the heaviest first.
func Signs() []Sign {
	return []Sign{signUnstepped, signHighGain, signAct, signWatch, signUnit, signOverdue, signShortHold}
}

// Frame lists every point-visit of a local month that an audit sample may draw, with its score. It needs
// the fact views in e and the comparisons of technicians and units in the book.
func Frame(ctx context.Context, e engine.SQL, b *Book, sample, month string) ([]store.FrameRow, error) {
	standings, units := standingsOf(b.Consistency), map[string]bool{}
	for _, u := range b.Units {
		units[u.UnitID] = u.Enough && (u.Standing == Act || u.Standing == Watch)
	}
	rows := []store.FrameRow{}
	err := e.Each(ctx, frameSQL, []any{engine.Arg("month", month)}, func(scan func(...any) error) error {
		r := store.FrameRow{Sample: sample, Month: month}
		var unstepped, highGain, shortHold, overdue bool
		err := scan(&r.InspectionID, &r.SiteID, &r.PointID, &r.Region, &r.TechnicianID, &r.UnitID, &r.Material, &r.LocalDate, &r.DueBy, &r.Call,
			&r.Rechecked, &r.Verified, &unstepped, &highGain, &shortHold, &overdue)
		r.Score, r.Reasons = score([]signAt{{signUnstepped, unstepped}, {signHighGain, highGain}, {signAct, standings[r.TechnicianID] == Act},
			{signWatch, standings[r.TechnicianID] == Watch}, {signUnit, units[r.UnitID]}, {signOverdue, overdue}, {signShortHold, shortHold}})
		rows = append(rows, r)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("frame of %s: %w", month, err)
	}
	return rows, nil
}

// signAt is a sign, and whether a point has it.
type signAt struct {
	Sign
	on bool
}

func score(signs []signAt) (int32, string) {
	total, said := int32(1), []string{}
	for _, s := range signs {
		if s.on {
			total += s.Points
			said = append(said, fmt.Sprintf("%s (+%d)", s.Text, s.Points))
		}
	}
	return total, strings.Join(said, "; ")
}

// standingsOf is the furthest standing of each technician on any measure that is judged.
func standingsOf(rows []ConsistencyRow) map[string]string {
	out := map[string]string{}
	for _, r := range rows {
		if r.Enough && (r.Standing == Act || r.Standing == Watch && out[r.TechnicianID] != Act) {
			out[r.TechnicianID] = r.Standing
		}
	}
	return out
}
