package settle

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"golang.org/x/sync/errgroup"

	"scanledger/ingest"
	"scanledger/ingest/contract"
	"scanledger/ingest/store"
	"scanledger/transform/engine"
)

// Options say how files are taken in. The zero value is usable but for ReceivedAt.
type Options struct {
	ReceivedAt time.Time                    // when the records came in
	RecordSet  string                       // the set of every file; empty: from each file's name
	Renames    map[string]map[string]string // per record set: supplier's column to contract column
	Engine     engine.Options

	KeepOriginals bool // keep the files, compressed, so that the store can be rebuilt from them

	Place store.Place // where the store is published besides its folder; nil: nowhere

	Tool  string  // name and version, for the manifest
	Watch Watcher // nil: nobody watches
}

// Watcher sees how a load goes on. Calls come from one goroutine.
type Watcher interface {
	File(name string, bytes int64)       // a file begins
	Rows(n int64)                        // so many more rows of it are read
	Step(what string)                    // a step that is not reading begins
	Extra(file string, columns []string) // columns the contract does not know, ignored
}

type unwatched struct{}

func (unwatched) File(string, int64)     {}
func (unwatched) Rows(int64)             {}
func (unwatched) Step(string)            {}
func (unwatched) Extra(string, []string) {}

// Skipped is a file that was not read, and why.
type Skipped struct {
	Path   string `json:"path"`
	Reason string `json:"reason"`
}

// Report says what a load did.
type Report struct {
	Load    int          `json:"load"` // 0: nothing new, nothing published
	Files   []store.File `json:"files"`
	Skipped []Skipped    `json:"skipped"`
	Changed []store.File `json:"changed"` // earlier files whose rows changed fate
	Total   store.Counts `json:"total"`
	Broken  int64        `json:"-"` // rules broken; every one is in the store's rejects
}

// load is one run.
type load struct {
	ctx       context.Context
	opt       Options
	txn       *store.Txn
	eng       *engine.Engine
	zones     *zones
	sources   []source
	files     []store.File // new ones; number = firstFile + index
	firstFile int
	log       *store.Log
	skipped   []Skipped
	moved     map[int]*store.Counts // changes to earlier files' counts
}

type source struct {
	ingest.Source
	sha256 string
	bytes  int64
	keep   bool // the file itself, in the store
}

// Load takes the files at paths (folders are searched) into the store at dir, as one load: all of
// it is published, or nothing. Its errors name the file or step and what to do.
func Load(ctx context.Context, dir string, paths []string, opt Options) (rep Report, err error) {
	txn, err := store.BeginAt(ctx, dir, opt.Place)
	if err != nil {
		return Report{}, err
	}
	defer func() { err = errors.Join(err, txn.Close()) }()
	l := newLoad(ctx, txn, opt)
	if err := l.plan(paths); err != nil {
		return Report{}, err
	}
	if len(l.sources) == 0 {
		return Report{Skipped: l.skipped}, nil
	}
	if err := txn.Sound(ctx); err != nil { // rows would be judged by what is damaged
		return Report{}, fmt.Errorf("load: %w", err)
	}
	return l.take()
}

func newLoad(ctx context.Context, txn *store.Txn, opt Options) *load {
	if opt.Watch == nil {
		opt.Watch = unwatched{}
	}
	return &load{ctx: ctx, opt: opt, txn: txn, moved: map[int]*store.Counts{}, firstFile: len(txn.Manifest.Files) + 1}
}

// memory is what the engine takes where nothing else is configured: looking up names and comparing versions of ten million rows, about a
// gigabyte of text, takes no longer in 128 MiB than in eight times as much; hashes of ten times as many keys do not fit.
func memory(sources []source) string {
	const step, most = int64(128), int64(1024) // MiB
	var text int64
	for _, s := range sources {
		n := s.bytes
		if packed := []string{".gz", ".xlsx", ".parquet"}; slices.Contains(packed, strings.ToLower(filepath.Ext(s.Path))) {
			n *= 8 // or so
		}
		text += n
	}
	return fmt.Sprintf("%dMiB", min(step*(1+text>>30), most))
}

// take settles the rows of the sources and publishes them.
func (l *load) take() (rep Report, err error) {
	if l.log, err = l.txn.OpenLog(); err != nil {
		return Report{}, err
	}
	defer func() { err = errors.Join(err, l.log.Close()) }()
	if err := l.run(); err != nil {
		return Report{}, err
	}
	return l.publish()
}

// plan finds the files, tells their record sets, and leaves out those already held.
func (l *load) plan(paths []string) error {
	found, unknown, err := ingest.Expand(paths)
	if err != nil {
		return err
	}
	for _, path := range unknown {
		l.skipped = append(l.skipped, Skipped{path, ingest.WhyUnknown(path)})
	}
	sources, err := l.identify(found)
	if err != nil {
		return err
	}
	seen := map[string]string{}
	for _, src := range sources {
		path, sum := src.Path, src.sha256
		if held, ok := l.txn.Holding(sum); ok {
			l.skipped = append(l.skipped, Skipped{path, fmt.Sprintf("already held: same content as %s, load %d", held.Name, held.Load)})
			continue
		}
		if other, ok := seen[sum]; ok {
			l.skipped = append(l.skipped, Skipped{path, "same content as " + other})
			continue
		}
		seen[sum] = path
		src.keep = l.opt.KeepOriginals
		l.sources = append(l.sources, src)
	}
	return nil
}

