package queries

import (
	"context"
	"fmt"
	"time"

	"scanledger/ingest/store"
	"scanledger/queries/instrument"
	"scanledger/transform"
	"scanledger/transform/engine"
	"scanledger/transform/logs"
	"scanledger/transform/protocol"
)

// DefaultFloor is the fewest cases for which a rate is shown. (NCHS presentation standards for
// proportions, 2017: effective n of at least 30.)
const DefaultFloor = 30

// Confidence of every interval.
const Confidence = 0.95

// Options choose what the analyses see.
type Options struct {
	From, To string    // local months, YYYY-MM; empty: all there is
	AsOf     time.Time // day of the newest record seen
	Floor    int       // 0: DefaultFloor

	FalseAlarmCost, MissedCost float64           // of one wrong call, in the house's currency; 0: not set
	Frequency                  float64           // GHz, for wave losses; 0: DefaultFrequency
	WaveLoss                   map[string]string // material: row of the table of wave losses, where its own name is none

	Logs            logs.Settings     // the same as the fact tables were made with
	Protocol        protocol.Settings // the same as the fact tables were made with
	Patterns        PatternOptions    // zero: DefaultPatterns
	InspectionPages int               // most inspections with a page; 0: DefaultInspectionPages
}

// Book holds the figures of every analysis, typed for those who draw them, and as results for those
// who read files.
type Book struct {
	AsOf, From, To     string
	Floor              int
	Detection          []DetectionRow
	Accuracy           []AccuracyRow
	Statement          []StatementRow
	Consistency        []ConsistencyRow
	Drift              []DriftRow
	Season             []SeasonRow
	SeasonMonths       []SeasonMonthRow
	Trend              []TrendRow
	MonthCounts        []MonthCountRow
	Cuts               []CutRow
	TrendSummary       []TrendSummaryRow
	RegionStandardised []StandardisedRow
	Quality            []QualityRow
	RejectRules        []RejectRuleRow
	Weights            []WeightRow
	Guidance           []GuidanceRow
	Curves             []CurveRow
	Losses             []LossRow
	Flow               []FlowRow
	Agreement          []AgreementRow
	AgreementMaterial  []AgreementMaterialRow
	Repeats            []RepeatRow
	GainUse            []GainUseRow
	UnitLevels         []UnitLevelRow
	UnitUse            []UnitUseRow
	Units              []UnitRow
	AuditSample        []AuditSampleRow
	Findings           []Finding // the most important first
	Protocol           []ProtocolRow
	Breaches           []BreachRow
	Digits             []DigitRow
	Inspections        []InspectionRow // flagged ones, the weightiest first
	Paged              []string        // inspections with a page, by id
	InspectionReadings []InspectionReadingRow
	Matters            []MatterRow // the weightiest first
	FalseAlarmPatterns PatternSearch
	MissedPatterns     PatternSearch
	Breakdown          []BreakdownRow // of the patterns
	Series             []SeriesRow
	Settings           protocol.Settings // of the protocol
	LogMatch           []LogMatchRow
	Contradictions     []ContradictionRow
	LogHabits          []LogHabitsRow
	Signatures         Signatures
	SignatureCheck     []SignatureCheckRow
	Traces             []TraceRow // of inspections with a page
	LogSettings        logs.Settings
	Labels             Labels
	Restated           string   // that records were removed, in words; empty where none were
	Results            []Result // in the order in which they were made
}

// Result returns the named result.
func (b *Book) Result(name string) Result {
	for _, r := range b.Results {
		if r.Analysis == name {
			return r
		}
	}
	return Result{}
}

// desk is what an analysis works with.
type desk struct {
	ctx  context.Context
	eng  engine.SQL
	book *Book
	opt  Options

	clusters transform.Clusters // that count tables were made with
	wanted   []string           // inspections that get a page, whatever their weight
	results  []Result           // so far

	// What an analysis leaves to those after it in its chain.
	takeApart []BreakdownRow     // of the patterns, before what lies outside them is known
	staff     staff              // everyone's counts, once consistency has run
	ladders   []ladders          // what had shown by each gain, once gainCurve has run
	drifts    []instrument.Drift // of the levels of units, once unitLevel has run
}

// Analyse runs every analysis over the fact views in e.
func Analyse(ctx context.Context, e engine.SQL, st *store.Store, upTo int, opt Options) (*Book, error) {
	if opt.Floor == 0 {
		opt.Floor = DefaultFloor
	}
	if opt.Frequency == 0 {
		opt.Frequency = DefaultFrequency
	}
	if opt.Patterns == (PatternOptions{}) {
		opt.Patterns = DefaultPatterns
	}
	if opt.InspectionPages == 0 {
		opt.InspectionPages = DefaultInspectionPages
	}
	book := &Book{AsOf: opt.AsOf.UTC().Format(time.DateOnly), From: opt.From, To: opt.To, Floor: opt.Floor, Settings: opt.Protocol, LogSettings: opt.Logs, Restated: Restatement(st.Manifest.Forgotten)}
	d := &desk{ctx: ctx, eng: e, book: book, opt: opt}
	if err := d.period(); err != nil {
		return nil, err
	}
	if err := d.ledger(st, upTo); err != nil {
		return nil, err
	}
	for _, chains := range analyses {
		if err := d.runAll(chains); err != nil {
			return nil, err
		}
	}
	book.Results, book.Findings = d.results, findings(book)
	return book, nil
}

// period fills an open end from the visits there are, and sees how sites are grouped.
func (d *desk) period() error {
	var first, last string
	err := d.eng.Each(d.ctx, "SELECT coalesce(min(month), ''), coalesce(max(month), '') FROM visits", nil,
		func(scan func(...any) error) error { return scan(&first, &last) })
	if err != nil {
		return fmt.Errorf("see which months there are: %w", err)
	}
	d.clusters, err = transform.ClustersOf(d.ctx, d.eng)
	if d.book.From == "" {
		d.book.From = first
	}
	if d.book.To == "" {
		d.book.To = last
	}
	return err
}

// months binds the period, for queries that have it as parameters.
func (d *desk) months() []any {
	return []any{engine.Arg("from", d.book.From), engine.Arg("to", d.book.To)}
}

// clustered binds the period and the given clusters, for queries of tables that hold sites.
func (d *desk) clustered(groups int64) []any { return append(d.months(), engine.Arg("groups", groups)) }

// run runs the named query; scan reads one of its rows into a new entry.
func run[R any](d *desk, name string, args []any, scan func(scan func(...any) error, row *R) error) ([]R, Query, error) {
	q, err := Lookup(name)
	if err != nil {
		return nil, q, err
	}
	var rows pile[R]
	err = d.eng.Each(d.ctx, q.SQL, args, func(from func(...any) error) error { return scan(from, rows.add()) })
	if err != nil {
		return nil, q, fmt.Errorf("analysis %s: %w", name, err)
	}
	return rows.all(), q, nil
}

// conclude adds a result to the book.
func (d *desk) conclude(q Query, rows any, notes ...string) {
	notes = append(notes, q.Caveats...)
	if d.book.Restated != "" {
		notes = append(notes, d.book.Restated)
	}
	d.results = append(d.results, Result{Analysis: q.Name, Title: q.Title, Question: q.Question,
		AsOf: d.book.AsOf, From: d.book.From, To: d.book.To, Rows: rows, Notes: notes, Query: q})
}
