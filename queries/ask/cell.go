package ask

import (
	"encoding/json"
	"fmt"
	"math"
	"math/big"
	"strconv"
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

// cellOf writes a value the way the records write theirs: times with offset in UTC, dates by themselves.
func cellOf(v any, kind string) Cell {
	switch v := v.(type) {
	case nil:
		return Cell{}
	case string:
		return word(v)
	case []byte:
		if utf8.Valid(v) {
			return word(string(v))
		}
		return word(fmt.Sprintf("%x", v))
	case bool:
		return Cell{strconv.FormatBool(v), v, Number}
	case float64:
		return float(v)
	case float32:
		return float(float64(v))
	case time.Time:
		if kind == "DATE" {
			return word(v.UTC().Format(time.DateOnly))
		}
		return word(v.UTC().Format(time.RFC3339Nano))
	case duckdb.Decimal:
		return float(v.Float64())
	case *big.Int:
		return Cell{v.String(), json.Number(v.String()), Number}
	case int64, int32, int16, int8, uint64, uint32, uint16, uint8:
		return Cell{fmt.Sprint(v), v, Number}
	}
	return word(fmt.Sprint(v))
}

func word(s string) Cell { return Cell{s, s, Word} }

// float is a number; one that is none has no place in JSON.
func float(v float64) Cell {
	text := strconv.FormatFloat(v, 'g', -1, 64)
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return Cell{text, nil, Number}
	}
	return Cell{text, v, Number}
}
