package queries

import (
	"fmt"
	"math"
	"slices"

	"scanledger/queries/stats"
)

// AccuracyCut says what a row is about: By names the columns that make it, the others are null.
type AccuracyCut struct {
	By            string  `json:"by"`
	Material      *string `json:"material"`
	DensityClass  *string `json:"density_class"`
	Gain          *int    `json:"gain"`
	Season        *string `json:"season"`
	Region        *string `json:"region"`
	Month         *string `json:"month"`
	Model         *string `json:"model"`
	ThicknessBand *string `json:"thickness_band"`
}

// AccuracyRow is how the calls of one cut held up.
type AccuracyRow struct {
	AccuracyCut
	Clusters                int64  `json:"clusters"`
	ActiveCalls             int64  `json:"active_calls"`
	ActiveVerified          int64  `json:"active_verified"`
	ActiveVerifiedShare     Figure `json:"active_verified_share"`
	Confirmed               int64  `json:"confirmed"`
	FalseAlarms             int64  `json:"false_alarms"`
	ConfirmedReported       int64  `json:"confirmed_reported"`
	PPV                     Figure `json:"ppv"`
	PPVLow                  Figure `json:"ppv_low"`
	PPVHigh                 Figure `json:"ppv_high"`
	PPVDesignEffect         Figure `json:"ppv_design_effect"`
	Enough                  bool   `json:"enough"`
	WhyNot                  string `json:"why_not"`
	ClearCalls              int64  `json:"clear_calls"`
	ClearVerified           int64  `json:"clear_verified"`
	ClearVerifiedShare      Figure `json:"clear_verified_share"`
	Missed                  int64  `json:"missed"`
	MissedReported          int64  `json:"missed_reported"`
	Sensitivity             Figure `json:"sensitivity"`
	SensitivityLow          Figure `json:"sensitivity_low"`
	SensitivityHigh         Figure `json:"sensitivity_high"`
	SensitivityDesignEffect Figure `json:"sensitivity_design_effect"`
	SensitivityNaive        Figure `json:"sensitivity_naive"`
	SensitivityEnough       bool   `json:"sensitivity_enough"`
	SensitivityWhyNot       string `json:"sensitivity_why_not"`
	Specificity             Figure `json:"specificity"`
	SpecificityLow          Figure `json:"specificity_low"`
	SpecificityHigh         Figure `json:"specificity_high"`
	SpecificityNaive        Figure `json:"specificity_naive"`
	SpecificityEnough       bool   `json:"specificity_enough"`
	SpecificityWhyNot       string `json:"specificity_why_not"`
	Strata                  int64  `json:"strata"`
	StrataMerged            int64  `json:"strata_merged"`
	OpeningsNeeded          *int64 `json:"openings_needed"`
	OpeningsWorstCase       bool   `json:"openings_worst_case"`
}

// sensitivityAim is the half-width that OpeningsNeeded aims at: 10 points.
const sensitivityAim = 0.10

// fewestWrong is how many missed points (or false alarms) a corrected rate must rest on: with fewer,
// one more moves it far. (Common practice for counts behind a rate, no source.)
const fewestWrong = 5

// siteCalls counts the calls of one cut in one stratum at one site.
type siteCalls struct {
	AccuracyCut
	site                      int64
	stratum                   string
	active, clear             stats.TestArm
	activeReport, clearReport int64
}

func (d *desk) accuracy() error {
	q, err := Lookup("accuracy")
	if err != nil {
		return err
	}
	a := audit{floor: d.book.Floor}
	err = d.eng.Each(d.ctx, q.SQL, d.months(), func(scan func(...any) error) error {
		var c siteCalls
		if err := scan(&c.By, &c.Material, &c.DensityClass, &c.Gain, &c.Season, &c.Region, &c.Month, &c.Model, &c.ThicknessBand, &c.site, &c.stratum,
			&c.active.Condition, &c.active.NoCondition, &c.active.Unverified, &c.activeReport,
			&c.clear.Condition, &c.clear.NoCondition, &c.clear.Unverified, &c.clearReport); err != nil {
			return err
		}
		return a.add(c)
	})
	if err == nil {
		d.book.Accuracy, err = a.finish()
	}
	if err != nil {
		return fmt.Errorf("analysis accuracy: %w", err)
	}
	d.conclude(q, d.book.Accuracy, accuracyNotes(d.book.Accuracy[0])...)
	return nil
}

