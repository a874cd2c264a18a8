package queries

import (
	"strings"

	"scanledger/queries/patterns"
)

// factorWords write a factor with its value; %s is the value.
var factorWords = map[string]string{
	"density_class": "%s materials", "thickness_band": "%s mm thick", "gain": "gain %s", "hour_band": "%s h", "rain": "%s rain", "temp_band": "%s °C",
	"battery_band": "battery %s %%", "hold_band": "hold %s s", "unit_id": "unit %s", "technician_id": "technician %s", "purpose": "%s visits", "level_band": "level %s %%",
	"log_share_band": "%s moving in the unit's log", "wind_band": "wind %s km/h", "gain_share": "gain at %s of the unit's range", "days_since_service": "%s days since service",
}

// PatternWords says a pattern's circumstances for a person.
func (l Labels) PatternWords(terms []patterns.Term) string {
	parts := make([]string, len(terms))
	for i, t := range terms {
		parts[i] = l.termWords(t)
	}
	return strings.Join(parts, ", ")
}

func (l Labels) termWords(t patterns.Term) string {
	switch t.Factor {
	case "material":
		return l.Material(t.Value)
	case "region":
		return l.Region(t.Value)
	case "unit_overdue":
		return "unit overdue for service"
	}
	text := strings.ReplaceAll(t.Value, "_", " ")
	if t.Factor == "unit_id" || t.Factor == "technician_id" {
		text = t.Value
	}
	form, ok := factorWords[t.Factor]
	if !ok {
		form = "%s"
	}
	value, more := strings.CutSuffix(text, " or more")
	words := strings.Replace(strings.ReplaceAll(form, "%%", "%"), "%s", value, 1)
	if more {
		words += " or more"
	}
	return words
}

// CauseWords says what was found for a person.
func CauseWords(cause string) string {
	switch cause {
	case "nothing":
		return "nothing"
	case "active":
		return "activity"
	case "wind_or_loose_sheet":
		return "wind or a loose sheet"
	case "fan_or_motor":
		return "fan or motor"
	}
	return strings.ReplaceAll(cause, "_", " ")
}
