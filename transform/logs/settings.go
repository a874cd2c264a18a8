package logs

import (
	"fmt"

	"scanledger/transform/protocol"
)

// Parameters are all settings of unit logs.
var Parameters = []protocol.Parameter{
	{Name: "spell_gap_s", Default: 60, Low: 1, High: 86400, Kind: protocol.House, About: "seconds without a sample that end a power-on spell"},
	{Name: "hold_gap_s", Default: 2, Low: 0.01, High: 3600, Kind: protocol.House, About: "seconds without a sample that end a hold"},
	{Name: "least_hold_s", Default: 2, Low: 0, High: 600, Kind: protocol.House, About: "seconds below which the live head was only passing by"},
	{Name: "band_mads", Default: 4, Low: 1, High: 100, Kind: protocol.House, About: "median absolute deviations above the median that are noise"},
	{Name: "band_least_pct", Default: 3, Low: 0, High: 100, Kind: protocol.House, About: "points of full scale above the median that are noise in any case"},
	{Name: "offset_most_s", Default: 7200, Low: 0, High: 43200, Kind: protocol.House, About: "seconds by which a unit's clock is sought to be off"},
	{Name: "offset_say_s", Default: 60, Low: 1, High: 43200, Kind: protocol.House, About: "seconds by which a clock is off before it is said"},
	{Name: "match_s", Default: 45, Low: 1, High: 1800, Kind: protocol.House, About: "seconds between a hold and its reading at most, the clock put right"},
	{Name: "ambiguous_s", Default: 5, Low: 0, High: 600, Kind: protocol.House, About: "seconds within which two holds are equally near"},
	{Name: "quiet_share", Default: 0.02, Low: 0, High: 1, Kind: protocol.House, About: "share of a hold above the noise band up to which nothing moved"},
	{Name: "strong_share", Default: 0.3, Low: 0, High: 1, Kind: protocol.House, About: "share of a hold above the noise band from which movement was strong"},
	{Name: "period_samples", Default: 60, Low: 10, High: MostSamples, Kind: protocol.House, About: "fewest samples of a hold in which a period is looked for"},
	{Name: "period_cycles", Default: 5, Low: 2, High: 1000, Kind: protocol.House, About: "fewest cycles of a period that a hold must have room for"},
	{Name: "period_q", Default: 0.05, Low: 0, High: 1, Kind: protocol.House, About: "share of false discoveries borne among the holds said to move periodically"},
	{Name: "period_steady", Default: 0.6, Low: 0, High: 1, Kind: protocol.House, About: "steadiness of its phase, from 0 to 1, below which movement is not said to be periodic"},
	{Name: "onset_s", Default: 3, Low: 0.1, High: 600, Kind: protocol.House, About: "first seconds of a hold to which movement is confined that handling may have made"},
	{Name: "full_pct", Default: 99, Low: 1, High: 100, Kind: protocol.House, About: "level from which the scale is full"},
	{Name: "full_share", Default: 0.05, Low: 0, High: 1, Kind: protocol.House, About: "share of a hold with a full scale above which it is said"},
	{Name: "together_min", Default: 10, Low: 0.1, High: 240, Kind: protocol.House, About: "minutes around a hold within which other points count as moving with it"},
	{Name: "together_points", Default: 3, Low: 1, High: 1000, Kind: protocol.House, About: "other points, and at least half of those held, that moved for movement to be together"},
	{Name: "short_by_s", Default: 5, Low: 0, High: 1800, Kind: protocol.House, About: "seconds by which a hold is shorter than written before it is said"},
	{Name: "level_by_pct", Default: 10, Low: 0, High: 100, Kind: protocol.House, About: "points of full scale between the level written and the peak logged before it is said"},
	{Name: "charge_low_h", Default: 8, Low: 0.1, High: 1000, Kind: protocol.CommonPractice, About: "hours of use that a charge lasts at least"},
	{Name: "charge_high_h", Default: 10, Low: 0.1, High: 1000, Kind: protocol.CommonPractice, About: "hours of use that a charge lasts at most"},
	{Name: "idle_min", Default: 30, Low: 1, High: 1440, Kind: protocol.CommonPractice, About: "minutes after which a unit nobody uses shuts down"},
	{Name: "left_on_min", Default: 10, Low: 1, High: 1440, Kind: protocol.House, About: "minutes of one hold after which nobody is taken to hold the unit"},
}

// Settings are the house's own, by name of a parameter; what is missing has its default.
type Settings map[string]float64

// Value is what is set, or the default.
func (s Settings) Value(name string) float64 {
	if v, ok := s[name]; ok {
		return v
	}
	for _, p := range Parameters {
		if p.Name == name {
			return p.Default
		}
	}
	panic("no setting of unit logs is called " + name) // names are fixed in this program
}

// Read takes the settings from a table of a configuration. The error names the setting and what it may be.
func Read(table map[string]any) (Settings, error) {
	values, err := protocol.Numbers("logs", Parameters, table)
	if err != nil {
		return nil, err
	}
	s := Settings(values)
	for _, pair := range [][2]string{{"quiet_share", "strong_share"}, {"charge_low_h", "charge_high_h"}} {
		if low, high := s.Value(pair[0]), s.Value(pair[1]); low > high {
			return nil, fmt.Errorf("logs.%s is %g, above logs.%s, %g; give a lower one", pair[0], low, pair[1], high)
		}
	}
	return s, nil
}

// text names every setting of which spells, holds and signatures are made; one that differs makes them anew.
func (s Settings) text() string {
	out := ""
	for _, name := range []string{"spell_gap_s", "hold_gap_s", "least_hold_s", "band_mads", "band_least_pct",
		"quiet_share", "period_samples", "period_cycles", "onset_s", "full_pct"} {
		out += fmt.Sprintf("%s=%g ", name, s.Value(name))
	}
	return out
}
