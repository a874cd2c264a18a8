package dashboards

import (
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"golang.org/x/sync/errgroup"

	"scanledger/queries"
)

// Business is who the pages are for.
type Business struct {
	Name           string
	Currency       string
	FalseAlarmCost float64 // 0: not set
	MissedCost     float64
}

// caution stands at the foot of every page.
const caution = "A clear reading never proves absence: it says that no movement was shown at the points and settings listed. " +
	"Do not open or treat on a movement reading alone. Old fibre cement may hold asbestos, and cables and pipes run in walls: " +
	"local codes and licensed practice decide."

// pages makes every page from the book; the order is that of the navigation.
var pages = []struct {
	link Link
	make func(b *queries.Book, biz Business) Page
}{
	{Link{"index.html", "Overview"}, overviewPage},
	{Link{"detection.html", "Detection"}, detectionPage},
	{Link{"guidance.html", "Gain guidance"}, guidancePage},
	{Link{"patterns.html", "Patterns"}, patternsPage},
	{Link{"season.html", "Season and trend"}, seasonPage},
	{Link{"months.html", "Months"}, archivePage},
	{Link{"technicians.html", "Technicians"}, techniciansPage},
	{Link{"units.html", "Units"}, unitsPage},
	{Link{"logs.html", "Unit logs"}, logsPage},
	{Link{"protocol.html", "Protocol"}, protocolPage},
	{Link{"auditor.html", "Auditor"}, auditorPage},
	{Link{"quality.html", "Records"}, qualityPage},
	{Link{"methods.html", "Methods"}, methodsPage},
}

// sets make the pages of which there is one per subject. Links lead to them; the navigation shows where
// they belong.
var sets = []pageSet{
	{"technicians.html", technicianPages},
	{"protocol.html", checkPages},
	{"auditor.html", inspectionPages},
}

// pageSet makes one page per subject. Each page's File is that of pageFile; links on it go up to parent.
type pageSet struct {
	parent string // the page of the navigation under which they hang
	make   func(b *queries.Book, biz Business) []Page
}

// pageFile is the name of the page about one subject of a kind: the same for the same id, another for any
// other, also where case, slashes or characters beyond ASCII do not count in file names. The legible part
// is for people; 64 bits of SHA-256 tell ids apart.
func pageFile(kind, id string) string {
	legible := strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			return r
		}
		return '-'
	}, strings.ToLower(id))
	sum := sha256.Sum256([]byte(id))
	return fmt.Sprintf("%s-%.24s-%x.html", kind, legible, sum[:8])
}

// Write makes every page in dir.
func Write(dir string, b *queries.Book, biz Business) error {
	site := Site{Business: biz.Name, AsOf: b.AsOf, From: b.From, To: b.To, Inputs: inputsInWords(b), Restated: b.Restated, Caution: caution}
	for _, p := range pages {
		site.Nav = append(site.Nav, p.link)
	}
	cuts, err := cutData(b)
	if err != nil {
		return err
	}
	var work errgroup.Group
	work.SetLimit(runtime.GOMAXPROCS(0))
	for _, p := range allPages(b, biz) {
		work.Go(func() error {
			site := site
			if p.Parent == "" { // those of one subject have nothing to choose
				site.Cuts = cuts
			}
			return writePage(dir, site, p)
		})
	}
	return work.Wait()
}

func writePage(dir string, site Site, p Page) error {
	html, err := Render(site, p)
	if err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(dir, p.File), html, 0o600); err != nil {
		return fmt.Errorf("write page: %w", err)
	}
	return nil
}

// allPages makes the pages of the navigation, and after them those about one subject each.
func allPages(b *queries.Book, biz Business) []Page {
	var out []Page
	for _, p := range pages {
		page := p.make(b, biz)
		page.File = p.link.File
		out = append(out, page)
	}
	for _, s := range sets {
		for _, page := range s.make(b, biz) {
			page.Parent = s.parent
			out = append(out, page)
		}
	}
	return out
}

func inputsInWords(b *queries.Book) string {
	var rows int64
	for _, r := range b.Quality {
		rows += r.Rows
	}
	return fmt.Sprintf("%s record files, %s rows.", queries.Count(int64(len(b.Quality))), queries.Count(rows))
}
