package protocol

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

func TestChecksAreWhole(t *testing.T) {
	seen := map[string]bool{}
	for _, c := range Checks {
		if seen[c.ID] || !regexp.MustCompile(`^[a-z_]+$`).MatchString(c.ID) {
			t.Errorf("%q: not a name of its own", c.ID)
		}
		seen[c.ID] = true
		if c.Title == "" || c.Chance == "" || c.Breach == "" || c.Kind == "" || c.Weight < 1 || c.Weight > 10 || (c.Source != "") != (c.Kind == Published) {
			t.Errorf("%s: incomplete: %+v", c.ID, c)
		}
		if said := c.With(Settings{}); said.Asks == "" || strings.ContainsAny(said.Asks+said.Chance+said.Breach, "{}") {
			t.Errorf("%s says %+v", c.ID, said)
		}
	}
}

// TestEveryCheckIsCounted: every check but that of last digits, which is counted in Go, is in exactly one
// fact table, and every setting is used.
func TestEveryCheckIsCounted(t *testing.T) {
	files, err := filepath.Glob("../sql/*.sql")
	if err != nil || len(files) == 0 {
		t.Fatalf("%d fact tables (%v)", len(files), err)
	}
	var all strings.Builder
	in := map[string]int{} // how many tables make a check
	for _, f := range files {
		raw, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		all.Write(raw)
		for _, c := range Checks {
			if strings.Contains(string(raw), "SELECT '"+c.ID+"'") {
				in[c.ID]++
			}
		}
	}
	for _, c := range Checks {
		want := 1
		if c.ID == "digit_preference" {
			want = 0
		}
		if in[c.ID] != want {
			t.Errorf("%s is made by %d fact tables, want %d", c.ID, in[c.ID], want)
		}
	}
	for _, p := range Parameters {
		if p.Name != "digit_levels" && !strings.Contains(all.String(), "p."+p.Name) {
			t.Errorf("setting %s is used in no fact table", p.Name)
		}
	}
}

func TestRead(t *testing.T) {
	s, err := Read(map[string]any{"hold_s": int64(30), "copy_chance": 0.01, "off": []any{"no_control"}})
	if err != nil || s.Value("hold_s") != 30 || s.Value("copy_chance") != 0.01 || s.Value("move_s") != 5 || len(s.Off) != 1 {
		t.Errorf("read %+v, %v", s, err)
	}
	if hold, _ := Lookup("short_hold"); hold.With(s).Asks != "at least 30 s" {
		t.Errorf("asks %q", hold.With(s).Asks)
	}
	for _, bad := range []map[string]any{
		{"hold": int64(3)}, {"hold_s": "long"}, {"hold_s": int64(-1)}, {"copy_chance": 0.5}, {"off": "no_control"}, {"off": []any{"no_such"}}, {"off": []any{int64(3)}},
	} {
		if _, err := Read(bad); err == nil || !strings.Contains(err.Error(), "protocol.") {
			t.Errorf("%v: %v", bad, err)
		}
	}
}

// TestGuideListsAll: the README names every check and every setting with its default.
func TestGuideListsAll(t *testing.T) {
	raw, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range Checks {
		if row := "| `" + c.ID + "` | " + c.Title + " | " + c.With(Settings{}).Asks + " | " + string(c.Kind) + " |\n"; !strings.Contains(string(raw), row) {
			t.Errorf("the README lacks the line\n%s", row)
		}
	}
	for _, p := range Parameters {
		row := fmt.Sprintf("| `protocol.%s` | %s | %s; %s |\n", p.Name, strconv.FormatFloat(p.Default, 'f', -1, 64), p.About, p.Kind)
		if !strings.Contains(string(raw), row) {
			t.Errorf("the README lacks the line\n%s", row)
		}
	}
}
