package fleet

import (
	"database/sql"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestTranslate(t *testing.T) {
	for _, c := range []struct{ query, want string }{
		{"SELECT a.\"b\", 'it''s 1.5' -- 2.5\nFROM t", "SELECT a.\"b\", 'it''s 1.5' -- 2.5\nFROM t"},
		{"SELECT 1.5 * x, 2, 1e6, 1.5E-3", "SELECT 1.5E0 * x, 2, 1e6, 1.5E-3"},
		{"a // 10", "a / 10"},
		{"CAST(NULL AS TIMESTAMPTZ)", "CAST(NULL AS TIMESTAMP(6) WITH TIME ZONE)"},
		{"CAST(NULL AS VARCHAR)", "CAST(NULL AS VARCHAR)"},
		{"CAST(x + 1.5 AS BIGINT)", "CAST(x + 1.5E0 AS BIGINT)"},
		{"cast(p.day AS varchar)", "if(p.day IS NULL, NULL, format('%s', p.day))"},
		{"CAST(i.started_at AT TIME ZONE r.time_zone AS DATE)", "CAST(CAST(at_timezone(i.started_at, r.time_zone) AS TIMESTAMP(6)) AS DATE)"},
		{"at AT TIME ZONE 'UTC'", "CAST(at_timezone(at, 'UTC') AS TIMESTAMP(6))"},
		{"arg_max(x, (a, b)) FILTER (WHERE c)", "max_by(x, (a, b)) FILTER (WHERE c)"},
		{"arg_max (x)", "arg_max (x)"}, // a name that is no call of ours
		{"string_agg(DISTINCT x, ', ' ORDER BY x, y DESC) FILTER (WHERE n <= 5) AS s", "array_join(array_agg(DISTINCT x ORDER BY x, y DESC) FILTER (WHERE n <= 5), ', ') AS s"},
		{"array_to_string(l, ' ')", "array_join(transform(l, e -> format('%s', e)), ' ')"},
		{"concat('a ', n, ' b')", "concat('a ', coalesce(if(n IS NULL, NULL, format('%s', n)), ''), ' b')"},
		{"date_diff('day', a, b)", "date_diff('day', a, b)"},
		{"date_diff('second', a, min(b))", "date_diff('second', date_trunc('second', a), date_trunc('second', min(b)))"},
		{"date_add(d, to_days(q.n))", "date_add('day', (q.n), d)"},
		{"strftime(v.at AT TIME ZONE v.zone, '%H:%M')", "date_format(CAST(at_timezone(v.at, v.zone) AS TIMESTAMP(6)), '%H:%i')"},
		{"list_contains(string_split('a,b', ','), c)", "contains(split('a,b', ','), c)"},
		{"md5_number_lower(id) >> 1", "bitwise_right_shift(from_big_endian_64(reverse(substr(md5(to_utf8(id)), 9, 8))), 1)"},
		{"make_timestamptz(5)", "from_unixtime_nanos(1000 * (5))"},
		{"SELECT 1;\n", "SELECT 1"},
	} {
		if got := Translate(c.query); got != c.want {
			t.Errorf("%s\ngot  %s\nwant %s", c.query, got, c.want)
		}
	}
}

// TestTokensAreTheText: whatever is cut is whole again when put together, so nothing that no rule is about can change.
func TestTokensAreTheText(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		query := rapid.StringOf(rapid.RuneFrom([]rune(`ab1.5'"-()$,|<>/ é`+"\n"))).Draw(t, "query")
		var b strings.Builder
		for _, p := range tokens(query) {
			if p.text == "" {
				t.Fatalf("an empty piece of %q", query)
			}
			b.WriteString(p.text)
		}
		if b.String() != query {
			t.Fatalf("%q became %q", query, b.String())
		}
	})
}

// TestTranslateDoesNotPanic: a query that is not closed is the engine's to refuse.
func TestTranslateDoesNotPanic(t *testing.T) {
	pieces := []string{"cast", "(", ")", ",", "string_agg", "date_add", "to_days", "median", "AS", "VARCHAR", "AT", "TIME", "ZONE", "FILTER", "x", ".", "1.5",
		"'", "\"", "concat", "md5_number_lower", ">>", " ", "ORDER", "BY", "date_diff", "strftime", "quantile_cont", "array_to_string"}
	rapid.Check(t, func(t *rapid.T) {
		Translate(strings.Join(rapid.SliceOf(rapid.SampledFrom(pieces)).Draw(t, "pieces"), ""))
	})
}

func TestBind(t *testing.T) {
	named := func(name string, value any) any { return sql.Named(name, value) }
	got, err := bind(`SELECT $s, $n, $f, $b, '$s', "$n", $1 -- $s`, []any{7, named("s", "it's"), named("n", int64(-3)), named("f", 0.1), named("b", true)})
	if want := `SELECT 'it''s', -3, 1E-01, true, '$s', "$n", 7 -- $s`; err != nil || got != want {
		t.Errorf("got  %s (%v)\nwant %s", got, err, want)
	}
	for _, c := range []struct {
		query string
		args  []any
		want  string
	}{
		{"SELECT $gone", nil, "$gone has no value"},
		{"SELECT $x", []any{named("x", []string{"a"})}, "no literal"},
		{"SELECT $x", []any{named("x", nan())}, "is no number"},
	} {
		if _, err := bind(c.query, c.args); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", c.query, err)
		}
	}
}

func nan() float64 {
	zero := 0.0
	return zero / zero
}
