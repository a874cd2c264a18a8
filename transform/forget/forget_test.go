package forget

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"

	"github.com/klauspost/compress/zstd"

	"scanledger/ingest/contract"
	"scanledger/ingest/demo"
	"scanledger/ingest/store"
	"scanledger/queries"
	"scanledger/transform/codes"
	"scanledger/transform/engine"
	"scanledger/transform/settle"
)

var at = time.Date(2026, 5, 1, 8, 0, 0, 0, time.UTC)

// demoStore loads a small demo, dirty rows and all, in two loads, and keeps a sample of every point read.
func demoStore(t *testing.T) string {
	t.Helper()
	ctx, records, dir := context.Background(), t.TempDir(), filepath.Join(t.TempDir(), "store")
	planted, err := demo.Write(ctx, records, demo.Options{Inspections: 240, Months: 4})
	if err != nil {
		t.Fatal(err)
	}
	for _, paths := range [][]string{{filepath.Join(records, planted.Files[len(planted.Files)-1])}, {records}} {
		if _, err := settle.Load(ctx, dir, paths, settle.Options{ReceivedAt: at.AddDate(-1, 0, 0), KeepOriginals: true}); err != nil {
			t.Fatal(err)
		}
	}
	var frame []store.FrameRow
	rows(t, dir, "SELECT i.inspection_id, i.site_id, r.point_id, i.technician_id, strftime(i.started_at, '%Y-%m') FROM held_readings r JOIN held_inspections i USING (inspection_id) ORDER BY ALL", func(scan func(...any) error) error {
		r := store.FrameRow{Sample: "all", Chance: 1}
		err := scan(&r.InspectionID, &r.SiteID, &r.PointID, &r.TechnicianID, &r.Month)
		frame = append(frame, r)
		return err
	})
	txn, err := store.Begin(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(txn.WriteSample("all", "2024-11", struct{}{}, frame), txn.Commit(), txn.Close()); err != nil {
		t.Fatal(err)
	}
	return dir
}

// rows runs a query over what a store holds.
func rows(t *testing.T, dir, query string, visit func(scan func(...any) error) error) {
	t.Helper()
	ctx := context.Background()
	st, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	e, err := engine.Open(ctx, engine.Options{})
	if err != nil {
		t.Fatal(err)
	}
	err = settle.Views(ctx, e, st, len(st.Manifest.Loads))
	if err == nil {
		err = e.Each(ctx, query, nil, visit)
	}
	if err := errors.Join(err, e.Close()); err != nil {
		t.Fatal(err)
	}
}

func texts(t *testing.T, dir, query string) (out []string) {
	t.Helper()
	rows(t, dir, query, func(scan func(...any) error) error {
		var s string
		err := scan(&s)
		out = append(out, s)
		return err
	})
	return out
}

// sound verifies a store as the command does.
func sound(t *testing.T, dir string) *store.Store {
	t.Helper()
	ctx := context.Background()
	st, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := st.Verify(ctx); err != nil {
		t.Fatal(err)
	}
	e, err := engine.Open(ctx, engine.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = e.Close() }()
	if err := settle.Views(ctx, e, st, len(st.Manifest.Loads)); err != nil {
		t.Fatal(err)
	}
	counted, err := queries.Recount(ctx, e, st, len(st.Manifest.Loads))
	if err != nil {
		t.Fatal(err)
	}
	for i, f := range st.Manifest.Files {
		r := counted[i]
		again := store.Counts{Rows: r.Rows, Accepted: r.Accepted, Duplicate: r.Duplicate, Corrected: r.Corrected, Waiting: r.Waiting, Rejected: r.Rejected}
		if again != f.Now || f.Now.Rows+f.Forgotten != f.AtLoad.Rows {
			t.Errorf("%s: the manifest says %+v and %d removed of %d, the rows say %+v", f.Name, f.Now, f.Forgotten, f.AtLoad.Rows, again)
		}
	}
	return st
}

// wordsIn are the words of every text in every file of a store.
func wordsIn(t *testing.T, dir string) map[string]string {
	t.Helper()
	ctx, out := context.Background(), map[string]string{}
	e, err := engine.Open(ctx, engine.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = e.Close() }()
	take := func(path, text string) {
		for word := range strings.FieldsFuncSeq(text, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != '-' }) {
			out[word] = path
		}
	}
	err = filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || d.Name() == "lock" {
			return err
		}
		take(path, d.Name())
		if !strings.HasSuffix(path, ".parquet") {
			raw, err := os.ReadFile(path)
			if strings.HasSuffix(path, ".zst") {
				raw, err = unpacked(raw)
			}
			take(path, string(raw))
			return err
		}
		return e.Each(ctx, "SELECT CAST(p AS VARCHAR) FROM read_parquet("+engine.Quote(path)+", hive_partitioning = false) p", nil, func(scan func(...any) error) error {
			var row string
			err := scan(&row)
			take(path, row)
			return err
		})
	})
	if err != nil || len(out) < 1000 {
		t.Fatalf("%d words (%v)", len(out), err)
	}
	return out
}

