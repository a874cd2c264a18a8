package queries

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"strconv"
	"strings"

	"scanledger/ingest/store"
)

// Result is what one analysis says. Rows is a slice of flat structs whose json tags are the column
// names, in order.
type Result struct {
	Analysis string   `json:"analysis"`
	Title    string   `json:"title"`
	Question string   `json:"question"`
	AsOf     string   `json:"as_of"` // only what had been received by this day is seen
	From     string   `json:"from"`  // first local month, YYYY-MM
	To       string   `json:"to"`    // last local month, YYYY-MM
	Rows     any      `json:"rows"`
	Notes    []string `json:"notes"`
	Query    Query    `json:"-"`
}

// Figure is a number that may not be known: NaN prints as null, or as an empty cell.
type Figure float64

// MarshalJSON prints the shortest text that reads back to the same number, or null.
func (f Figure) MarshalJSON() ([]byte, error) {
	if !f.Known() {
		return []byte("null"), nil
	}
	return json.Marshal(float64(f))
}

// UnmarshalJSON reads what MarshalJSON wrote: null is not known.
func (f *Figure) UnmarshalJSON(raw []byte) error {
	if string(raw) == "null" {
		*f = Unknown
		return nil
	}
	return json.Unmarshal(raw, (*float64)(f))
}

// Known reports whether the figure can be said.
func (f Figure) Known() bool { return !math.IsNaN(float64(f)) && !math.IsInf(float64(f), 0) }

// Unknown is the figure that cannot be said.
var Unknown = Figure(math.NaN())

// share is a/b, or Unknown.
func share(a, b int64) Figure {
	if b == 0 {
		return Unknown
	}
	return Figure(float64(a) / float64(b))
}

// JSON is the result as an indented JSON object.
func (r Result) JSON() ([]byte, error) {
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	err := enc.Encode(r)
	return out.Bytes(), err
}

// CSV is the result's rows with a header row; text that a spreadsheet could take for a formula is
// made inert.
func (r Result) CSV() ([]byte, error) {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	rows := reflect.ValueOf(r.Rows)
	if err := w.Write(Columns(rows.Type().Elem())); err != nil {
		return nil, err
	}
	for i := range rows.Len() {
		if err := w.Write(cells(rows.Index(i))); err != nil {
			return nil, err
		}
	}
	w.Flush()
	return out.Bytes(), w.Error()
}

// Columns lists the column names of a row type, those of embedded structs in place.
func Columns(t reflect.Type) []string {
	var out []string
	for i := range t.NumField() {
		f := t.Field(i)
		if f.Anonymous {
			out = append(out, Columns(f.Type)...)
			continue
		}
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		out = append(out, name)
	}
	return out
}

// Values are the values of a row under Columns, a pointer's value in its place and nil where there is none.
func Values(row any) []any {
	var out []any
	v := reflect.ValueOf(row)
	for i := range v.NumField() {
		f := v.Field(i)
		switch {
		case v.Type().Field(i).Anonymous:
			out = append(out, Values(f.Interface())...)
		case f.Kind() == reflect.Pointer && f.IsNil():
			out = append(out, nil)
		case f.Kind() == reflect.Pointer:
			out = append(out, f.Elem().Interface())
		default:
			out = append(out, f.Interface())
		}
	}
	return out
}

func cells(row reflect.Value) []string {
	var out []string
	for i := range row.NumField() {
		if row.Type().Field(i).Anonymous {
			out = append(out, cells(row.Field(i))...)
			continue
		}
		out = append(out, cell(row.Field(i)))
	}
	return out
}

func cell(v reflect.Value) string {
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return ""
		}
		v = v.Elem()
	}
	if f, ok := v.Interface().(Figure); ok {
		if !f.Known() {
			return ""
		}
		return strconv.FormatFloat(float64(f), 'g', -1, 64)
	}
	if v.Kind() == reflect.String {
		return store.Inert(v.String())
	}
	return fmt.Sprint(v.Interface())
}
