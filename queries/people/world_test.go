package people

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// world is an invented business, with faults planted on some of its technicians. Nothing in it knows how
// the package judges.
type world struct {
	technicians, months, inspections int
	falseShare                       float64 // about how many verified active calls are false alarms
	infested                         float64 // share of visits to a site with activity
	restless                         float64 // spread of the sites' false movement, log scale
	tied                             float64 // share of a technician's visits in the home region
	manner                           float64 // spread of technicians' false movement, log scale, none of it planted
	falseFactor                      map[int]func(month int) float64
	sensitivityFactor                map[int]float64
}

// usual draws a business of 14 technicians as different from the next as the issue allows.
func usual(r *rand.Rand) world {
	return world{technicians: 14, months: 24, inspections: 6000, falseShare: between(r, 0.05, 0.20), infested: between(r, 0.3, 0.5),
		restless: between(r, 0.2, 0.8), tied: between(r, 0.2, 0.85), falseFactor: map[int]func(int) float64{}, sensitivityFactor: map[int]float64{}}
}

func between(r *rand.Rand, low, high float64) float64 { return low + (high-low)*r.Float64() }

const (
	worldRegions   = 5
	worldMaterials = 6
)

type worldSite struct {
	region   int
	points   [][2]int // material and thickness band
	restless float64
	infested float64
}

type worldVisit struct{ technician, site, month, purpose int }

// cases makes the business's point-visits, one case each.
func (w world) cases(r *rand.Rand) []Case {
	sites := w.sites(r)
	visits := w.visits(r, sites)
	openActive, openClear := between(r, 0.60, 0.85), between(r, 0.05, 0.10)
	manner := make([]float64, w.technicians)
	for i := range manner {
		manner[i] = math.Exp(w.manner * r.NormFloat64())
	}
	// Active points found per point read, against which false movement is set.
	found := w.infested * 1.6 / 10 * 0.75
	scale := found * w.falseShare / (1 - w.falseShare)
	var out []Case
	for _, v := range visits {
		s := sites[v.site]
		season := v.month / 3 % 4
		infested := r.Float64() < w.infested*s.infested*[]float64{1.2, 1, 0.7, 1.1}[season]
		first, many := r.IntN(len(s.points)), 1+r.IntN(2)+r.IntN(2)
		factor := manner[v.technician]
		if f := w.falseFactor[v.technician]; f != nil {
			factor *= f(v.month)
		}
		sees := 1.0
		if f, ok := w.sensitivityFactor[v.technician]; ok {
			sees = f
		}
		for i, p := range s.points {
			c := Case{Technician: v.technician, Site: v.site, Month: v.month, Points: 1}
			gain := 2 + p[0]/2 + r.IntN(3)
			c.At = [Factors]int{p[0], p[1], season, s.region, v.purpose, 0, gain, 1 + r.IntN(2)}
			active := infested && i >= first && i < first+many
			moves := scale * s.restless * factor * []float64{1.6, 1.2, 1, 0.9, 0.7, 0.5}[p[0]] * []float64{1.2, 1.1, 0.9, 0.9}[season]
			if active {
				moves = sees * (0.95 - 0.07*float64(p[0]) - 0.05*float64(p[1]))
			}
			if r.Float64() < moves {
				c.Active = 1
				if r.Float64() < openActive {
					c.ActiveVerified = 1
					if active {
						c.Found = 1
					} else {
						c.FalseAlarms = 1
					}
				}
			} else {
				c.Clear = 1
				if r.Float64() < openClear {
					c.ClearVerified = 1
					if active {
						c.Found, c.Missed = 1, 1
					}
				}
			}
			out = append(out, c)
		}
	}
	return out
}

func (w world) sites(r *rand.Rand) []worldSite {
	sites := make([]worldSite, w.inspections/2)
	for i := range sites {
		s := &sites[i]
		s.region = r.IntN(worldRegions)
		s.restless = math.Exp(w.restless*r.NormFloat64() - w.restless*w.restless/2)
		s.infested = math.Exp(0.3 * r.NormFloat64())
		base := r.IntN(worldMaterials)
		if r.Float64() < 0.5 {
			base = s.region
		}
		for range 8 + r.IntN(5) {
			m := base
			if r.Float64() < 0.5 {
				m = r.IntN(worldMaterials)
			}
			s.points = append(s.points, [2]int{m, min(4, m/2+r.IntN(2))})
		}
	}
	return sites
}

// visits are spread unequally over technicians, each tied to a home region.
func (w world) visits(r *rand.Rand, sites []worldSite) []worldVisit {
	byRegion := make([][]int, worldRegions)
	for i, s := range sites {
		byRegion[s.region] = append(byRegion[s.region], i)
	}
	load := make([]float64, w.technicians)
	total := 0.0
	for i := range load {
		load[i] = between(r, 0.5, 1.6)
		total += load[i]
	}
	var out []worldVisit
	for t := range load {
		for range int(float64(w.inspections) * load[t] / total) {
			region := r.IntN(worldRegions)
			if r.Float64() < w.tied {
				region = t % worldRegions
			}
			purpose := 0
			if u := r.Float64(); u < 0.3 {
				purpose = 1 + int(u*10)
			}
			out = append(out, worldVisit{t, byRegion[region][r.IntN(len(byRegion[region]))], r.IntN(w.months), purpose})
		}
	}
	slices.SortFunc(out, func(a, b worldVisit) int {
		return cmp.Or(a.technician-b.technician, a.site-b.site, a.month-b.month, a.purpose-b.purpose)
	})
	return out
}

func (w world) panel(t *testing.T, r *rand.Rand) Panel {
	t.Helper()
	p, err := NewPanel(w.cases(r))
	if err != nil {
		t.Fatal(err)
	}
	return p
}

const worlds = 200

// eachWorld runs f in every world, on all cores.
func eachWorld(t *testing.T, seed uint64, f func(t *testing.T, i int, r *rand.Rand)) {
	t.Helper()
	const parts = 4
	t.Run("worlds", func(t *testing.T) {
		for part := range parts {
			t.Run("", func(t *testing.T) {
				t.Parallel()
				for i := part; i < worlds; i += parts {
					f(t, i, rand.New(rand.NewPCG(seed, uint64(i))))
				}
			})
		}
	})
}
