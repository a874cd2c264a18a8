package dashboards

import (
	"strings"
	"testing"

	"scanledger/queries"
)

// rechecked gives the book rechecks, repeats and uses of gain: T1 calls more, uses gain otherwise and
// starts elsewhere, T2 steps up less.
func rechecked(b *queries.Book) {
	figures := func(both, this, other, neither int64, q queries.Figure, direction string) queries.AgreementFigures {
		n := both + this + other + neither
		alike := queries.Figure(float64(both+neither) / float64(n))
		return queries.AgreementFigures{Pairs: n, Unsure: 4, Sites: 30, BothActive: both, OnlyThis: this, OnlyOther: other, BothClear: neither, Agreement: alike, AgreementLow: alike - 0.03, AgreementHigh: alike + 0.02,
			Chance: 0.9, Kappa: 0.4, KappaLow: 0.25, KappaHigh: 0.53, AC1: 0.94, AC1Low: 0.91, AC1High: 0.96, KappaDesign: 1.2, DirectionP: q, DirectionQ: q, Direction: direction}
	}
	enough := queries.Verdict{Enough: true}
	all := figures(12, 20, 12, 356, 0.2, queries.CallsSame)
	b.Agreement = []queries.AgreementRow{
		{TechnicianID: "all", AgreementFigures: all, Alpha: 0.41, AlphaLow: 0.2, AlphaHigh: 0.6, Verdict: enough},
		{TechnicianID: "T1", AgreementFigures: figures(8, 18, 4, 200, 0.004, queries.CallsMore), Alpha: queries.Unknown, AlphaLow: queries.Unknown, AlphaHigh: queries.Unknown, Verdict: enough},
		{TechnicianID: "T2", AgreementFigures: figures(8, 4, 18, 200, 0.004, queries.CallsFewer), Alpha: queries.Unknown, AlphaLow: queries.Unknown, AlphaHigh: queries.Unknown, Verdict: enough},
		{TechnicianID: "T3", AgreementFigures: figures(1, 0, 1, 8, queries.Unknown, queries.CallsSame), Alpha: queries.Unknown, AlphaLow: queries.Unknown, AlphaHigh: queries.Unknown,
			Verdict: queries.Verdict{WhyNot: "fewer cases than the floor"}},
	}
	b.AgreementMaterial = []queries.AgreementMaterialRow{{Material: "board", TechnicianID: "all", AgreementFigures: all, Verdict: enough},
		{Material: "board", TechnicianID: "T1", AgreementFigures: all, Verdict: enough}}
	b.Repeats = []queries.RepeatRow{
		{TechnicianID: "all", Sets: 90, Readings: 190, LevelSD: 12.3, LevelSDLow: 10.1, LevelSDHigh: 15, LevelLimit: 34.4, CallSets: 80, SameCalls: 60, SameShare: 0.75, SameLow: 0.64, SameHigh: 0.84, Verdict: enough},
		{TechnicianID: "T1", Sets: 4, Readings: 8, LevelSD: 9, LevelSDLow: queries.Unknown, LevelSDHigh: queries.Unknown, LevelLimit: 25.2, CallSets: 3, SameCalls: 3, SameShare: 1, SameLow: 0.3, SameHigh: 1,
			Verdict: queries.Verdict{WhyNot: "fewer cases than the floor"}},
	}
	use := func(technician string) queries.GainUseRow {
		return queries.GainUseRow{TechnicianID: technician, Readings: 900, Visits: 80, MeanStep: 0.4, PeersMeanStep: 0.4, Distance: 0.02, ByChance: 0.03, Moved: 0.02, P: 0.5, Q: 0.5, RelativeDistance: 0.02, RelativeP: 0.5, RelativeQ: 0.5,
			Permutations: 1999, Starts: 400, StartedElsewhere: 20, ElsewhereRate: 0.05, ElsewhereLow: 0.03, ElsewhereHigh: 0.08, PeersElsewhere: 0.06, StartsEnough: true,
			DenseClear: 100, SteppedUp: 95, SteppedRate: 0.95, SteppedLow: 0.89, SteppedHigh: 0.98, PeersStepped: 0.94, SteppedEnough: true, Enough: true}
	}
	one, two, three := use("T1"), use("T2"), use("T3")
	one.MeanStep, one.Distance, one.Moved, one.Q, one.Differs = 0.6, 0.3, 0.25, 0.006, true
	one.StartedElsewhere, one.ElsewhereRate, one.ElsewhereLow, one.ElsewhereHigh = 120, 0.3, 0.25, 0.35
	two.SteppedUp, two.SteppedRate, two.SteppedLow, two.SteppedHigh = 50, 0.5, 0.4, 0.6
	three.Readings, three.Enough, three.StartsEnough, three.SteppedEnough = 12, false, false, false
	b.GainUse = []queries.GainUseRow{one, two, three}
}

