package main

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"scanledger/dashboards"
	"scanledger/ingest/store"
	"scanledger/queries"
	"scanledger/transform/engine"
)

// BenchmarkPages writes all pages of the demo from its figures: go test ./cmd/scanledger -run X -bench Pages.
func BenchmarkPages(b *testing.B) {
	dir, err := demoDir()
	if err != nil {
		b.Fatal(err)
	}
	st, err := store.Open(filepath.Join(dir, "store"))
	if err != nil {
		b.Fatal(err)
	}
	cfg, err := readConfig(filepath.Join(dir, "records", "scanledger.toml"))
	if err != nil {
		b.Fatal(err)
	}
	a := &app{ctx: context.Background(), t: terminal{os.Stdin, os.Stdout, os.Stderr}, config: cfg, quiet: true}
	opt, err := a.options("", "", demoReceived)
	if err != nil {
		b.Fatal(err)
	}
	err = a.withBook(st, 1, b.TempDir(), "", nil, opt, func(_ engine.SQL, _ *store.Store, book *queries.Book) error {
		for b.Loop() {
			if err := dashboards.Write(b.TempDir(), book, a.business()); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		b.Fatal(err)
	}
}