// unpacked is the text of a kept record file, as far as it is text.
func unpacked(raw []byte) ([]byte, error) {
	z, err := zstd.NewReader(nil)
	if err != nil {
		return nil, err
	}
	defer z.Close()
	return z.DecodeAll(raw, nil)
}

func notIn(t *testing.T, words map[string]string, tell []string) {
	t.Helper()
	if len(tell) == 0 {
		t.Error("nothing to look for")
	}
	for _, w := range tell {
		if path, there := words[w]; there {
			t.Errorf("%s holds %s", path, w)
		}
	}
}

// heldRows are the rows that count, with their place, by record set: those that left chooses, after what it replaces.
func heldRows(t *testing.T, dir string, left map[string][2]string) map[string][]string {
	t.Helper()
	var parts []string
	for _, set := range contract.Sets() {
		replace, where := "", "true"
		if l, ok := left[set.Name]; ok {
			replace, where = l[0], l[1]
		}
		parts = append(parts, fmt.Sprintf("SELECT '%s' AS record_set, _file, _line, CAST(h AS VARCHAR) AS content FROM (SELECT * %s FROM held_%s WHERE %s) h", set.Name, replace, set.Name, where))
	}
	out := map[string][]string{}
	rows(t, dir, "SELECT record_set, content FROM ("+strings.Join(parts, " UNION ALL ")+") ORDER BY record_set, _file, _line", func(scan func(...any) error) error {
		var set, content string
		err := scan(&set, &content)
		out[set] = append(out[set], content)
		return err
	})
	return out
}

func copyOf(t *testing.T, dir string) string {
	t.Helper()
	out := filepath.Join(t.TempDir(), "store")
	if err := os.CopyFS(out, os.DirFS(dir)); err != nil {
		t.Fatal(err)
	}
	return out
}

// TestStore runs the tests below on copies of one store.
func TestStore(t *testing.T) {
	base := demoStore(t)
	t.Run("forget", func(t *testing.T) { testForget(t, base) })
	t.Run("pseudonymise", func(t *testing.T) { testPseudonymise(t, base) })
	t.Run("same bytes", func(t *testing.T) { testSameBytes(t, base) })
	t.Run("repair", func(t *testing.T) { testNothingComesBack(t, base) })
}

