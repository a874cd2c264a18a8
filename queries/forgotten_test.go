package queries

import (
	"reflect"
	"testing"
	"time"

	"scanledger/ingest/store"
)

func removal(number, day int, before, did string, rows ...store.ForgottenRows) store.Forgotten {
	return store.Forgotten{Number: number, At: time.Date(2026, 5, day, 0, 0, 0, 0, time.UTC), Before: before, Did: did, Rows: rows}
}

func TestRestatement(t *testing.T) {
	one := store.ForgottenRows{RecordSet: "readings", Month: "2026-03", Rows: 1}
	many := store.ForgottenRows{RecordSet: "findings", Month: "2026-04", Rows: 1200}
	for _, c := range []struct {
		trail []store.Forgotten
		want  string
	}{
		{nil, ""},
		{[]store.Forgotten{removal(1, 2, "", store.Removed, one)}, "Restated: 1 row removed on request, the last on 2026-05-02. Figures made before then counted them."},
		{[]store.Forgotten{removal(1, 2, "2024-01", store.Removed, one), removal(2, 3, "2024-02", store.Removed, many)},
			"Restated: 1201 rows of months before 2024-02 removed for their age, the last on 2026-05-03. Figures made before then counted them."},
		{[]store.Forgotten{removal(1, 4, "", store.Removed, many), removal(2, 3, "2024-02", store.Removed, one), removal(3, 9, "", store.Pseudonymised, one)},
			"Restated: 1200 rows removed on request, and 1 row of months before 2024-02 removed for their age, the last on 2026-05-04. Figures made before then counted them. " +
				"In 1 row a code has taken the place of an id, which changes no count."},
		{[]store.Forgotten{removal(1, 4, "", store.Pseudonymised, many)}, "In 1200 rows a code has taken the place of an id, which changes no count."},
	} {
		if got := Restatement(c.trail); got != c.want {
			t.Errorf("got  %s\nwant %s", got, c.want)
		}
	}
}

// TestRemovedSince: only what came after, was removed, and is dated near the month; findings for as long as they tell.
func TestRemovedSince(t *testing.T) {
	rows := func(set, month string) store.ForgottenRows {
		return store.ForgottenRows{RecordSet: set, Month: month, Rows: 3}
	}
	trail := []store.Forgotten{
		removal(1, 1, "", store.Removed, rows("readings", "2026-03")),
		removal(2, 2, "", store.Removed, rows("readings", "2026-01"), rows("readings", "2026-02"), rows("readings", "2026-04"), rows("readings", "2026-05"),
			rows("findings", "2026-05"), rows("findings", "2026-07"), rows("technicians", "")),
		removal(3, 3, "", store.Pseudonymised, rows("readings", "2026-03")),
	}
	got, err := RemovedSince(trail, "2026-03", 1, 60)
	want := []LateRecords{{RecordSet: "readings", ReceivedOn: "2026-05-02", Did: "removed", Rows: 6}, {RecordSet: "findings", ReceivedOn: "2026-05-02", Did: "removed", Rows: 3}}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v (%v)\nwant %+v", got, err, want)
	}
	if _, err := RemovedSince(trail, "March", 0, 60); err == nil {
		t.Error("a name was taken for a month")
	}
}
