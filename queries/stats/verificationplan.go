package stats

import (
	"errors"
	"fmt"
	"math"
	"sort"
)

// A VerificationPlan is how many more units with a negative result must be checked.
type VerificationPlan struct {
	More      int  // 0 where the aim is met already; meaningless unless Possible
	Possible  bool // false where checking every negative would not do, or nothing is known of the positives
	WorstCase bool // no missed unit is known yet: the share missed is taken where it asks for most
}

// PlanVerification says how many more units with a negative result, drawn at random from those
// never checked, would bring the half-width of a corrected sensitivity down to half. In the variance
// of PartialVerification only the checking of negatives is taken to change:
//
//	half >= z p(1-p) sqrt(D [ V_A + sum n_0k f_0k²/B² + sum n_0k² f_0k(1-f_0k) / (v_0k + x u_0k/u_0) / B² ])
//
// with p, f and V_A as they stand, x the further checks, u the units not yet checked, z normal and D
// the design effect (below 1, or NaN, counts as 1). It assumes that the shares found so far hold.
//
// Where no missed unit is known, nothing tells what share of negatives was missed: then x is the
// largest for any share up to the exact upper limit of 0 in v (1 where v is 0), over all strata
// together. Derived here; closed forms are in the tests.
func PlanVerification(strata []VerificationStratum, designEffect, half, conf float64) (VerificationPlan, error) {
	if _, err := PartialVerification(strata, conf); err != nil {
		return VerificationPlan{}, fmt.Errorf("plan verification: %w", err)
	}
	if !(half > 0 && half < 1) {
		return VerificationPlan{}, errors.New("plan verification: the half-width must lie between 0 and 1")
	}
	found, _, _ := armSums(strata, func(s VerificationStratum) TestArm { return s.Positive })
	if !(found.expected > 0) {
		return VerificationPlan{}, nil
	}
	if !(designEffect > 1) {
		designEffect = 1
	}
	plan := checkPlan{found: found, z: normalCritical(conf) * math.Sqrt(designEffect), half: half}
	missed, all := 0, TestArm{}
	for _, s := range strata {
		missed += s.Negative.Condition
		all = all.plus(s.Negative)
		if s.Negative.total() > 0 {
			plan.arms = append(plan.arms, newPlanArm(s.Negative))
		}
	}
	if missed > 0 {
		more, ok := plan.more()
		return VerificationPlan{More: more, Possible: ok}, nil
	}
	if all.total() == 0 {
		return VerificationPlan{}, nil
	}
	return plan.worst(all, conf), nil
}

// A planArm is the negatives of one stratum: units, checked, and the share with the condition.
type planArm struct{ n, v, f float64 }

func newPlanArm(a TestArm) planArm {
	return planArm{float64(a.total()), float64(a.verified()), quotient(float64(a.Condition), float64(a.verified()))}
}

type checkPlan struct {
	found   armSum
	arms    []planArm
	z, half float64
}

// open is how many negatives were never checked.
func (p checkPlan) open() float64 {
	var u float64
	for _, a := range p.arms {
		u += a.n - a.v
	}
	return u
}

// halfWidth is the half-width after x more checks.
func (p checkPlan) halfWidth(x float64) float64 {
	var missed, spread float64
	open := p.open()
	for _, a := range p.arms {
		v := a.v
		if open > 0 {
			v += x * (a.n - a.v) / open
		}
		missed += a.n * a.f
		spread += a.n*a.f*a.f + a.n*a.n*a.f*(1-a.f)/v
	}
	share := p.found.expected / (p.found.expected + missed)
	return p.z * share * (1 - share) * math.Sqrt(p.found.logVariance+spread/(missed*missed))
}

// more is the fewest checks that do, by halving: the half-width falls with every check.
func (p checkPlan) more() (int, bool) {
	open := int(p.open())
	x := sort.Search(open+1, func(x int) bool { return p.halfWidth(float64(x)) <= p.half })
	return x, x <= open
}

// worstSteps is how finely worst searches the share missed, on a logarithmic scale.
const worstSteps = 400

// worst is the plan for the share missed that asks for most.
func (p checkPlan) worst(all TestArm, conf float64) VerificationPlan {
	top := 1.0
	if v := all.verified(); v > 0 {
		top = clopperPearson(0, float64(v), conf).High
	}
	out := VerificationPlan{Possible: true, WorstCase: true}
	arm := newPlanArm(all)
	for i := range worstSteps {
		arm.f = top * math.Pow(0.1/arm.n, float64(i)/worstSteps)
		p.arms = []planArm{arm}
		more, ok := p.more()
		out.Possible = out.Possible && ok
		out.More = max(out.More, more)
	}
	return out
}
