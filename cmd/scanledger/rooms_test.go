package main

import (
	"os/exec"
	"strings"
	"testing"
)

// rooms lists the packages in the order of the flow: each may import only those before it.
var rooms = []string{
	"ingest/contract", "ingest", "ingest/demo", "ingest/disk", "ingest/store", "ingest/store/bucket",
	"transform/engine", "transform/engine/fleet", "transform/engine/fleet/fleettest", "transform/settle", "transform/protocol", "transform/logs", "transform", "transform/codes", "transform/forget",
	"queries/stats", "queries/people", "queries/patterns", "queries/calc", "queries/habits", "queries/words", "queries/agreement", "queries/instrument", "queries/sampling", "queries/signature", "queries/ask", "queries",
	"dashboards/chart", "dashboards", "dashboards/monthly",
	"cmd/bench",
	"cmd/scanledger",
}

func TestRoomsImportOnlyEarlierRooms(t *testing.T) {
	nth := map[string]int{}
	for i, r := range rooms {
		nth["scanledger/"+r] = i
	}
	out, err := exec.Command("go", "list", "-f", `{{.ImportPath}}{{range .Imports}} {{.}}{{end}}`, "scanledger/...").Output()
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for line := range strings.Lines(string(out)) {
		fields := strings.Fields(line)
		at, ok := nth[fields[0]]
		if !ok {
			t.Errorf("room %s has no place in the flow; give it one here and in DEVELOPERS.md", fields[0])
			continue
		}
		seen++
		for _, imported := range fields[1:] {
			if !strings.HasPrefix(imported, "scanledger/") {
				continue
			}
			if there, ok := nth[imported]; !ok || there >= at {
				t.Errorf("%s imports %s, which comes later in the flow", fields[0], imported)
			}
		}
	}
	if seen != len(rooms) {
		t.Errorf("%d of %d rooms exist", seen, len(rooms))
	}
}

// TestNoRoomUsesTheNetwork: nothing is reported to anyone, and nothing is fetched.
func TestNoRoomUsesTheNetwork(t *testing.T) {
	out, err := exec.Command("go", "list", "-f", `{{.ImportPath}}{{range .Imports}} {{.}}{{end}}`, "scanledger/...").Output()
	if err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(string(out)) {
		for _, imported := range strings.Fields(line)[1:] {
			if imported == "net" || strings.HasPrefix(imported, "net/http") || strings.HasPrefix(imported, "crypto/tls") {
				t.Errorf("%s imports %s", strings.Fields(line)[0], imported)
			}
		}
	}
}
