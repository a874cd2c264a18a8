package ask

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/duckdb/duckdb-go/v2"
)

// Cell is one value of an answer, as text, and as JSON where it has a kind of its own there.
type Cell struct {
	Text string
	JSON any
	Kind Kind
}

// Kind is what a cell's text stands for.
type Kind int

// Kinds of cells. Only words may hold what a spreadsheet takes for a formula.
const (
	Nothing Kind = iota // no value
	Number
	Word
)

// cellOf writes a value the way the records write theirs: times with offset in UTC, dates by themselves. Kind is the
// engine's name of its type.
func cellOf(v any, kind string) Cell {
	switch v := v.(type) {
	case nil:
		return Cell{}
	case string:
		return word(v)
	case []byte:
		return word(bytesText(v, kind))
	case bool:
		return Cell{strconv.FormatBool(v), v, Number}
	case float64:
		return float(v, 64)
	case float32:
		return float(float64(v), 32)
	case time.Time:
		return word(v.UTC().Format(layoutOf(kind)))
	case duckdb.Decimal:
		return Cell{v.String(), json.Number(v.String()), Number}
	case *big.Int:
		return Cell{v.String(), json.Number(v.String()), Number}
	case int64, int32, int16, int8, uint64, uint32, uint16, uint8:
		return Cell{fmt.Sprint(v), v, Number}
	case duckdb.Interval:
		seconds := strconv.FormatFloat(float64(v.Micros)/1e6, 'f', -1, 64)
		return word(fmt.Sprintf("P%dM%dDT%sS", v.Months, v.Days, seconds))
	case []any:
		return listCell(v, strings.TrimSuffix(kind, "[]"))
	case map[string]any:
		return structCell(v)
	}
	return word(fmt.Sprint(v))
}

func bytesText(v []byte, kind string) string {
	switch {
	case kind == "UUID" && len(v) == len(duckdb.UUID{}):
		id := duckdb.UUID(v)
		return id.String()
	case utf8.Valid(v):
		return string(v)
	}
	return fmt.Sprintf("%x", v)
}

// layoutOf is how a point in time of the given type is written.
func layoutOf(kind string) string {
	switch kind {
	case "DATE":
		return time.DateOnly
	case "TIME":
		return "15:04:05.999999"
	case "TIME WITH TIME ZONE", "TIMETZ":
		return "15:04:05.999999Z07:00"
	}
	return time.RFC3339Nano
}

// listCell writes a list, whose elements are of the given type.
func listCell(list []any, kind string) Cell {
	texts, values := make([]string, len(list)), make([]any, len(list))
	for i, v := range list {
		cell := cellOf(v, kind)
		texts[i], values[i] = inner(cell), cell.JSON
	}
	return Cell{"[" + strings.Join(texts, ", ") + "]", values, Word}
}

// structCell writes named values, in the order of their names.
func structCell(fields map[string]any) Cell {
	values, texts := map[string]any{}, []string{}
	for _, name := range slices.Sorted(maps.Keys(fields)) {
		cell := cellOf(fields[name], "")
		values[name] = cell.JSON
		texts = append(texts, name+": "+inner(cell))
	}
	return Cell{"{" + strings.Join(texts, ", ") + "}", values, Word}
}

// inner is a cell within another: there, nothing would look like an empty text.
func inner(c Cell) string {
	if c.Kind == Nothing {
		return "NULL"
	}
	return c.Text
}

func word(s string) Cell { return Cell{s, s, Word} }

// float is a number of so many bits, written as JSON does by ECMA-262: with an exponent only where it is very large or
// very small. One that is no number has no place in JSON.
func float(v float64, bits int) Cell {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return Cell{strconv.FormatFloat(v, 'g', -1, bits), nil, Number}
	}
	format := byte('f')
	if size := math.Abs(v); v != 0 && (size < 1e-6 || size >= 1e21) {
		format = 'e'
	}
	text := strconv.FormatFloat(v, format, -1, bits)
	return Cell{text, json.Number(text), Number}
}
