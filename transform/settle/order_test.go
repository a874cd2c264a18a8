package settle_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"scanledger/ingest/contract"
	"scanledger/ingest/store"
	"scanledger/transform/engine"
	"scanledger/transform/settle"
)

// arrival is a record file of a made-up history.
type arrival struct{ name, text string }

// history makes up record files in which everything happens: rows before what they name, versions that make others wrong and
// right again, rows given twice. Few ids and few values make them meet often.
func history(rng *rand.Rand, files int) (out []arrival) {
	pick := func(of ...string) string { return of[rng.IntN(len(of))] }
	sets := []struct {
		set, header string
		row         func() string
	}{
		{"regions", "region,label,season_scheme,time_zone,latitude", func() string { return "S,South,south_four,Australia/Sydney,-33" }},
		{"technicians", "technician_id,name", func() string { return pick("T1", "T2") + "," + pick("One", "Two") }},
		{"units", "unit_id,gain_min,gain_max,gain_start", func() string { return pick("U1", "U2") + ",0," + pick("2", "6") + ",1" }},
		{"materials", "material,density_class", func() string { return pick("board", "slab") + "," + pick("light", "dense") }},
		{"inspections", "inspection_id,site_id,region,technician_id,started_at,ended_at,purpose,recheck_of,outcome", func() string {
			purpose := pick("routine,", "routine,", "recheck,"+pick("I1", "I2", "I3"))
			return pick("I1", "I2", "I3") + "," + pick("H1", "H2") + ",S," + pick("T1", "T2") + "," +
				pick("2026-03-02T09:00:00Z,2026-03-02T10:00:00Z", "2026-03-02T12:00:00Z,2026-03-02T13:00:00Z") + "," + purpose + ",clear"
		}},
		{"readings", "reading_id,inspection_id,unit_id,point_id,taken_at,material,gain,call", func() string {
			return pick("R1", "R2", "R3", "R4") + "," + pick("I1", "I2", "I3") + "," + pick("U1", "U2") + ",P1,2026-03-02T" + pick("09", "12") + ":30:00Z," +
				pick("board", "slab") + "," + pick("1", "4") + ",clear"
		}},
		{"readings", "reading_id,inspection_id,unit_id,point_id,taken_at,material,gain,call", func() string {
			return pick("R1", "R2") + ",I1,U1,P1,2026-03-02T" + pick("09", "12") + ":30:00Z,board,1," + pick("clear", "active")
		}},
		{"findings", "finding_id,site_id,point_id,inspection_id,found_on,method,result", func() string {
			return pick("F1", "F2") + "," + pick("H1", "H2") + ",P1," + pick("I1", "I2", "I3", "") + ",2026-03-05,opened," + pick("active", "nothing")
		}},
	}
	for n := range files {
		s := sets[n%len(sets)]
		if n >= len(sets) {
			s = sets[2+rng.IntN(len(sets)-2)]
		}
		text := s.header + "\n"
		for range 1 + rng.IntN(5) {
			text += s.row() + "\n"
		}
		out = append(out, arrival{s.set, text})
	}
	rng.Shuffle(len(out), func(i, j int) { out[i], out[j] = out[j], out[i] })
	for i := range out {
		out[i].name = fmt.Sprintf("%s-%03d.csv", out[i].name, i) // a load takes files of one record set in order of names
	}
	return out
}

// texts are the files of one load.
func texts(files []arrival) map[string]string {
	out := map[string]string{}
	for _, f := range files {
		out[f.name] = f.text
	}
	return out
}

// ledger is what a store holds: every row that counts, what became of every other, and the counts of every file, by the names
// of files, since their numbers go by arrival.
func (b *bench) ledger() []string {
	b.t.Helper()
	queries := []string{`SELECT concat_ws(' ', f.name, b.line, b.fate, b.held, b.rule) FROM fate_before b JOIN files f ON f.number = b.file WHERE b.fate <> 'accepted' OR NOT b.held`,
		`SELECT concat_ws(' ', 'rejects', file, line, rule, value) FROM rejects`}
	for _, set := range contract.Sets() {
		queries = append(queries, "SELECT concat_ws(' ', f.name, h._line, h.content) FROM (SELECT _file, _line, "+content(set)+" AS content FROM held_"+set.Name+") h JOIN files f ON f.number = h._file")
	}
	out := b.query(queries...)
	st, err := store.Open(b.store())
	if err != nil {
		b.t.Fatal(err)
	}
	for _, f := range st.Manifest.Files {
		out = append(out, fmt.Sprintf("%s %+v", f.Name, f.Now))
	}
	slices.Sort(out)
	return out
}

