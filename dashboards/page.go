// Package dashboards makes the pages.
//
// In: a book of figures. Out: static HTML pages that open from disk and need no network. Headings are
// computed from the figures they stand over. It never runs SQL, computes a statistic, or shows a rate
// without its count.
package dashboards

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"fmt"
	"html/template"

	"scanledger/ingest/store"
	"scanledger/queries"
)

//go:embed assets
var assets embed.FS

// Site is what all pages share.
type Site struct {
	Business       string
	AsOf, From, To string
	Inputs         string // in words, how many files and rows
	Restated       string // that records were removed since figures were made before; empty where none were
	Caution        string
	Nav            []Link
	Cuts           template.JS // see cutData; empty on pages that cannot be cut
}

// Link is one entry of the navigation.
type Link struct{ File, Label string }

// Page is one HTML file.
type Page struct {
	File     string
	Parent   string // the page of the navigation it hangs under; empty for those of the navigation
	Title    string // of the browser's window
	Heading  string // a sentence
	Lead     string
	Sections []Section
}

// Section is one heading with what stands under it, and the number that matters in its margin.
type Section struct {
	ID         string
	Heading    string // a sentence the figures below bear out
	Sub        string // what is plotted, and from how many
	List       []Item
	Paragraphs []string
	Quote      string // text to be copied as a whole
	Figure     template.HTML
	Tables     []Table
	Margin     []Note
	Source     *Source
}

// Item is one entry of an ordered list.
type Item struct{ Text, Href string }

// Note is a number that matters, and how it was got.
type Note struct{ Number, Text string }

// Source says where a section's figures come from.
type Source struct {
	queries.Query
	Counts          string
	CSV, JSON, File string
}

// Table is a table; with Sortable its headings sort it, with Find a box filters its rows.
type Table struct {
	ID       string
	Caption  string
	Columns  []Column
	Rows     []Row
	Sortable bool
	Find     bool
	Folded   bool // shown only when asked for, and in print
	Dense    bool // many narrow columns
}

// Column heads a column; numbers stand right.
type Column struct {
	Head, Unit string
	Numeric    bool
}

// Row is a row; Held greys one whose rate is held back.
type Row struct {
	Cells []Cell
	Held  bool
}

// Cell is a cell; Sort is what it sorts by where that is not its text, ID what links can lead to, Title
// what is told when it is pointed at.
type Cell struct {
	Text, Sort, Href, Class, ID, Title string
	Mark                               template.HTML
}

// sourceOf points at the files of an analysis.
func sourceOf(b *queries.Book, analysis, counts string) *Source {
	q := b.Result(analysis).Query
	return &Source{Query: q, Counts: counts, CSV: "results/" + analysis + ".csv", JSON: "results/" + analysis + ".json", File: "queries/" + analysis + ".sql"}
}

var pageTemplate = template.Must(template.ParseFS(assets, "assets/page.html"))

// style is the style sheet with the fonts in it.
var style = fontFace(400, "regular") + fontFace(500, "medium") + asset("page.css")

func fontFace(weight int, name string) string {
	return fmt.Sprintf("@font-face{font-family:Survey;font-weight:%d;src:url(data:font/woff2;base64,%s) format(\"woff2\")}\n",
		weight, base64.StdEncoding.EncodeToString([]byte(asset("go-"+name+".woff2"))))
}

var script = asset("page.js")

func asset(name string) string {
	raw, err := assets.ReadFile("assets/" + name)
	if err != nil {
		panic(err) // embedded: a missing file is a broken build
	}
	return string(raw)
}

// policy lets a page run its own style and script and nothing else.
var policy = fmt.Sprintf("default-src 'none'; style-src %s; script-src %s; font-src data:; img-src data:; base-uri 'none'; form-action 'none'",
	hashSource(style), hashSource(script))

func hashSource(text string) string {
	sum := sha256.Sum256([]byte(text))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}

// findFrom is how many rows a table has that gets a box to search it.
const findFrom = 20

// Render writes a page as HTML.
func Render(site Site, p Page) ([]byte, error) {
	for s := range p.Sections {
		for t := range p.Sections[s].Tables {
			table := &p.Sections[s].Tables[t]
			table.Find = table.Find || len(table.Rows) >= findFrom
		}
	}
	var out bytes.Buffer
	err := pageTemplate.Execute(&out, map[string]any{
		"Site": site, "Page": p, "Policy": policy,
		"Style": template.CSS(style), "Script": template.JS(script), //nolint:gosec // both are our own embedded files
	})
	if err != nil {
		return nil, fmt.Errorf("make page %s: %w", p.File, err)
	}
	return bytes.Map(store.Shown, out.Bytes()), nil // our own text has no hidden character
}
