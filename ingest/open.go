package ingest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"syscall"
)

// openRegular opens a record file, following links, and gives its size in bytes. Pipes, devices and sockets, on which
// reading may wait or go on for ever, are refused without waiting for anybody to write to them.
func openRegular(path string) (*os.File, int64, error) {
	f, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	if err != nil {
		return nil, 0, fileTrouble(path, "open", err)
	}
	info, err := f.Stat()
	switch {
	case err != nil:
		err = fileTrouble(path, "open", err)
	case info.IsDir():
		err = &FileError{File: path, Op: "open", Err: errors.New("it is a folder"), Remedy: "name a file"}
	case !info.Mode().IsRegular():
		err = &FileError{File: path, Op: "open", Err: errors.New("it is a pipe, a device or a socket"), Remedy: "write the records to a file and name that"}
	}
	if err != nil {
		return nil, 0, errors.Join(err, f.Close())
	}
	return f, info.Size(), nil
}

// fileTrouble is a FileError without the path in the cause.
func fileTrouble(path, op string, err error) *FileError {
	cause := err
	if pathErr, ok := errors.AsType[*fs.PathError](err); ok {
		cause = pathErr.Err
	}
	return &FileError{File: path, Op: op, Err: cause, Remedy: ioRemedy(err)}
}

// A text that unpacks to far more than text does was made to fill a disk or a day: records pack by a factor of 5 to 60, and
// gzip cannot do more than 1,032 (its author's figure, from memory).
const freeUnpacked = 256 << 20 // bytes for which the factor is not looked at

// unzipping watches how much a gzipped file of a given size unpacks to.
type unzipping struct {
	r            io.Reader
	packed, read int64
}

func (u *unzipping) Read(p []byte) (int, error) {
	n, err := u.r.Read(p)
	if u.read += int64(n); u.read > freeUnpacked && u.read/maxRatio > u.packed {
		return n, errUnpacks
	}
	return n, err
}

var errUnpacks = fmt.Errorf("it unpacks to more than %d times its size, which records do not", maxRatio)

// wanted reads on for as long as its context lasts.
type wanted struct {
	ctx context.Context //nolint:containedctx // it lives as long as one call of Read
	r   io.Reader
}

func (w wanted) Read(p []byte) (int, error) {
	if err := w.ctx.Err(); err != nil {
		return 0, err
	}
	return w.r.Read(p)
}