// held is the content of every row that counts, and how many rows have each fate.
func (b *bench) held() []string {
	b.t.Helper()
	queries := []string{`SELECT concat_ws(' ', record_set, fate, count(*)) FROM fate_before WHERE fate <> 'accepted' GROUP BY record_set, fate`}
	for _, set := range contract.Sets() {
		queries = append(queries, "SELECT "+content(set)+" FROM held_"+set.Name)
	}
	out := b.query(queries...)
	slices.Sort(out)
	return out
}

// content is every field of a row as one text.
func content(set *contract.Set) string {
	var fields []string
	for _, f := range set.Fields {
		fields = append(fields, "coalesce(CAST("+f.Name+" AS VARCHAR), '-')")
	}
	return "concat_ws(' ', " + strings.Join(fields, ", ") + ")"
}

// query runs queries with one column over the newest state of the store.
func (b *bench) query(queries ...string) (out []string) {
	b.t.Helper()
	st, err := store.Open(b.store())
	if err != nil {
		b.t.Fatal(err)
	}
	eng, err := engine.Open(context.Background(), engine.Options{Threads: 1})
	if err != nil {
		b.t.Fatal(err)
	}
	defer func() {
		if err := eng.Close(); err != nil {
			b.t.Error(err)
		}
	}()
	if err := settle.Views(b.t.Context(), eng, st, len(st.Manifest.Loads)); err != nil {
		b.t.Fatal(err)
	}
	if err := settle.Files(b.t.Context(), eng, st, len(st.Manifest.Loads)); err != nil {
		b.t.Fatal(err)
	}
	for _, q := range queries {
		err := eng.Each(b.t.Context(), q, nil, func(scan func(...any) error) error {
			var line string
			err := scan(&line)
			out = append(out, line)
			return err
		})
		if err != nil {
			b.t.Fatal(err)
		}
	}
	return out
}

// TestLoadsAddUp: files taken in by many loads end as they do in one, whatever the cuts.
func TestLoadsAddUp(t *testing.T) {
	for seed := range uint64(10) {
		rng := rand.New(rand.NewPCG(seed, 1))
		files := history(rng, 14)
		once, often := newBench(t), newBench(t)
		once.opt.Engine.Threads, often.opt.Engine.Threads = 1, 1
		for rest := files; len(rest) > 0; {
			n := 1 + rng.IntN(min(3, len(rest)))
			often.load(texts(rest[:n]))
			rest = rest[n:]
		}
		once.load(texts(files))
		want, got := once.ledger(), often.ledger()
		if !slices.Equal(want, got) {
			lacks := slices.DeleteFunc(slices.Clone(want), func(l string) bool { return slices.Contains(got, l) })
			more := slices.DeleteFunc(slices.Clone(got), func(l string) bool { return slices.Contains(want, l) })
			t.Errorf("seed %d: at once and not in parts:\n%s\nin parts and not at once:\n%s\nfiles: %v", seed, strings.Join(lacks, "\n"), strings.Join(more, "\n"), files)
		}
	}
}

// TestOrderOfArrivalDoesNotMatter: where every key has one content, files may come in any order: the same rows count in the end.
func TestOrderOfArrivalDoesNotMatter(t *testing.T) {
	for seed := range uint64(5) {
		rng := rand.New(rand.NewPCG(seed, 2))
		files := history(rng, 14)
		first := map[string]string{} // of each record set and key
		for i, f := range files {
			lines := strings.Split(strings.TrimSpace(f.text), "\n")
			for n, line := range lines[1:] {
				key, _, _ := strings.Cut(line, ",")
				key = f.name[:4] + key
				if _, seen := first[key]; !seen {
					first[key] = line
				}
				lines[n+1] = first[key]
			}
			files[i].text = strings.Join(lines, "\n") + "\n"
		}
		var want []string
		for try := range 2 {
			b := newBench(t)
			b.opt.Engine.Threads = 1
			for some := range slices.Chunk(files, 3) {
				b.load(texts(some))
			}
			got := b.held()
			if try > 0 && !slices.Equal(got, want) {
				t.Errorf("seed %d: %v, then %v", seed, want, got)
			}
			want = got
			rng.Shuffle(len(files), func(i, j int) { files[i], files[j] = files[j], files[i] })
		}
	}
}
