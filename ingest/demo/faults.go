package demo

import "fmt"

// Fault is one thing planted in the records for an analysis to find.
type Fault struct {
	Name     string
	Analysis string // the result that should show it
	Subject  string // the technician, unit, region or material it sits on
	Sentence string // what was planted, in plain words
}

// Who and what the faults sit on, and how large they are.
const (
	falseAlarmTech   = "T03"
	falseAlarmFactor = 2.5

	lowSensitivityTech   = "T05"
	lowSensitivityFactor = 0.5

	driftTech   = "T08"
	driftFactor = 4.0
	driftFrom   = 14 // months in line before it starts

	windMaterial = "weatherboard"
	windGain     = 2
	windKmh      = 35.0
	windFactor   = 5.0

	overdueUnit   = "U07"
	overdueFrom   = "2026-02-01" // the day its service is due
	overdueFactor = 3.0

	copyTech  = "T10"
	copyShare = 0.3 // of visits

	shortHoldTech  = "T11"
	shortHoldShare = 0.6 // of readings
	shortHoldLow   = 4.0
	shortHoldHigh  = 12.0 // s; everyone else holds 20 s and more but for one reading in fifty

	pipeRegion    = "harrow_bay"
	pipeMaterial  = "double_brick"
	pipeSiteShare = 0.2
	pipeMovement  = 0.45 // chance of false movement in front of a pipe

	lapsedTech  = "T12"
	lapsedUntil = "2026-04-30"
)

// Planted lists every fault planted in a demo of the default length.
func Planted() []Fault {
	return []Fault{
		{"false_alarms", "technician_consistency", falseAlarmTech,
			fmt.Sprintf("Technician %s sees false movement %g times as often as the others.", falseAlarmTech, falseAlarmFactor)},
		{"low_sensitivity", "technician_consistency", lowSensitivityTech,
			fmt.Sprintf("Technician %s sees real activity %g times as often as the others.", lowSensitivityTech, lowSensitivityFactor)},
		{"drift", "technician_drift", driftTech,
			fmt.Sprintf("Technician %s is in line for %d months and then sees false movement %g times as often.", driftTech, driftFrom, driftFactor)},
		{"wind", "false_alarm_patterns", windMaterial,
			fmt.Sprintf("On %s at gain %d and above, wind of %g km/h and more makes false movement %g times as frequent (cause wind_or_loose_sheet).", windMaterial, windGain, windKmh, windFactor)},
		{"overdue_unit", "unit_health", overdueUnit,
			fmt.Sprintf("Unit %s, due for service on %s and never serviced, shows false movement %g times as often from that day.", overdueUnit, overdueFrom, overdueFactor)},
		{"copied_readings", "protocol", copyTech,
			fmt.Sprintf("Technician %s copies the levels of one clear point to other clear points with as many steps on %g %% of visits.", copyTech, 100*copyShare)},
		{"short_holds", "protocol", shortHoldTech,
			fmt.Sprintf("Technician %s holds the sensor for only %g to %g s in %g %% of readings.", shortHoldTech, shortHoldLow, shortHoldHigh, 100*shortHoldShare)},
		{"water_pipes", "false_alarm_patterns", pipeRegion,
			fmt.Sprintf("At some sites of region %s a water pipe behind %s seems to move on %g %% of visits (cause water_pipe).", pipeRegion, pipeMaterial, 100*pipeMovement)},
		{"lapsed_accreditation", "protocol", lapsedTech,
			fmt.Sprintf("Technician %s goes on working after accreditation lapsed on %s.", lapsedTech, lapsedUntil)},
		{"slow_clock", "log_match", slowUnit,
			fmt.Sprintf("The clock of unit %s is %g minutes slow from the %dth to the %dth of the month it handed a log in of.", slowUnit, slowBy.Minutes(), slowFrom, slowTo)},
		{"left_on", "log_habits", leftUnit,
			fmt.Sprintf("Unit %s is put down with its head live one evening, until after midnight.", leftUnit)},
		{"unlike_the_log", "log_contradictions", slowUnit,
			fmt.Sprintf("The log of unit %s, and of the other with a log, has %d holds that nobody wrote down, %d shorter than written, %d at another gain, %d with another level, %d active calls where nothing moved and %d clear ones where much did.",
				slowUnit, unrecordedHolds, shortenedHolds, otherGains, otherLevels, stillActives, movingClears)},
		{"looks", "log_signatures", slowUnit,
			fmt.Sprintf("In the log of unit %s, and of the other, %d hold has a full scale, and in %d that were called clear movement stops as soon as they have begun, %d of them as the gain was stepped.",
				slowUnit, fullHolds, handledHolds+steppedHolds, steppedHolds)},
		{"keeps_time", "log_signatures", slowUnit,
			fmt.Sprintf("In the log of unit %s, and of the other, movement that a fan, a motor, a water pipe or a person makes keeps time (%g to %g s); what is alive moves in bursts.", slowUnit, shortPeriod, longPeriod)},
	}
}
