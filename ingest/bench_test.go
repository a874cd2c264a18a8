package ingest

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// readingsCSV writes plausible readings; nothing in them is real.
func readingsCSV(rows int) []byte {
	rng := rand.New(rand.NewPCG(1, 2))
	var b strings.Builder
	b.WriteString("reading_id,inspection_id,unit_id,point_id,taken_at,material,thickness_mm,gain,hold_s,level_pct,call,battery_pct,control\n")
	calls := []string{"clear", "active", "unsure"}
	for i := range rows {
		fmt.Fprintf(&b, "R%08d,I%06d,U%02d,P%03d,2026-%02d-%02dT%02d:%02d:%02d+10:00,brick_veneer,%d,%d,%.1f,%.1f,%s,%d,false\n",
			i, i/40, i/40%37, i%40, 1+i/40%12, 1+i/40%28, 8+i/40%8, rng.IntN(60), rng.IntN(60),
			90+rng.IntN(40), 1+rng.IntN(10), 5+20*rng.Float64(), 100*rng.Float64(), calls[rng.IntN(3)], rng.IntN(101))
	}
	return []byte(b.String())
}

// BenchmarkReadCSV measures rows a second over the whole of Read, file to chunks.
func BenchmarkReadCSV(b *testing.B) {
	const rows = 200_000
	path := filepath.Join(b.TempDir(), "readings.csv")
	content := readingsCSV(rows)
	if err := os.WriteFile(path, content, 0o600); err != nil {
		b.Fatal(err)
	}
	src, err := Identify(path, "")
	if err != nil {
		b.Fatal(err)
	}
	b.SetBytes(int64(len(content)))
	b.ReportAllocs()
	for b.Loop() {
		sum, err := Read(context.Background(), src, func(Chunk) error { return nil })
		if err != nil || sum.Rows != rows || sum.Rejected != 0 {
			b.Fatal(sum, err)
		}
	}
	b.ReportMetric(float64(rows)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}
