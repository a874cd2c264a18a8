package patterns

import "testing"

// BenchmarkSearch searches the checked calls of a year of one million point-visits, and of the demo's size.
func BenchmarkSearch(b *testing.B) {
	for name, inspections := range map[string]int{"demo": 6000, "year": 166_667} {
		b.Run(name, func(b *testing.B) {
			w := world{inspections: inspections, points: 6, active: 0.1, seen: 0.8, still: 0.02, siteSpread: 0.4,
				plants: []plant{{[]Term{{"wind_band", "35 or more"}, {"material", "M1"}}, 4}, {[]Term{{"unit_id", "U4"}}, 3}}}
			c := w.calls(1)
			b.ResetTimer()
			for b.Loop() {
				f, err := Search(c, worldOptions())
				if err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(float64(f.Calls), "calls")
				b.ReportMetric(float64(f.Tried[0]+f.Tried[1]+f.Tried[2]), "patterns")
				b.ReportMetric(float64(len(f.Patterns)), "found")
			}
		})
	}
}
