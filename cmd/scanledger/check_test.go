package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestCheckListsABoundedNumber: every broken row is counted, and so many are listed.
func TestCheckListsABoundedNumber(t *testing.T) {
	path := filepath.Join(t.TempDir(), "technicians.csv")
	if err := os.WriteFile(path, []byte("technician_id,name\n"+strings.Repeat(",a\n", mostListed+23)), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, problems := ran("check", path)
	if code != exitRejects || !strings.Contains(out, "100023 rows of technicians, 100023 rejected") || !strings.Contains(out, "and 23 more; mend these first") ||
		strings.Count(out, "is required") != mostListed {
		t.Errorf("exit %d, %s: %.300s", code, problems, out)
	}
	code, out, _ = ran("check", "--json", path)
	if code != exitRejects || !strings.Contains(out, `"more_broken": 23`) {
		t.Errorf("exit %d: %.300s", code, out)
	}
}
