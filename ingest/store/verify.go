package store

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"github.com/apache/arrow-go/v18/parquet/file"

	"scanledger/ingest"
)

// Verify reads every file of the store again and compares size, checksum and number of rows with
// the manifest. The first difference is an error that names the file.
func (s *Store) Verify(ctx context.Context) error {
	for _, p := range s.Manifest.Parts {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := s.verifyPart(p); err != nil {
			return fmt.Errorf("verify %s: %w; restore this file from a copy of the store", filepath.Join(s.Dir, p.Path), err)
		}
	}
	return nil
}

func (s *Store) verifyPart(p Part) error {
	sum, size, err := ingest.HashFile(s.Path(p))
	if err != nil {
		return err
	}
	if size != p.Bytes || sum != p.SHA256 {
		return fmt.Errorf("the file is damaged: %d bytes with checksum %.12s…, the manifest says %d with %.12s…", size, sum, p.Bytes, p.SHA256)
	}
	if !isParquet(p.Path) {
		return nil
	}
	f, err := os.Open(s.Path(p))
	if err != nil {
		return err
	}
	r, err := file.NewParquetReader(f)
	if err != nil {
		return err
	}
	rows := r.NumRows()
	if err := r.Close(); err != nil {
		return err
	}
	if rows != p.Rows {
		return fmt.Errorf("it holds %d rows, the manifest says %d", rows, p.Rows)
	}
	return nil
}
