package settle_test

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/xitongsys/parquet-go-source/local"
	"github.com/xitongsys/parquet-go/reader"

	"scanledger/ingest"
	"scanledger/ingest/contract"
	"scanledger/ingest/store"
)

// full is a set of records that fills every table and every kind of column, with missing values.
func full() map[string]string {
	files := map[string]string{}
	for name, text := range references {
		files[name] = text
	}
	files["readings.csv"] = "reading_id,inspection_id,unit_id,point_id,taken_at,material,thickness_mm,gain,hold_s,level_pct,call,battery_pct,control\n" +
		"R1,I1,U1,Pé1,2026-03-02T09:10:00+11:00,board,13.5,2,20,55.5,active,80,false\n" +
		"R2,I1,U1,P2,2026-03-02T09:12:00+11:00,board,,3,,,clear,,true\n" +
		"R3,I1,U1,P3,2026-03-02T09:12:00+11:00,board,,9,,,clear,,\n" + // rejected
		"R4,I7,U1,P3,2026-03-02T09:12:00,board,,1,,,clear,,\n" // waiting, local time
	files["findings.csv"] = "finding_id,site_id,point_id,inspection_id,found_on,method,result,cause\n" +
		"F1,H1,Pé1,I1,2026-03-20,opened,other_movement,water_pipe\nF2,H1,P2,,2026-04-01,drilled,nothing,\n"
	files["unit_log.csv"] = "unit_id,logged_at,sensing,gain,level_pct\nU1,2026-03-02T09:10:00.125+11:00,true,2,55.5\n"
	return files
}

// TestSecondImplementationReadsEveryTable reads every Parquet file of a store with an independent
// implementation (xitongsys/parquet-go) and compares data and pool parts cell by cell with our own reading.
func TestSecondImplementationReadsEveryTable(t *testing.T) {
	b := newBench(t)
	b.load(full())
	st, err := store.Open(b.store())
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, p := range st.Manifest.Parts {
		if !strings.HasSuffix(p.Path, ".parquet") {
			continue
		}
		rows := readElsewhere(t, st.Path(p))
		if int64(len(rows)) != p.Rows {
			t.Errorf("%s: the other reader sees %d rows, the manifest says %d", p.Path, len(rows), p.Rows)
		}
		seen[string(p.Kind)+p.RecordSet] = true
		if p.Kind == store.Data || p.Kind == store.Pool {
			set, err := contract.Lookup(p.RecordSet)
			if err != nil {
				t.Fatal(err)
			}
			compareCells(t, st.Path(p), set, rows)
		}
	}
	for _, set := range contract.Sets() {
		if !seen["data"+set.Name] {
			t.Errorf("no data part of %s was compared", set.Name)
		}
	}
	if !seen["fates"] || !seen["rejects"] || !seen["poolreadings"] {
		t.Errorf("fates, rejects and pool were not all read: %v", seen)
	}
}

func readElsewhere(t *testing.T, path string) []any {
	t.Helper()
	f, err := local.NewLocalFileReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	r, err := reader.NewParquetReader(f, nil, 1)
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	defer r.ReadStop()
	rows, err := r.ReadByNumber(int(r.GetNumRows()))
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	return rows
}

func compareCells(t *testing.T, path string, set *contract.Set, rows []any) {
	t.Helper()
	n := 0
	err := store.ReadPart(context.Background(), path, set, func(b *ingest.Batch, files []int32) error {
		for i := range files {
			other := reflect.ValueOf(rows[n])
			for c, f := range set.Fields {
				if ours, theirs := ourCell(b.Cols[c], f.Kind(), i), theirCell(other.Field(c)); ours != theirs {
					t.Errorf("%s row %d %s: %q here, %q there", path, n, f.Name, ours, theirs)
				}
			}
			if theirs := theirCell(other.Field(len(set.Fields) + 1)); theirs != fmt.Sprint(b.Lines[i]) {
				t.Errorf("%s row %d: line %d here, %s there", path, n, b.Lines[i], theirs)
			}
			n++
		}
		return nil
	})
	if err != nil || n != len(rows) {
		t.Errorf("%s: %d rows here, %d there (%v)", path, n, len(rows), err)
	}
}

