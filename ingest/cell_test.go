package ingest

import (
	"math"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"pgregory.net/rapid"
)

func TestNumbers(t *testing.T) {
	tests := []struct {
		text string
		want float64
		ok   bool
	}{
		{"0", 0, true}, {"-0", 0, true}, {"-0.0e5", 0, true}, {"12.5", 12.5, true}, {"+12.5", 12.5, true},
		{".5", 0.5, true}, {"5.", 5, true}, {"1e3", 1000, true}, {"1E-3", 0.001, true}, {"007", 7, true},
		{"0.1", 0.1, true}, {"123456789012345678901234567890", 123456789012345678901234567890, true},
		{"1e-400", 0, true}, {"-1e-400", 0, true}, {"4.9e-324", 5e-324, true}, {"1.7976931348623157e308", math.MaxFloat64, true},
		{"1e309", 0, false}, {"1e99999999999999999999", 0, false}, {"NaN", 0, false}, {"Inf", 0, false},
		{"infinity", 0, false}, {"0x10", 0, false}, {"1_000", 0, false}, {"1 000", 0, false}, {"1,5", 0, false},
		{"", 0, false}, {"-", 0, false}, {".", 0, false}, {"e5", 0, false}, {"1e", 0, false}, {"1e+", 0, false},
		{"1.2.3", 0, false}, {"--1", 0, false}, {"12%", 0, false}, {"½", 0, false}, {"１", 0, false},
	}
	for _, test := range tests {
		got, ok := parseNumber([]byte(test.text))
		if ok != test.ok || ok && (got != test.want || math.Signbit(got) && got == 0) {
			t.Errorf("%q: got %v %v, want %v %v", test.text, got, ok, test.want, test.ok)
		}
	}
}

// TestNumbersAgainstStrconv: every decimal text gives the float64 that strconv gives.
func TestNumbersAgainstStrconv(t *testing.T) {
	pattern := rapid.StringMatching(`[+-]?[0-9]{0,25}(\.[0-9]{0,25})?([eE][+-]?[0-9]{0,3})?`)
	rapid.Check(t, func(t *rapid.T) {
		text := pattern.Draw(t, "text")
		want, err := strconv.ParseFloat(text, 64)
		got, ok := parseNumber([]byte(text))
		if ok != (err == nil) || ok && got != want {
			t.Fatalf("%q: got %v %v, strconv %v %v", text, got, ok, want, err)
		}
	})
}

// TestNumbersRoundTrip: the shortest text of a float64 reads back as it.
func TestNumbersRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := rapid.Float64Range(-math.MaxFloat64, math.MaxFloat64).Draw(t, "number")
		if got, ok := parseNumber(strconv.AppendFloat(nil, want, 'g', -1, 64)); !ok || got != want {
			t.Fatalf("%v: got %v %v", want, got, ok)
		}
	})
}

func TestIntegers(t *testing.T) {
	tests := []struct {
		form form
		text string
		want int64
		ok   bool
	}{
		{written, "12", 12, true}, {written, "-2147483648", math.MinInt32, true}, {written, "2147483647", math.MaxInt32, true},
		{written, "2147483648", 0, false}, {written, "-2147483649", 0, false}, {written, "99999999999999999999", 0, false},
		{written, "3.0", 0, false}, {written, "3e0", 0, false}, {written, "+7", 7, true}, {written, "0000000000012", 12, true},
		{numeric, "3.0", 3, true}, {numeric, "3e1", 30, true}, {numeric, "3.5", 0, false}, {numeric, "1e99", 0, false},
		{numeric, "2147483648.0", 0, false}, {numeric, "-3.0", -3, true}, {numeric, "NaN", 0, false},
	}
	for _, test := range tests {
		if got, ok := parseInteger(cell{test.form, []byte(test.text)}); ok != test.ok || ok && got != test.want {
			t.Errorf("%q: got %d %v", test.text, got, ok)
		}
	}
}

func TestBooleans(t *testing.T) {
	for text, want := range map[string]string{
		"true": "true", "FALSE": "false", "True": "true", "1": "true", "0": "false",
		"yes": "", "t": "", "2": "", "01": "", "truee": "", "ja": "",
	} {
		got := ""
		if v, ok := parseBoolean([]byte(text)); ok {
			got = strconv.FormatBool(v)
		}
		if got != want {
			t.Errorf("%q: got %q, want %q", text, got, want)
		}
	}
}

// TestClip: a reject's value is short, valid text that begins like the raw one.
func TestClip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		raw := []byte(strings.Repeat(rapid.String().Draw(t, "text"), rapid.IntRange(1, 60).Draw(t, "times")))
		got := clip(raw)
		if len(got) > MaxRawBytes || !utf8.ValidString(got) || strings.Contains(got, "\x00") {
			t.Fatalf("%q gave %q", raw, got)
		}
		whole := strings.ReplaceAll(string(raw), "\x00", "␀")
		if !strings.HasPrefix(whole, got) || len(got) < min(len(whole), MaxRawBytes-utf8.UTFMax) {
			t.Fatalf("%q gave %q", raw, got)
		}
	})
	if got := clip([]byte("a\xffb\xc3")); got != "a�b�" {
		t.Errorf("got %q", got)
	}
}
