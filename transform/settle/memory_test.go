package settle

import (
	"testing"

	"scanledger/ingest"
)

func TestMemoryGoesByText(t *testing.T) {
	of := func(path string, bytes int64) source { return source{Source: ingest.Source{Path: path}, bytes: bytes} }
	for _, c := range []struct {
		sources []source
		want    string
	}{
		{nil, "128MiB"},
		{[]source{of("a.csv", 900<<20)}, "128MiB"},
		{[]source{of("a.csv", 900<<20), of("b.csv", 900<<20)}, "256MiB"},
		{[]source{of("a.csv.GZ", 200<<20)}, "256MiB"},
		{[]source{of("a.csv", 80<<30)}, "1024MiB"},
	} {
		if got := memory(c.sources); got != c.want {
			t.Errorf("%v: %s, want %s", c.sources, got, c.want)
		}
	}
}
