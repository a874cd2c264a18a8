package queries

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// visit is one point of one site: its call, the method and result of its finding where it has one, and
// what a recheck three days later called it where there was one.
type visit struct {
	site, point, material, call, method, result, recheck string
}

// referenceFiles are the reference sets of the tests; brick and block share a density class.
var referenceFiles = map[string]string{
	"regions.csv":     "region,season_scheme,time_zone\nS,south_four,Australia/Sydney\n",
	"technicians.csv": "technician_id\nT1\nT2\n",
	"units.csv":       "unit_id,model,gain_min,gain_max,gain_start\nU1,M1,0,6,2\n",
	"materials.csv":   "material,density_class\nboard,light\nbrick,dense\nblock,dense\nfoam,light\n",
}

// bookOf takes the visits in as record files, makes the facts and analyses them.
func bookOf(t *testing.T, visits []visit) *Book {
	t.Helper()
	dir := t.TempDir()
	for name, content := range recordFiles(visits) {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	b, _ := analyseFolder(t, dir, Options{AsOf: time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)})
	return b
}

// recordFiles writes the visits as record files, one inspection and one recheck a site.
func recordFiles(visits []visit) map[string]string {
	var inspections, readings, findings strings.Builder
	inspections.WriteString("inspection_id,site_id,region,technician_id,started_at,purpose,recheck_of,outcome\n")
	readings.WriteString("reading_id,inspection_id,unit_id,point_id,taken_at,material,gain,call\n")
	findings.WriteString("finding_id,site_id,point_id,found_on,method,result\n")
	seen := map[string]bool{}
	for i, v := range visits {
		if !seen[v.site] {
			seen[v.site] = true
			fmt.Fprintf(&inspections, "I%s,%s,S,T1,2026-03-02T09:00:00+11:00,routine,,clear\n", v.site, v.site)
			fmt.Fprintf(&inspections, "J%s,%s,S,T2,2026-03-05T09:00:00+11:00,recheck,I%s,clear\n", v.site, v.site, v.site)
		}
		fmt.Fprintf(&readings, "R%d,I%s,U1,%s,2026-03-02T09:05:00+11:00,%s,3,%s\n", i, v.site, v.point, v.material, v.call)
		if v.recheck != "" {
			fmt.Fprintf(&readings, "S%d,J%s,U1,%s,2026-03-05T09:05:00+11:00,%s,3,%s\n", i, v.site, v.point, v.material, v.recheck)
		}
		if v.method != "" {
			fmt.Fprintf(&findings, "F%d,%s,%s,2026-03-09,%s,%s\n", i, v.site, v.point, v.method, v.result)
		}
	}
	out := map[string]string{"inspections.csv": inspections.String(), "readings.csv": readings.String(), "findings.csv": findings.String()}
	for name, content := range referenceFiles {
		out[name] = content
	}
	return out
}

// crossed is how many points of one material were called active or clear, by what was found.
type crossed struct{ activeYes, activeNo, activeOpen, clearYes, clearNo, clearOpen int }

// visits spreads the points over sites, perSite to a site.
func (c crossed) visits(material string, perSite int) []visit {
	var out []visit
	add := func(n int, call, method, result string) {
		for range n {
			i := len(out)
			out = append(out, visit{site: fmt.Sprintf("%s%d", material, i/perSite), point: fmt.Sprintf("P%d", i%perSite), material: material, call: call, method: method, result: result})
		}
	}
	add(c.activeYes, "active", "opened", "active")
	add(c.activeNo, "active", "drilled", "nothing")
	add(c.activeOpen, "active", "", "")
	add(c.clearYes, "clear", "borescope", "active")
	add(c.clearNo, "clear", "opened", "old_damage")
	add(c.clearOpen, "clear", "", "")
	return out
}
