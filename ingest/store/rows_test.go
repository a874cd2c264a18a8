package store_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"scanledger/ingest"
	"scanledger/ingest/contract"
	"scanledger/ingest/store"
)

// visit is one row of inspections as these tests write them.
type visit struct {
	id   string
	file int32
	at   int64 // microseconds
}

func setOf(name string) *contract.Set {
	sets := contract.Sets()
	return sets[slices.IndexFunc(sets, func(s *contract.Set) bool { return s.Name == name })]
}

// batchOf makes rows of inspections with an id and a start, all else missing.
func batchOf(set *contract.Set, rows []visit) (b *ingest.Batch, files []int32) {
	b = ingest.NewBatch(set, len(rows))
	for n, r := range rows {
		b.Lines = append(b.Lines, int64(n+1))
		files = append(files, r.file)
		for c, f := range set.Fields {
			col := &b.Cols[c]
			id, start := f.Name == "inspection_id", f.Name == "started_at"
			col.Valid = append(col.Valid, id || start)
			switch f.Kind() {
			case contract.Text:
				text := ""
				if id {
					text = r.id
				}
				col.Text.Append([]byte(text))
			case contract.Timestamp:
				at := int64(0)
				if start {
					at = r.at
				}
				col.Int, col.Local = append(col.Int, at), append(col.Local, false)
			case contract.Number:
				col.Num = append(col.Num, 0)
			case contract.Boolean:
				col.Bool = append(col.Bool, false)
			case contract.Integer, contract.Date:
				col.Int = append(col.Int, 0)
			}
		}
	}
	return b, files
}

// TestRowWriter: every row written is in the part of its month, in the order of writing, whatever the order of months and
// the stretches in which rows come.
func TestRowWriter(t *testing.T) {
	set := setOf("inspections")
	rapid.Check(t, func(t *rapid.T) {
		rows := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) visit {
			month := rapid.IntRange(0, 3).Draw(t, "month")
			at := time.Date(2025, time.Month(12+month), rapid.IntRange(1, 28).Draw(t, "day"), 0, 0, 0, 0, time.UTC).Add(-time.Microsecond)
			return visit{rapid.StringMatching("[a-zé]{1,9}").Draw(t, "id"), rapid.Int32Range(1, 3).Draw(t, "file"), at.UnixMicro()}
		}), 1, 60).Draw(t, "rows")
		txn := begin(t)
		defer func() { _ = txn.Close() }()
		w := txn.NewRowWriter(set, store.Data)
		b, files := batchOf(set, rows)
		for i := 0; i < len(rows); {
			j := rapid.IntRange(i+1, len(rows)).Draw(t, "stretch")
			if err := w.Write(b, files, i, j); err != nil {
				t.Fatal(err)
			}
			i = j
		}
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		seen := 0
		for _, part := range w.Parts {
			var want []visit
			for _, r := range rows {
				if time.UnixMicro(r.at).UTC().Format("2006-01") == part.Month {
					want = append(want, r)
				}
			}
			got := visitsOf(t, part.StagePath, set)
			if !slices.Equal(got, want) || part.Rows != int64(len(want)) {
				t.Errorf("%s, %d rows: got %v, want %v", part.Month, part.Rows, got, want)
			}
			seen += len(got)
		}
		if seen != len(rows) {
			t.Errorf("%d rows of %d", seen, len(rows))
		}
	})
}

// begin opens a transaction on a store of its own; rapid has no folders that are removed.
func begin(t *rapid.T) *store.Txn {
	dir, err := os.MkdirTemp("", "rows-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	txn, err := store.Begin(dir)
	if err != nil {
		t.Fatal(err)
	}
	return txn
}

func visitsOf(t *rapid.T, path string, set *contract.Set) (out []visit) {
	id, start := set.Field("inspection_id"), set.Field("started_at")
	err := store.ReadPart(context.Background(), path, set, func(b *ingest.Batch, files []int32) error {
		for i, file := range files {
			out = append(out, visit{b.Cols[id].Text.At(i), file, b.Cols[start].Int[i]})
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// TestRowWriterFails: where a part cannot be written, Write or Close says so.
func TestRowWriterFails(t *testing.T) {
	set := setOf("inspections")
	txn, err := store.Begin(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = txn.Close() }()
	if err := os.RemoveAll(filepath.Dir(txn.StagePath("x"))); err != nil {
		t.Fatal(err)
	}
	w := txn.NewRowWriter(set, store.Data)
	b, files := batchOf(set, []visit{{"I1", 1, 0}})
	if err := errors.Join(w.Write(b, files, 0, 1), w.Close()); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("got %v", err)
	}
}