func ourCell(c ingest.Column, kind contract.Kind, i int) string {
	if !c.Valid[i] {
		return "missing"
	}
	switch kind {
	case contract.Text:
		return c.Text.At(i)
	case contract.Number:
		return fmt.Sprint(c.Num[i])
	case contract.Boolean:
		return fmt.Sprint(c.Bool[i])
	}
	return fmt.Sprint(c.Int[i])
}

func theirCell(v reflect.Value) string {
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return "missing"
		}
		v = v.Elem()
	}
	return fmt.Sprint(v.Interface())
}

// TestSameInputSameBytes loads the same records into two stores and compares every file.
func TestSameInputSameBytes(t *testing.T) {
	var stores []map[string]string
	for range 2 {
		b := newBench(t)
		b.load(full())
		b.load(map[string]string{"findings-2.csv": "finding_id,site_id,point_id,found_on,method,result\nF2,H1,P2,2026-04-01,drilled,active\n"})
		stores = append(stores, tree(t, b.store()))
	}
	if len(stores[0]) < 10 {
		t.Fatalf("only %d files compared", len(stores[0]))
	}
	if !reflect.DeepEqual(stores[0], stores[1]) {
		for name := range stores[0] {
			if stores[0][name] != stores[1][name] {
				t.Errorf("%s differs", name)
			}
		}
	}
}

func tree(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || d.Name() == "lock" {
			return err
		}
		raw, err := os.ReadFile(path)
		rel, _ := filepath.Rel(dir, path)
		out[rel] = string(raw)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// TestVerifyNamesDamage flips one bit in the middle of every file of a store in turn.
func TestVerifyNamesDamage(t *testing.T) {
	b := newBench(t)
	b.load(full())
	st, err := store.Open(b.store())
	if err != nil {
		t.Fatal(err)
	}
	if err := st.Verify(context.Background()); err != nil {
		t.Fatal(err)
	}
	for _, p := range st.Manifest.Parts {
		raw, err := os.ReadFile(st.Path(p))
		if err != nil {
			t.Fatal(err)
		}
		bad := append([]byte{}, raw...)
		bad[len(bad)/2] ^= 1
		if err := os.WriteFile(st.Path(p), bad, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := st.Verify(context.Background()); err == nil || !strings.Contains(err.Error(), filepath.Base(p.Path)) {
			t.Errorf("damage to %s: %v", p.Path, err)
		}
		if err := os.WriteFile(st.Path(p), raw, 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

// TestNumbersKeepTheirBits writes numbers that are easily lost and reads them back.
func TestNumbersKeepTheirBits(t *testing.T) {
	b := newBench(t)
	b.load(references)
	b.load(map[string]string{"readings.csv": "reading_id,inspection_id,unit_id,point_id,taken_at,material,gain,call,level_pct\n" +
		"R1,I1,U1,P1,2026-03-02T09:10:00.000001+11:00,board,2,clear,33.333333333333336\n"})
	st, err := store.Open(b.store())
	if err != nil {
		t.Fatal(err)
	}
	set, err := contract.Lookup("readings")
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range st.Paths(store.Data, "readings", 2) {
		err := store.ReadPart(context.Background(), path, set, func(batch *ingest.Batch, _ []int32) error {
			if got := batch.Cols[set.Field("level_pct")].Num[0]; math.Float64bits(got) != math.Float64bits(100.0/3) {
				t.Errorf("level: %v", got)
			}
			if got := batch.Cols[set.Field("taken_at")].Int[0]; got%1e6 != 1 {
				t.Errorf("time: %d", got)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}
