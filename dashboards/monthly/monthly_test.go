package monthly

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/xuri/excelize/v2"

	"scanledger/dashboards"
	"scanledger/queries"
)

// hostile is text that a spreadsheet could take for a formula.
var hostile = []string{"=1+1", "+cmd", "-2", "@x", "\t=1"}

func hostileBook() *queries.Book {
	b := &queries.Book{AsOf: "2026-09-07", From: "2026-07", To: "2026-08", MonthCounts: []queries.MonthCountRow{{Month: "2026-08", Inspections: 3, Points: 12}}}
	for _, names := range sheets {
		for _, name := range names {
			b.Results = append(b.Results, queries.Result{Analysis: name, Rows: []queries.RejectRuleRow{}})
		}
	}
	var rows []queries.RejectRuleRow
	for i, s := range hostile {
		rows = append(rows, queries.RejectRuleRow{File: s, Times: int64(i)})
	}
	b.Results = append([]queries.Result{{Analysis: "reject_rules", Rows: rows},
		{Analysis: "protocol_breaches", Rows: []queries.BreachRow{{Check: "a", Date: "2026-07-03"}, {Check: "b", Date: "2026-08-03"}}}}, b.Results...)
	return b
}

func openBook(t *testing.T, raw []byte) *excelize.File {
	t.Helper()
	f, err := excelize.OpenReader(bytes.NewReader(raw))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = f.Close() })
	return f
}

// TestWorkbook: formulas are inert text, numbers are numbers, headings are frozen, dated rows are the month's, and the
// bytes repeat.
func TestWorkbook(t *testing.T) {
	b, i := hostileBook(), Issue{Month: "2026-08", For: dashboards.ForAll}
	raw, err := workbook(i, b)
	if err != nil {
		t.Fatal(err)
	}
	for range 5 {
		if again, err := workbook(i, b); err != nil || !bytes.Equal(raw, again) {
			t.Fatalf("other bytes, %v", err)
		}
	}
	f := openBook(t, raw)
	rows, err := f.GetRows("reject_rules")
	if err != nil || len(rows) != len(hostile)+1 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for n, row := range rows[1:] {
		if row[0] == hostile[n] || strings.ContainsAny(row[0][:1], "=+-@\t") {
			t.Errorf("%q stands as it came", row[0])
		}
		if kind, err := f.GetCellType("reject_rules", "E"+string(rune('2'+n))); err != nil || kind != excelize.CellTypeUnset && kind != excelize.CellTypeNumber {
			t.Errorf("a count is of type %v, %v", kind, err)
		}
	}
	if rows, err = f.GetRows("protocol_breaches"); err != nil || len(rows) != 2 || rows[1][0] != "b" {
		t.Errorf("rows of the month: %v, %v", rows, err)
	}
	panes, err := f.GetPanes("figures")
	if err != nil || !panes.Freeze || panes.YSplit != 1 {
		t.Errorf("panes %+v, %v", panes, err)
	}
	if !strings.Contains(strings.Join(f.GetSheetList(), " "), "notes") {
		t.Error("no notes")
	}
}

func TestNames(t *testing.T) {
	for _, c := range []struct {
		i    Issue
		want string
	}{
		{Issue{Month: "2026-08", For: "all"}, "2026-08"}, {Issue{Month: "2026-08", For: "owner"}, "2026-08-owner"},
		{Issue{Month: "2026-08", For: "all", Restates: "2026-08"}, "2026-08-restated-1"},
		{Issue{Month: "2026-08", For: "auditor", Restates: "2026-08-auditor-restated-9"}, "2026-08-auditor-restated-10"},
	} {
		if got := c.i.name(); got != c.want || !issueName.MatchString(got) {
			t.Errorf("%+v is named %s, want %s", c.i, got, c.want)
		}
	}
}

// TestLatest: the tenth restatement comes after the ninth, and what is no issue is passed over.
func TestLatest(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"2026-08", "2026-08-restated-9", "2026-08-restated-10", "2026-08-owner", "notes", ".issue-1"} {
		who := "all"
		if strings.HasSuffix(name, "owner") {
			who = "owner"
		}
		if err := os.MkdirAll(filepath.Join(dir, name), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, name, SummaryFile), []byte(`{"month":"2026-08","for":"`+who+`"}`), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	all, err := Issued(dir)
	if err != nil || len(all) != 4 {
		t.Fatalf("%d issues, %v", len(all), err)
	}
	if got := Latest(all, "2026-08", "all"); got == nil || got.Name != "2026-08-restated-10" {
		t.Errorf("latest %+v", got)
	}
	if got := Latest(all, "2026-07", "all"); got != nil {
		t.Errorf("of another month: %+v", got)
	}
}

// TestPublishNeverOverwrites: a folder of that name stops the issue, and stays as it was.
func TestPublishNeverOverwrites(t *testing.T) {
	m := Maker{Dir: t.TempDir(), For: dashboards.ForAll}
	taken := filepath.Join(m.Dir, "2026-08")
	if err := os.MkdirAll(taken, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(taken, "mine"), []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := m.Publish(Issue{Month: "2026-08", For: dashboards.ForAll}, hostileBook(), nil); err == nil || !strings.Contains(err.Error(), "never overwritten") {
		t.Errorf("published over a folder: %v", err)
	}
	left, err := os.ReadDir(m.Dir)
	if raw, readErr := os.ReadFile(filepath.Join(taken, "mine")); err != nil || readErr != nil || string(raw) != "mine" || len(left) != 1 {
		t.Errorf("%q, %v, %v; %d entries", raw, readErr, err, len(left))
	}
}
