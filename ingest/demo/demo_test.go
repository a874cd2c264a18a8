package demo

import (
	"bytes"
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/BurntSushi/toml"
)

// small is a demo with a file of every form that is quick to write.
var small = Options{Seed: 7, Inspections: 700}

func write(t testing.TB, opt Options) (string, Summary) {
	t.Helper()
	dir := t.TempDir()
	summary, err := Write(context.Background(), dir, opt)
	if err != nil {
		t.Fatal(err)
	}
	return dir, summary
}

func contents(t *testing.T, dir string) map[string][]byte {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]byte{}
	for _, e := range entries {
		if out[e.Name()], err = os.ReadFile(filepath.Join(dir, e.Name())); err != nil {
			t.Fatal(err)
		}
	}
	return out
}

func TestSameSeedGivesSameBytes(t *testing.T) {
	firstDir, summary := write(t, small)
	secondDir, _ := write(t, small)
	first, second := contents(t, firstDir), contents(t, secondDir)
	if len(first) != len(summary.Files)+1 || len(second) != len(first) {
		t.Fatalf("%d and %d files written, summary names %d and the configuration", len(first), len(second), len(summary.Files))
	}
	for name := range first {
		if !bytes.Equal(first[name], second[name]) {
			t.Errorf("%s differs between two runs with one seed", name)
		}
	}
	other := small
	other.Seed++
	otherDir, _ := write(t, other)
	if name := "findings-late.csv"; bytes.Equal(first[name], contents(t, otherDir)[name]) {
		t.Errorf("%s is the same under another seed", name)
	}
}

func TestEveryFormIsThere(t *testing.T) {
	dir, summary := write(t, small)
	endings := map[string]bool{}
	for _, name := range summary.Files {
		endings[name[strings.IndexByte(name, '.'):]] = true
	}
	for _, want := range []string{".csv", ".csv.gz", ".tsv", ".jsonl", ".jsonl.gz", ".xlsx", ".parquet", ".parquet.gz"} {
		if !endings[want] {
			t.Errorf("no file ends in %s", want)
		}
	}
	files := contents(t, dir)
	for name, start := range map[string]string{
		"technicians.csv":        "\xEF\xBB\xBFtechnician_id,name,started_on,accredited_until\r\n",
		"materials.csv":          "material;label;",
		"findings-2025h2.csv":    "finding_id\tsite_id\t",
		"inspections-2025q3.csv": "outcome,areas_not_inspected,",
	} {
		if !bytes.HasPrefix(files[name], []byte(start)) {
			t.Errorf("%s starts with %.60q, want %q", name, files[name], start)
		}
	}
	if !bytes.Contains(files["materials.csv"], []byte(";19,5\n")) {
		t.Error("materials.csv has no decimal comma")
	}
}

func TestConfigurationIsRead(t *testing.T) {
	dir, summary := write(t, Options{Months: 1, Inspections: 20})
	var got struct {
		Business struct{ Name, Currency string }
		Costs    struct {
			FalseAlarm float64 `toml:"false_alarm"`
			Missed     float64
		}
	}
	if _, err := toml.DecodeFile(filepath.Join(dir, summary.Config), &got); err != nil {
		t.Fatal(err)
	}
	if got.Business.Name == "" || got.Business.Currency != "credits" || got.Costs.FalseAlarm != 380 || got.Costs.Missed != 2600 {
		t.Errorf("configuration reads %+v", got)
	}
}

func TestBadOptionsAreRefused(t *testing.T) {
	for _, opt := range []Options{
		{Months: -1}, {Months: MaxMonths + 1}, {Inspections: -5},
		{Months: 12, Inspections: 11}, {Months: 2, Inspections: 2*MaxPerMonth + 1},
	} {
		if _, err := Write(context.Background(), filepath.Join(t.TempDir(), "x"), opt); err == nil || !strings.HasPrefix(err.Error(), "demo: ") {
			t.Errorf("%+v: got error %v", opt, err)
		}
	}
}

func TestTakenNameIsLeftAlone(t *testing.T) {
	dir := t.TempDir()
	mine := filepath.Join(dir, configName)
	if err := os.WriteFile(mine, []byte("mine"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := Write(context.Background(), dir, Options{Months: 1, Inspections: 10})
	if !errors.Is(err, fs.ErrExist) || !strings.Contains(err.Error(), configName) {
		t.Errorf("got error %v", err)
	}
	if got, err := os.ReadFile(mine); err != nil || string(got) != "mine" {
		t.Errorf("the file there before now reads %q (%v)", got, err)
	}
}

func TestCancelledWriteStops(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Write(ctx, t.TempDir(), Options{Months: 1, Inspections: 10}); !errors.Is(err, context.Canceled) {
		t.Errorf("got error %v", err)
	}
}

func TestPlantedNamesWhatIsThere(t *testing.T) {
	var subjects []string
	for _, p := range staff() {
		subjects = append(subjects, p.id)
	}
	for _, u := range sensors() {
		subjects = append(subjects, u.id)
	}
	for i := range materials {
		subjects = append(subjects, materials[i].id)
	}
	subjects = append(subjects, pipeRegion)
	for _, f := range Planted() {
		if !slices.Contains(subjects, f.Subject) || !strings.Contains(f.Sentence, f.Subject) {
			t.Errorf("%s: subject %q is no one's, or not in its sentence", f.Name, f.Subject)
		}
	}
}

func BenchmarkWrite(b *testing.B) {
	for b.Loop() {
		write(b, Options{})
	}
}
