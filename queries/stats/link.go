package stats

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// A Link names the scale on which a mean is linear in the columns of a model. The empty Link is
// the canonical one: logit for Binomial, log for Poisson.
type Link string

// The links of McCullagh & Nelder (1989), Generalized Linear Models, 2nd ed., sections 2.2 and 4.3.
const (
	LinkLogit   Link = "logit"   // log(mu/(1-mu))
	LinkProbit  Link = "probit"  // normal quantile of mu
	LinkCloglog Link = "cloglog" // log(-log(1-mu))
	LinkLoglog  Link = "loglog"  // -log(-log(mu))
	LinkCauchit Link = "cauchit" // tan(pi(mu-1/2))
	LinkLog     Link = "log"     // log(mu)
)

// mean is one fitted mean. For proportions nu is 1-mu, kept apart because 1-mu loses every digit
// when mu is near 1; slope is d mu / d eta.
type mean struct{ mu, nu, slope float64 }

// meanFloor keeps means and slopes off zero, where the working weight is 0/0.
const meanFloor = 0x1p-52

func (m mean) floored() mean {
	return mean{max(m.mu, meanFloor), max(m.nu, meanFloor), max(m.slope, meanFloor)}
}

// linkFunction is a link with its inverse.
type linkFunction struct {
	forward func(mu float64) float64
	inverse func(eta float64) mean
}

var linkFunctions = map[Link]linkFunction{
	LinkLogit: {
		forward: func(mu float64) float64 { return math.Log(mu) - math.Log1p(-mu) },
		inverse: func(eta float64) mean {
			mu, nu := expit(eta), expit(-eta)
			return mean{mu, nu, mu * nu}
		},
	},
	LinkProbit: {
		forward: distuv.UnitNormal.Quantile,
		inverse: func(eta float64) mean {
			return mean{distuv.UnitNormal.CDF(eta), distuv.UnitNormal.CDF(-eta), distuv.UnitNormal.Prob(eta)}
		},
	},
	LinkCloglog: {
		forward: func(mu float64) float64 { return math.Log(-math.Log1p(-mu)) },
		inverse: complementaryLogLog,
	},
	LinkLoglog: {
		forward: func(mu float64) float64 { return -math.Log(-math.Log(mu)) },
		inverse: func(eta float64) mean {
			m := complementaryLogLog(-eta)
			return mean{m.nu, m.mu, m.slope}
		},
	},
	LinkCauchit: {
		forward: func(mu float64) float64 { return math.Tan(math.Pi * (mu - 0.5)) },
		inverse: func(eta float64) mean {
			// atan2(1, -eta)/pi is the distribution function without cancellation in either tail.
			return mean{math.Atan2(1, -eta) / math.Pi, math.Atan2(1, eta) / math.Pi, 1 / (math.Pi * (1 + eta*eta))}
		},
	},
	LinkLog: {
		forward: math.Log,
		inverse: func(eta float64) mean {
			mu := math.Exp(eta)
			return mean{mu, -math.Expm1(eta), mu}
		},
	},
}

func complementaryLogLog(eta float64) mean {
	hazard := math.Exp(eta)
	nu := math.Exp(-hazard)
	return mean{-math.Expm1(-hazard), nu, math.Exp(eta - hazard)}
}

// expit is 1/(1+exp(-x)).
func expit(x float64) float64 { return 1 / (1 + math.Exp(-x)) }

// function finds the link to use with family f.
func (l Link) function(f Family) (linkFunction, error) {
	if l == "" {
		l = LinkLogit
		if f == Poisson {
			l = LinkLog
		}
	}
	fn, ok := linkFunctions[l]
	if !ok || f == Poisson && l != LinkLog {
		return linkFunction{}, fmt.Errorf("link %q is not one for a %s model; give logit, probit, cloglog, loglog, cauchit or log for proportions, log for counts", l, f)
	}
	return fn, nil
}
