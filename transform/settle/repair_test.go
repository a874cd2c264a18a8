package settle_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"scanledger/ingest/store"
	"scanledger/transform/settle"
)

// keeping makes a store with originals that has every kind of file: three loads with rows that wait, are rejected, repeated
// and corrected, columns that are renamed, a gzipped file, and a file of which no row is sound.
func keeping(t *testing.T) *bench {
	t.Helper()
	b := newBench(t)
	b.opt = settle.Options{KeepOriginals: true, Renames: map[string]map[string]string{"findings": {"place": "point_id"}}}
	b.load(map[string]string{
		"readings-1.csv.gz": zipped(t, readingsHeader+"R1,I1,U1,P1,2026-03-02T09:10:00+11:00,board,2,clear\nR2,I1,U1,P2,2026-03-02T09:10:00,board,9,active\nR3,I9,U1,P2,2026-03-02T09:10:00+11:00,board,2,active\n"),
		"findings-1.csv":    "finding_id,site_id,place,found_on,method,result\nF1,H1,P1,2026-03-20,opened,nothing\n",
		"readings-2.csv":    readingsHeader + "R4,I1,U1,P1,yesterday,board,2,clear\n",
	})
	b.load(references)
	b.load(map[string]string{"readings-1.csv": readingsHeader + "R1,I1,U1,P1,2026-03-02T09:10:00+11:00,board,2,clear\nR1,I1,U1,P1,2026-03-02T09:10:00+11:00,board,3,unsure\n" +
		"=R5,I1,U1,P7,2026-03-02T09:10:00+11:00,board,20,clear\n"})
	return b
}

