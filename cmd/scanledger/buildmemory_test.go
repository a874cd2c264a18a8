package main

import (
	"testing"

	"scanledger/ingest/store"
)

func TestBuildMemoryGoesByTheLargestMonth(t *testing.T) {
	of := func(rows ...int64) *store.Store {
		st := &store.Store{}
		for i, n := range rows {
			st.Manifest.Parts = append(st.Manifest.Parts, store.Part{Kind: store.Data, RecordSet: "readings", Month: []string{"2026-01", "2026-02"}[i%2], Rows: n})
		}
		return st
	}
	for _, c := range []struct {
		rows []int64
		want string
	}{
		{nil, "512MiB"},
		{[]int64{499_999, 400_000}, "512MiB"},
		{[]int64{300_000, 0, 300_000}, "704MiB"}, // of one month
		{[]int64{90_000_000}, "704MiB"},
	} {
		if got := buildMemory(of(c.rows...)); got != c.want {
			t.Errorf("%v: %s, want %s", c.rows, got, c.want)
		}
	}
}