func thinRechecks(b *queries.Book) {
	for i := range b.Agreement {
		b.Agreement[i].Enough, b.Agreement[i].WhyNot, b.Agreement[i].Direction = false, "fewer cases than the floor", queries.CallsSame
	}
	for i := range b.Repeats {
		b.Repeats[i].Enough = false
	}
	for i := range b.GainUse {
		r := &b.GainUse[i]
		r.Enough, r.Differs, r.StartsEnough, r.SteppedEnough, r.Starts, r.StartedElsewhere, r.DenseClear = false, false, false, false, 5, 1, 2
	}
}

func levelRechecks(b *queries.Book) {
	for i := range b.Agreement {
		b.Agreement[i].Direction = queries.CallsSame
	}
	for i := range b.GainUse {
		r := &b.GainUse[i]
		r.Differs, r.ElsewhereLow, r.SteppedHigh = false, 0, 1
	}
}

// TestAgreementHeadings: a heading on agreement or use of gain claims what its figures show and nothing else.
func TestAgreementHeadings(t *testing.T) {
	for _, h := range []struct {
		name string
		of   func(b *queries.Book) string
		want map[string]string
	}{
		{"agreement", agreementHeading, map[string]string{
			"strong":  "Two technicians called the same point alike at 92% of 400 points; kappa is 0.40 (95% interval 0.25 to 0.53)",
			"level":   "Two technicians called the same point alike at 92% of 400 points; kappa is 0.40 (95% interval 0.25 to 0.53)",
			"thin":    "Too little was called twice to say how far calls agree: 400 points",
			"nothing": "No points were called twice, so agreement cannot be said"}},
		{"who calls more", callsMoreHeading, map[string]string{
			"strong":  "On the same points, T1 called movement more often than the others and T2 less often",
			"level":   "On the same points, none of 2 technicians calls movement more or less often than the others beyond what chance gives",
			"thin":    "Too little was called twice to say who calls movement more often",
			"nothing": "Too little was called twice to say who calls movement more often"}},
		{"repeats", repeatsHeading, map[string]string{
			"strong":  "Read twice at one gain in one visit, 75% of 80 points got the same call",
			"level":   "Read twice at one gain in one visit, 75% of 80 points got the same call",
			"thin":    "Too little was read twice at one gain to say how far readings repeat: 80 points",
			"nothing": "No point was read twice at one gain in one visit"}},
		{"gain mix", gainMixHeading, map[string]string{
			"strong":  "On the same materials, 1 of 2 technicians uses gain otherwise than the others: T1",
			"level":   "On the same materials, none of 2 technicians uses gain otherwise than the others to any extent",
			"thin":    "Too few readings to compare how gain is used",
			"nothing": "Too few readings to compare how gain is used"}},
		{"starts", startsHeading, map[string]string{
			"strong":  "Starting elsewhere than at the unit's starting step is more frequent with T1 than with the others",
			"level":   "At 160 of 1200 points tested the first reading was not at the unit's starting step, and nobody stands clear of the others",
			"thin":    "Too few points to say where readings start",
			"nothing": "Too few points to say where readings start"}},
		{"stepped up", steppedHeading, map[string]string{
			"strong":  "After a clear reading on a dense wall, points of T2 were less often read again at a higher step than the others'",
			"level":   "After a clear reading on a dense wall, 80% of 300 points were read again at a higher step, and nobody stands clear below the others",
			"thin":    "Too few clear readings on dense walls to say who steps up after one",
			"nothing": "Too few clear readings on dense walls to say who steps up after one"}},
	} {
		for name, b := range books() {
			if got := h.of(b); got != h.want[name] {
				t.Errorf("%s, %s figures:\ngot  %q\nwant %q", h.name, name, got, h.want[name])
			}
		}
	}
}

// TestOneSidedHeadings: with only one side to name, the other is not spoken of.
func TestOneSidedHeadings(t *testing.T) {
	b := strong()
	b.Agreement[2].Direction = queries.CallsSame
	if got := callsMoreHeading(b); got != "On the same points, T1 called movement more often than the others" {
		t.Error(got)
	}
	b.Agreement[1].Direction, b.Agreement[2].Direction = queries.CallsSame, queries.CallsFewer
	if got := callsMoreHeading(b); got != "On the same points, T2 called movement less often than the others" {
		t.Error(got)
	}
	for i := range b.GainUse {
		b.GainUse[i].StartedElsewhere = 0
	}
	if got := startsHeading(b); got != "At all 1200 points tested the first reading was at the unit's starting step" {
		t.Error(got)
	}
}

// TestWhyKappaAndAC1Part: it is explained where movement is rare, and only there.
func TestWhyKappaAndAC1Part(t *testing.T) {
	b := strong()
	if words := strings.Join(agreementWords(b.Agreement[0]), " "); !strings.Contains(words, "Where one call is rare") || !strings.Contains(words, "both called 12 active") {
		t.Error(words)
	}
	often := b.Agreement[0]
	often.BothActive, often.BothClear = 180, 188
	if words := strings.Join(agreementWords(often), " "); strings.Contains(words, "rare") {
		t.Error(words)
	}
	if words := agreementWords(queries.AgreementRow{}); words != nil {
		t.Error(words)
	}
}
