package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"hash/fnv"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/xuri/excelize/v2"

	"scanledger/ingest"
	"scanledger/ingest/contract"
	"scanledger/ingest/demo"
	"scanledger/ingest/store"
)

// hostileIDs stand for ids: printable, and short enough with an id in the place of %.
var hostileIDs = []string{
	`<script>fault(1)</script>%`, `"><img src=x onerror=fault(1)>%`, `</title></svg><svg onload=fault(1)>%`, `</script><script>fault(1)</script>%`, `' onmouseover='fault(1)' x='%`,
	`javascript:fault(1)//%`, `url(//192.0.2.1/x)%`, `}</style><style>*{display:none}%`, `=HYPERLINK("http://192.0.2.1/",1)%`, `@SUM(1+1)*cmd|'/C calc'!A0%`, `-2+3+cmd|' /C calc'!A0%`, `+1%`, `a;=1+1%`,
	`'); DROP VIEW readings;--%`, `../../../../../tmp/%`, `%/../..\con`, `%{{.}}${7*7}%s`, `%&lt;b&gt;<!--`, `＝1+1%`,
}

// hostileTexts may stand in columns of text, which take control characters as well.
var hostileTexts = append([]string{"\x1b]0;owned\a\x1b[2J\x1b[31m%", "\u202egpj.%\u2066", "\u009b31m%", "\b\b\r%\f", "a\r\n=1+1,\"%", "\x7f%\u200f"}, hostileIDs...)

// hostile is the same evil text for the same value.
func hostile(value string, from []string) string {
	h := fnv.New32a()
	_, _ = h.Write([]byte(value)) // cannot fail
	return strings.Replace(from[int(h.Sum32())%len(from)], "%", value, 1)
}

