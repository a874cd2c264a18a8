// Package ingest reads record files.
//
// In: a file of records (CSV, JSON Lines, XLSX or Parquet, plain or gzipped). Out: batches of sound
// rows, typed and by column, and for every other row a Reject that names file, line, column, rule
// and raw value. Each row read comes out exactly once. It judges a row on its own: it never looks
// at other rows, resolves a name, opens the store or decides what a reject means for the run.
package ingest

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