// testForget: what is left is, row by row, what was there before less what was asked for; every count agrees; no file holds
// an id or a name of it; and the trail adds up.
func testForget(t *testing.T, base string) {
	who := texts(t, base, "SELECT technician_id FROM held_inspections GROUP BY 1 ORDER BY count(*) DESC, 1 LIMIT 1")[0]
	site := texts(t, base, "SELECT site_id FROM held_findings GROUP BY 1 ORDER BY count(*) DESC, 1 LIMIT 1")[0]
	const old = "TIMESTAMPTZ '2024-11-01 00:00:00+00'"
	quote := engine.Quote
	for _, c := range []struct {
		name string
		r    Request
		left map[string][2]string // what is replaced in rows that are left, and which are
		tell string               // ids and names that must be nowhere
	}{
		{"technician", Request{Technician: who}, map[string][2]string{
			"technicians": {"", "technician_id <> " + quote(who)},
			"inspections": {"REPLACE (CASE WHEN recheck_of IN (SELECT inspection_id FROM held_inspections WHERE technician_id = " + quote(who) + ") THEN 'forgotten' ELSE recheck_of END AS recheck_of)",
				"technician_id <> " + quote(who)},
			"readings": {"", "inspection_id NOT IN (SELECT inspection_id FROM held_inspections WHERE technician_id = " + quote(who) + ")"},
			"findings": {"REPLACE (CASE WHEN inspection_id NOT IN (SELECT inspection_id FROM held_inspections WHERE technician_id = " + quote(who) + ") THEN inspection_id END AS inspection_id)", "true"},
		}, "SELECT inspection_id FROM held_inspections WHERE technician_id = " + quote(who) + " UNION SELECT unnest(string_split(name, ' ')) FROM held_technicians WHERE technician_id = " + quote(who) +
			" UNION SELECT reading_id FROM held_readings JOIN held_inspections USING (inspection_id) WHERE technician_id = " + quote(who) + " UNION SELECT " + quote(who)},
		{"site", Request{Site: site}, map[string][2]string{
			"inspections": {"", "site_id <> " + quote(site)},
			"readings":    {"", "inspection_id NOT IN (SELECT inspection_id FROM held_inspections WHERE site_id = " + quote(site) + ")"},
			"findings":    {"", "site_id <> " + quote(site)},
		}, "SELECT inspection_id FROM held_inspections WHERE site_id = " + quote(site) + " UNION SELECT finding_id FROM held_findings WHERE site_id = " + quote(site) + " UNION SELECT " + quote(site)},
		{"old", Request{Months: 18}, map[string][2]string{
			"inspections": {"REPLACE (CASE WHEN recheck_of IN (SELECT inspection_id FROM held_inspections WHERE started_at < " + old + ") THEN 'forgotten' ELSE recheck_of END AS recheck_of)", "started_at >= " + old},
			"readings":    {"", "taken_at >= " + old + " AND inspection_id NOT IN (SELECT inspection_id FROM held_inspections WHERE started_at < " + old + ")"},
			"findings":    {"REPLACE (CASE WHEN inspection_id NOT IN (SELECT inspection_id FROM held_inspections WHERE started_at < " + old + ") THEN inspection_id END AS inspection_id)", "found_on >= DATE '2024-11-01'"},
			"unit_log":    {"", "logged_at >= " + old},
		}, "SELECT inspection_id FROM held_inspections WHERE started_at < " + old},
	} {
		t.Run(c.name, func(t *testing.T) {
			dir := copyOf(t, base)
			tell, want, before := texts(t, dir, c.tell), heldRows(t, dir, c.left), heldRows(t, dir, nil)
			c.r.At, c.r.Tool = at, "test"
			st, err := store.Open(dir)
			if err != nil {
				t.Fatal(err)
			}
			planned, err := Plan(t.Context(), st, c.r)
			if err != nil {
				t.Fatal(err)
			}
			trail, err := Forget(t.Context(), dir, c.r)
			if err != nil {
				t.Fatal(err)
			}
			if !slices.Equal(planned.Rows, trail.Rows) {
				t.Errorf("planned %v, done %v", planned.Rows, trail.Rows)
			}
			st = sound(t, dir)
			got := heldRows(t, dir, nil)
			for set, rows := range before {
				if !slices.Equal(got[set], want[set]) {
					t.Errorf("%s: %d rows, want %d", set, len(got[set]), len(want[set]))
				}
				if meant := c.left[set][1]; (len(rows) != len(want[set])) != (meant != "" && meant != "true") {
					t.Errorf("%s: of %d rows %d are left; the test does not test", set, len(rows), len(want[set]))
				}
			}
			var removed int64
			for _, f := range st.Manifest.Files {
				removed += f.Forgotten
			}
			if removed != trail.Total() || len(st.Manifest.Forgotten) != 1 || st.Manifest.Forgotten[0].Total() != removed {
				t.Errorf("%d rows removed of record files, %d by the trail", removed, trail.Total())
			}
			notIn(t, wordsIn(t, dir), tell)
			kept := 0
			for _, f := range st.Manifest.Files {
				if _, ok := st.Original(f); ok {
					kept++
				}
				if _, ok := st.Original(f); ok && f.Forgotten > 0 {
					t.Errorf("the record file %s is still kept", f.Name)
				}
			}
			if kept == 0 || kept+trail.Originals != len(st.Manifest.Files) {
				t.Errorf("%d record files kept, %d removed, of %d", kept, trail.Originals, len(st.Manifest.Files))
			}
			if _, err := Forget(t.Context(), dir, c.r); !errors.Is(err, ErrNothing) {
				t.Errorf("once more: %v", err)
			}
			frame, err := st.ReadFrame(t.Context(), "all")
			if err != nil || len(frame) == 0 || slices.ContainsFunc(frame, func(r store.FrameRow) bool { return r.TechnicianID == c.r.Technician || r.SiteID == c.r.Site }) {
				t.Errorf("frame of %d rows (%v)", len(frame), err)
			}
		})
	}
}

