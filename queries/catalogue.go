// Package queries turns facts into figures.
//
// In: the fact tables that transform makes. Out: one Result per analysis: rows of figures with their
// intervals, counts and notes. An analysis is one .sql file, whose header is its documentation
// everywhere, and one .go file that turns its counts into figures by way of queries/stats. It never
// touches raw records or draws anything.
package queries

import (
	"embed"
	"fmt"
	"strings"
)

//go:embed sql/*.sql
var sqlFiles embed.FS

// Query is one analysis's SQL with what its header says.
type Query struct {
	Name, Title, Question, Grain string
	Reads                        []string
	Params                       []Term
	Columns                      []Term
	Caveats                      []string
	SQL                          string // the whole file, header included
}

// Term is a named thing and what it means.
type Term struct{ Name, Meaning string }

// Column says what a column of the result means, or "".
func (q Query) Column(name string) string {
	for _, c := range q.Columns {
		if c.Name == name {
			return c.Meaning
		}
	}
	return ""
}

// Lookup reads the named query and its header.
func Lookup(name string) (Query, error) {
	raw, err := sqlFiles.ReadFile("sql/" + name + ".sql")
	if err != nil {
		return Query{}, fmt.Errorf("no query %q: %w", name, err)
	}
	return parseHeader(name, string(raw))
}

func parseHeader(name, text string) (Query, error) {
	q := Query{SQL: text}
	for line := range strings.Lines(text) {
		line = strings.TrimSpace(line)
		if !strings.HasPrefix(line, "-- ") {
			break
		}
		key, value, ok := strings.Cut(strings.TrimPrefix(line, "-- "), ":")
		if !ok {
			return q, fmt.Errorf("query %s: header line %q is not key: value", name, line)
		}
		if err := q.set(key, strings.TrimSpace(value)); err != nil {
			return q, fmt.Errorf("query %s: %w", name, err)
		}
	}
	if q.Name != name || q.Title == "" || q.Question == "" || q.Grain == "" || len(q.Columns) == 0 {
		return q, fmt.Errorf("query %s: its header needs name, title, question, grain and columns", name)
	}
	return q, nil
}

func (q *Query) set(key, value string) error {
	switch key {
	case "name":
		q.Name = value
	case "title":
		q.Title = value
	case "question":
		q.Question = value
	case "grain":
		q.Grain = value
	case "reads":
		q.Reads = strings.Split(value, ", ")
	case "param":
		q.Params = append(q.Params, term(value))
	case "column":
		q.Columns = append(q.Columns, term(value))
	case "caveat":
		q.Caveats = append(q.Caveats, value)
	default:
		return fmt.Errorf("header key %q is unknown", key)
	}
	return nil
}

func term(value string) Term {
	name, meaning, _ := strings.Cut(value, " | ")
	return Term{strings.TrimSpace(name), strings.TrimSpace(meaning)}
}