// audit makes one row of each run of calls with the same cut; it holds the calls of one cut at a time.
type audit struct {
	floor int
	calls []siteCalls
	rows  []AccuracyRow
}

// add takes the next calls, which come in order of cut and site.
func (a *audit) add(c siteCalls) error {
	if len(a.calls) > 0 && !c.sameCut(a.calls[0].AccuracyCut) {
		if err := a.conclude(a.calls[0].AccuracyCut); err != nil {
			return err
		}
	}
	a.calls = append(a.calls, c)
	return nil
}

// finish returns the rows. The first is that of all calls, also where there are none.
func (a *audit) finish() ([]AccuracyRow, error) {
	last := AccuracyCut{By: "all"}
	if len(a.calls) > 0 {
		last = a.calls[0].AccuracyCut
	}
	err := a.conclude(last)
	return a.rows, err
}

func (a *audit) conclude(cut AccuracyCut) error {
	row := AccuracyRow{AccuracyCut: cut}
	if err := row.figures(a.calls, a.floor); err != nil {
		return fmt.Errorf("by %s: %w", row.By, err)
	}
	a.rows, a.calls = append(a.rows, row), a.calls[:0]
	return nil
}

func (c AccuracyCut) sameCut(o AccuracyCut) bool {
	return c.By == o.By && same(c.Material, o.Material) && same(c.DensityClass, o.DensityClass) && same(c.Gain, o.Gain) && same(c.Season, o.Season) &&
		same(c.Region, o.Region) && same(c.Month, o.Month) && same(c.Model, o.Model) && same(c.ThicknessBand, o.ThicknessBand)
}

// same reports whether two columns hold the same value, or none.
func same[T comparable](a, b *T) bool {
	return a == b || a != nil && b != nil && *a == *b
}

// figures sets every figure of the row from its calls, which come in order of site.
func (r *AccuracyRow) figures(calls []siteCalls, floor int) error {
	cells, strata := cellsOf(calls)
	var all stats.VerificationStratum
	for _, s := range strata {
		all = all.Plus(s)
	}
	for _, c := range calls {
		r.ConfirmedReported += c.activeReport
		r.MissedReported += c.clearReport
	}
	r.Confirmed, r.FalseAlarms, r.Missed = int64(all.Positive.Condition), int64(all.Positive.NoCondition), int64(all.Negative.Condition)
	r.ActiveVerified, r.ClearVerified = r.Confirmed+r.FalseAlarms, r.Missed+int64(all.Negative.NoCondition)
	r.ActiveCalls, r.ClearCalls = r.ActiveVerified+int64(all.Positive.Unverified), r.ClearVerified+int64(all.Negative.Unverified)
	r.ActiveVerifiedShare, r.ClearVerifiedShare = share(r.ActiveVerified, r.ActiveCalls), share(r.ClearVerified, r.ClearCalls)
	if err := r.predictive(cells, floor); err != nil {
		return err
	}
	return r.corrected(cells, strata, floor)
}

// cellsOf numbers sites and strata, and sums the strata. Strata are numbered by name.
func cellsOf(calls []siteCalls) ([]stats.VerificationCell, []stats.VerificationStratum) {
	var names []string
	number := map[string]int{}
	for _, c := range calls {
		if _, ok := number[c.stratum]; !ok {
			number[c.stratum] = 0
			names = append(names, c.stratum)
		}
	}
	slices.Sort(names)
	for i, name := range names {
		number[name] = i
	}
	cells, strata := make([]stats.VerificationCell, len(calls)), make([]stats.VerificationStratum, len(names))
	site := 0
	for i, c := range calls {
		if i > 0 && c.site != calls[i-1].site {
			site++
		}
		k := number[c.stratum]
		cells[i] = stats.VerificationCell{Cluster: site, Stratum: k, VerificationStratum: stats.VerificationStratum{Positive: c.active, Negative: c.clear}}
		strata[k] = strata[k].Plus(cells[i].VerificationStratum)
	}
	return cells, strata
}

