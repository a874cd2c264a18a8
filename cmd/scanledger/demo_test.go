package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"scanledger/ingest/demo"
)

// demoDir is a folder with the demo in it, made once for all tests.
var demoDir = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "scanledger-demo-")
	if err != nil {
		return "", err
	}
	demoMade = dir
	return dir, makeDemo(dir)
})

// demoMade is the folder, once there is one.
var demoMade string

func makeDemo(dir string) error {
	var out, problems bytes.Buffer
	if code := run(context.Background(), []string{"demo", "--json", "--dir", dir}, terminal{strings.NewReader(""), &out, &problems}); code != exitClean {
		return &demoFailed{code, problems.String()}
	}
	var made built
	return json.Unmarshal(out.Bytes(), &made)
}

type demoFailed struct {
	code int
	said string
}

func (e *demoFailed) Error() string { return e.said }

func theDemo(t *testing.T) string {
	t.Helper()
	dir, err := demoDir()
	if err != nil {
		t.Fatal(err)
	}
	return dir
}

// TestDemoCountsWhatWasPlanted compares the store with what the generator says it wrote.
func TestDemoCountsWhatWasPlanted(t *testing.T) {
	dir := theDemo(t)
	planted, err := demo.Write(context.Background(), t.TempDir(), demo.Options{})
	if err != nil {
		t.Fatal(err)
	}
	raw, err := os.ReadFile(filepath.Join(dir, "out", "results", "data_quality.json"))
	if err != nil {
		t.Fatal(err)
	}
	var quality struct {
		Rows []struct{ Rows, Accepted, Duplicate, Corrected, Waiting, Rejected int }
	}
	if err := json.Unmarshal(raw, &quality); err != nil {
		t.Fatal(err)
	}
	var duplicate, corrected, waiting, rejected, rows, accepted int
	for _, r := range quality.Rows {
		rows += r.Rows
		accepted += r.Accepted
		duplicate += r.Duplicate
		corrected += r.Corrected
		waiting += r.Waiting
		rejected += r.Rejected
	}
	if duplicate != planted.Duplicate || corrected != planted.Corrected || waiting != planted.Waiting || rejected != planted.Dirty || accepted != planted.Rows.Total() {
		t.Errorf("store: %d accepted, %d duplicate, %d corrected, %d waiting, %d rejected; planted %+v", accepted, duplicate, corrected, waiting, rejected, planted)
	}
	if rows != accepted+duplicate+corrected+waiting+rejected {
		t.Errorf("%d rows do not add up", rows)
	}
}

// TestDemoSameBytes makes the demo again elsewhere and compares every file of records, store and output.
func TestDemoSameBytes(t *testing.T) {
	one, two := theDemo(t), t.TempDir()
	for range 2 { // again in the same folder is the same demo
		if err := makeDemo(two); err != nil {
			t.Fatal(err)
		}
	}
	compared := 0
	err := filepath.WalkDir(one, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || d.Name() == "lock" {
			return err
		}
		rel, err := filepath.Rel(one, path)
		if err != nil {
			return err
		}
		a, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		b, err := os.ReadFile(filepath.Join(two, rel))
		if err != nil || !bytes.Equal(a, b) {
			t.Errorf("%s differs (%v)", rel, err)
		}
		compared++
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if compared < 150 {
		t.Errorf("only %d files compared", compared)
	}
}

// TestCancelledLeavesNothingHalfDone ends the job after a moment, as Ctrl-C does, and then lets it finish.
func TestCancelledLeavesNothingHalfDone(t *testing.T) {
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(theDemo(t))); err != nil {
		t.Fatal(err)
	}
	before, err := os.ReadFile(filepath.Join(dir, "out", "manifest.json"))
	if err != nil {
		t.Fatal(err)
	}
	args := []string{"build", "--store", filepath.Join(dir, "store"), "--out", filepath.Join(dir, "out"), "--as-of", "2026-12-31"}
	ctx, cancel := context.WithTimeout(context.Background(), 300*time.Millisecond)
	ended, stop := context.WithCancel(context.Background())
	defer cancel()
	context.AfterFunc(ctx, stop)
	var out, problems bytes.Buffer
	if code := run(ended, args, terminal{strings.NewReader(""), &out, &problems}); code != exitCancelled || !strings.Contains(problems.String(), "cancelled") {
		t.Errorf("exit code %d: %s", code, problems.String())
	}
	after, err := os.ReadFile(filepath.Join(dir, "out", "manifest.json"))
	if err != nil || !bytes.Equal(before, after) {
		t.Errorf("the output changed (%v)", err)
	}
	if left, err := filepath.Glob(filepath.Join(dir, ".out.stage-*")); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v (%v)", left, err)
	}
}
