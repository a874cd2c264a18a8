package queries

import (
	"strings"

	"scanledger/queries/patterns"
)

// tries is what may help where a circumstance goes with false alarms; whileLooking where it goes with missed
// points. Common practice, no source: they are suggestions to be tried, on points whose truth will be known.
var (
	tries = map[string]string{
		"gain": "test again one or two steps lower and keep the call only where movement is still shown", "gain_share": "test again one or two steps lower and keep the call only where movement is still shown",
		"wind_band": "wait for the wind to drop, or test again on a still day; look for loose sheets, sarking and branches", "rain": "wait until it is dry, or test again; look for dripping and running water",
		"hold_band": "rest the unit steadily against the wall and hold longer", "battery_band": "charge before the visit and test again on a full battery",
		"unit_id": "have the unit looked at, and test the same points with another", "unit_overdue": "have the unit serviced, and test again what it called since it was due",
		"days_since_service": "have the unit serviced, and test the same points with another", "technician_id": "a joint visit or a blind recheck by someone else",
		"log_share_band": "look at the unit's log of the hold before calling", "level_band": "look for metal, foil, pipes or a mirror behind the wall before calling", "hour_band": "find out what runs or moves at these hours (fans, pumps, people, traffic) and test again at another",
		"temp_band": "find out what runs at this temperature (fans, pumps, air conditioning) and test again with it off", "season": "find out what differs at this time of year, and test again in another month",
		"material": "ask for a second sign on this material before opening", "density_class": "ask for a second sign on such material before opening",
		"thickness_band": "ask for a second sign on walls of this thickness before opening", "region": "ask those who work there what moves behind such walls",
		"purpose": "see whether such visits are pressed for time, and ask for a second reading",
	}
	causeTries = map[string]string{
		"water_pipe": "see whether water runs, and test again with the taps shut", "fan_or_motor": "switch fans and motors off and test again",
		"person": "keep people and pets away from the far side of the wall, and test again", "animal": "listen and look for rodents, birds or other insects before calling",
		"wind_or_loose_sheet": "press the sheet, wait for still air, and test again", "vegetation": "hold branches back and test again",
		"unsteady_hold": "rest the unit steadily and test again", "reflection": "move the unit a hand's breadth and turn it, and test again",
	}
	whileLooking = map[string]string{
		"gain": "step up to the top of the material's guidance before calling clear", "gain_share": "step up to the top of the material's guidance before calling clear",
		"density_class": "step up to the top of the material's guidance before calling clear", "material": "step up to the top of the material's guidance before calling clear",
		"thickness_band": "step up, or test from the other side, before calling clear", "hold_band": "hold longer before calling clear",
		"unit_id": "have the unit looked at, and test the same points with another", "unit_overdue": "have the unit serviced, and recheck what it called clear since it was due",
		"days_since_service": "have the unit serviced, and test the same points with another", "technician_id": "a joint visit or a blind recheck by someone else",
		"log_share_band": "look at the unit's log of the hold before calling clear", "battery_band": "charge before the visit", "temp_band": "recheck at a warmer or cooler time of day",
		"season": "recheck some of these points in another season", "hour_band": "recheck some of these points at another time of day",
	}
)

const openMore = "open more of these clear calls at random before drawing conclusions"

// suggestion is what to try about a pattern, worded as no more than that.
func suggestion(terms []patterns.Term, cause, direction string) string {
	byFactor, other := tries, ""
	if direction == "missed" {
		byFactor, other = whileLooking, openMore
	}
	var parts []string
	add := func(text string) {
		if text != "" && !strings.Contains(strings.Join(parts, "; "), text) {
			parts = append(parts, text)
		}
	}
	for _, t := range terms {
		add(byFactor[t.Factor])
	}
	if direction != "missed" {
		add(causeTries[cause])
	}
	add(other)
	return "Try: " + strings.Join(parts, "; ") + "."
}
