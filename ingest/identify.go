package ingest

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"unicode"

	"scanledger/ingest/contract"
)

// Format is how a file holds its rows.
type Format int

// The formats taken.
const (
	CSV     Format = iota // RFC 4180, comma, semicolon or tab
	JSONL                 // JSON Lines: one object a line
	XLSX                  // Office Open XML workbook
	Parquet               // Apache Parquet
)

// formats maps a lower-case file extension to its format.
var formats = map[string]Format{
	".csv": CSV, ".tsv": CSV, ".txt": CSV,
	".jsonl": JSONL, ".ndjson": JSONL,
	".xlsx": XLSX, ".parquet": Parquet,
}

const knownExtensions = ".csv, .tsv, .txt, .jsonl, .ndjson and .parquet, each also with .gz, and .xlsx"

// Source is one record file and how to read it.
type Source struct {
	Path    string
	Name    string // what rejects and errors call the file; Identify sets it to the base name
	Set     *contract.Set
	Format  Format
	Gzipped bool
	Renames map[string]string // supplier's column name to contract column; may be nil

	spare *sync.Pool // batches that Read's sink is done with
}

// Identify tells record set and format from a file's name; it does not open the file. The record
// set is the start of the name up to the first character that is not a letter or underscore, less
// any underscore at its end, or setName unless that is empty. Errors are of type *FileError.
func Identify(path, setName string) (Source, error) {
	src := Source{Path: path, Name: strings.ToValidUTF8(filepath.Base(path), string(unicode.ReplacementChar))}
	ext := strings.ToLower(filepath.Ext(src.Name))
	stem := strings.TrimSuffix(src.Name, filepath.Ext(src.Name))
	if ext == ".gz" {
		src.Gzipped = true
		ext = strings.ToLower(filepath.Ext(stem))
	}
	format, ok := formats[ext]
	if !ok || src.Gzipped && format == XLSX {
		return src, src.fileError("identify", fmt.Errorf("no known format %q", extension(ext, src.Gzipped)),
			"files may end in "+knownExtensions)
	}
	src.Format = format
	if setName == "" {
		setName = setOf(src.Name)
	}
	set, err := contract.Lookup(setName)
	if err != nil {
		return src, src.fileError("identify", err, "name the file after its record set or state the record set")
	}
	src.Set = set
	return src, nil
}

func extension(ext string, gzipped bool) string {
	if gzipped {
		return ext + ".gz"
	}
	return ext
}

// setOf reads the record set off the start of a base name.
func setOf(name string) string {
	end := strings.IndexFunc(name, func(r rune) bool { return r != '_' && !unicode.IsLetter(r) })
	if end >= 0 {
		name = name[:end]
	}
	return strings.ToLower(strings.TrimRight(name, "_"))
}

// Expand lists the record files among paths. A path that is a file is taken as it is; a folder
// gives the record files in it, at any depth, in the order of their names. Files in a folder that
// look like no record file come back as unknown, and so do links to folders in it, which are not followed. Hidden files and folders and spreadsheet lock
// files are passed over. A file reached twice is listed once.
func Expand(paths []string) (files, unknown []string, err error) {
	seen := map[string]bool{}
	take := func(list *[]string, path string) {
		if !seen[filepath.Clean(path)] {
			seen[filepath.Clean(path)] = true
			*list = append(*list, path)
		}
	}
	for _, root := range paths {
		if isDir(root) {
			root += string(filepath.Separator) // a link to a folder is walked like the folder
		}
		err := filepath.WalkDir(root, func(path string, entry fs.DirEntry, err error) error {
			switch {
			case err != nil:
				return err
			case path == root:
				if !isDir(path) {
					take(&files, path)
				}
				return nil
			case hidden(entry.Name()):
				if entry.IsDir() {
					return fs.SkipDir
				}
				return nil
			case isDir(path):
				if !entry.IsDir() { // a link, which could lead round in a circle
					take(&unknown, path)
				}
				return nil
			}
			if _, err := Identify(path, ""); err != nil {
				take(&unknown, path)
			} else {
				take(&files, path)
			}
			return nil
		})
		if err != nil {
			return nil, nil, fileTrouble(root, "list", err)
		}
	}
	return files, unknown, nil
}

// WhyUnknown says why Expand gave a path as unknown, and what to do.
func WhyUnknown(path string) string {
	if isDir(path) {
		return "it is a link to a folder, which is not followed; name the folder itself"
	}
	_, err := Identify(path, "")
	if fileErr, ok := errors.AsType[*FileError](err); ok {
		return fileErr.Err.Error() + "; " + fileErr.Remedy
	}
	return "its name is that of a record file"
}

func hidden(name string) bool { return strings.HasPrefix(name, ".") || strings.HasPrefix(name, "~$") }

func isDir(path string) bool {
	info, err := os.Stat(path)
	return err == nil && info.IsDir()
}

// HashFile gives the SHA-256 of a file's bytes as they lie on disk, in hexadecimal, and how many
// bytes there are. Errors are of type *FileError.
func HashFile(path string) (sum string, size int64, err error) {
	f, _, err := openRegular(path)
	if err != nil {
		return "", 0, err
	}
	defer func() { _ = f.Close() }() // nothing was written
	hash := sha256.New()
	size, err = io.Copy(hash, f)
	if err != nil {
		return "", 0, fileTrouble(path, "hash", err)
	}
	return hex.EncodeToString(hash.Sum(nil)), size, nil
}
