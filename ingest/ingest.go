// Package ingest reads record files.
//
// In: a file of records (CSV, JSON Lines, XLSX or Parquet, plain or gzipped). Out: batches of sound
// rows, typed and by column, and for every other row a Reject that names file, line, column, rule
// and raw value. Each row read comes out exactly once. It judges a row on its own: it never looks
// at other rows, resolves a name, opens the store or decides what a reject means for the run.
package ingest

import "scanledger/ingest/contract"

// BatchRows is the most rows one Batch holds.
const BatchRows = 8192

// Batch holds sound rows of one record set by column. All slices have one entry a row.
type Batch struct {
	Set   *contract.Set
	Lines []int64  // physical line (CSV, JSON Lines), sheet row (XLSX) or row number (Parquet), from 1
	Cols  []Column // one per contract field, in the contract's order
}

// Column holds the values of one field. Which slice is filled follows from the field's kind;
// where Valid is false the value is missing and the slot holds the zero value.
type Column struct {
	Valid []bool
	Text  []string
	Int   []int64 // Integer; Date in days and Timestamp in microseconds since 1970-01-01 UTC
	Num   []float64
	Bool  []bool
	Local []bool // Timestamp only: the source gave no offset, and Int holds the wall clock as if it were UTC
}

// Reject is one broken rule. A row that breaks several rules has several rejects with one line.
type Reject struct {
	File    string `json:"file"`
	Line    int64  `json:"line"`
	Column  string `json:"column"`  // empty when the row as a whole is at fault
	Rule    string `json:"rule"`    // a short stable name: required, type, minimum, enum, …
	Value   string `json:"value"`   // the raw text, cut to MaxRawBytes
	Message string `json:"message"` // what is wrong and what to do, for a person
}

// MaxRawBytes is how much of a raw value a Reject keeps.
const MaxRawBytes = 200

// Chunk is what one stretch of a file gave, in file order.
type Chunk struct {
	Batch   *Batch
	Rejects []Reject
	Rows    int64 // rows read: sound ones plus rejected ones
}
