package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	cdpbrowser "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	cdppage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// browser opens Chromium with a fresh profile; complaints of pages and requests that leave the disk go
// to faults.
func browser(t *testing.T, faults *[]string) context.Context {
	t.Helper()
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.NoSandbox, chromedp.DisableGPU, chromedp.UserDataDir(t.TempDir()))
	for _, flag := range []string{"disable-quic", "no-first-run", "disable-background-networking", "disable-component-update", "disable-sync"} {
		opts = append(opts, chromedp.Flag(flag, true))
	}
	alloc, cancel := chromedp.NewExecAllocator(context.Background(), opts...)
	t.Cleanup(cancel)
	ctx, cancel := chromedp.NewContext(alloc, chromedp.WithListener(func(ev any) {
		switch e := ev.(type) {
		case *network.EventRequestWillBeSent:
			if !strings.HasPrefix(e.Request.URL, "file:") && !strings.HasPrefix(e.Request.URL, "data:") {
				*faults = append(*faults, "request to "+e.Request.URL)
			}
		case *runtime.EventExceptionThrown:
			*faults = append(*faults, "exception: "+e.ExceptionDetails.Text)
		case *cdppage.EventJavascriptDialogOpening:
			*faults = append(*faults, "dialog: "+e.Message)
		case *log.EventEntryAdded: // violations of a page's policy are among these
			*faults = append(*faults, fmt.Sprintf("%s: %s %s", e.Entry.Source, e.Entry.Text, e.Entry.URL))
		case *runtime.EventConsoleAPICalled:
			*faults = append(*faults, fmt.Sprintf("console %s", e.Type))
		}
	}))
	t.Cleanup(cancel)
	if _, err := chromedp.Call(ctx, network.Enable, network.EnableParams{}); err != nil {
		t.Fatalf("start Chromium (Debian's package chromium): %v", err)
	}
	if _, err := chromedp.Call(ctx, log.Enable, cdp.Empty{}); err != nil {
		t.Fatal(err)
	}
	ctx, cancel = context.WithTimeout(ctx, 8*time.Minute) // not before the first call: it would end the browser
	t.Cleanup(cancel)
	return ctx
}

// look is what a page shows, as the browser lays it out.
type look struct {
	Wide      int      `json:"wide"`     // how far the page is wider than its window
	Overlaps  []string `json:"overlaps"` // pairs of texts in figures that meet
	Headings  int      `json:"headings"`
	Font      bool     `json:"font"` // the embedded font is in use
	Links     []string `json:"links"`
	Unlabeled int      `json:"unlabeled"` // figures without a name for screen readers
}

const lookScript = `(async () => {
  await document.fonts.ready;
  const overlaps = [];
  for (const svg of document.querySelectorAll("figure svg")) {
    const boxes = [...svg.querySelectorAll("text")].map(t => [t.textContent, t.getBoundingClientRect()]).filter(([s]) => s.trim());
    for (let i = 0; i < boxes.length; i++) for (let j = i + 1; j < boxes.length; j++) {
      const [a, p] = boxes[i], [b, q] = boxes[j];
      if (p.left < q.right - 1 && q.left < p.right - 1 && p.top < q.bottom - 3 && q.top < p.bottom - 3) overlaps.push(a + " / " + b);
    }
  }
  const apart = (a, p, b, q, by) => { if (p.left < q.right - by && q.left < p.right - by && p.top < q.bottom - by && q.top < p.bottom - by) overlaps.push(a + " / " + b); };
  const heads = [...document.querySelectorAll("h1, h2, nav a, .lead, p.sub, #cut label, #cut button, main label.find, button.save")].filter(e => e.checkVisibility()).map(e => [e.textContent, e.getBoundingClientRect()]);
  for (let i = 0; i < heads.length; i++) for (let j = i + 1; j < heads.length; j++) apart(heads[i][0], heads[i][1], heads[j][0], heads[j][1], 2);
  for (const svg of document.querySelectorAll("figure svg")) {
    const marks = [...svg.querySelectorAll("circle")].map(c => c.getBoundingClientRect());
    for (const t of svg.querySelectorAll("text")) if (t.textContent.trim()) for (const m of marks) apart(t.textContent, t.getBoundingClientRect(), "a mark", m, 4);
  }
  return {
    wide: document.documentElement.scrollWidth - document.documentElement.clientWidth,
    overlaps, headings: document.querySelectorAll("h1, h2").length,
    font: document.fonts.check("15px Survey"),
    links: [...document.querySelectorAll("a[href]")].map(a => a.getAttribute("href").split("#")[0]).filter(h => h),
    unlabeled: [...document.querySelectorAll("figure svg")].filter(s => !s.getAttribute("aria-label") && !s.querySelector("title")).length,
  };
})()`