// hostileRecords writes a demo's records anew with evil text in every field that takes any, under evil file names.
func hostileRecords(t *testing.T, dir string) {
	t.Helper()
	plain := t.TempDir()
	if _, err := demo.Write(context.Background(), plain, demo.Options{Inspections: 700, Months: 6}); err != nil {
		t.Fatal(err)
	}
	cfg, err := readConfig(filepath.Join(plain, demoMark))
	if err != nil {
		t.Fatal(err)
	}
	files, _, err := ingest.Expand([]string{plain})
	if err != nil {
		t.Fatal(err)
	}
	names := []string{"<img src=x onerror=fault(1)>", "=1+1", "\x1b[2J\u202e", "\xff", "\n", "'; DROP VIEW readings;--", "{{.}}&amp;\"'"}
	for i, path := range files {
		src, err := ingest.Identify(path, "")
		if err != nil {
			t.Fatal(err)
		}
		src.Renames = cfg.Columns[src.Set.Name]
		name := fmt.Sprintf("%s-%s-%d.csv", src.Set.Name, names[i%len(names)], i)
		if err := os.WriteFile(filepath.Join(dir, name), hostileFile(t, src), 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

// hostileFile is a record file as CSV with evil text, an evil column that nobody knows, and a row that breaks rules with it.
func hostileFile(t *testing.T, src ingest.Source) []byte {
	t.Helper()
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	var head []string
	for _, f := range src.Set.Fields {
		head = append(head, f.Name)
	}
	lines := [][]string{append(head, `<script>fault(1)</script>=1+1`+"\x1b[2J")}
	_, err := ingest.Read(context.Background(), src, func(c ingest.Chunk) error {
		for i := range c.Batch.Lines {
			var line []string
			for f, field := range src.Set.Fields {
				line = append(line, hostileCell(field, c.Batch.Cols[f], i))
			}
			lines = append(lines, append(line, hostile(line[0], hostileTexts)))
		}
		return nil
	})
	broken := make([]string, len(head)+1)
	for i := range broken {
		broken[i] = hostile(strconv.Itoa(i), hostileTexts)
	}
	if err := errors.Join(err, w.WriteAll(append(lines, broken))); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func hostileCell(field contract.Field, c ingest.Column, i int) string {
	if !c.Valid[i] {
		return ""
	}
	switch field.Kind() {
	case contract.Integer:
		return strconv.FormatInt(c.Int[i], 10)
	case contract.Number:
		return strconv.FormatFloat(c.Num[i], 'g', -1, 64)
	case contract.Boolean:
		return strconv.FormatBool(c.Bool[i])
	case contract.Date:
		return time.Unix(c.Int[i]*86400, 0).UTC().Format(time.DateOnly)
	case contract.Timestamp:
		layout := time.RFC3339Nano
		if c.Local[i] {
			layout = "2006-01-02T15:04:05.999999"
		}
		return time.UnixMicro(c.Int[i]).UTC().Format(layout)
	}
	switch text := c.Text.At(i); {
	case field.Role == "id":
		return hostile(text, hostileIDs)
	case field.Constraints.Enum != nil || field.Role != "":
		return text
	default:
		return hostile(text, hostileTexts)
	}
}

// TestHostileText carries evil text through everything there is: nothing steers the terminal, becomes markup or a formula,
// names a file, runs in a browser or makes it ask for anything.
func TestHostileText(t *testing.T) {
	dir := t.TempDir()
	records, storeDir, out := filepath.Join(dir, "records"), filepath.Join(dir, "store"), filepath.Join(dir, "out")
	if err := os.Mkdir(records, 0o700); err != nil {
		t.Fatal(err)
	}
	hostileRecords(t, records)
	say := func(want int, args ...string) string {
		t.Helper()
		code, said, problems := ran(args...)
		if code != want {
			t.Fatalf("%q: exit code %d: %.2000s", args, code, problems)
		}
		if i := strings.IndexFunc(said+problems, func(r rune) bool { return store.Hidden(r) && r != '\n' && r != '\t' || r == '\ufeff' }); i >= 0 {
			t.Errorf("%q steers the terminal: %.80q", args, (said + problems)[i:])
		}
		return said
	}
	say(exitRejects, "load", "--store", storeDir, "--received", "2025-03-02T08:00:00Z", records)
	say(exitClean, "verify", "--store", storeDir)
	say(exitRejects, "check", records)
	say(exitRejects, "check", "--json", records)
	say(exitClean, "build", "--store", storeDir, "--out", out)
	say(exitClean, "build", "--json", "--store", storeDir, "--out", out)
	say(exitClean, "report", "--store", storeDir, "--month", "2025-01", "--out", filepath.Join(dir, "issued"))
	say(exitClean, "sample", "--store", storeDir, "--month", "2025-01", "--size", "20", "--out", filepath.Join(dir, "sample"))
	for _, form := range []string{"--table", "--csv", "--json"} {
		for _, view := range []string{"technicians", "materials", "inspections", "readings", "units", "files"} {
			inertCSV(t, form, say(exitClean, "ask", form, "--limit", "50", "--store", storeDir, "SELECT * FROM "+view))
		}
	}
	for _, result := range []string{"technician_consistency:1", "data_quality:1", "reject_rules:1", "unit_health:1"} {
		say(exitClean, "explain", "--out", out, "--store", storeDir, result)
		say(exitClean, "explain", "--json", "--out", out, "--store", storeDir, result)
	}
	var pages []string
	tame := regexp.MustCompile(`^[A-Za-z0-9._/=-]+$`)
	for _, made := range []string{"out", "issued", "sample", "store"} {
		for path, content := range treeOf(t, filepath.Join(dir, made)) {
			if !tame.MatchString(path) || strings.Contains(path, "..") {
				t.Errorf("%s: a file is called %q", made, path)
			}
			switch filepath.Ext(path) {
			case ".html":
				pages = append(pages, filepath.Join(dir, made, path))
				tamePage(t, path, content)
			case ".csv":
				inertCSV(t, "--csv", content)
			case ".xlsx":
				inertWorkbook(t, content)
			}
		}
	}
	for page, evil := range map[string]string{"technicians": "&lt;script&gt;fault(1)&lt;/script&gt;", "units": "{{.}}${7*7}", "quality": "&lt;img src=x"} {
		if raw, err := os.ReadFile(filepath.Join(out, page+".html")); err != nil || !strings.Contains(string(raw), evil) {
			t.Errorf("%s does not show %s, %v", page, evil, err)
		}
	}
	slices.Sort(pages)
	inBrowser(t, pages)
}

// tamePage: the evil text is text, no character hides, and the page has the strict policy.
func tamePage(t *testing.T, path, page string) {
	t.Helper()
	for _, evil := range []string{"<script>fault", "<img src=x", "<svg onload", "<style>*{", "\u202e", "\x1b", "\u009b"} {
		if strings.Contains(page, evil) {
			t.Errorf("%s: %q came through", path, evil)
		}
	}
	policy := regexp.MustCompile(`<meta http-equiv="Content-Security-Policy" content="([^"]*)">`).FindStringSubmatch(page)
	if policy == nil || !strings.HasPrefix(policy[1], "default-src &#39;none&#39;; ") || regexp.MustCompile(`unsafe|http|\*|self`).MatchString(policy[1]) || strings.Count(policy[1], "sha256-") < 2 {
		t.Errorf("%s: policy %q", path, policy)
	}
}

// inertCSV: no cell is a formula, in whatever locale it is opened.
func inertCSV(t *testing.T, form, content string) {
	t.Helper()
	if form != "--csv" {
		return
	}
	if i := strings.IndexFunc(content, func(r rune) bool { return store.Hidden(r) && !strings.ContainsRune("\t\r\n", r) }); i >= 0 {
		t.Errorf("a control character: %.80q", content[i:])
	}
	rows, err := csv.NewReader(strings.NewReader(content)).ReadAll()
	if err != nil {
		t.Error(err)
	}
	for _, row := range rows {
		for _, cell := range row {
			inert(t, cell)
		}
	}
}

func inert(t *testing.T, cell string) {
	t.Helper()
	if _, err := strconv.ParseFloat(cell, 64); err == nil {
		return
	}
	if regexp.MustCompile(`(?m)(^|[;\t\r])[=+@＝＋－＠-]`).MatchString(cell) {
		t.Errorf("a formula: %q", cell)
	}
}

func inertWorkbook(t *testing.T, content string) {
	t.Helper()
	book, err := excelize.OpenReader(strings.NewReader(content))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = book.Close() }()
	if strings.Contains(content, "externalLink") {
		t.Error("the workbook has links to others")
	}
	for _, sheet := range book.GetSheetList() {
		rows, err := book.GetRows(sheet, excelize.Options{RawCellValue: true})
		if err != nil {
			t.Fatal(err)
		}
		for r, row := range rows {
			for c, cell := range row {
				inert(t, cell)
				name, err := excelize.CoordinatesToCellName(c+1, r+1)
				if err != nil {
					t.Fatal(err)
				}
				if formula, err := book.GetCellFormula(sheet, name); err != nil || formula != "" {
					t.Errorf("%s of %s is a formula: %q, %v", name, sheet, formula, err)
				}
			}
		}
	}
}

// TestBrowserReportsViolations: what the other tests rely on to be told.
func TestBrowserReportsViolations(t *testing.T) {
	page := filepath.Join(t.TempDir(), "page.html")
	const content = `<!DOCTYPE html><meta http-equiv="Content-Security-Policy" content="default-src 'none'"><p>x</p><img src="http://192.0.2.1/x.png"><script>1</script>`
	if err := os.WriteFile(page, []byte(content), 0o600); err != nil {
		t.Fatal(err)
	}
	var faults []string
	ctx := browser(t, &faults)
	if err := chromedp.Do(ctx, chromedp.Navigate("file://"+page)); err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Run(ctx, chromedp.Evaluate[any]("1")); err != nil {
		t.Fatal(err)
	}
	said := strings.Join(faults, "\n")
	for _, what := range []string{"http://192.0.2.1/x.png", "inline script"} {
		if !strings.Contains(said, what) {
			t.Errorf("nothing is said of %s: %s", what, said)
		}
	}
}

// inBrowser opens the pages, two of a kind, and uses what can be used: no script but ours runs, nothing is asked for, and the
// browser reports no violation of the policy.
func inBrowser(t *testing.T, pages []string) {
	t.Helper()
	var faults []string
	ctx := browser(t, &faults)
	const use = `(() => {
	  for (const b of document.querySelectorAll("th button")) b.click();
	  for (const i of document.querySelectorAll("input[type=search]")) { i.value = "<img src=x onerror=fault(1)>"; i.dispatchEvent(new Event("input")); }
	  for (const d of document.querySelectorAll("details")) d.open = true;
	  for (const e of document.querySelectorAll("td, a, svg *")) e.dispatchEvent(new MouseEvent("mouseover", { bubbles: true }));
	  return [...document.querySelectorAll("script:not([type]), img, iframe, object, embed, link")].length + [...document.querySelectorAll("*")].filter((e) => [...e.attributes].some((a) => /^on/.test(a.name) || /^(xlink:)?(href|src|action|formaction)$/.test(a.name) && !/^[\w./-]*(\?[^:]*)?(#[\w.-]*)?$/.test(a.value))).length;
	})()`
	for _, page := range twoPerKind(pages) {
		if err := chromedp.Do(ctx, chromedp.Navigate("file://"+page)); err != nil {
			t.Fatalf("%s: %v", page, err)
		}
		if n, err := chromedp.Run(ctx, chromedp.Evaluate[int](use)); err != nil || n > 1 {
			t.Errorf("%s: %d elements that could run or ask, %v", page, n, err)
		}
	}
	choose := `(() => { const s = document.querySelector("select[name=technician]"); s.selectedIndex = 1; s.dispatchEvent(new Event("change", { bubbles: true })); })()`
	index := pages[slices.IndexFunc(pages, func(p string) bool { return strings.HasSuffix(p, "out/index.html") })]
	if err := chromedp.Do(ctx, chromedp.Navigate("file://"+index)); err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Run(ctx, chromedp.Evaluate[any](choose)); err != nil {
		t.Fatal(err)
	}
	waitFor(t, ctx, `location.search.length > 1 && document.readyState === "complete" && document.getElementById("cut-says").textContent !== ""`)
	for _, f := range faults {
		t.Error(f)
	}
}
