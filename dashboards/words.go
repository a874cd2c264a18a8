package dashboards

import (
	"fmt"
	"html/template"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"scanledger/queries"
)

// monthName writes 2026-08 as Aug 2026.
func monthName(month string) string {
	names := []string{"Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"}
	if len(month) != 7 {
		return month
	}
	n, err := strconv.Atoi(month[5:])
	if err != nil || n < 1 || n > 12 {
		return month
	}
	return names[n-1] + " " + month[:4]
}

func period(b *queries.Book) string {
	if b.From == "" {
		return "no months yet"
	}
	return monthName(b.From) + " to " + monthName(b.To)
}

var standingWords = map[string]string{
	queries.InLine: "in line", queries.Watch: "watch", queries.Act: "look into it", tooFew: "too few to judge",
}

// tooFew is how a row that is not judged is drawn and named.
const tooFew = "too_few"

// mark is the sign of a standing: never colour alone.
func mark(standing string) template.HTML {
	shapes := map[string]string{
		queries.InLine: `<circle cx="5" cy="5" r="4" class="f-deep"/>`,
		queries.Watch:  `<circle cx="5" cy="5" r="3.6" class="f-ochre s-ink"/>`,
		queries.Act:    `<path d="M5 0L10 5L5 10L0 5Z" class="f-rust"/>`,
		tooFew:         `<circle cx="5" cy="5" r="3.6" class="f-none s-soft"/>`,
	}
	return template.HTML(`<svg class="mark" viewBox="0 0 10 10" aria-hidden="true">` + shapes[standing] + `</svg>`) //nolint:gosec // fixed shapes
}

// text, count, percent and interval make cells.
func text(s string) Cell { return Cell{Text: s} }

func count(n int64) Cell {
	return Cell{Text: queries.Count(n), Sort: strconv.FormatInt(n, 10), Class: "num"}
}

func percent(f queries.Figure) Cell {
	c := Cell{Text: queries.Percent(f), Class: "num"}
	if f.Known() {
		c.Sort = strconv.FormatFloat(float64(f), 'f', 6, 64)
	}
	return c
}

func interval(low, high queries.Figure) Cell {
	return Cell{Text: queries.Range(low, high), Class: "num"}
}

func decimal(f queries.Figure, digits int) Cell {
	if !f.Known() {
		return Cell{Text: "not known", Class: "num"}
	}
	return Cell{Text: fixed(float64(f), digits), Sort: strconv.FormatFloat(float64(f), 'f', 6, 64), Class: "num"}
}

// fixed writes a number with so many decimals; one that rounds to 0 has no sign.
func fixed(v float64, digits int) string {
	s := strconv.FormatFloat(v, 'f', digits, 64)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-")
	}
	return s
}

// day is a date that does not break.
func day(date string) Cell { return Cell{Text: date, Class: "day"} }

// counted writes "1 row" or "3 rows".
func counted(n int64, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return queries.Count(n) + " " + many
}

func ofAll(n, all int64) string { return fmt.Sprintf("%s of %s", queries.Count(n), queries.Count(all)) }

// upperFirst begins a sentence.
func upperFirst(s string) string {
	first, size := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(first)) + s[size:]
}