// twoPerKind drops all pages about one subject but two of each kind; the others are made alike.
func twoPerKind(pages []string) []string {
	seen := map[string]int{}
	return slices.DeleteFunc(pages, func(page string) bool {
		kind, _, about := strings.Cut(filepath.Base(page), "-")
		seen[kind]++
		return about && seen[kind] > 2
	})
}

// TestPageWeight: no page of the demo weighs 400 KB or more.
func TestPageWeight(t *testing.T) {
	pages, err := filepath.Glob(filepath.Join(theDemo(t), "out", "*.html"))
	if err != nil || len(pages) < 60 {
		t.Fatalf("%d pages, %v", len(pages), err)
	}
	for _, page := range pages {
		if info, err := os.Stat(page); err != nil || info.Size() >= 400_000 {
			t.Errorf("%s weighs %d bytes, %v", filepath.Base(page), info.Size(), err)
		}
	}
}

// TestPagesInBrowser opens the pages of the demo from disk, in each width and medium.
func TestPagesInBrowser(t *testing.T) {
	dir := filepath.Join(theDemo(t), "out")
	pages, err := filepath.Glob(filepath.Join(dir, "*.html"))
	if err != nil || len(pages) < 6 {
		t.Fatalf("%d pages (%v)", len(pages), err)
	}
	pages = twoPerKind(pages)
	var faults []string
	ctx := browser(t, &faults)
	const paper = 718 // px: A4 less margins of 10 mm, at 96 dpi
	for _, as := range []struct {
		width  int64
		medium string
	}{{1280, "light"}, {1280, "dark"}, {380, "light"}, {380, "dark"}, {paper, "print"}} {
		for _, page := range pages {
			checkLook(t, ctx, dir, page, as.width, as.medium)
		}
	}
	for _, f := range faults {
		t.Error(f)
	}
}