func zipped(t *testing.T, text string) string {
	t.Helper()
	var out bytes.Buffer
	z := gzip.NewWriter(&out)
	_, err := z.Write([]byte(text))
	if err = errors.Join(err, z.Close()); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// damages are the ways in which a file goes bad: nil stands for one that is gone.
var damages = map[string]func([]byte) []byte{
	"first bit":  func(b []byte) []byte { b[0] ^= 1; return b },
	"middle bit": func(b []byte) []byte { b[len(b)/2] ^= 0x20; return b },
	"last byte":  func(b []byte) []byte { b[len(b)-1] ^= 0xff; return b },
	"cut":        func(b []byte) []byte { return b[:len(b)/2] },
	"empty":      func(b []byte) []byte { return b[:0] },
	"longer":     func(b []byte) []byte { return append(b, '\n') },
	"gone":       func([]byte) []byte { return nil },
}

func damage(t *testing.T, path string, how func([]byte) []byte) {
	t.Helper()
	raw, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	bad := how(raw)
	if bad == nil {
		err = os.Remove(path)
	} else {
		err = os.WriteFile(path, bad, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// verify opens and verifies.
func (b *bench) verify() error {
	st, err := store.Open(b.store())
	if err != nil {
		return err
	}
	return st.Verify(context.Background())
}

func (b *bench) repair(opt settle.RepairOptions) settle.Repaired {
	b.t.Helper()
	opt.Tool = "test"
	rep, err := settle.Repair(context.Background(), b.store(), opt)
	if err != nil {
		b.t.Fatal(err)
	}
	return rep
}

// TestRepairHealsEveryFile damages every file of a store in every way, one at a time: verify names it, a load is refused
// with the remedy, and repair brings back the bytes that were there. Only originals need the record files as they came in.
func TestRepairHealsEveryFile(t *testing.T) {
	b := keeping(t)
	want := tree(t, b.store())
	kinds := map[string]int{}
	for i, name := range slices.Sorted(maps.Keys(want)) {
		kind, _, _ := strings.Cut(name, "/")
		kinds[kind]++
		for j, how := range slices.Sorted(maps.Keys(damages)) {
			damage(t, filepath.Join(b.store(), name), damages[how])
			err := b.verify()
			if err == nil || !strings.Contains(err.Error(), name) || !strings.Contains(err.Error(), "scanledger repair --store "+b.store()) {
				t.Errorf("%s, %s: verify says: %v", name, how, err)
			}
			if (i+j)%len(damages) == 0 { // one way in seven for each file
				b.heals(name, how, want)
			} else if err := os.WriteFile(filepath.Join(b.store(), name), []byte(want[name]), 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	for _, kind := range []string{"data", "pool", "fates", "rejects", "originals", "manifest.json", "manifest-copy.json", "datapackage.json"} {
		if kinds[kind] == 0 {
			t.Errorf("no file of kind %s was damaged: %v", kind, kinds)
		}
	}
}

func (b *bench) heals(name, how string, want map[string]string) {
	b.t.Helper()
	loads := b.loads
	refused := name != "manifest-copy.json" && name != "datapackage.json" && !strings.HasPrefix(name, "originals/") && (name != "manifest.json" || how != "gone")
	if refused {
		_, err := b.try(map[string]string{"technicians-9.csv": "technician_id,name\nT9,Nine\n"})
		if err == nil || !strings.Contains(err.Error(), "scanledger repair --store") {
			b.t.Errorf("%s, %s: load says: %v", name, how, err)
		}
	}
	b.loads = loads
	rep := b.repair(settle.RepairOptions{Records: []string{filepath.Join(b.dir, "in")}})
	if !slices.Equal(rep.Healed, []string{name}) || len(rep.Left) > 0 {
		b.t.Errorf("%s, %s: repaired %+v", name, how, rep)
	}
	if err := b.verify(); err != nil {
		b.t.Errorf("%s, %s: after repair: %v", name, how, err)
	}
	if got := tree(b.t, b.store()); !maps.Equal(got, want) {
		b.t.Errorf("%s, %s: repair left other bytes", name, how)
	}
}

// TestRepairHealsAllAtOnce leaves nothing but the originals and the copy of the manifest.
func TestRepairHealsAllAtOnce(t *testing.T) {
	b := keeping(t)
	want := tree(t, b.store())
	for name := range want {
		if !strings.HasPrefix(name, "originals/") && name != "manifest-copy.json" {
			damage(t, filepath.Join(b.store(), name), damages["gone"])
		}
	}
	if rep := b.repair(settle.RepairOptions{}); len(rep.Left) > 0 {
		t.Errorf("left: %+v", rep.Left)
	}
	if got := tree(t, b.store()); !maps.Equal(got, want) {
		t.Error("repair left other bytes")
	}
}

// TestRepairSaysWhatIsLost: an original cannot be made, what needs it neither, and both are said with what to do; the rest
// is healed all the same. With the record file at hand everything is; without it one may go on.
func TestRepairSaysWhatIsLost(t *testing.T) {
	b := keeping(t)
	want := tree(t, b.store())
	st, err := store.Open(b.store())
	if err != nil {
		t.Fatal(err)
	}
	lost := st.Manifest.Files[len(st.Manifest.Files)-1] // of the third load
	original, _ := st.Original(lost)
	for _, name := range []string{original.Path, "fates/load-000003.parquet", "fates/load-000001.parquet", "rejects/load-000003.csv"} {
		damage(t, filepath.Join(b.store(), name), damages["middle bit"])
	}
	rep := b.repair(settle.RepairOptions{})
	if want := []string{"rejects/load-000003.csv", "fates/load-000001.parquet"}; !slices.Equal(sorted(rep.Healed), sorted(want)) {
		t.Errorf("healed %v, want %v", rep.Healed, want)
	}
	if len(rep.Left) != 2 || !strings.Contains(rep.Left[0].Why, "give the record file readings-1.csv (SHA-256 "+lost.SHA256+") with --records") ||
		!strings.Contains(rep.Left[1].Why, "load 3 cannot be repeated") {
		t.Errorf("left: %+v", rep.Left)
	}
	if rep = b.repair(settle.RepairOptions{Records: []string{filepath.Join(b.dir, "in")}}); len(rep.Left) > 0 || !maps.Equal(tree(t, b.store()), want) {
		t.Errorf("with the record file at hand: %+v", rep)
	}
	damage(t, filepath.Join(b.store(), original.Path), damages["gone"])
	if rep = b.repair(settle.RepairOptions{Drop: true}); !slices.Equal(rep.Dropped, []string{original.Path}) {
		t.Errorf("dropped %+v", rep)
	}
	if err := b.verify(); err != nil {
		t.Errorf("without the original: %v", err)
	}
}

func sorted(names []string) []string { return slices.Sorted(slices.Values(names)) }

// TestRepairWithBothManifestsLost says what went with them and changes nothing.
func TestRepairWithBothManifestsLost(t *testing.T) {
	for _, how := range []string{"gone", "cut", "middle bit"} {
		b := keeping(t)
		for _, name := range []string{"manifest.json", "manifest-copy.json"} {
			damage(t, filepath.Join(b.store(), name), damages[how])
		}
		want := tree(t, b.store())
		_, repairErr := settle.Repair(context.Background(), b.store(), settle.RepairOptions{})
		_, loadErr := b.try(references)
		for _, err := range []error{repairErr, loadErr} {
			if err == nil {
				t.Errorf("%s: no error", how)
			}
		}
		if repairErr == nil || !strings.Contains(repairErr.Error(), "restore manifest.json or manifest-copy.json from a copy of the store") {
			t.Errorf("%s: %v", how, repairErr)
		}
		if !maps.Equal(tree(t, b.store()), want) {
			t.Errorf("%s: the folder changed", how)
		}
	}
}

// TestRebuiltStoreIsTheSame makes a store from nothing but the originals and finds the bytes of the one they were kept in.
func TestRebuiltStoreIsTheSame(t *testing.T) {
	b := keeping(t)
	into := filepath.Join(b.dir, "again")
	out, err := settle.Rebuild(context.Background(), b.store(), into, settle.RepairOptions{Tool: "test"})
	if err != nil {
		t.Fatal(err)
	}
	want := tree(t, b.store())
	if out.Loads != 3 || out.Same != len(want)-3 || len(out.Differs) > 0 {
		t.Errorf("%+v of %d files", out, len(want))
	}
	if !maps.Equal(tree(t, into), want) {
		t.Error("the bytes differ")
	}
	if _, err := settle.Rebuild(context.Background(), b.store(), into, settle.RepairOptions{Tool: "test"}); err == nil {
		t.Error("a folder that is there was overwritten")
	}
	if left, _ := filepath.Glob(filepath.Join(b.dir, ".rebuild-*")); len(left) > 0 {
		t.Errorf("left: %v", left)
	}
}

// TestRebuildTellsDifferences: what a store does not hold as its originals say comes out.
func TestRebuildTellsDifferences(t *testing.T) {
	b := keeping(t)
	out, err := settle.Rebuild(context.Background(), b.store(), filepath.Join(b.dir, "again"), settle.RepairOptions{Tool: "another"})
	if err != nil || len(out.Differs) != 1 || out.Differs[0].Path != "manifest.json" {
		t.Errorf("%+v (%v)", out, err)
	}
	b.opt.KeepOriginals = false
	b.load(map[string]string{"technicians-2.csv": "technician_id,name\nT3,Three\n"})
	_, err = settle.Rebuild(context.Background(), b.store(), filepath.Join(b.dir, "more"), settle.RepairOptions{Tool: "test"})
	if err == nil || !strings.Contains(err.Error(), "load 4 cannot be repeated: no original of technicians-2.csv was kept") {
		t.Errorf("%v", err)
	}
	if _, err := os.Stat(filepath.Join(b.dir, "more")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("half a store was left: %v", err)
	}
}

// TestOriginalsAreKeptWhole finds every record file in the store, byte for byte, and none where they are not to be kept.
func TestOriginalsAreKeptWhole(t *testing.T) {
	b := keeping(t)
	st, err := store.Open(b.store())
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range st.Manifest.Files {
		out := filepath.Join(b.dir, "out")
		if err := st.Unpack(f, out); err != nil {
			t.Fatal(err)
		}
		sent, err := os.ReadFile(filepath.Join(b.dir, "in", string(rune('a'+f.Load)), f.Name))
		if err != nil {
			t.Fatal(err)
		}
		if got, err := os.ReadFile(out); err != nil || !bytes.Equal(got, sent) {
			t.Errorf("%s differs (%v)", f.Name, err)
		}
		if err := os.Remove(out); err != nil {
			t.Fatal(err)
		}
	}
	plain := newBench(t)
	plain.load(references)
	if kept, _ := filepath.Glob(filepath.Join(plain.store(), "originals", "*")); len(kept) > 0 {
		t.Errorf("kept: %v", kept)
	}
}

// TestKilledFirstLoadIsNoLoss: where a process ended just before its last rename, the next load goes on from there.
func TestKilledFirstLoadIsNoLoss(t *testing.T) {
	b := newBench(t)
	b.load(references)
	want := tree(t, b.store())
	if err := os.Remove(filepath.Join(b.store(), "manifest.json")); err != nil {
		t.Fatal(err)
	}
	b.loads-- // the same command again
	if rep := b.load(references); rep.Load != 0 || len(rep.Skipped) != len(references) {
		t.Errorf("%+v", rep)
	}
	if !maps.Equal(tree(t, b.store()), want) {
		t.Error("the store differs")
	}
}

// TestCancelledRepairChangesNothing leaves the store as it was.
func TestCancelledRepairChangesNothing(t *testing.T) {
	b := keeping(t)
	damage(t, filepath.Join(b.store(), "fates/load-000002.parquet"), damages["cut"])
	want := tree(t, b.store())
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Millisecond)
	defer cancel()
	if _, err := settle.Repair(ctx, b.store(), settle.RepairOptions{}); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("%v", err)
	}
	if !maps.Equal(tree(t, b.store()), want) {
		t.Error("the store differs")
	}
}
