package engine_test

import (
	"context"
	"errors"
	"strings"
	"testing"

	"scanledger/transform/engine"
)

// TestRows copies values of every type that queries have into variables of every kind that callers have.
func TestRows(t *testing.T) {
	type measure float64
	var (
		text, fromNumber      string
		whole                 int
		small                 int8
		long, huge, unsigned  int64
		decimal, real, single float64
		named                 measure
		yes                   bool
		anything              any
		known, unknown        *int64
		word                  *string
	)
	e := open(t, engine.Options{})
	err := e.Each(t.Context(), `SELECT 'a', 7, CAST(8 AS TINYINT), CAST(-9 AS SMALLINT), CAST(10 AS BIGINT), CAST(11 AS HUGEINT), CAST(12 AS UBIGINT), 1.25, CAST(2.5 AS DOUBLE),
		CAST(0.5 AS FLOAT), CAST(4.5 AS DOUBLE), true, 'x', CAST(13 AS BIGINT), CAST(NULL AS BIGINT), 'w'`, nil, func(scan func(...any) error) error {
		return scan(&text, &fromNumber, &small, &whole, &long, &huge, &unsigned, &decimal, &real, &single, &named, &yes, &anything, &known, &unknown, &word)
	})
	if err != nil {
		t.Fatal(err)
	}
	if text != "a" || fromNumber != "7" || small != 8 || whole != -9 || long != 10 || huge != 11 || unsigned != 12 || decimal != 1.25 || real != 2.5 || single != 0.5 || named != 4.5 ||
		!yes || anything != "x" || known == nil || *known != 13 || unknown != nil || word == nil || *word != "w" {
		t.Error(text, fromNumber, small, whole, long, huge, unsigned, decimal, real, single, named, yes, anything, known, unknown, word)
	}
}

// TestRowsThatDoNotFit: an error says which column holds what, and what was to take it.
func TestRowsThatDoNotFit(t *testing.T) {
	e := open(t, engine.Options{})
	var text string
	var small int8
	var n int
	var yes bool
	for _, c := range []struct {
		query string
		dest  []any
		want  string
	}{
		{"SELECT 1, NULL", []any{&n, &text}, "column 2: NULL for a string"},
		{"SELECT 300", []any{&small}, "column 1: 300 (int32) for a int8"},
		{"SELECT 'seven'", []any{&n}, "column 1: seven (string) for a int"},
		{"SELECT 1.5", []any{&n}, "column 1: 1.5 (duckdb.Decimal) for a int"},
		{"SELECT 'yes'", []any{&yes}, "column 1: yes (string) for a bool"},
		{"SELECT 1, 2", []any{&n}, "a row of 2 columns for 1 variables"},
	} {
		err := e.Each(t.Context(), c.query, nil, func(scan func(...any) error) error { return scan(c.dest...) })
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), c.query) {
			t.Errorf("%s: %v, not %q", c.query, err, c.want)
		}
	}
}

// TestRowsEnd with an argument that cannot be bound, a visit that fails, and a context that ends between two rows.
func TestRowsEnd(t *testing.T) {
	e := open(t, engine.Options{})
	none := func(func(...any) error) error { return nil }
	if err := e.Each(t.Context(), "SELECT $n", []any{engine.Arg("n", struct{}{})}, none); err == nil || !strings.Contains(err.Error(), "argument 1 (n)") {
		t.Errorf("an argument that is nothing: %v", err)
	}
	enough := errors.New("enough")
	if err := e.Each(t.Context(), "SELECT * FROM range(10)", nil, func(func(...any) error) error { return enough }); !errors.Is(err, enough) {
		t.Errorf("a visit that fails: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	rows := 0
	err := e.Each(ctx, "SELECT * FROM range(10)", nil, func(func(...any) error) error {
		if rows++; rows == 3 {
			cancel()
		}
		return nil
	})
	if !errors.Is(err, context.Canceled) || rows != 3 {
		t.Errorf("after %d rows: %v", rows, err)
	}
	if got := one(t, e, "SELECT 'still here'"); got != "still here" {
		t.Errorf("got %q", got)
	}
}
