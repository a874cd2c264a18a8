// Package monthly makes the month's issue.
//
// In: a book of figures that ends with the month, and what was issued before. Out: a folder with one HTML file, a workbook,
// a summary and a manifest; where figures are another than issued, a restatement beside it. It never rewrites an issue,
// computes a rate or runs SQL.
package monthly

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"scanledger/dashboards"
	"scanledger/queries"
)

// Issue is what was said of a month: the content of summary.json.
type Issue struct {
	Month    string                 `json:"month"`
	For      string                 `json:"for"`                // owner, auditor or all
	AsOf     string                 `json:"as_of"`              // day of the newest record seen
	Load     int                    `json:"load"`               // number of the newest load seen
	Tool     string                 `json:"tool"`               // program and version
	Removals int                    `json:"removals,omitempty"` // number of the newest removal seen; see store.Forgotten
	Restates string                 `json:"restates"`           // name of the issue it stands beside; empty for a first issue
	Figures  []queries.MonthFigure  `json:"figures"`
	Changes  []queries.FigureChange `json:"changes"`
	Actions  []queries.Finding      `json:"actions"` // what to do, the dearest first
}

// mostActions is how many actions an issue lists.
const mostActions = 5

// Input is a record file that an issue was made from.
type Input struct {
	Name      string `json:"name"`
	SHA256    string `json:"sha256"`
	RecordSet string `json:"record_set"`
	Load      int    `json:"load"`
}

// Maker is what issues are made with.
type Maker struct {
	Dir      string // folder of all issues
	Business dashboards.Business
	Tool     string
	For      string
	Load     int // newest load seen
	Removals int // newest removal seen
	Inputs   []Input
}

// Compose makes the issue of a month from a book that ends with it. Last is the newest issue of the month, or nil;
// late are the records about the month that came in since.
func (m Maker) Compose(b *queries.Book, month string, last *Named, late []queries.LateRecords) (Issue, error) {
	figures, err := queries.MonthFigures(b, month, m.Business.FalseAlarmCost, m.Business.MissedCost)
	if err != nil {
		return Issue{}, fmt.Errorf("issue of %s: %w", month, err)
	}
	actions := queries.Actions(b.Findings, m.Business.FalseAlarmCost, m.Business.MissedCost)
	out := Issue{Month: month, For: m.For, AsOf: b.AsOf, Load: m.Load, Removals: m.Removals, Tool: m.Tool, Figures: figures, Changes: []queries.FigureChange{}, Actions: actions[:min(mostActions, len(actions))]}
	if last != nil {
		out.Restates, out.Changes = last.Name, queries.CompareMonths(last.Figures, figures, late)
	}
	return out, nil
}

// Named is an issue with the name of its folder.
type Named struct {
	Issue
	Name string
}

// firstName is the folder of a month's first issue for someone.
func firstName(month, who string) string {
	if who == dashboards.ForAll {
		return month
	}
	return month + "-" + who
}

// name is the folder of an issue: the first, or the next restatement after the one it restates.
func (i Issue) name() string {
	first := firstName(i.Month, i.For)
	if i.Restates == "" {
		return first
	}
	_, number, _ := strings.Cut(i.Restates, restated)
	n, _ := strconv.Atoi(number) // the first issue has none
	return first + restated + strconv.Itoa(n+1)
}

const restated = "-restated-"

var issueName = regexp.MustCompile(`^(\d{4}-\d{2})(-owner|-auditor)?(-restated-([1-9]\d*))?$`)

// Issued lists the issues in a folder, by month, then by number. Folders of other names are passed over.
func Issued(dir string) ([]Named, error) {
	entries, err := os.ReadDir(dir)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("read issues: %w", err)
	}
	var out []Named
	for _, e := range entries {
		if !e.IsDir() || !issueName.MatchString(e.Name()) {
			continue
		}
		n := Named{Name: e.Name()}
		raw, err := os.ReadFile(filepath.Join(dir, e.Name(), "summary.json"))
		if err == nil {
			err = json.Unmarshal(raw, &n.Issue)
		}
		if err != nil {
			return nil, fmt.Errorf("read issue %s: %w; put the folder back from a copy, or move it away to have it issued anew", e.Name(), err)
		}
		out = append(out, n)
	}
	slices.SortStableFunc(out, func(a, b Named) int { return cmp.Or(strings.Compare(a.Month, b.Month), number(a.Name)-number(b.Name)) })
	return out, nil
}

// number is 0 for a first issue, and counts restatements from 1.
func number(name string) int {
	n, _ := strconv.Atoi(issueName.FindStringSubmatch(name)[4]) // empty for a first issue
	return n
}

// Latest is the newest issue of a month for someone, or nil.
func Latest(all []Named, month, who string) *Named {
	for _, n := range slices.Backward(all) {
		if n.Month == month && n.For == who {
			return &n
		}
	}
	return nil
}
