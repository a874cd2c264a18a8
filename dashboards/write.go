package dashboards

import (
	"fmt"
	"os"
	"path/filepath"

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
	{Link{"season.html", "Season and trend"}, seasonPage},
	{Link{"technicians.html", "Technicians"}, techniciansPage},
	{Link{"auditor.html", "Auditor"}, auditorPage},
	{Link{"quality.html", "Records"}, qualityPage},
	{Link{"methods.html", "Methods and cautions"}, methodsPage},
}

// Write makes every page in dir.
func Write(dir string, b *queries.Book, biz Business) error {
	site := Site{Business: biz.Name, AsOf: b.AsOf, From: b.From, To: b.To, Inputs: inputsInWords(b), Caution: caution}
	for _, p := range pages {
		site.Nav = append(site.Nav, p.link)
	}
	for _, p := range pages {
		page := p.make(b, biz)
		page.File = p.link.File
		html, err := Render(site, page)
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(dir, page.File), html, 0o600); err != nil {
			return fmt.Errorf("write page: %w", err)
		}
	}
	return nil
}

func inputsInWords(b *queries.Book) string {
	var rows int64
	for _, r := range b.Quality {
		rows += r.Rows
	}
	return fmt.Sprintf("%s record files, %s rows.", queries.Count(int64(len(b.Quality))), queries.Count(rows))
}
