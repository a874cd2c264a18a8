package main

import (
	"bytes"
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// exampleRecords are those that the examples of --help work on.
var exampleRecords = map[string]string{
	"regions.csv":     "region,label,season_scheme,time_zone,latitude\nS,South,south_four,Australia/Sydney,-33\n",
	"technicians.csv": "technician_id,name\nT1,One\n",
	"units.csv":       "unit_id,gain_min,gain_max,gain_start\nU1,0,6,2\n",
	"materials.csv":   "material,density_class\nboard,light\n",
	"inspections.csv": "inspection_id,site_id,region,technician_id,started_at,purpose,outcome\nI1,H1,S,T1,2026-03-02T09:00:00+11:00,routine,active\n",
	"readings.csv":    "reading_id,inspection_id,unit_id,point_id,taken_at,material,gain,call\nR1,I1,U1,P1,2026-03-02T09:10:00+11:00,board,2,active\n",
}

// words splits a line as a shell does, for the quotation marks that the examples have.
func words(line string) (out []string) {
	for _, w := range regexp.MustCompile(`"[^"]*"|\S+`).FindAllString(line, -1) {
		out = append(out, strings.Trim(w, `"`))
	}
	return out
}

// TestExamplesRun runs every example of --help, in order.
func TestExamplesRun(t *testing.T) {
	dir := t.TempDir()
	t.Chdir(dir)
	if err := os.Mkdir("records", 0o700); err != nil {
		t.Fatal(err)
	}
	for name, content := range exampleRecords {
		if err := os.WriteFile(filepath.Join("records", name), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, e := range examples {
		var out, problems bytes.Buffer
		if code := run(context.Background(), words(e.line)[1:], terminal{strings.NewReader(""), &out, &problems}); code != exitClean {
			t.Errorf("%s: exit %d: %s%s", e.line, code, out.String(), problems.String())
		}
	}
}

func said(t *testing.T, args ...string) string {
	t.Helper()
	var out, problems bytes.Buffer
	if code := run(context.Background(), args, terminal{strings.NewReader(""), &out, &problems}); code != exitClean {
		t.Fatalf("%v: exit %d: %s", args, code, problems.String())
	}
	return out.String()
}

// TestManual: the manual and --help name every command, and the manual is sound to man.
func TestManual(t *testing.T) {
	manual, help := said(t, "manual"), said(t, "--help")
	for _, name := range []string{"demo", "load", "build", "report", "sample", "ask", "explain", "verify", "repair", "check", "records", "calc", "manual", "completion"} {
		if !strings.Contains(manual, "\n.SS "+name) || !strings.Contains(help, "\n  "+name+" ") {
			t.Errorf("%s is missing in the manual or in --help", name)
		}
	}
	for line := range strings.Lines(manual) {
		if strings.HasPrefix(line, ".") && !regexp.MustCompile(`^\.(TH|SH|SS|TP|PP|B|I)\b`).MatchString(line) {
			t.Errorf("a request that is none: %s", line)
		}
	}
	if _, err := exec.LookPath("groff"); err == nil {
		check := exec.Command("groff", "-ww", "-z", "-man", "-Tutf8")
		check.Stdin = strings.NewReader(manual)
		if out, err := check.CombinedOutput(); err != nil || len(out) > 0 {
			t.Errorf("groff: %s, %v", out, err)
		}
	}
}

// TestCompletion asks bash what it would complete.
func TestCompletion(t *testing.T) {
	script := said(t, "completion", "bash")
	for typed, want := range map[string]string{"scanledger repo": "report", "scanledger report --only": "--only-if-complete", "scanledger ask --time": "--timeout"} {
		fields := strings.Fields(typed)
		ask := script + "\nCOMP_WORDS=(" + typed + ")\nCOMP_CWORD=" + string(rune('0'+len(fields)-1)) + "\n_scanledger\necho \"${COMPREPLY[*]}\""
		out, err := exec.Command("bash", "-c", ask).CombinedOutput()
		if err != nil || strings.TrimSpace(string(out)) != want {
			t.Errorf("%s: completes to %q, %v; want %s", typed, out, err, want)
		}
	}
	for _, shell := range []string{"zsh", "fish"} {
		if text := said(t, "completion", shell); !strings.Contains(text, "only-if-complete") {
			t.Errorf("%s knows no --only-if-complete", shell)
		}
	}
}
