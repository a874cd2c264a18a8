package fleet

import (
	"fmt"
	"strings"
)

// Translate puts a query into the fleet's dialect. Queries keep to what both engines share; what is left are functions of
// other names or of other ways with nulls, types and times, numbers with a point, which are exact here and inexact there,
// and texts of numbers. Whoever changes a rule sees in the golden listings which queries it changes.
func Translate(query string) string {
	return translate(tokens(strings.TrimSuffix(strings.TrimSpace(query), ";")))
}

// translate works from left to right; out holds what is done so far, so that an operator can take back its left side.
func translate(ts []token) string {
	var out []string
	for i := 0; i < len(ts); {
		s, end := one(ts, i, &out)
		out = append(out, s)
		i = end
	}
	return strings.Join(out, "")
}

// one translates what begins at piece i, and tells where it ends.
func one(ts []token, i int, out *[]string) (string, int) {
	t := ts[i]
	if t.kind == number && strings.Contains(t.text, ".") && !strings.ContainsAny(t.text, "eE") {
		return t.text + "E0", i + 1 // with a point alone it would be an exact decimal
	}
	if t.is("//") { // whole numbers are divided as such
		return "/", i + 1
	}
	if t.is("TIMESTAMPTZ") {
		return "TIMESTAMP(6) WITH TIME ZONE", i + 1
	}
	if end, ok := follow(ts, i, "AT", "TIME", "ZONE"); ok {
		return atZone(ts, end, out)
	}
	if t.kind == word && i+1 < len(ts) && ts[i+1].is("(") {
		if r, c, ok := ruleFor(ts, i); ok {
			return r.put(c)
		}
	}
	return t.text, i + 1
}

// ruleFor is the rule about the call that begins at piece i, if there is one; what is not closed, or has arguments that no rule
// knows, is left to the fleet to refuse.
func ruleFor(ts []token, i int) (rule, call, bool) {
	r, known := rules[strings.ToLower(ts[i].text)]
	end := bracket(ts, i+1)
	if !known || !ts[end-1].is(")") || end-1 == i+1 {
		return r, call{}, false
	}
	c := call{inner: ts[i+2 : end-1], rest: ts, end: end}
	c.args = split(c.inner)
	for _, a := range c.args {
		if plain(a) == "" {
			return r, c, false
		}
	}
	return r, c, r.args == variadic || r.args == len(c.args)
}

// atZone turns "time AT TIME ZONE zone" into a call, since the fleet takes only a literal there, and takes the zone off: what is left is
// the time that a clock on the wall shows, as in the embedded engine, and no longer the moment. Both sides are names.
func atZone(ts []token, i int, out *[]string) (string, int) {
	from := next(ts, i)
	if from == len(ts) {
		return "AT TIME ZONE", i
	}
	end := from + 1
	for end+1 < len(ts) && ts[end].is(".") {
		end += 2
	}
	left := takeBack(out)
	return "CAST(at_timezone(" + left + ", " + plain(ts[from:end]) + ") AS TIMESTAMP(6))", end
}

// takeBack removes a name, with what it is qualified by, from the end of what is done.
func takeBack(out *[]string) string {
	o := *out
	for len(o) > 0 && strings.TrimSpace(o[len(o)-1]) == "" {
		o = o[:len(o)-1]
	}
	from := len(o) - 1
	for from >= 2 && o[from-1] == "." {
		from -= 2
	}
	left := strings.Join(o[max(from, 0):], "")
	*out = o[:max(from, 0)]
	return left
}

// call is a function's call: its arguments, and what comes after it.
type call struct {
	inner []token   // what stands between the brackets
	args  [][]token // the same, cut at commas
	rest  []token   // what the call stands in
	end   int       // place in rest after the closing bracket
}

func (c call) arg(i int) string { return strings.TrimSpace(translate(c.args[i])) }

// filter is the FILTER clause of an aggregate, translated, where it has one, and the place after it.
func (c call) filter() (string, int) {
	end, ok := follow(c.rest, c.end, "FILTER", "(")
	if !ok {
		return "", c.end
	}
	after := bracket(c.rest, end-1)
	return " FILTER (" + translate(c.rest[end:after-1]) + ")", after
}

// rule is about the calls of one function.
type rule struct {
	args int                      // how many it takes
	put  func(call) (string, int) // translates a call, and tells the place after what it has taken
}

// variadic is any number of arguments.
const variadic = 0

// rules by the name that the embedded engine has for a function.
var rules map[string]rule

func init() { // for rules translate what is in their arguments
	rules = map[string]rule{
		"arg_max":          {2, renamed("max_by")},
		"arg_min":          {2, renamed("min_by")},
		"grouping_id":      {variadic, renamed("grouping")},
		"string_split":     {2, renamed("split")},
		"list_contains":    {2, renamed("contains")},
		"quantile_cont":    {2, func(c call) (string, int) { return c.quantile(c.arg(1), between) }},
		"median":           {1, func(c call) (string, int) { return c.quantile("0.5E0", between) }},
		"quantile_disc":    {2, func(c call) (string, int) { return c.quantile(c.arg(1), oneOf) }},
		"string_agg":       {variadic, stringAgg},
		"array_to_string":  {2, template("array_join(transform(%s, e -> format('%%s', e)), %s)")},
		"concat":           {variadic, concat},
		"cast":             {1, cast},
		"epoch_ms":         {1, template("date_diff('millisecond', TIMESTAMP '1970-01-01 00:00:00 UTC', date_trunc('millisecond', %s))")},
		"epoch_us":         {1, template("CAST(round(to_unixtime(%s) * 1E6) AS BIGINT)")},
		"make_timestamptz": {1, template("from_unixtime_nanos(1000 * (%s))")},
		"date_diff":        {3, dateDiff},
		"date_add":         {2, dateAdd},
		"strftime":         {2, strftime},
		"md5_number_lower": {1, siteNumber},
	}
}