// predictive sets the share of verified active calls that were confirmed, with sites as clusters.
func (r *AccuracyRow) predictive(cells []stats.VerificationCell, floor int) error {
	var sizes, events []int
	last := -1
	for _, c := range cells {
		n := c.Positive.Condition + c.Positive.NoCondition
		if n == 0 {
			continue
		}
		if c.Cluster != last {
			sizes, events = append(sizes, 0), append(events, 0)
			last = c.Cluster
		}
		sizes[len(sizes)-1] += n
		events[len(events)-1] += c.Positive.Condition
	}
	var sums stats.ClusterSums
	if len(sizes) > 0 {
		var err error
		if sums, err = stats.SumClusters(sizes, events); err != nil {
			return err
		}
	}
	rate, err := clusterRate(sums, floor)
	r.PPV, r.PPVLow, r.PPVHigh, r.PPVDesignEffect = rate.Rate, rate.Low, rate.High, rate.DesignEffect
	r.Enough, r.WhyNot = rate.Enough, rate.WhyNot
	return err
}

// corrected sets sensitivity and specificity, corrected within strata, and the openings needed.
func (r *AccuracyRow) corrected(cells []stats.VerificationCell, strata []stats.VerificationStratum, floor int) error {
	r.Sensitivity, r.SensitivityLow, r.SensitivityHigh, r.SensitivityDesignEffect = Unknown, Unknown, Unknown, Unknown
	r.Specificity, r.SpecificityLow, r.SpecificityHigh = Unknown, Unknown, Unknown
	r.SensitivityNaive, r.SpecificityNaive = Unknown, Unknown
	if r.ActiveVerified > 0 && r.ClearVerified > 0 { // with calls of one kind only, either share is 0 or 1 by itself
		r.SensitivityNaive, r.SpecificityNaive = share(r.Confirmed, r.Confirmed+r.Missed), share(r.ClearVerified-r.Missed, r.ClearVerified-r.Missed+r.FalseAlarms)
	}
	r.SensitivityWhyNot, r.SpecificityWhyNot = "there are no calls", "there are no calls"
	if len(cells) == 0 {
		return nil
	}
	strata = r.merge(cells, strata)
	v, err := stats.ClusteredVerification(cells, Confidence)
	if err != nil {
		return err
	}
	r.Clusters = int64(v.Clusters)
	r.SensitivityEnough, r.SensitivityWhyNot = r.rests(v.Sensitivity, r.Missed, "missed points", floor)
	r.SpecificityEnough, r.SpecificityWhyNot = r.rests(v.Specificity, r.FalseAlarms, "false alarms", floor)
	if r.ClearVerified > 0 && r.ActiveVerified > 0 {
		se, sp := v.Sensitivity, v.Specificity
		r.Sensitivity, r.SensitivityLow, r.SensitivityHigh = Figure(se.Value), Figure(se.Logit.Low), Figure(se.Logit.High)
		r.Specificity, r.SpecificityLow, r.SpecificityHigh = Figure(sp.Value), Figure(sp.Logit.Low), Figure(sp.Logit.High)
		r.SensitivityDesignEffect = Figure(se.DesignEffect)
	}
	return r.openings(strata, v.Sensitivity.DesignEffect, floor)
}

// merge puts strata that cannot be corrected on their own into one remainder, in the cells too.
func (r *AccuracyRow) merge(cells []stats.VerificationCell, strata []stats.VerificationStratum) []stats.VerificationStratum {
	into, merged := stats.MergeUnchecked(strata)
	out := make([]stats.VerificationStratum, slices.Max(into)+1)
	for k, s := range strata {
		out[into[k]] = out[into[k]].Plus(s)
	}
	for i := range cells {
		cells[i].Stratum = into[cells[i].Stratum]
	}
	r.Strata, r.StrataMerged = int64(len(out)), int64(merged)
	return out
}

