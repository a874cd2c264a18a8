package demo

import (
	"bufio"
	"compress/gzip"
	"context"
	_ "embed"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// configuration is the commented configuration that goes with the records.
//
//go:embed scanledger.toml
var configuration string

// writeAll writes every file, and the configuration last.
func writeAll(ctx context.Context, dir string, files []*file, config string) error {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("demo: make folder: %w", err)
	}
	for _, f := range files {
		if err := ctx.Err(); err != nil {
			return fmt.Errorf("demo: stopped before %s: %w", f.name, err)
		}
		if err := create(filepath.Join(dir, f.name), f.encode); err != nil {
			return err
		}
	}
	return create(filepath.Join(dir, config), func(w io.Writer) error {
		_, err := io.WriteString(w, configuration)
		return err
	})
}

// create makes a file that is not there yet and has it filled.
func create(path string, fill func(io.Writer) error) (err error) {
	out, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if os.IsExist(err) {
		return fmt.Errorf("demo: %s: %w; give a folder without it", path, fs.ErrExist)
	}
	if err != nil {
		return fmt.Errorf("demo: create file: %w", err)
	}
	defer func() {
		if closeErr := out.Close(); err == nil && closeErr != nil {
			err = fmt.Errorf("demo: close %s: %w", path, closeErr)
		}
	}()
	buffered := bufio.NewWriterSize(out, 1<<16)
	if err := fill(buffered); err != nil {
		return fmt.Errorf("demo: write %s: %w", path, err)
	}
	if err := buffered.Flush(); err != nil {
		return fmt.Errorf("demo: write %s: %w", path, err)
	}
	return nil
}

// encode writes the file in the format its name ends in.
func (f *file) encode(w io.Writer) error {
	ending, zipped := strings.CutSuffix(f.ending(), ".gz")
	if !zipped {
		return f.encodeAs(ending, w)
	}
	packed := gzip.NewWriter(w) // its header carries no time unless one is set
	if err := f.encodeAs(ending, packed); err != nil {
		return err
	}
	return packed.Close()
}

func (f *file) encodeAs(ending string, w io.Writer) error {
	switch ending {
	case ".jsonl":
		return f.encodeJSON(w)
	case ".xlsx":
		return f.encodeXLSX(w)
	case ".parquet":
		return f.encodeParquet(w)
	}
	return f.encodeCSV(w)
}