// renamed is a function that is the same under another name.
func renamed(name string) func(call) (string, int) {
	return func(c call) (string, int) {
		args := make([]string, len(c.args))
		for i := range args {
			args[i] = c.arg(i)
		}
		return name + "(" + strings.Join(args, ", ") + ")", c.end
	}
}

// template is a function that is an expression of its arguments, each taken once.
func template(format string) func(call) (string, int) {
	return func(c call) (string, int) {
		args := make([]any, len(c.args))
		for i := range args {
			args[i] = c.arg(i)
		}
		return fmt.Sprintf(format, args...), c.end
	}
}

// Ways to a quantile q of the sorted values a: the value that has the share q below it (R's type 1), and what lies between
// its neighbours (R's type 7; Hyndman and Fan 1996).
const (
	oneOf   = "a[CAST(greatest(1, cardinality(a) - floor(cardinality(a) - cardinality(a) * %[1]s)) AS INTEGER)]"
	between = "a[CAST(floor((cardinality(a) - 1) * %[1]s) AS INTEGER) + 1] * (1 - ((cardinality(a) - 1) * %[1]s - floor((cardinality(a) - 1) * %[1]s)))" +
		" + a[CAST(ceiling((cardinality(a) - 1) * %[1]s) AS INTEGER) + 1] * ((cardinality(a) - 1) * %[1]s - floor((cardinality(a) - 1) * %[1]s))"
)

// quantile sorts all values: the fleet's own quantiles are approximate.
func (c call) quantile(q, way string) (string, int) {
	filter, end := c.filter()
	if filter == "" {
		filter = " FILTER (WHERE " + c.arg(0) + " IS NOT NULL)"
	}
	return "element_at(transform(ARRAY[array_sort(array_agg(" + c.arg(0) + ")" + filter + ")], a -> " + fmt.Sprintf(way, q) + "), 1)", end
}

// stringAgg joins a sorted array.
func stringAgg(c call) (string, int) {
	what, order := cut(c.inner, "ORDER", "BY")
	args := split(what)
	if len(args) != 2 {
		return "string_agg(" + translate(c.inner) + ")", c.end
	}
	filter, end := c.filter()
	return "array_join(array_agg(" + strings.TrimSpace(translate(args[0])) + " ORDER BY " + strings.TrimSpace(translate(order)) + ")" + filter +
		", " + plain(args[1]) + ")", end
}

// shown is the text of a value, of whatever type, as the embedded engine writes it. Null stays null.
func shown(value string) string {
	return "if(" + value + " IS NULL, NULL, format('%s', " + value + "))"
}

// concat skips nulls, and takes values of any type.
func concat(c call) (string, int) {
	args := make([]string, len(c.args))
	for i, a := range c.args {
		args[i] = c.arg(i)
		if a[next(a, 0)].kind != text {
			args[i] = "coalesce(" + shown(args[i]) + ", '')"
		}
	}
	return "concat(" + strings.Join(args, ", ") + ")", c.end
}

// cast to text writes numbers as the embedded engine does; other casts are alike.
func cast(c call) (string, int) {
	value, as := cut(c.inner, "AS")
	if !strings.EqualFold(plain(as), "VARCHAR") || strings.EqualFold(plain(value), "NULL") {
		return "CAST(" + translate(c.inner) + ")", c.end
	}
	return shown(strings.TrimSpace(translate(value))), c.end
}

// dateDiff counts the borders between two times; the fleet counts whole spans, so that times are cut to borders first.
func dateDiff(c call) (string, int) {
	from, to := c.arg(1), c.arg(2)
	if unit := c.arg(0); unit != "'day'" { // days are those of dates
		from, to = "date_trunc("+unit+", "+from+")", "date_trunc("+unit+", "+to+")"
	}
	return "date_diff(" + c.arg(0) + ", " + from + ", " + to + ")", c.end
}

// dateAdd adds whole days, as date_add(date, to_days(n)).
func dateAdd(c call) (string, int) {
	n := c.args[1]
	from, ok := follow(n, 0, "to_days")
	if !ok {
		return "date_add(" + translate(c.inner) + ")", c.end
	}
	return "date_add('day', " + translate(n[from:]) + ", " + c.arg(0) + ")", c.end
}

// strftime has other letters for minutes.
func strftime(c call) (string, int) {
	return "date_format(" + c.arg(0) + ", " + strings.ReplaceAll(c.arg(1), "%M", "%i") + ")", c.end
}

// siteNumber is md5_number_lower(id) >> 1: the last eight bytes of the digest, the lowest first, without the lowest bit.
// The fleet has no unsigned numbers, so that the shift is part of the rule.
func siteNumber(c call) (string, int) {
	end, ok := follow(c.rest, c.end, ">>")
	if !ok {
		return "md5_number_lower(" + c.arg(0) + ")", c.end
	}
	if end = next(c.rest, end) + 1; end > len(c.rest) {
		return "md5_number_lower(" + c.arg(0) + ")", c.end
	}
	return "bitwise_right_shift(from_big_endian_64(reverse(substr(md5(to_utf8(" + c.arg(0) + ")), 9, 8))), 1)", end
}
