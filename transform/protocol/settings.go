package protocol

import (
	"fmt"
	"maps"
	"slices"
)

// Parameter is a setting of the checks.
type Parameter struct {
	Name      string
	Default   float64
	Low, High float64 // what may be set
	Kind      Kind    // of the default
	About     string
}

// Parameters are all settings but off.
var Parameters = []Parameter{
	{"hold_s", 15, 0, 1800, House, "seconds a reading is held at least"},
	{"move_s", 5, 0, 600, House, "seconds it takes at least to move from one point to another"},
	{"point_s", 60, 0, 3600, House, "seconds a visit takes at least for each point"},
	{"battery_pct", 20, 0, 100, House, "battery below this is low"},
	{"level_margin_pct", 10, 0, 100, House, "points of full scale by which a call may stray from the usual threshold"},
	{"level_cases", 30, 1, 1e6, House, "fewest active and fewest clear readings from which a usual threshold is taken"},
	{"copy_chance", 0.001, 1e-9, 0.05, House, "sequences of levels likelier than this to repeat by chance are not judged"},
	{"digit_levels", 100, 50, 1e9, CommonPractice, "fewest levels for which last digits are judged: ten for each digit"},
}

// Settings are the house's own: values by name of a Parameter, and the checks that are switched off. The
// zero value means every default.
type Settings struct {
	Values map[string]float64
	Off    []string
}

// Value is what is set, or the default.
func (s Settings) Value(name string) float64 {
	if v, ok := s.Values[name]; ok {
		return v
	}
	for _, p := range Parameters {
		if p.Name == name {
			return p.Default
		}
	}
	panic("no setting of the protocol is called " + name) // names are fixed in this program
}

// Read takes the settings from a table of a configuration. The error names the setting and what it may be.
func Read(table map[string]any) (Settings, error) {
	numbers := maps.Clone(table)
	delete(numbers, "off")
	values, err := Numbers("protocol", Parameters, numbers)
	if err != nil {
		return Settings{}, err
	}
	s := Settings{Values: values}
	s.Off, err = readOff(table["off"])
	return s, err
}

// Numbers takes parameters from the named table of a configuration. The error names the setting and what it may be.
func Numbers(section string, allowed []Parameter, table map[string]any) (map[string]float64, error) {
	out := map[string]float64{}
	for _, name := range slices.Sorted(maps.Keys(table)) {
		i := slices.IndexFunc(allowed, func(p Parameter) bool { return p.Name == name })
		if i < 0 {
			return nil, fmt.Errorf("%s.%s: there is no such setting; see the README for those there are", section, name)
		}
		v, ok := number(table[name])
		if p := allowed[i]; !ok || !(v >= p.Low && v <= p.High) {
			return nil, fmt.Errorf("%s.%s is %v; give a number from %g to %g", section, name, table[name], p.Low, p.High)
		}
		out[name] = v
	}
	return out, nil
}

func readOff(value any) ([]string, error) {
	if value == nil {
		return nil, nil
	}
	names, ok := value.([]any)
	if !ok {
		return nil, fmt.Errorf("protocol.off is %v; give a list of checks", value)
	}
	var off []string
	for _, name := range names {
		id, _ := name.(string)
		if _, ok := Lookup(id); !ok {
			return nil, fmt.Errorf("protocol.off: there is no check %q; see the page protocol.html or the README for their names", name)
		}
		off = append(off, id)
	}
	return off, nil
}

func number(value any) (float64, bool) {
	switch v := value.(type) {
	case int64:
		return float64(v), true
	case float64:
		return v, true
	}
	return 0, false
}
