package ingest

import (
	"strconv"
	"strings"
	"time"
	_ "time/tzdata" // the same zones on every machine
	"unicode/utf8"

	"scanledger/ingest/contract"
)

// value is one cell read as its field says.
type value struct {
	state state
	local bool
	truth bool
	whole int64 // Integer; Date in days and Timestamp in microseconds since 1970-01-01 UTC
	num   float64
	text  []byte // for as long as the cell it was read from
}

type state uint8

const (
	missing state = iota
	sound
	faulty // a rule of the field is broken, so row rules cannot judge it
)

// fieldParser reads the cells of one field. It holds scratch space and serves one goroutine.
type fieldParser struct {
	contract.Constraints
	kind  contract.Kind
	role  string
	comma bool // a decimal comma may stand for the point
	buf   []byte

	// messages are made once: a bad column can break the same rule in every row
	outside, unlisted string
}

func newFieldParser(f contract.Field, decimalComma bool) fieldParser {
	return fieldParser{
		Constraints: f.Constraints,
		kind:        f.Kind(),
		role:        f.Role,
		comma:       decimalComma,
		outside:     "lies outside what the column allows, " + rangeText(f) + "; correct the value or its unit",
		unlisted:    "is not one of the words the column takes; write " + strings.Join(f.Constraints.Enum, ", "),
	}
}

// rangeText says which numbers a field takes.
func rangeText(f contract.Field) string {
	var parts []string
	bound := func(word string, limit *float64) {
		if limit != nil {
			parts = append(parts, word+" "+strconv.FormatFloat(*limit, 'f', -1, 64))
		}
	}
	bound("above", f.Constraints.ExclusiveMinimum)
	bound("at least", f.Constraints.Minimum)
	bound("at most", f.Constraints.Maximum)
	text := strings.Join(parts, " and ")
	if f.Unit != "" {
		text += " " + f.Unit
	}
	return text
}

var (
	absent     = &fault{"required", "is required; fill it in"}
	notInteger = &fault{"type", "is not a whole number between -2147483648 and 2147483647; write digits only, such as 12"}
	notNumber  = &fault{"type", "is not a number; write digits with a decimal point and without unit, such as 12.5"}
	notBoolean = &fault{"type", "is neither true nor false; write true, false, 1 or 0"}
	notText    = &fault{"type", "is a true-or-false value where text belongs; write text"}
	errorValue = &fault{"type", "is an error value of the spreadsheet; mend its formula"}
	notUTF8    = &fault{"utf8", "holds bytes that are not UTF-8 text; save the file as UTF-8"}
	tooShort   = &fault{"minLength", "is too short; write more characters"}
	tooLong    = &fault{"maxLength", "is too long; the command records shows how many characters the column takes"}
	unprinted  = &fault{"printable", "holds a character that cannot be printed; remove it"}
	noZone     = &fault{"zone", "is not an IANA time zone; write one such as Australia/Brisbane"}
)

// parse reads one cell into v, which is always of this field: what its kind does not use stays zero.
func (p *fieldParser) parse(c cell, v *value) *fault {
	c.text = trim(c.text)
	if len(c.text) == 0 {
		*v = value{}
		if p.Required {
			v.state = faulty
			return absent
		}
		return nil
	}
	v.state = sound
	f := p.read(c, v)
	if f == nil {
		return nil
	}
	v.state = faulty
	if !soundText(c.text) {
		return notUTF8
	}
	return f
}

// read reads a cell that is not empty.
func (p *fieldParser) read(c cell, v *value) (f *fault) {
	if c.form == broken {
		return errorValue
	}
	var ok bool
	switch p.kind {
	case contract.Integer:
		if v.whole, ok = parseInteger(c); !ok {
			return notInteger
		}
		return p.bounds(float64(v.whole))
	case contract.Number:
		if p.comma {
			p.buf = append(p.buf[:0], c.text...)
			c.text = pointed(p.buf)
		}
		if v.num, ok = parseNumber(c.text); !ok {
			return notNumber
		}
		return p.bounds(v.num)
	case contract.Boolean:
		if v.truth, ok = parseBoolean(c.text); !ok {
			return notBoolean
		}
		return nil
	case contract.Date:
		v.whole, f = parseDate(c.text)
	case contract.Timestamp:
		v.whole, v.local, f = parseTimestamp(c.text)
	case contract.Text:
		v.text, f = p.readText(c)
	}
	return f
}

func (p *fieldParser) bounds(v float64) *fault {
	switch {
	case p.ExclusiveMinimum != nil && v <= *p.ExclusiveMinimum:
		return &fault{"exclusiveMinimum", p.outside}
	case p.Minimum != nil && v < *p.Minimum:
		return &fault{"minimum", p.outside}
	case p.Maximum != nil && v > *p.Maximum:
		return &fault{"maximum", p.outside}
	default:
		return nil
	}
}

func (p *fieldParser) readText(c cell) ([]byte, *fault) {
	if c.form == logical {
		return nil, notText
	}
	if p.Enum == nil {
		return c.text, p.textFault(c.text)
	}
	if !oneOf(p.Enum, c.text) {
		return nil, &fault{"enum", p.unlisted}
	}
	return c.text, nil
}

func (p *fieldParser) textFault(text []byte) *fault {
	plain := isPlain(text)
	length := len(text)
	if !plain {
		length = utf8.RuneCount(text)
	}
	switch {
	case length < p.MinLength:
		return tooShort
	case p.MaxLength > 0 && length > p.MaxLength:
		return tooLong
	case !plain && !soundText(text):
		return notUTF8
	case !plain && p.role == "id" && !printable(text):
		return unprinted
	case p.role == "zone" && !isZone(string(text)):
		return noZone
	default:
		return nil
	}
}

// isZone tells whether a name is a time zone; "Local" would mean another zone on each machine.
func isZone(name string) bool {
	_, err := time.LoadLocation(name)
	return err == nil && name != "Local"
}
