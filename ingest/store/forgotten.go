package store

import (
	"fmt"
	"path"
	"slices"
	"strings"
	"time"

	"scanledger/ingest"
)

// Forgotten is the trail of one removal, or of one replacement by a code. Nothing in it tells whose records they were.
type Forgotten struct {
	Number    int             `json:"number"`           // from 1
	At        time.Time       `json:"at"`               // when it was asked for
	Rule      string          `json:"rule"`             // technician, site or older_than
	Before    string          `json:"before,omitempty"` // older_than: the first UTC month that was kept
	Did       string          `json:"did"`              // removed or pseudonymised
	Load      int             `json:"load"`             // the newest load by then
	Tool      string          `json:"tool"`
	Rows      []ForgottenRows `json:"rows"`      // by record set and month
	Texts     int64           `json:"texts"`     // texts and references elsewhere in which a name or an id was replaced
	Originals int             `json:"originals"` // kept record files that were removed as a whole, since such rows were, or may have been, in them
}

// What a removal did.
const (
	Removed       = "removed"
	Pseudonymised = "pseudonymised"
)

// ForgottenRows counts the rows of one record set and UTC month.
type ForgottenRows struct {
	RecordSet string `json:"record_set"`
	Month     string `json:"utc_month,omitempty"` // empty where a row has none, or where it was not kept, as a duplicate
	Rows      int64  `json:"rows"`
}

// Total is the number of rows of all sets and months.
func (f Forgotten) Total() (n int64) {
	for _, r := range f.Rows {
		n += r.Rows
	}
	return n
}

// FirstPath is where a part stood before it was ever written again.
func (p Part) FirstPath() string {
	if p.Revision == 0 {
		return p.Path
	}
	return strings.Replace(p.Path, revisionMark(p.Revision), "", 1)
}

func revisionMark(number int) string { return fmt.Sprintf("-revised-%d", number) }

// Replace stages a file, complete at path, to stand in the place of a part that the manifest lists, from the load that the
// part came with. It has a name of its own, so that the store is whole at every moment; the old file is gone with Commit.
func (t *Txn) Replace(old Part, file string, rows int64) error {
	p := old
	p.Rows, p.Revision = rows, len(t.Manifest.Forgotten)+1
	first := old.FirstPath()
	ending := path.Ext(first)
	p.Path = strings.TrimSuffix(first, ending) + revisionMark(p.Revision) + ending
	var err error
	if p.SHA256, p.Bytes, err = ingest.HashFile(file); err != nil {
		return fmt.Errorf("stage %s: %w", p.Path, err)
	}
	t.Manifest.Parts[slices.IndexFunc(t.Manifest.Parts, func(q Part) bool { return q.Path == old.Path })] = p
	return t.replace(p, file)
}
