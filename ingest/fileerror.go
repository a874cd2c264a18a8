package ingest

import (
	"compress/gzip"
	"context"
	"errors"
	"io"
	"io/fs"
	"strconv"
	"strings"
	"unicode"
)

// FileError says that a file as a whole cannot be read. Nothing of that file may be kept.
type FileError struct {
	File   string // the file's name as in Source.Name, or its path where there is no Source yet
	Op     string // what was being done: open, read, read header, …
	Err    error  // the cause
	Remedy string // what a person can do about it
}

// Error gives file, operation, cause and remedy in one line.
func (e *FileError) Error() string {
	file := e.File
	if strings.ContainsFunc(file, unicode.IsControl) { // a name may not break the line or say more than a name
		file = strconv.Quote(file)
	}
	text := e.Op + " " + file + ": " + e.Err.Error()
	if e.Remedy != "" {
		text += "; " + e.Remedy
	}
	return text
}

// Unwrap gives the cause.
func (e *FileError) Unwrap() error { return e.Err }

// fileError names a cause and the usual way out of it.
func (s Source) fileError(op string, err error, remedy string) *FileError {
	return &FileError{File: s.Path, Op: op, Err: err, Remedy: remedy}
}

// ioError turns trouble while reading bytes into a FileError; a FileError and the end of a context pass unchanged.
func (s Source) ioError(op string, err error) error {
	if _, ok := errors.AsType[*FileError](err); ok || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	return s.fileError(op, err, ioRemedy(err))
}

func ioRemedy(err error) string {
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "check the path"
	case errors.Is(err, fs.ErrPermission):
		return "check who may read the file"
	case errors.Is(err, gzip.ErrHeader):
		return "it is not gzip-compressed; rename it without .gz"
	case errors.Is(err, io.ErrUnexpectedEOF), errors.Is(err, gzip.ErrChecksum):
		return "the file is cut short or damaged; copy or export it again"
	case errors.Is(err, errUnpacks):
		return "unpack it, look at what is in it, and load that"
	default:
		return "copy or export the file again"
	}
}