func checkLook(t *testing.T, ctx context.Context, dir, page string, width int64, medium string) {
	t.Helper()
	name := fmt.Sprintf("%s at %d px, %s", filepath.Base(page), width, medium)
	media := emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: medium}}}
	if medium == "print" {
		media = emulation.SetEmulatedMediaParams{Media: "print"}
	}
	if _, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, media); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(width, 900), chromedp.Navigate("file://"+page)); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	got, err := chromedp.Run(ctx, chromedp.Evaluate[look](lookScript, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	if got.Wide > 0 {
		t.Errorf("%s: %d px wider than its window", name, got.Wide)
	}
	for _, o := range got.Overlaps {
		t.Errorf("%s: texts meet: %s", name, o)
	}
	if got.Headings < 2 || !got.Font || got.Unlabeled > 0 {
		t.Errorf("%s: %+v", name, got)
	}
	for _, link := range got.Links {
		if _, err := os.Stat(filepath.Join(dir, filepath.FromSlash(link))); err != nil {
			t.Errorf("%s: link to %s: %v", name, link, err)
		}
	}
}

// TestTablesSortAndFilter uses a table as a person would, and finds its state again from the address.
func TestTablesSortAndFilter(t *testing.T) {
	var faults []string
	ctx := browser(t, &faults)
	page := "file://" + filepath.Join(theDemo(t), "out", "quality.html")
	const state = `(() => {
	  const t = document.getElementById("files-table"), rows = [...t.tBodies[0].rows].filter(r => !r.hidden);
	  return rows.length + " " + rows[0].cells[0].textContent.replace(/ /g, "") + " " + location.hash;
	})()`
	const use = `(() => {
	  const t = document.getElementById("files-table"), heads = t.tHead.rows[0].cells;
	  heads[3].querySelector("button").click(); heads[3].querySelector("button").click();
	  const i = document.querySelector("input[data-filters=files-table]");
	  i.value = "inspections"; i.dispatchEvent(new Event("input"));
	})()`
	if err := chromedp.Do(ctx, chromedp.Navigate(page)); err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Run(ctx, chromedp.Evaluate[any](use)); err != nil {
		t.Fatal(err)
	}
	used, err := chromedp.Run(ctx, chromedp.Evaluate[string](state))
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(used, "11 inspections-2026q1.csv #") {
		t.Errorf("after sorting by rows, largest first, and filtering: %s", used)
	}
	hash := used[strings.Index(used, "#"):]
	if err := chromedp.Do(ctx, chromedp.Navigate("about:blank"), chromedp.Navigate(page+hash)); err != nil {
		t.Fatal(err)
	}
	again, err := chromedp.Run(ctx, chromedp.Evaluate[string](state))
	if err != nil || again != used {
		t.Errorf("opened again: %s (%v), want %s", again, err, used)
	}
}

// TestCutsCarryAcrossPages chooses a technician and a material as a person would: what is known of them is said, rows about
// others are hidden, the choice goes along to the next page, and a table is saved as it is seen.
func TestCutsCarryAcrossPages(t *testing.T) {
	var faults []string
	ctx := browser(t, &faults)
	saved := t.TempDir()
	if _, err := chromedp.Call(ctx, cdpbrowser.SetDownloadBehavior, cdpbrowser.SetDownloadBehaviorParams{Behavior: "allow", DownloadPath: saved}); err != nil {
		t.Fatal(err)
	}
	choose := func(name, value string) {
		t.Helper()
		script := fmt.Sprintf(`(() => { const s = document.querySelector("select[name=%s]"); s.value = "%s"; s.dispatchEvent(new Event("change", { bubbles: true })); })()`, name, value)
		if _, err := chromedp.Run(ctx, chromedp.Evaluate[any](script)); err != nil {
			t.Fatal(err)
		}
		waitFor(t, ctx, fmt.Sprintf(`new URLSearchParams(location.search).get("%s") === "%s" && document.readyState === "complete"`, name, value))
	}
	if err := chromedp.Do(ctx, chromedp.Navigate("file://"+filepath.Join(theDemo(t), "out", "months.html"))); err != nil {
		t.Fatal(err)
	}
	choose("technician", "T03")
	choose("material", "plasterboard")
	if _, err := chromedp.Run(ctx, chromedp.Evaluate[any](`[...document.querySelectorAll("nav a")].find(a => a.textContent === "Technicians").click()`)); err != nil {
		t.Fatal(err)
	}
	waitFor(t, ctx, `location.pathname.endsWith("technicians.html") && document.readyState === "complete"`)
	said, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.getElementById("cut-says").textContent`))
	if err != nil || !strings.HasPrefix(said, "Plasterboard lining, T03: ") || !strings.Contains(said, "checked confirmed") {
		t.Errorf("says %q, %v", said, err)
	}
	seen, err := chromedp.Run(ctx, chromedp.Evaluate[string](`[...new Set([...document.querySelectorAll("main tbody tr")].filter(r => r.offsetParent && /^T\d\d$/.test(r.cells[0].textContent.trim())).map(r => r.cells[0].textContent.trim()))].join(" ")`))
	if err != nil || seen != "T03" {
		t.Errorf("rows about %q are seen, %v", seen, err)
	}
	if _, err := chromedp.Run(ctx, chromedp.Evaluate[any](`document.querySelector("button.save").click()`)); err != nil {
		t.Fatal(err)
	}
	content := waitForFile(t, saved)
	if !strings.Contains(content, `"T03"`) || strings.Contains(content, `"T04"`) || !strings.HasPrefix(content, "\uFEFF\"") {
		t.Errorf("saved %.300q", content)
	}
	for _, f := range faults {
		t.Error(f)
	}
}

// waitFor waits until a condition holds in the page.
func waitFor(t *testing.T, ctx context.Context, condition string) {
	t.Helper()
	for range 100 {
		if ok, err := chromedp.Run(ctx, chromedp.Evaluate[bool](condition)); err == nil && ok {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatalf("never: %s", condition)
}

// waitForFile waits until a whole file has been saved in the folder, and reads it.
func waitForFile(t *testing.T, dir string) string {
	t.Helper()
	for range 100 {
		found, err := filepath.Glob(filepath.Join(dir, "*.csv"))
		if err == nil && len(found) == 1 {
			if raw, err := os.ReadFile(found[0]); err == nil && len(raw) > 0 {
				return string(raw)
			}
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatal("nothing was saved")
	return ""
}
