package queries

import (
	"reflect"
	"strings"

	"scanledger/queries/patterns"
)

// PatternTerms are the circumstances that make a pattern; those it does not ask for are nil.
type PatternTerms struct {
	Material         *string `json:"material"`
	DensityClass     *string `json:"density_class"`
	ThicknessBand    *string `json:"thickness_band"`
	Gain             *string `json:"gain"`
	Season           *string `json:"season"`
	Region           *string `json:"region"`
	HourBand         *string `json:"hour_band"`
	Rain             *string `json:"rain"`
	TempBand         *string `json:"temp_band"`
	BatteryBand      *string `json:"battery_band"`
	HoldBand         *string `json:"hold_band"`
	UnitID           *string `json:"unit_id"`
	UnitOverdue      *string `json:"unit_overdue"`
	TechnicianID     *string `json:"technician_id"`
	Purpose          *string `json:"purpose"`
	LevelBand        *string `json:"level_band"`
	LogShareBand     *string `json:"log_share_band"`
	WindBand         *string `json:"wind_band"`
	GainShare        *string `json:"gain_share"`
	DaysSinceService *string `json:"days_since_service"`
}

// kindFactors and numberFactors are the factors in the order of the query's columns; the first take part
// by their own values, the others by cuts. Gain does both.
var (
	kindFactors = []string{"material", "density_class", "thickness_band", "gain", "season", "region", "hour_band", "rain", "temp_band", "battery_band", "hold_band",
		"unit_id", "unit_overdue", "technician_id", "purpose", "level_band", "log_share_band"}
	numberFactors = []string{"gain", "gain_share", "wind_band", "days_since_service"}
)

// termsOf fills the columns of a pattern's terms.
func termsOf(terms []patterns.Term) PatternTerms {
	var out PatternTerms
	fields := reflect.ValueOf(&out).Elem()
	for i, name := range Columns(fields.Type()) {
		for _, t := range terms {
			if t.Factor == name {
				fields.Field(i).Set(reflect.ValueOf(&t.Value))
			}
		}
	}
	return out
}

// factorsText writes terms as a=b; c=d.
func factorsText(terms []patterns.Term) string {
	parts := make([]string, len(terms))
	for i, t := range terms {
		parts[i] = t.Factor + "=" + t.Value
	}
	return strings.Join(parts, "; ")
}

// PatternFigures are the figures of a pattern of either kind.
type PatternFigures struct {
	Expected       Figure `json:"expected"`
	ByChanceLow    int64  `json:"by_chance_low"`
	ByChanceHigh   int64  `json:"by_chance_high"`
	Rate           Figure `json:"rate"`
	RateLow        Figure `json:"rate_low"`
	RateHigh       Figure `json:"rate_high"`
	RateExpected   Figure `json:"rate_expected"`
	Ratio          Figure `json:"ratio"`
	RatioLow       Figure `json:"ratio_low"`
	RatioHigh      Figure `json:"ratio_high"`
	P              Figure `json:"p"`
	Q              Figure `json:"q"`
	Extra          Figure `json:"extra"`
	ExtraCost      Figure `json:"extra_cost"`
	LeadingCause   string `json:"leading_cause"`
	CauseShare     Figure `json:"leading_cause_share"`
	CauseUsual     Figure `json:"leading_cause_usual"`
	Leading        string `json:"leading_technician"`
	LeadingShare   Figure `json:"leading_technician_share"`
	OnePerson      string `json:"one_person"`
	RecentChecked  int64  `json:"recent_checked"`
	RecentWrong    int64  `json:"recent_wrong"`
	RecentExpected Figure `json:"recent_expected"`
	GoesOn         string `json:"goes_on"`
	SameAs         string `json:"same_as"`
	Examples       string `json:"examples"`
	Suggestion     string `json:"suggestion"`
}

// Example is an inspection to look at.
type Example struct{ InspectionID, PointID, Date string }

// FoundPattern is a pattern of false alarms or missed points.
type FoundPattern struct {
	Number  int
	Terms   []patterns.Term
	Factors string
	Checked int64
	Wrong   int64
	Look    []Example
	PatternFigures
}

// PatternSearch is what a search for patterns had to go by, and what it found.
type PatternSearch struct {
	Patterns       []FoundPattern
	Checked, Wrong int64
	Partly         string // of which sites the calls are, in words to put behind them; empty: of all
	Tried          int64
	Searched       bool
	WhyNot         string // where it was not searched
	Alike          Figure // correlation of two calls of one site
}

// FalseAlarmPatternRow is a pattern of false alarms as a result.
type FalseAlarmPatternRow struct {
	Pattern int    `json:"pattern"`
	Factors string `json:"factors"`
	PatternTerms
	ActiveVerified int64 `json:"active_verified"`
	FalseAlarms    int64 `json:"false_alarms"`
	PatternFigures
}

// MissedPatternRow is a pattern of missed points as a result.
type MissedPatternRow struct {
	Pattern int    `json:"pattern"`
	Factors string `json:"factors"`
	PatternTerms
	ClearChecked int64 `json:"clear_checked"`
	Missed       int64 `json:"missed"`
	PatternFigures
}

// BreakdownRow is one part of a pattern: what was found, who made the calls, or when.
type BreakdownRow struct {
	Direction    string `json:"direction"`
	Pattern      int    `json:"pattern"`
	Factors      string `json:"factors"`
	By           string `json:"by"`
	Value        string `json:"value"`
	Checked      int64  `json:"checked"`
	Wrong        int64  `json:"wrong"`
	Expected     Figure `json:"expected"`
	ByChanceLow  *int64 `json:"by_chance_low"`
	ByChanceHigh *int64 `json:"by_chance_high"`
	Share        Figure `json:"share"`
	OtherChecked int64  `json:"other_checked"`
	OtherWrong   int64  `json:"other_wrong"`
	OtherShare   Figure `json:"other_share"`
}

// SeriesRow is one sign of a point's readings.
type SeriesRow struct {
	Sign           string `json:"sign"`
	Value          string `json:"value"`
	ActiveVerified int64  `json:"active_verified"`
	FalseAlarms    int64  `json:"false_alarms"`
	Rate           Figure `json:"rate"`
	Low            Figure `json:"low"`
	High           Figure `json:"high"`
	Expected       Figure `json:"expected"`
	Ratio          Figure `json:"ratio"`
	RatioLow       Figure `json:"ratio_low"`
	RatioHigh      Figure `json:"ratio_high"`
	P              Figure `json:"p"`
	Q              Figure `json:"q"`
	Enough         bool   `json:"enough"`
}
