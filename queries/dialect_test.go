package queries

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"scanledger/transform"
	"scanledger/transform/engine/fleet"
)

// TestDialectListing keeps a listing of every line of every query that a fleet gets in other words. What is not in it, both
// engines read as it stands.
func TestDialectListing(t *testing.T) {
	texts := map[string]string{"frame": frameSQL, "late": lateSQL}
	for _, table := range transform.Tables() {
		if sql, err := transform.SQL(table); err == nil { // unit logs have their own, and are not made in a fleet
			texts[table] = sql
		}
	}
	for name := range rowTypes {
		q, err := Lookup(name)
		if err != nil {
			t.Fatal(err)
		}
		texts[name] = q.SQL
	}
	var names []string
	for name := range texts {
		names = append(names, name)
	}
	slices.Sort(names)
	var b strings.Builder
	for _, name := range names {
		b.WriteString(rewritten(name, strings.TrimSpace(texts[name])))
	}
	const path = "testdata/dialect.txt"
	if *update {
		if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if b.String() != string(want) {
		t.Errorf("what a fleet gets in other words is not what %s lists%s", path, firstDifference(string(want), b.String()))
	}
}

// rewritten lists the lines of a query that a fleet does not get, and those that it gets instead.
func rewritten(name, sql string) string {
	before, after := strings.Split(sql, "\n"), strings.Split(fleet.Translate(sql), "\n")
	var b strings.Builder
	for _, line := range before {
		if !slices.Contains(after, line) {
			fmt.Fprintf(&b, "%s - %s\n", name, strings.TrimSpace(line))
		}
	}
	for _, line := range after {
		if !slices.Contains(before, line) {
			fmt.Fprintf(&b, "%s + %s\n", name, strings.TrimSpace(line))
		}
	}
	return b.String()
}
