package store

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/klauspost/compress/zstd"
)

// originalPath is where the original with that checksum stands.
func originalPath(sha256 string) string { return string(Originals) + "/" + sha256 + ".zst" }

// Original finds the kept original of a record file, as the manifest lists it.
func (s *Store) Original(f File) (Part, bool) {
	path := originalPath(f.SHA256)
	return s.part(func(p Part) bool { return p.Path == path })
}

// KeepOriginal stages the record file at path as the original of f, whose rows are known by now. Content other than f's is
// an error: the file changed while it was read.
func (t *Txn) KeepOriginal(f File, path string) error {
	packed, err := t.pack(f, path)
	if err != nil {
		return err
	}
	return t.Add(originalPart(f), packed)
}

func originalPart(f File) Part {
	return Part{Kind: Originals, RecordSet: f.RecordSet, Path: originalPath(f.SHA256), Rows: f.Now.Rows}
}

// pack compresses the record file at path into the stage. One thread, a fixed level and no time in the header: the same
// file gives the same bytes.
func (t *Txn) pack(f File, path string) (packed string, err error) {
	in, err := os.Open(path)
	if err != nil {
		return "", fmt.Errorf("keep original %s: %w", f.Name, err)
	}
	defer func() { err = errors.Join(err, in.Close()) }()
	packed = t.StagePath(f.SHA256 + ".zst")
	out, err := os.OpenFile(packed, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return "", partError(packed, err)
	}
	z, err := zstd.NewWriter(out, zstd.WithEncoderLevel(zstd.SpeedFastest), zstd.WithEncoderConcurrency(1))
	if err != nil {
		return "", partError(packed, errors.Join(err, out.Close()))
	}
	sum := sha256.New()
	_, err = io.Copy(z, io.TeeReader(in, sum))
	if err = errors.Join(err, z.Close(), out.Close()); err != nil {
		return "", partError(packed, err)
	}
	if hex.EncodeToString(sum.Sum(nil)) != f.SHA256 {
		return "", fmt.Errorf("keep original %s: the file changed while it was read; load it again once it is complete", path)
	}
	return packed, nil
}

// Unpack writes the kept original of f to a new file at path, byte for byte as it came in. Where that cannot be, the error
// is ErrDamaged and no file is left.
func (s *Store) Unpack(f File, path string) (err error) {
	defer func() {
		if err != nil {
			err = errors.Join(fmt.Errorf("original %s of %s is %w: %w", originalPath(f.SHA256), f.Name, ErrDamaged, err), remove(path))
		}
	}()
	packed := s.Path(originalPart(f))
	if err := standing(packed); err != nil {
		return err
	}
	in, err := os.Open(packed)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, in.Close()) }()
	z, err := zstd.NewReader(in, zstd.WithDecoderConcurrency(1))
	if err != nil {
		return err
	}
	defer z.Close()
	out, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	sum := sha256.New()
	_, err = io.Copy(io.MultiWriter(out, sum), io.LimitReader(z, f.Bytes+1))
	if err = errors.Join(err, out.Close()); err != nil {
		return err
	}
	if hex.EncodeToString(sum.Sum(nil)) != f.SHA256 {
		return errors.New("its content has another checksum")
	}
	return nil
}

func remove(path string) error {
	if err := os.Remove(path); !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return nil
}
