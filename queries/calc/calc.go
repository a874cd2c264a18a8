// Package calc lets a person recompute any figure by hand.
//
// In: the name of a method and one JSON object of numbers, of the shape the published examples
// use. Out: the figures as a JSON object. It only translates between JSON and queries/stats;
// it never holds a formula, reads a file or knows where the numbers came from.
package calc

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"slices"
	"strings"
)

// Limits on one input object: enough for a year of months or a thousand technicians, small
// enough that a mistaken file is refused at once.
const (
	MaxInputBytes = 8 << 20
	MaxNumbers    = 200_000
)

// ErrInput marks input that cannot be computed on: malformed, missing, or impossible.
var ErrInput = errors.New("input")

// A Method is one named calculation.
type Method struct {
	Name    string `json:"name"`    // as in the published examples, without the leading number
	Summary string `json:"summary"` // one line
	Source  string `json:"source"`  // author, year
	run     func(raw []byte) (any, error)
}

// Methods lists every method by name.
func Methods() []Method {
	all := slices.Concat(
		proportionMethods, accuracyMethods, regressionMethods,
		tableMethods, multiplicityMethods, agreementMethods, chartMethods, ratioMethods,
		seasonMethods, trendMethods, samplingMethods, periodMethods, mixMethods, measurementMethods,
	)
	slices.SortFunc(all, func(a, b Method) int { return strings.Compare(a.Name, b.Name) })
	return all
}

// Run computes method name on the JSON object in r and returns the result as indented JSON.
// Any fault of the input wraps ErrInput.
func Run(name string, r io.Reader) ([]byte, error) {
	methods := Methods()
	i := slices.IndexFunc(methods, func(m Method) bool { return m.Name == name })
	if i < 0 {
		return nil, fmt.Errorf("%w: no method %q; list them with: scanledger calc --list", ErrInput, name)
	}
	raw, err := io.ReadAll(io.LimitReader(r, MaxInputBytes+1))
	if err != nil {
		return nil, fmt.Errorf("calc %s: read input: %w", name, err)
	}
	if len(raw) > MaxInputBytes {
		return nil, fmt.Errorf("calc %s: %w: over %d bytes; give one example at a time", name, ErrInput, MaxInputBytes)
	}
	if n := bytes.Count(raw, []byte(",")); n > MaxNumbers {
		return nil, fmt.Errorf("calc %s: %w: over %d numbers; this command is for checking single figures", name, ErrInput, MaxNumbers)
	}
	out, err := methods[i].run(raw)
	if err != nil {
		return nil, fmt.Errorf("calc %s: %w: %w", name, ErrInput, err)
	}
	text, err := json.MarshalIndent(out, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("calc %s: %w: the result is not a finite number (%w)", name, ErrInput, err)
	}
	return append(text, '\n'), nil
}

// method wraps a typed calculation. Fields of In tagged `calc:"required"` must be present;
// unknown fields (notes, layouts) are ignored; non-finite results become null.
func method[In, Out any](name, summary, source string, f func(In) (Out, error)) Method {
	return Method{Name: name, Summary: summary, Source: source, run: func(raw []byte) (any, error) {
		var in In
		if err := decode(raw, &in); err != nil {
			return nil, err
		}
		return f(in)
	}}
}

func decode(raw []byte, in any) error {
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(raw, &fields); err != nil {
		return fmt.Errorf("not one JSON object: %w", err)
	}
	if fields == nil {
		return errors.New("not one JSON object: null")
	}
	t := reflect.TypeOf(in).Elem()
	for i := range t.NumField() {
		f := t.Field(i)
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		value, ok := fields[name]
		if f.Tag.Get("calc") == "required" && (!ok || string(value) == "null") {
			return fmt.Errorf("field %q is missing", name)
		}
	}
	if err := json.Unmarshal(raw, in); err != nil {
		return fmt.Errorf("wrong type: %w", err)
	}
	return nil
}

// Num is a figure in a result; a value that cannot be said (NaN or infinite) prints as null.
type Num float64

// MarshalJSON prints the shortest text that reads back to the same number, or null.
func (n Num) MarshalJSON() ([]byte, error) {
	f := float64(n)
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return []byte("null"), nil
	}
	return json.Marshal(f)
}

func nums(xs []float64) []Num {
	out := make([]Num, len(xs))
	for i, x := range xs {
		out[i] = Num(x)
	}
	return out
}
