package queries

import (
	"io/fs"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// rowTypes ties every analysis to its row, so that a column cannot be added without being explained.
var rowTypes = map[string]any{
	"detection":              DetectionRow{},
	"accuracy":               AccuracyRow{},
	"statement":              StatementRow{},
	"technician_consistency": ConsistencyRow{},
	"technician_drift":       DriftRow{},
	"season":                 SeasonRow{},
	"season_months":          SeasonMonthRow{},
	"trend":                  TrendRow{},
	"month_counts":           MonthCountRow{},
	"cuts":                   CutRow{},
	"trend_summary":          TrendSummaryRow{},
	"region_standardised":    StandardisedRow{},
	"false_alarm_patterns":   FalseAlarmPatternRow{},
	"missed_patterns":        MissedPatternRow{},
	"pattern_breakdown":      BreakdownRow{},
	"series_patterns":        SeriesRow{},
	"data_quality":           QualityRow{},
	"reject_rules":           RejectRuleRow{},
	"flow":                   FlowRow{},
	"verification_weights":   WeightRow{},
	"gain_guidance":          GuidanceRow{},
	"gain_curve":             CurveRow{},
	"gain_loss":              LossRow{},
	"audit_sample":           AuditSampleRow{},
	"digit_preference":       DigitRow{},
	"protocol":               ProtocolRow{},
	"protocol_breaches":      BreachRow{},
	"flagged_inspections":    InspectionRow{},
	"inspection_readings":    InspectionReadingRow{},
	"open_matters":           MatterRow{},
	"technician_agreement":   AgreementRow{},
	"agreement_material":     AgreementMaterialRow{},
	"technician_repeats":     RepeatRow{},
	"technician_gain":        GainUseRow{},
	"unit_level":             UnitLevelRow{},
	"unit_use":               UnitUseRow{},
	"unit_health":            UnitRow{},
	"log_match":              LogMatchRow{},
	"log_contradictions":     ContradictionRow{},
	"log_habits":             LogHabitsRow{},
	"log_signatures":         SignatureRow{},
	"log_traces":             TraceRow{},
	"signature_check":        SignatureCheckRow{},
}

// cutColumns name the cut itself; the header explains them with "by".
var cutColumns = []string{"material", "gain", "season", "region", "month", "model", "thickness_band", "purpose", "technician_id", "density_class"}

func TestCatalogue(t *testing.T) {
	files, err := fs.Glob(sqlFiles, "sql/*.sql")
	if err != nil {
		t.Fatal(err)
	}
	if len(files) != len(rowTypes) {
		t.Errorf("%d queries, %d row types", len(files), len(rowTypes))
	}
	for _, file := range files {
		name := strings.TrimSuffix(strings.TrimPrefix(file, "sql/"), ".sql")
		q, err := Lookup(name)
		if err != nil {
			t.Error(err)
			continue
		}
		row, ok := rowTypes[name]
		if !ok {
			t.Errorf("%s: no row type in this test", name)
			continue
		}
		columns := Columns(reflect.TypeOf(row))
		for _, c := range columns {
			if q.Column(c) == "" && !slices.Contains(cutColumns, c) {
				t.Errorf("%s: column %s is not explained in the header", name, c)
			}
		}
		for _, c := range q.Columns {
			if !slices.Contains(columns, c.Name) {
				t.Errorf("%s: the header explains %s, which is no column", name, c.Name)
			}
		}
		for _, p := range q.Params {
			if !strings.Contains(q.SQL, "$"+p.Name) {
				t.Errorf("%s: parameter %s is not used", name, p.Name)
			}
		}
		if !regexp.MustCompile(`(?s)ORDER BY[^()]*$`).MatchString(q.SQL) {
			t.Errorf("%s: does not end in a total ORDER BY", name)
		}
	}
}

func TestHeaderFaults(t *testing.T) {
	for _, text := range []string{
		"-- name: x\nSELECT 1",
		"-- name: y\n-- title: t\n-- question: q\n-- grain: g\n-- column: a | b\nSELECT 1",
		"-- name: x\n-- titel: t\nSELECT 1",
	} {
		if _, err := parseHeader("x", text); err == nil {
			t.Errorf("accepted: %q", text)
		}
	}
}
