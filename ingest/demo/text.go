package demo

import (
	"bufio"
	"encoding/csv"
	"encoding/json"
	"io"
	"slices"
	"strconv"
	"strings"

	"scanledger/ingest/contract"
)

// byteOrderMark is U+FEFF in UTF-8.
const byteOrderMark = "\uFEFF"

// encodeCSV writes the file as delimited text (RFC 4180).
func (f *file) encodeCSV(w io.Writer) error {
	buffered := bufio.NewWriter(w)
	if f.form.bom {
		if _, err := buffered.WriteString(byteOrderMark); err != nil {
			return err
		}
	}
	lines := csv.NewWriter(buffered)
	lines.UseCRLF = f.form.crlf
	if f.form.delimiter != 0 {
		lines.Comma = f.form.delimiter
	}
	if err := lines.Write(f.header()); err != nil {
		return err
	}
	for i, row := range f.rows {
		if row.raw != "" {
			lines.Flush()
			if _, err := buffered.WriteString(row.raw + "\n"); err != nil {
				return err
			}
		} else if err := lines.Write(f.line(i)); err != nil {
			return err
		}
	}
	lines.Flush()
	if err := lines.Error(); err != nil {
		return err
	}
	return buffered.Flush()
}

func (f *file) header() []string {
	var names []string
	for _, field := range f.set.Fields {
		names = append(names, field.Name)
	}
	if f.form.extra != "" {
		names = append(names, f.form.extra)
	}
	if f.form.reversed {
		slices.Reverse(names)
	}
	return names
}

// line is a row's cells as the file has them.
func (f *file) line(i int) []string {
	cells := f.rows[i].cells
	if f.form == (form{delimiter: f.form.delimiter}) {
		return cells
	}
	cells = slices.Clone(cells)
	if f.form.decimalComma {
		for c, field := range f.set.Fields {
			if field.Kind() == contract.Number {
				cells[c] = strings.Replace(cells[c], ".", ",", 1)
			}
		}
	}
	if f.form.extra != "" {
		cells = append(cells, strconv.Itoa(40+i%160))
	}
	if f.form.reversed {
		slices.Reverse(cells)
	}
	return cells
}

// encodeJSON writes one object a line, missing cells left out.
func (f *file) encodeJSON(w io.Writer) error {
	buffered := bufio.NewWriter(w)
	for _, row := range f.rows {
		line := row.raw
		if line == "" {
			var err error
			if line, err = f.object(row.cells); err != nil {
				return err
			}
		}
		if _, err := buffered.WriteString(line + "\n"); err != nil {
			return err
		}
	}
	return buffered.Flush()
}

func (f *file) object(cells []string) (string, error) {
	var out []byte
	for i, field := range f.set.Fields {
		if cells[i] == "" {
			continue
		}
		value, err := json.Marshal(typed(field, cells[i]))
		if err != nil {
			return "", err
		}
		out = append(out, ',')
		out = strconv.AppendQuote(out, field.Name)
		out = append(append(out, ':'), value...)
	}
	if len(out) == 0 {
		return "{}", nil
	}
	out[0] = '{'
	return string(out) + "}", nil
}

// typed is a cell as its kind of value, or as the text it is where it is none.
func typed(field contract.Field, cell string) any {
	switch field.Kind() {
	case contract.Integer:
		if n, err := strconv.ParseInt(cell, 10, 32); err == nil {
			return n
		}
	case contract.Number:
		if x, err := strconv.ParseFloat(cell, 64); err == nil {
			return x
		}
	case contract.Boolean:
		return cell == "true"
	default:
		return cell
	}
	return cell // a number in form only
}
