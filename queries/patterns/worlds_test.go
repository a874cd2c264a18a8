package patterns

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
)

// world says how the calls of a made-up business come about; none of its numbers is a fact.
type world struct {
	inspections, points int
	active              float64 // share of points
	seen                float64 // sensitivity
	still               float64 // chance that a still point is called active
	siteSpread          float64 // sd of sites on the log scale of that chance
	techSpread          float64 // the same of technicians
	regionSpread        float64
	plants              []plant
}

// plant multiplies the chance of a false alarm wherever all its terms hold.
type plant struct {
	terms  []Term
	factor float64
}

// circumstances of one point-visit.
type visitOf struct {
	values  map[string]string
	numbers map[string]float64
}

func (v visitOf) holds(t Term) bool {
	if v.values[t.Factor] == t.Value {
		return true
	}
	cut, ok := cutOf(t.Value)
	return ok && v.numbers[t.Factor] >= cut
}

func cutOf(value string) (float64, bool) {
	number, found := strings.CutSuffix(value, " or more")
	if !found {
		return 0, false
	}
	cut, err := strconv.ParseFloat(number, 64)
	return cut, err == nil
}

func orMore(cut float64) string { return fmt.Sprintf("%g or more", cut) }

var (
	worldKinds = []string{"material", "density_class", "thickness_band", "gain", "season", "region", "hour_band", "rain", "temp_band", "battery_band", "hold_band",
		"unit_id", "unit_overdue", "technician_id", "purpose", "level_band"}
	worldCuts = map[string][]float64{"gain": {1, 2, 3, 4, 5, 6, 7, 8, 9}, "wind_band": {10, 15, 20, 25, 30, 35, 40, 45, 50}, "gain_share": {0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1},
		"days_since_service": {180, 365, 545, 730}}
	densities  = []string{"light", "light", "light", "medium", "medium", "dense", "dense", "dense"}
	thicknessN = []float64{13, 19, 10, 8, 32, 110, 140, 230}
)

func named(prefix string, n int) string { return prefix + strconv.Itoa(n) }

func banded(x float64, edges ...float64) string {
	for i, e := range edges {
		if x < e {
			return named("b", i)
		}
	}
	return named("b", len(edges))
}

// posted is who works where with what on one visit.
func (w world) visit(r *rand.Rand, site int, month int) visitOf {
	v := visitOf{map[string]string{}, map[string]float64{}}
	tech := r.IntN(14)
	region := site % 5
	if r.Float64() < 0.5 {
		tech = (region*3 + r.IntN(3)) % 14
	}
	unit := (tech + r.IntN(3)*5) % 16
	v.values["technician_id"], v.values["region"], v.values["unit_id"] = named("T", tech), named("R", region), named("U", unit)
	v.values["season"] = []string{"summer", "autumn", "winter", "spring"}[(month+1)%12/3]
	v.values["purpose"] = []string{"routine", "routine", "routine", "pre_purchase", "pre_purchase", "call_back", "recheck"}[r.IntN(7)]
	v.values["rain"] = []string{"", "", "", "", "light", "heavy"}[r.IntN(6)]
	v.numbers["wind_band"] = math.Round(24 * math.Sqrt(r.ExpFloat64()))
	v.values["temp_band"] = banded(18+8*math.Sin(float64(month)/6*math.Pi)+4*r.NormFloat64(), 10, 20, 30)
	v.values["hour_band"] = banded(8+9*r.Float64(), 9, 12, 15)
	v.values["battery_band"] = banded(100*r.Float64(), 20, 50)
	age := float64((unit*97)%700 + 15*month)
	v.numbers["days_since_service"] = age
	v.values["unit_overdue"] = []string{"no", "yes"}[b2i(age > 900)]
	return v
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

func (w world) point(r *rand.Rand, v visitOf) {
	m := r.IntN(8)
	v.values["material"], v.values["density_class"] = named("M", m), densities[m]
	v.values["thickness_band"] = banded(thicknessN[m]*(0.7+0.6*r.Float64()), 15, 30, 60, 120)
	unit, _ := strconv.Atoi(v.values["unit_id"][1:])
	low, most := 2+b2i(densities[m] != "light")+b2i(densities[m] == "dense"), 6+4*(unit%2)
	gain := min(most, low+r.IntN(3)+b2i(r.Float64() < 0.2))
	v.values["gain"], v.numbers["gain"], v.numbers["gain_share"] = strconv.Itoa(gain), float64(gain), float64(gain)/float64(most)
	v.values["hold_band"] = banded(60*r.Float64(), 10, 20, 40)
	v.values["level_band"] = banded(40+60*r.Float64(), 60, 80)
}

// calls makes the checked active calls of the world.
func (w world) calls(seed uint64) Calls {
	r := rand.New(rand.NewPCG(seed, 7))
	var visits []visitOf
	c := Calls{}
	tech, region := map[string]float64{}, map[string]float64{}
	for i := range 16 {
		tech[named("T", i)] = math.Exp(w.techSpread * r.NormFloat64())
		region[named("R", i)] = math.Exp(w.regionSpread * r.NormFloat64())
	}
	sites := w.inspections * 2 / 3
	for site := range sites {
		restless := math.Exp(w.siteSpread*r.NormFloat64() - w.siteSpread*w.siteSpread/2)
		for range 1 + b2i(r.Float64() < 0.5) {
			base := w.visit(r, site, r.IntN(24))
			for range w.points {
				w.point(r, base) // in the place of the point before
				wrong, called := w.call(r, base, restless*tech[base.values["technician_id"]]*region[base.values["region"]])
				if called && r.Float64() < 0.7 {
					visits = append(visits, visitOf{maps.Clone(base.values), maps.Clone(base.numbers)})
					c.Wrong = append(c.Wrong, wrong)
					c.Site = append(c.Site, site)
				}
			}
		}
	}
	c.Factors = factorsOf(visits)
	return c
}

// call decides a point-visit.
func (w world) call(r *rand.Rand, v visitOf, odds float64) (wrong, called bool) {
	factor := 1.0
	for _, p := range w.plants {
		if !slices.ContainsFunc(p.terms, func(t Term) bool { return !v.holds(t) }) {
			factor *= p.factor
		}
	}
	if r.Float64() < w.active {
		return false, r.Float64() < w.seen
	}
	return true, r.Float64() < min(0.9, w.still*odds*factor)
}

func factorsOf(visits []visitOf) []Factor {
	var out []Factor
	add := func(name string, kinds bool) {
		var values, rank []string
		var numbers []float64
		for _, v := range visits {
			values = append(values, v.values[name])
			numbers = append(numbers, v.numbers[name])
			if v.values[name] != "" && !slices.Contains(rank, v.values[name]) {
				rank = append(rank, v.values[name])
			}
		}
		slices.Sort(rank)
		if !kinds {
			values, rank = make([]string, len(visits)), nil
		}
		out = append(out, Kinds(name, values, rank).OrMore(numbers, worldCuts[name], orMore))
	}
	for _, name := range worldKinds {
		add(name, true)
	}
	for _, name := range []string{"wind_band", "gain_share", "days_since_service"} {
		add(name, false)
	}
	return out
}

func worldOptions() Options {
	return Options{MinVerified: 30, MinExcess: 5, MinOdds: 1.75, Q: 0.1, MaxFound: 20,
		Makers: []string{"technician_id", "unit_id"}, Conditions: []string{"material", "thickness_band", "season", "region", "purpose"},
		Usual: []string{"technician_id", "region"}, Spread: []string{"technician_id", "unit_id", "region"}}
}
