package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path"
	"path/filepath"
	"strconv"
	"strings"

	"scanledger/ingest/disk"
)

// ManifestKey is where a place keeps the manifest of a publication, below its own root, with slashes. Names sort in order
// of numbers.
func ManifestKey(number int) string { return fmt.Sprintf("%s%08d.json", ManifestPrefix, number) }

// ManifestPrefix begins every ManifestKey.
const ManifestPrefix = "manifests/"

// ManifestNumber is the number of the publication whose manifest stands at key; false for any other file.
func ManifestNumber(key string) (int, bool) {
	number, err := strconv.Atoi(strings.TrimSuffix(strings.TrimPrefix(key, ManifestPrefix), ".json"))
	return number, err == nil && number > 0 && key == ManifestKey(number)
}

// Key is where a place keeps a part: in the part's own hive folder, under a name that holds the start of its checksum, so that
// writers who know nothing of each other never write different files under one name.
func (p Part) Key() string {
	ext := path.Ext(p.Path)
	return strings.TrimSuffix(p.Path, ext) + "-" + p.SHA256[:min(16, len(p.SHA256))] + ext
}

// Folder is a Place in a folder that several machines reach, such as a mounted disk.
type Folder string

// Name is the folder's path.
func (f Folder) Name() string { return string(f) }

func (f Folder) at(key string) string { return filepath.Join(string(f), filepath.FromSlash(key)) }

// Newest looks for the manifest with the highest number.
func (f Folder) Newest(_ context.Context, after int) (number int, manifest []byte, err error) {
	names, err := os.ReadDir(f.at(ManifestPrefix))
	if errors.Is(err, os.ErrNotExist) {
		return 0, nil, nil
	}
	if err != nil {
		return 0, nil, err
	}
	for _, name := range names {
		if n, ok := ManifestNumber(ManifestPrefix + name.Name()); ok && n > after {
			number = max(number, n)
		}
	}
	if number > 0 {
		manifest, err = os.ReadFile(f.at(ManifestKey(number)))
	}
	return number, manifest, err
}

// Put copies a part.
func (f Folder) Put(_ context.Context, p Part, path string) error {
	if _, err := os.Stat(f.at(p.Key())); err == nil {
		return nil
	}
	in, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(f.write(p.Key(), in, os.Rename), in.Close())
}

// Publish gives a complete file its name, which the system does once.
func (f Folder) Publish(_ context.Context, number int, manifest []byte) error {
	err := f.write(ManifestKey(number), bytes.NewReader(manifest), os.Link)
	if errors.Is(err, os.ErrExist) {
		return ErrOvertaken
	}
	return err
}

// write makes a file, and gives it its name in one step.
func (f Folder) write(key string, from io.Reader, name func(from, to string) error) error {
	to := f.at(key)
	if err := os.MkdirAll(filepath.Dir(to), 0o700); err != nil {
		return err
	}
	stage, err := os.CreateTemp(filepath.Dir(to), stagePrefix)
	if err != nil {
		return err
	}
	defer func() { _ = os.Remove(stage.Name()) }() // gone already where it was renamed
	_, err = io.Copy(stage, from)
	if err := errors.Join(err, stage.Sync(), stage.Close()); err != nil {
		return err
	}
	if err := name(stage.Name(), to); err != nil {
		return err
	}
	return disk.Sync(filepath.Dir(to))
}

// Fetch copies a part.
func (f Folder) Fetch(_ context.Context, p Part, path string) error {
	in, err := os.Open(f.at(p.Key()))
	if err != nil {
		return err
	}
	to, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o600)
	if err != nil {
		return errors.Join(err, in.Close())
	}
	_, err = io.Copy(to, in)
	return errors.Join(err, to.Close(), in.Close())
}

// Drop removes a part.
func (f Folder) Drop(_ context.Context, p Part) error {
	err := os.Remove(f.at(p.Key()))
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	return err
}
