package ingest

import (
	"bytes"
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// form tells what a file says a cell is; text formats say nothing.
type form uint8

const (
	written form = iota // characters, to be read by the field's type
	numeric             // a number of a typed format, as decimal text: 3.0 is the whole number 3
	logical             // true or false of a typed format
	broken              // a spreadsheet's error value
)

// cell is one raw value. A nil or empty text is a missing value.
type cell struct {
	form form
	text []byte
}

// fault is one broken rule.
type fault struct {
	rule    string
	message string
}

const asciiSpace = " \t\n\v\f\r"

// trim cuts off ASCII space; most cells have none.
func trim(text []byte) []byte {
	if n := len(text); n == 0 || text[0] > ' ' && text[n-1] > ' ' {
		return text
	}
	return bytes.Trim(text, asciiSpace)
}

// clip makes raw bytes fit for a Reject: valid UTF-8 without NUL, of at most MaxRawBytes.
func clip(raw []byte) string {
	cut := len(raw) > MaxRawBytes
	if cut {
		raw = raw[:MaxRawBytes]
		for len(raw) > MaxRawBytes-utf8.UTFMax && !utf8.FullRune(lastRune(raw)) {
			raw = raw[:len(raw)-1]
		}
	}
	text := strings.ReplaceAll(strings.ToValidUTF8(string(raw), "�"), "\x00", "␀")
	for len(text) > MaxRawBytes { // a replacement character is longer than the byte it stands for
		_, size := utf8.DecodeLastRuneInString(text)
		text = text[:len(text)-size]
	}
	return text
}

// lastRune gives the bytes from the start of the last rune on.
func lastRune(raw []byte) []byte {
	for i := len(raw) - 1; i >= 0 && i >= len(raw)-utf8.UTFMax; i-- {
		if utf8.RuneStart(raw[i]) {
			return raw[i:]
		}
	}
	return nil
}

// soundText tells whether text is valid UTF-8 without NUL.
func soundText(text []byte) bool {
	return bytes.IndexByte(text, 0) < 0 && utf8.Valid(text)
}

// isPlain tells whether text is all printable ASCII, as most is; then nothing more need be asked of it.
func isPlain(text []byte) bool {
	for _, b := range text {
		if b < ' ' || b > '~' {
			return false
		}
	}
	return true
}

func printable(text []byte) bool {
	for i := 0; i < len(text); {
		if b := text[i]; b < utf8.RuneSelf {
			if b < ' ' || b == 0x7f {
				return false
			}
			i++
			continue
		}
		r, size := utf8.DecodeRune(text[i:])
		if !unicode.IsPrint(r) {
			return false
		}
		i += size
	}
	return true
}

// decimal is a number's text taken apart: value = ±mantissa × 10^exponent.
type decimal struct {
	negative bool
	mantissa uint64
	digits   int // digits of the mantissa, leading zeros not counted
	exponent int
	whole    bool // neither point nor exponent was written
}

// maxExponent bounds the exponent read; anything beyond is zero or out of range anyway.
const maxExponent = 1_000_000

// scanDecimal reads [sign] digits [. digits] [e [sign] digits]; at least one digit must stand
// before the exponent. No NaN, infinity, hexadecimal, digit grouping or inner space passes.
func scanDecimal(text []byte) (decimal, bool) {
	d := decimal{whole: true}
	i := 0
	if i < len(text) && (text[i] == '-' || text[i] == '+') {
		d.negative = text[i] == '-'
		i++
	}
	seen := false
	for ; i < len(text); i++ {
		b := text[i]
		if b == '.' && d.whole {
			d.whole = false
			continue
		}
		if b < '0' || b > '9' {
			break
		}
		seen = true
		if !d.whole {
			d.exponent--
		}
		if d.digits > 0 || b != '0' {
			d.digits++
		}
		if d.digits <= 19 {
			d.mantissa = d.mantissa*10 + uint64(b-'0')
		}
	}
	if !seen || i == len(text) {
		return d, seen
	}
	return scanExponent(d, text[i:])
}

func scanExponent(d decimal, text []byte) (decimal, bool) {
	if text[0] != 'e' && text[0] != 'E' {
		return d, false
	}
	d.whole = false
	text = text[1:]
	negative := false
	if len(text) > 0 && (text[0] == '-' || text[0] == '+') {
		negative = text[0] == '-'
		text = text[1:]
	}
	exponent := 0
	for _, b := range text {
		if b < '0' || b > '9' {
			return d, false
		}
		exponent = min(exponent*10+int(b-'0'), maxExponent)
	}
	if negative {
		exponent = -exponent
	}
	d.exponent += exponent
	return d, len(text) > 0
}

// powersOfTen are the powers of ten a float64 holds exactly.
var powersOfTen = [...]float64{
	1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11,
	1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22,
}

// parseNumber reads the float64 nearest to a decimal text. Where mantissa and power of ten are
// both exact, one multiplication or division rounds correctly (Clinger, 1990, "How to read
// floating point numbers accurately"); strconv settles the rest. Minus zero becomes zero, so that
// one value has one form.
func parseNumber(text []byte) (float64, bool) {
	if v, ok := parseShort(text); ok {
		return v, true
	}
	d, ok := scanDecimal(text)
	if !ok {
		return 0, false
	}
	limit := len(powersOfTen) - 1
	if d.mantissa >= 1<<53 || d.digits > 19 || d.exponent < -limit || d.exponent > limit {
		v, err := strconv.ParseFloat(string(text), 64)
		if v == 0 {
			v = 0
		}
		return v, err == nil
	}
	v := float64(d.mantissa)
	if d.exponent < 0 {
		v /= powersOfTen[-d.exponent]
	} else {
		v *= powersOfTen[d.exponent]
	}
	if d.negative && v != 0 {
		v = -v
	}
	return v, true
}

// parseShort reads what most numbers are: up to 15 digits with at most a point among them. They and the power of ten are
// exact, so that one division rounds correctly.
func parseShort(text []byte) (float64, bool) {
	if len(text) > 15 {
		return 0, false
	}
	mantissa, point := uint64(0), -1
	for i, b := range text {
		switch {
		case b >= '0' && b <= '9':
			mantissa = mantissa*10 + uint64(b-'0')
		case b == '.' && point < 0:
			point = i
		default:
			return 0, false
		}
	}
	if point < 0 {
		return float64(mantissa), len(text) > 0
	}
	return float64(mantissa) / powersOfTen[len(text)-1-point], len(text) > 1
}

// parseInteger reads a 32-bit whole number. Only a number of a typed format may be written with a
// fraction of zero or an exponent.
func parseInteger(c cell) (int64, bool) {
	d, ok := scanDecimal(c.text)
	if !ok {
		return 0, false
	}
	if d.whole && d.digits <= 10 {
		v := int64(d.mantissa)
		if d.negative {
			v = -v
		}
		return v, v >= math.MinInt32 && v <= math.MaxInt32
	}
	if c.form != numeric {
		return 0, false
	}
	v, ok := parseNumber(c.text)
	if !ok || v != math.Trunc(v) || v < math.MinInt32 || v > math.MaxInt32 {
		return 0, false
	}
	return int64(v), true
}

// parseBoolean reads true, false, 1 or 0 in any case: common practice, no source.
func parseBoolean(text []byte) (value, ok bool) {
	switch {
	case len(text) == 1 && text[0] == '1', len(text) == 4 && strings.EqualFold(string(text), "true"):
		return true, true
	case len(text) == 1 && text[0] == '0', len(text) == 5 && strings.EqualFold(string(text), "false"):
		return false, true
	default:
		return false, false
	}
}

// pointed turns a decimal comma into a point, in place; text with a point or several commas is
// given back as it is, and fails as a number.
func pointed(text []byte) []byte {
	comma := bytes.IndexByte(text, ',')
	if comma < 0 || bytes.IndexByte(text, '.') >= 0 {
		return text
	}
	text[comma] = '.'
	return text
}

// oneOf tells whether text is one of the allowed values.
func oneOf(allowed []string, text []byte) bool {
	for _, a := range allowed {
		if a == string(text) {
			return true
		}
	}
	return false
}