// rests says whether enough was checked to show a corrected rate, and if not, why.
func (r *AccuracyRow) rests(c stats.ClusterCorrected, wrong int64, what string, floor int) (bool, string) {
	switch {
	case r.ClearCalls > 0 && r.ClearVerified == 0:
		return false, "no clear call was ever opened"
	case r.ActiveCalls > 0 && r.ActiveVerified == 0:
		return false, "no active call was verified"
	case r.ActiveVerified < int64(floor):
		return false, "fewer verified active calls than the floor"
	case r.ClearVerified < int64(floor):
		return false, "fewer verified clear calls than the floor"
	case wrong < fewestWrong:
		return false, fmt.Sprintf("too few %s are known: %d, under %d", what, wrong, fewestWrong)
	case math.IsNaN(c.StdErr):
		return false, "its interval cannot be said"
	}
	p := stats.PresentProportion(c.Value, c.EffectiveN, float64(c.DF), c.Logit)
	if p.Verdict == stats.Hold {
		return false, p.Reasons[0]
	}
	return true, ""
}

// openings sets how many more random openings of clear points the aim asks for, and at least as many
// as would reach the floor and, at the share missed so far, the fewest missed points.
func (r *AccuracyRow) openings(strata []stats.VerificationStratum, designEffect float64, floor int) error {
	plan, err := stats.PlanVerification(strata, designEffect, sensitivityAim, Confidence)
	if err != nil || !plan.Possible {
		return err
	}
	more := max(int64(plan.More), int64(floor)-r.ClearVerified)
	if 0 < r.Missed && r.Missed < fewestWrong {
		more = max(more, ((fewestWrong-r.Missed)*r.ClearVerified+r.Missed-1)/r.Missed)
	}
	if more <= r.ClearCalls-r.ClearVerified {
		r.OpeningsNeeded, r.OpeningsWorstCase = &more, plan.WorstCase
	}
	return nil
}

// accuracyNotes says of all calls what cannot be read off a rate.
func accuracyNotes(all AccuracyRow) []string {
	if all.ActiveCalls+all.ClearCalls == 0 {
		return []string{"There are no calls in these months."}
	}
	notes := []string{OpeningsInWords(all)}
	if !all.SensitivityEnough {
		notes = append([]string{"Sensitivity cannot be said: " + all.SensitivityWhyNot + "."}, notes...)
	}
	weighed := fmt.Sprintf("The correction of all calls weighs %d strata", all.Strata)
	if all.StrataMerged > 0 {
		weighed += fmt.Sprintf("; one of them is a remainder of %d in which calls of a kind were never checked", all.StrataMerged)
	}
	return append(notes, weighed+".")
}

// OpeningsInWords says how many more random openings of clear points would give a sensitivity within
// 10 points.
func OpeningsInWords(r AccuracyRow) string {
	opened := fmt.Sprintf("%s of %s clear calls were verified", Count(r.ClearVerified), Count(r.ClearCalls))
	switch {
	case r.OpeningsNeeded == nil && r.Confirmed == 0:
		return opened + "; how many more would give a sensitivity cannot be said before an active call has been confirmed."
	case r.OpeningsNeeded == nil:
		return opened + "; no number of further openings among these calls would give a sensitivity within 10 points."
	case *r.OpeningsNeeded == 0 && !r.SensitivityEnough:
		return opened + "; more openings alone would not give a sensitivity."
	case *r.OpeningsNeeded == 0:
		return opened + "; that gives a sensitivity within 10 points at 95%, so none more is needed for it."
	case r.OpeningsWorstCase:
		return fmt.Sprintf("%s, and no missed point is known; at worst %s more, drawn at random, would give a sensitivity within 10 points at 95%%.", opened, Count(*r.OpeningsNeeded))
	}
	return fmt.Sprintf("%s; about %s more, drawn at random, would give a sensitivity within 10 points at 95%%, if what was found so far holds.", opened, Count(*r.OpeningsNeeded))
}