// testPseudonymise: every row stays, joins as it did, and none tells whose it is.
func testPseudonymise(t *testing.T, base string) {
	coder, err := codes.New("some words of our own")
	if err != nil {
		t.Fatal(err)
	}
	who := texts(t, base, "SELECT technician_id FROM held_inspections GROUP BY 1 ORDER BY count(*) DESC, 1 LIMIT 1")[0]
	site := texts(t, base, "SELECT site_id FROM held_findings GROUP BY 1 ORDER BY count(*) DESC, 1 LIMIT 1")[0]
	const joined = `SELECT count(*)::VARCHAR || ' ' || count(f.finding_id)::VARCHAR || ' ' || count(t.technician_id)::VARCHAR || ' ' || count(o.inspection_id)::VARCHAR FROM held_readings r
		LEFT JOIN held_inspections i USING (inspection_id) LEFT JOIN held_findings f ON f.site_id = i.site_id AND f.point_id = r.point_id
		LEFT JOIN held_technicians t USING (technician_id) LEFT JOIN held_inspections o ON o.inspection_id = i.recheck_of`
	for _, c := range []struct {
		r    Request
		code string
		tell []string
	}{
		{Request{Technician: who}, coder.Code(codes.Technician, who),
			append(texts(t, base, "SELECT unnest(string_split(name, ' ')) FROM held_technicians WHERE technician_id = "+engine.Quote(who)), who)},
		{Request{Site: site}, coder.Code(codes.Site, site), []string{site}},
	} {
		dir := copyOf(t, base)
		want := texts(t, dir, joined)
		c.r.At, c.r.Coder = at, &coder
		trail, err := Forget(t.Context(), dir, c.r)
		if err != nil {
			t.Fatal(err)
		}
		st := sound(t, dir)
		if got := texts(t, dir, joined); !slices.Equal(got, want) {
			t.Errorf("joins give %v, want %v", got, want)
		}
		if st.Manifest.Files[0].Forgotten != 0 || trail.Did != store.Pseudonymised || trail.Total() == 0 {
			t.Errorf("trail %+v", trail)
		}
		words := wordsIn(t, dir)
		notIn(t, words, c.tell)
		if words[c.code] == "" {
			t.Errorf("the code %s is nowhere", c.code)
		}
	}
}

// testSameBytes: the same request on the same store gives the same bytes.
func testSameBytes(t *testing.T, base string) {
	who := texts(t, base, "SELECT technician_id FROM held_inspections ORDER BY 1 LIMIT 1")[0]
	var trees []map[string]string
	for range 2 {
		dir := copyOf(t, base)
		if _, err := Forget(t.Context(), dir, Request{Technician: who, At: at}); err != nil {
			t.Fatal(err)
		}
		tree := map[string]string{}
		err := fs.WalkDir(os.DirFS(dir), ".", func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || path == "lock" {
				return err
			}
			raw, err := os.ReadFile(filepath.Join(dir, path))
			tree[path] = string(raw)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		trees = append(trees, tree)
	}
	if !maps.Equal(trees[0], trees[1]) {
		t.Error("other bytes")
	}
}

// testNothingComesBack: neither a repair nor a rebuilding brings back what was removed, whatever record files are at hand,
// and a damaged store is not written again as if it were whole.
func testNothingComesBack(t *testing.T, base string) {
	dir := copyOf(t, base)
	who := texts(t, base, "SELECT technician_id FROM held_inspections ORDER BY 1 LIMIT 1")[0]
	st, err := store.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	records := t.TempDir()
	for _, f := range st.Manifest.Files {
		if err := st.Unpack(f, filepath.Join(records, fmt.Sprint(f.Number))); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := Forget(t.Context(), dir, Request{Technician: who, At: at}); err != nil {
		t.Fatal(err)
	}
	opt := settle.RepairOptions{Records: []string{records}}
	if _, err := settle.Rebuild(t.Context(), dir, filepath.Join(t.TempDir(), "again"), opt); err == nil || !strings.Contains(err.Error(), "would bring them back") {
		t.Errorf("rebuilt: %v", err)
	}
	if st, err = store.Open(dir); err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(st.Manifest.Parts, func(p store.Part) bool { return p.Kind == store.Data && p.RecordSet == "readings" && p.Revision == 1 })
	if err := os.Truncate(st.Path(st.Manifest.Parts[i]), 100); err != nil {
		t.Fatal(err)
	}
	rep, err := settle.Repair(t.Context(), dir, opt)
	if err != nil || len(rep.Healed) != 0 || len(rep.Left) != 1 || !strings.Contains(rep.Left[0].Why, "would bring them back") {
		t.Errorf("repaired: %+v (%v)", rep, err)
	}
	if _, err := Forget(t.Context(), dir, Request{Site: texts(t, base, "SELECT site_id FROM held_inspections ORDER BY 1 LIMIT 1")[0], At: at}); !errors.Is(err, store.ErrDamaged) {
		t.Errorf("forgot from a damaged store: %v", err)
	}
}
