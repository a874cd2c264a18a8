package codes

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"scanledger/ingest/store"
	"scanledger/transform"
	"scanledger/transform/engine"
	"scanledger/transform/protocol"
	"scanledger/transform/settle"
)

const key = "0123456789abcdef"

func coder(t *testing.T, key string) Coder {
	t.Helper()
	c, err := New(key)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// TestCode: stable, apart by kind and key, and without vowels or digits.
func TestCode(t *testing.T) {
	c := coder(t, key)
	if again := coder(t, key); c.Code(Site, "S1") != again.Code(Site, "S1") || c.Code(Site, "S1") == c.Code(Technician, "S1") ||
		c.Code(Site, "S1") == coder(t, key+"x").Code(Site, "S1") {
		t.Error("codes do not follow kind, id and key")
	}
	if code := c.Code(Site, "S00001"); len(code) != 18 || strings.ContainsAny(code[2:], "aeiou0123456789") {
		t.Errorf("code %q", code)
	}
	for _, short := range []string{"", "0123456789abcde"} {
		if _, err := New(short); !errors.Is(err, ErrKey) || !strings.Contains(err.Error(), "privacy.key") {
			t.Errorf("key %q: %v", short, err)
		}
	}
}

// TestTwins: the SQL function gives the code of any id under any key, also one longer than a block.
func TestTwins(t *testing.T) {
	ctx := context.Background()
	e, err := engine.Open(ctx, engine.Options{Threads: 1})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = e.Close() })
	rapid.Check(t, func(t *rapid.T) {
		c := Coder{[]byte(rapid.StringMatching(`[ -~é]{16,100}`).Draw(t, "key"))}
		id := rapid.StringMatching(`[ -~ßä]{0,64}`).Draw(t, "id")
		if err := c.define(ctx, e); err != nil {
			t.Fatal(err)
		}
		var got string
		err := e.Each(ctx, "SELECT coded('t', $1)", []any{id}, func(scan func(...any) error) error { return scan(&got) })
		if err != nil || got != c.Code(Technician, id) {
			t.Fatalf("SQL %q (%v), Go %q", got, err, c.Code(Technician, id))
		}
	})
}

var records = map[string]string{
	"regions-of-ada.csv":  "region,label,season_scheme,time_zone,latitude\nS,South,south_four,Australia/Sydney,-33\n",
	"technicians-ada.csv": "technician_id,name\nT01,Ada Quillmark\n",
	"units.csv":           "unit_id,gain_min,gain_max,gain_start\nU1,0,6,2\n",
	"materials.csv":       "material,density_class\nboard,light\n",
	"inspections.csv": "inspection_id,site_id,region,technician_id,started_at,purpose,outcome,areas_not_inspected\n" +
		"I0001,S0009,S,T01,2026-03-02T09:00:00+11:00,routine,active,\"Ada Quillmark said \"\"no\"\"\"\n" +
		"I0002,S0008,S,T01,2026-03-03T09:00:00+11:00,routine,clear,\n",
	"readings.csv": "reading_id,inspection_id,unit_id,point_id,taken_at,material,gain,call\n" +
		"R0001,I0001,U1,S0009-P1,2026-03-02T09:10:00+11:00,board,2,active\nR0002,I0002,U1,S0008-P1,2026-03-03T09:10:00+11:00,board,99,clear\n",
	"findings.csv": "finding_id,site_id,point_id,inspection_id,found_on,method,result\nF0001,S0009,S0009-P1,I0001,2026-03-20,opened,active\n",
}

// TestViews: nothing that comes after holds an id, a name, free text, a rejected value or a file's name, and
// what is joined by ids still joins.
func TestViews(t *testing.T) {
	ctx, dir := context.Background(), t.TempDir()
	for name, content := range records {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	storeDir := filepath.Join(t.TempDir(), "store")
	if _, err := settle.Load(ctx, storeDir, []string{dir}, settle.Options{ReceivedAt: time.Unix(0, 0)}); err != nil {
		t.Fatal(err)
	}
	st, err := store.Open(storeDir)
	if err != nil {
		t.Fatal(err)
	}
	e, err := engine.Open(ctx, engine.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = e.Close() })
	if err := settle.Views(ctx, e, st, 1); err != nil {
		t.Fatal(err)
	}
	c, numbered := coder(t, key), (*store.Store)(nil)
	checks, err := protocol.Read(nil)
	if err != nil {
		t.Fatal(err)
	}
	coded := filepath.Join(t.TempDir(), "coded")
	opt := transform.Options{Protocol: checks, Between: func() (_ string, err error) {
		numbered, err = c.Views(ctx, e, st, coded)
		return coded, err
	}}
	if _, err := transform.Facts(ctx, e, t.TempDir(), opt, func(string) {}); err != nil {
		t.Fatal(err)
	}
	if err := Withhold(ctx, e, t.TempDir()); err != nil {
		t.Fatal(err)
	}
	one := func(query string) (out string) {
		t.Helper()
		if err := e.Each(ctx, query, nil, func(scan func(...any) error) error { return scan(&out) }); err != nil {
			t.Fatal(err)
		}
		return out
	}
	for query, want := range map[string]string{
		"SELECT technician_id || ' ' || site_id || ' ' || point_id FROM point_visits":                                                     c.Code(Technician, "T01") + " " + c.Code(Site, "S0009") + " " + c.Code(Point, "S0009-P1"),
		"SELECT f.finding_id FROM held_findings f JOIN held_inspections i ON i.site_id = f.site_id AND i.inspection_id = f.inspection_id": c.Code(Finding, "F0001"),
		"SELECT coalesce(name, 'none') FROM held_technicians":                                                                             "none",
		"SELECT string_agg(areas_not_inspected, ',') FROM visits":                                                                         "withheld",
		"SELECT value || ', ' || message || ', ' || file FROM rejects":                                                                    "withheld, withheld, readings file 6",
		"SELECT string_agg(seen, ',') FROM protocol_visits WHERE check_id = 'areas_unexplained'":                                          "withheld",
		"SELECT count(*)::VARCHAR FROM samples":                                                                                           "0",
	} {
		if got := one(query); got != want {
			t.Errorf("%s: %q, want %q", query, got, want)
		}
	}
	for _, f := range numbered.Manifest.Files {
		if strings.Contains(f.Name, "ada") {
			t.Errorf("file named %s", f.Name)
		}
	}
	if !strings.Contains(st.Manifest.Files[0].Name, ".csv") {
		t.Error("the store itself was changed")
	}
	for _, view := range append(transform.Tables(), "held_inspections", "held_readings", "held_findings", "held_technicians") {
		row := one("SELECT coalesce(string_agg(CAST(v AS VARCHAR), '|'), '') FROM " + view + " v")
		for _, id := range []string{"T01", "S000", "I000", "R000", "F000", "Ada"} {
			if strings.Contains(row, id) {
				t.Errorf("%s holds %s: %s", view, id, row)
			}
		}
	}
}
