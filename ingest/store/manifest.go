package store

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"scanledger/ingest/contract"
	"scanledger/ingest/disk"
)

// ErrDamaged says that a file of a store is not what was written.
var ErrDamaged = errors.New("damaged")

// remedy is what to do about damage in the store at dir.
func remedy(dir string) string { return "heal it with: scanledger repair --store " + dir }

// unsealed stands in a text for its own checksum while that is taken.
var unsealed = strings.Repeat("0", hex.EncodedLen(sha256.Size))

// sealField begins the second line of a sealed text.
const sealField = "{\n \"checksum\": \""

// seal marshals a document whose first field, "checksum", holds unsealed, and puts the text's checksum there. A file
// that is sealed tells by itself whether it is whole: two files cannot change in one step, so a checksum in another
// file would accuse what a killed process left.
func seal(doc any) ([]byte, error) {
	text, err := json.MarshalIndent(doc, "", " ")
	if err != nil {
		return nil, err
	}
	text = append(text, '\n')
	sum := sha256.Sum256(text)
	hex.Encode(text[len(sealField):], sum[:])
	return text, nil
}

// sealed reports whether a text carries a seal, and whether it is whole.
func sealed(text []byte) (carries, whole bool) {
	if !bytes.HasPrefix(text, []byte(sealField)) || len(text) < len(sealField)+len(unsealed) {
		return false, false
	}
	said := text[len(sealField):][:len(unsealed)]
	plain := bytes.Clone(text)
	copy(plain[len(sealField):], unsealed)
	sum := sha256.Sum256(plain)
	return true, string(said) == hex.EncodeToString(sum[:])
}

// encode is the manifest's text.
func (m Manifest) encode() ([]byte, error) {
	m.Checksum = unsealed
	return seal(m)
}

// readManifest reads a manifest or its copy. Damage is ErrDamaged.
func readManifest(path string) (Manifest, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return Manifest{}, err
	}
	return parseManifest(filepath.Base(path), text)
}

// parseManifest reads the text of a manifest; name says in errors where it stood.
func parseManifest(name string, text []byte) (Manifest, error) {
	carries, whole := sealed(text)
	if carries && !whole {
		return Manifest{}, fmt.Errorf("%s is %w: its text does not agree with the checksum in it", name, ErrDamaged)
	}
	var m Manifest
	dec := json.NewDecoder(bytes.NewReader(text))
	if !carries {
		dec.DisallowUnknownFields() // a seal whose name is damaged must not pass for a store from before there were seals
	}
	if err := dec.Decode(&m); err != nil {
		return Manifest{}, fmt.Errorf("%s is %w: %w", name, ErrDamaged, err)
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) || m.Checksum != "" && !carries {
		return Manifest{}, fmt.Errorf("%s is %w: it is not the text that was written", name, ErrDamaged)
	}
	return m, nil
}

// allButManifest opens a store whose first load has everything in place but the manifest, which its copy stands in for: the
// load is about to end, or was killed just there. Its stage tells that from a manifest that was lost.
func allButManifest(dir string) (*Store, error) {
	stages, err := disk.Named(dir, stagePrefix)
	if err != nil {
		return nil, fmt.Errorf("open store: %w", err)
	}
	m, err := readManifest(filepath.Join(dir, copyName))
	if len(stages) == 0 || err != nil {
		return nil, noManifest(dir)
	}
	return &Store{Dir: dir, Manifest: m}, m.upgrade()
}

// noManifest says why there is none: there is no store, or it was lost.
func noManifest(dir string) error {
	if _, err := os.Lstat(filepath.Join(dir, copyName)); err == nil {
		return fmt.Errorf("open store %s: %s is missing, but its copy is there; %s", dir, manifestName, remedy(dir))
	}
	if err := refuseOrphans(dir); err != nil {
		return err
	}
	return fmt.Errorf("open store %s: %w; make one with: scanledger load --store %s FILE", dir, ErrNoStore, dir)
}

// openToWrite is Open for one who holds the lock: an empty store where there is none. Where only the copy of the
// manifest stands, a process ended just before the last rename of a first load, and everything the copy lists is in place.
func openToWrite(dir string) (*Store, error) {
	if _, err := os.Lstat(filepath.Join(dir, manifestName)); !errors.Is(err, os.ErrNotExist) {
		return Open(dir)
	}
	m, err := readManifest(filepath.Join(dir, copyName))
	switch {
	case err == nil:
		err = m.upgrade()
		return &Store{Dir: dir, Manifest: m}, err
	case !errors.Is(err, os.ErrNotExist):
		return nil, lost(dir, err)
	}
	return &Store{Dir: dir, Manifest: Manifest{SchemaVersion: contract.SchemaVersion}}, refuseOrphans(dir)
}

// refuseOrphans keeps a new store from being begun, and what is there from being swept, in a folder whose manifest was
// lost. A first load that was killed leaves parts without a manifest too, but also its stage.
func refuseOrphans(dir string) error {
	stages, err := disk.Named(dir, stagePrefix)
	if err != nil || len(stages) > 0 {
		return err
	}
	s := Store{Dir: dir}
	return s.walkParts(func(path string) error {
		return lost(dir, fmt.Errorf("%s and %s are missing, yet there is %s", manifestName, copyName, path))
	})
}

// lost says what to do where neither the manifest nor its copy can be read.
func lost(dir string, err error) error {
	return fmt.Errorf("open store %s: %w; with both gone, nothing tells in which order and when the record files came in, nor their names: restore %s or %s "+
		"from a copy of the store. Without one, take the record files out of %s (zstd -d) and load them, in their order and with --received, into a new store",
		dir, err, manifestName, copyName, filepath.Join(dir, string(Originals)))
}

// doubles are the files that repeat the manifest: its copy, and the description for other tools.
func (m Manifest) doubles() (map[string][]byte, error) {
	pkg, err := dataPackage(m)
	if err != nil {
		return nil, err
	}
	text, err := m.encode()
	return map[string][]byte{packageName: pkg, copyName: text}, err
}
