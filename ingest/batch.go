package ingest

import (
	"slices"

	"scanledger/ingest/contract"
)

// BatchRows is the most rows one Batch holds.
const BatchRows = 8192

// Batch holds sound rows of one record set by column. All columns have one entry a row.
type Batch struct {
	Set   *contract.Set
	Lines []int64  // physical line (CSV, JSON Lines), sheet row (XLSX) or row number (Parquet), from 1
	Cols  []Column // one per contract field, in the contract's order
}

// Column holds the values of one field. Which of them is filled follows from the field's kind;
// where Valid is false the value is missing and the slot holds the zero value.
type Column struct {
	Valid []bool
	Text  Texts
	Int   []int64 // Integer; Date in days and Timestamp in microseconds since 1970-01-01 UTC
	Num   []float64
	Bool  []bool
	Local []bool // Timestamp only: the source gave no offset, and Int holds the wall clock as if it were UTC
}

// Texts holds texts end to end: a column of them is two pieces of memory, not one a text, which
// spares the garbage collector most of its work. It is laid out as Arrow lays out strings.
type Texts struct {
	Bytes   []byte
	Offsets []int32 // text i is Bytes[Offsets[i]:Offsets[i+1]]; empty where there is no text
}

// Len is how many texts there are.
func (t *Texts) Len() int { return max(len(t.Offsets)-1, 0) }

// At is a copy of text i.
func (t *Texts) At(i int) string { return string(t.Bytes[t.Offsets[i]:t.Offsets[i+1]]) }

// Append adds one text. All of them must stay below 2 GiB; what readers hold of a file at a time does by far.
func (t *Texts) Append(text []byte) {
	if len(t.Offsets) == 0 {
		t.Offsets = append(t.Offsets, 0)
	}
	t.Bytes = append(t.Bytes, text...)
	t.Offsets = append(t.Offsets, int32(len(t.Bytes)))
}

// ReplaceLast puts another text, or with nil none, into the place of the last one of a column of texts.
func (c *Column) ReplaceLast(text *string) {
	n := c.Text.Len() - 1
	c.Text.Bytes, c.Text.Offsets = c.Text.Bytes[:c.Text.Offsets[n]], c.Text.Offsets[:n+1]
	c.Valid[len(c.Valid)-1] = text != nil
	if text == nil {
		c.Text.Append(nil)
		return
	}
	c.Text.Append([]byte(*text))
}

// appendRows adds texts i up to j of from.
func (t *Texts) appendRows(from *Texts, i, j int) {
	if i >= j {
		return
	}
	if len(t.Offsets) == 0 {
		t.Offsets = append(t.Offsets, 0)
	}
	first, last := from.Offsets[i], from.Offsets[j]
	move := int32(len(t.Bytes)) - first
	t.Bytes = append(t.Bytes, from.Bytes[first:last]...)
	for _, end := range from.Offsets[i+1 : j+1] {
		t.Offsets = append(t.Offsets, end+move)
	}
}

// NewBatch makes an empty batch with room for some rows.
func NewBatch(set *contract.Set, room int) *Batch {
	b := &Batch{Set: set, Lines: make([]int64, 0, room), Cols: make([]Column, len(set.Fields))}
	for i := range b.Cols {
		b.Cols[i] = newColumn(set.Fields[i].Kind(), room)
	}
	return b
}

// AppendRows adds rows i up to j of from, a batch of the same set.
func (b *Batch) AppendRows(from *Batch, i, j int) {
	b.Lines = append(b.Lines, from.Lines[i:j]...)
	for c := range b.Cols {
		b.Cols[c].appendRows(&from.Cols[c], b.Set.Fields[c].Kind(), i, j)
	}
}

// Reset takes all rows out and keeps their memory for others.
func (b *Batch) Reset() {
	b.Lines = b.Lines[:0]
	for i := range b.Cols {
		c := &b.Cols[i]
		*c = Column{Valid: c.Valid[:0], Text: Texts{c.Text.Bytes[:0], c.Text.Offsets[:0]}, Int: c.Int[:0], Num: c.Num[:0], Bool: c.Bool[:0], Local: c.Local[:0]}
	}
}

// TextBytes is how many bytes the longest column of texts takes.
func (b *Batch) TextBytes() (most int) {
	for c := range b.Cols {
		most = max(most, len(b.Cols[c].Text.Bytes))
	}
	return most
}

// HasLocal reports whether any row holds a time without an offset.
func (b *Batch) HasLocal() bool {
	return slices.ContainsFunc(b.Cols, func(c Column) bool { return slices.Contains(c.Local, true) })
}

// textRoom is the room for a text in a new column, in bytes: ids and names are mostly shorter.
const textRoom = 12

func newColumn(kind contract.Kind, room int) Column {
	c := Column{Valid: make([]bool, 0, room)}
	switch kind {
	case contract.Text:
		c.Text = Texts{Bytes: make([]byte, 0, textRoom*room), Offsets: make([]int32, 0, room+1)}
	case contract.Number:
		c.Num = make([]float64, 0, room)
	case contract.Boolean:
		c.Bool = make([]bool, 0, room)
	case contract.Timestamp:
		c.Local = make([]bool, 0, room)
		c.Int = make([]int64, 0, room)
	case contract.Integer, contract.Date:
		c.Int = make([]int64, 0, room)
	}
	return c
}

func (c *Column) append(kind contract.Kind, v *value) {
	c.Valid = append(c.Valid, v.state == sound)
	switch kind {
	case contract.Text:
		c.Text.Append(v.text)
	case contract.Number:
		c.Num = append(c.Num, v.num)
	case contract.Boolean:
		c.Bool = append(c.Bool, v.truth)
	case contract.Timestamp:
		c.Local = append(c.Local, v.local)
		c.Int = append(c.Int, v.whole)
	case contract.Integer, contract.Date:
		c.Int = append(c.Int, v.whole)
	}
}

func (c *Column) appendRows(from *Column, kind contract.Kind, i, j int) {
	c.Valid = append(c.Valid, from.Valid[i:j]...)
	switch kind {
	case contract.Text:
		c.Text.appendRows(&from.Text, i, j)
	case contract.Number:
		c.Num = append(c.Num, from.Num[i:j]...)
	case contract.Boolean:
		c.Bool = append(c.Bool, from.Bool[i:j]...)
	case contract.Timestamp:
		c.Local = append(c.Local, from.Local[i:j]...)
		c.Int = append(c.Int, from.Int[i:j]...)
	case contract.Integer, contract.Date:
		c.Int = append(c.Int, from.Int[i:j]...)
	}
}
