package main

import (
	"bytes"
	"context"
	"errors"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"scanledger/ingest/demo"
)

// forgetKills is how many times forget is killed at a random moment.
const forgetKills = 12

// TestKilledForgetIsWholeOrNothing kills the real program at random moments of forget: the store is sound, as before or as
// after, and the same command again ends in the same bytes as one that was left alone, with nothing of the old left behind.
func TestKilledForgetIsWholeOrNothing(t *testing.T) {
	dir := t.TempDir()
	records := filepath.Join(dir, "records")
	if _, err := demo.Write(context.Background(), records, demo.Options{Inspections: 240, Months: 4}); err != nil {
		t.Fatal(err)
	}
	base, whole, hit := filepath.Join(dir, "base"), filepath.Join(dir, "whole"), filepath.Join(dir, "hit")
	mustLoad(t, base, records)
	mustCopy(t, base, whole)
	start := time.Now()
	if out, err := forgetCommand(whole).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	took := time.Since(start)
	want, unchanged, rng := treeOf(t, whole), 0, rand.New(rand.NewPCG(3, 4))
	for i := range forgetKills {
		mustCopy(t, base, hit)
		cmd := forgetCommand(hit)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Duration(rng.Int64N(int64(took))))
		_ = cmd.Process.Kill() // it may have ended
		_ = cmd.Wait()         // killed or ended: both are meant
		if out, err := exec.Command("scanledger", "verify", "--store", hit).CombinedOutput(); err != nil {
			t.Errorf("kill %d: the store is not sound: %s", i, out)
		}
		done := !bytes.Equal(manifestOf(t, hit), manifestOf(t, base))
		if !done {
			unchanged++
		}
		out, err := forgetCommand(hit).CombinedOutput()
		var exit *exec.ExitError
		if done != (errors.As(err, &exit) && exit.ExitCode() == exitUsage) {
			t.Errorf("kill %d: done before: %v; again: %v: %s", i, done, err, out)
		}
		compareTrees(t, want, treeOf(t, hit))
		if err := os.RemoveAll(hit); err != nil {
			t.Fatal(err)
		}
	}
	if unchanged < forgetKills/4 {
		t.Errorf("only %d of %d kills came before publication; the test hardly tests", unchanged, forgetKills)
	}
}

func forgetCommand(store string) *exec.Cmd {
	return exec.Command("scanledger", "forget", "--quiet", "--received", "2026-05-01T00:00:00Z", "--store", store, "--technician", "T01")
}

// TestForgottenAreInNoOutput forgets a technician of the demo, builds into the folder of the last build, and looks for the
// id and every part of the name as a word in every page, result, fact table and list, and in the store.
func TestForgottenAreInNoOutput(t *testing.T) {
	dir := t.TempDir()
	storeDir, out := filepath.Join(dir, "store"), filepath.Join(dir, "out")
	mustCopy(t, filepath.Join(theDemo(t), "store"), storeDir)
	mustCopy(t, filepath.Join(theDemo(t), "out"), out)
	who := strings.Split(strings.TrimSpace(must(t, "ask", "--store", storeDir, "--csv",
		"SELECT technician_id, name FROM technicians WHERE name LIKE '% %' ORDER BY technician_id LIMIT 1")), "\n")[1]
	id, name, _ := strings.Cut(who, ",")
	tell := map[string]bool{id: true}
	for part := range strings.FieldsSeq(name) {
		others := must(t, "ask", "--store", storeDir, "--csv", "SELECT count(*) FROM technicians WHERE name LIKE '%"+part+"%'")
		tell[part] = strings.HasSuffix(strings.TrimSpace(others), "\n1") // of nobody else
	}
	must(t, "forget", "--store", storeDir, "--technician", id)
	must(t, "verify", "--store", storeDir)
	must(t, "build", "--store", storeDir, "--out", out)
	restated := 0
	for _, folder := range []string{storeDir, out} {
		for path, content := range treeOf(t, folder) {
			if strings.HasSuffix(path, ".parquet") {
				content = textOf(t, filepath.Join(folder, path))
			}
			if strings.HasSuffix(path, ".html") && strings.Contains(content, "Restated: ") {
				restated++
			}
			for _, word := range wordsOutsideFonts(path + " " + content) {
				if tell[word] {
					t.Errorf("%s holds %s", path, word)
					break
				}
			}
		}
	}
	if restated < 20 {
		t.Errorf("only %d pages say that they were restated", restated)
	}
}