// identify tells each file's record set, and its content's checksum, of several files at a time.
func (l *load) identify(paths []string) ([]source, error) {
	sources := make([]source, len(paths))
	for i, path := range paths {
		src, err := ingest.Identify(path, l.opt.RecordSet)
		if err != nil {
			return nil, err
		}
		src.Renames = l.opt.Renames[src.Set.Name]
		sources[i].Source = src
	}
	errs := make([]error, len(paths))
	var group errgroup.Group
	group.SetLimit(runtime.GOMAXPROCS(0))
	for i := range sources {
		group.Go(func() error {
			sources[i].sha256, sources[i].bytes, errs[i] = ingest.HashFile(paths[i])
			return nil
		})
	}
	return sources, errors.Join(group.Wait(), errors.Join(errs...))
}

// run takes the record sets in an order in which every row comes after the rows it names.
func (l *load) run() (err error) {
	eng := l.opt.Engine
	if eng.MemoryLimit == "" {
		eng.MemoryLimit = memory(l.sources)
	}
	if l.eng, err = engine.Open(l.ctx, eng); err != nil {
		return err
	}
	// The engine ends before anything is published: of a load that is killed later, the next, which has nothing new to take in
	// and opens no engine, would leave the engine's folder where it lies.
	defer func() { err = errors.Join(err, l.eng.Close()) }()
	if err := fatesUntil(l.ctx, l.eng, l.txn.Store, l.txn.Load); err != nil {
		return err
	}
	if err := l.eng.Exec(l.ctx, sqlText("tables")); err != nil {
		return err
	}
	l.zones = &zones{eng: l.eng}
	for _, set := range contract.Sets() {
		if err := l.offer(set); err != nil {
			return err
		}
	}
	return nil
}

// offer reads and settles the rows of one record set.
func (l *load) offer(set *contract.Set) (err error) {
	o := &offering{load: l, set: set, data: l.txn.NewRowWriter(set, store.Data), pool: l.txn.NewRowWriter(set, store.Pool)}
	defer func() { err = errors.Join(err, o.pool.Close()) }()
	if err := o.reconsider(); err != nil {
		return errors.Join(err, o.data.Close())
	}
	if err := errors.Join(o.collect(), o.data.Close()); err != nil {
		return err
	}
	debug.FreeOSMemory() // reading is over: what it held would stand beside what the engine takes next
	if err := o.settle(); err != nil {
		return fmt.Errorf("settle %s: %w", set.Name, err)
	}
	return nil
}

// publish brings the manifest up to date, checks that every row read has exactly one fate, and commits.
func (l *load) publish() (Report, error) {
	l.opt.Watch.Step("publish")
	m := &l.txn.Manifest
	rep := Report{Load: l.txn.Load, Skipped: l.skipped, Broken: l.log.Rejects()}
	for i := range l.files {
		l.files[i].AtLoad = l.files[i].Now
		total(&rep.Total, l.files[i].Now)
	}
	for i := range m.Files {
		if change, ok := l.moved[m.Files[i].Number]; ok {
			total(&m.Files[i].Now, *change)
			rep.Changed = append(rep.Changed, m.Files[i])
		}
	}
	m.Files = append(m.Files, l.files...)
	for _, f := range m.Files {
		if !f.Now.Balanced() {
			return Report{}, fmt.Errorf("publish: rows of %s do not add up (%+v); nothing was published; please report this as a fault", f.Name, f.Now)
		}
	}
	m.Tool = l.opt.Tool
	m.Loads = append(m.Loads, store.Load{Number: l.txn.Load, ReceivedAt: l.opt.ReceivedAt.UTC(), Files: len(l.files), Rows: rep.Total.Rows})
	if err := l.log.Add(); err != nil {
		return Report{}, err
	}
	l.dropOldPools()
	if err := l.ctx.Err(); err != nil {
		return Report{}, err
	}
	rep.Files = l.files
	return rep, l.txn.Commit()
}

// dropOldPools leaves earlier pool parts out of the manifest: their rows were all offered again.
func (l *load) dropOldPools() {
	var kept []store.Part
	for _, p := range l.txn.Manifest.Parts {
		if p.Kind != store.Pool {
			kept = append(kept, p)
		}
	}
	l.txn.Manifest.Parts = kept
}

func total(sum *store.Counts, c store.Counts) {
	sum.Rows += c.Rows
	sum.Accepted += c.Accepted
	sum.Duplicate += c.Duplicate
	sum.Corrected += c.Corrected
	sum.Waiting += c.Waiting
	sum.Rejected += c.Rejected
}

// newFile enters a record file in the ledger.
func (l *load) newFile(src source) *store.File {
	l.files = append(l.files, store.File{
		Number: l.firstFile + len(l.files), Load: l.txn.Load, Name: src.Name,
		SHA256: src.sha256, Bytes: src.bytes, RecordSet: src.Set.Name, Renames: src.Renames,
	})
	return &l.files[len(l.files)-1]
}
