package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// axePackage is the accessibility checker that is fetched from npm when the test runs (axe-core, Mozilla Public License 2.0);
// npm checks its sum.
const axePackage = "axe-core@4.14.1"

// fetchAxe gets the checker's script. Without npm the test is passed over, unless SCANLEDGER_AXE asks for it.
func fetchAxe(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	install := exec.Command("npm", "install", "--prefix", dir, "--no-audit", "--no-fund", "--ignore-scripts", axePackage)
	if out, err := install.CombinedOutput(); err != nil {
		if os.Getenv("SCANLEDGER_AXE") == "" {
			t.Skipf("%s is not to be had (%v); set SCANLEDGER_AXE=1 to fail instead", axePackage, err)
		}
		t.Fatalf("npm: %v: %s", err, out)
	}
	raw, err := os.ReadFile(filepath.Join(dir, "node_modules", "axe-core", "axe.min.js"))
	if err != nil {
		t.Fatal(err)
	}
	return string(raw)
}

// TestAxeFindsNothing holds the pages of the demo, an issue and an audit sample to axe-core's rules, in light and dark.
func TestAxeFindsNothing(t *testing.T) {
	axe := fetchAxe(t)
	dir := theDemo(t)
	pages, err := filepath.Glob(filepath.Join(dir, "out", "*.html"))
	if err != nil {
		t.Fatal(err)
	}
	pages = twoPerKind(pages)
	reports, sample := t.TempDir(), filepath.Join(t.TempDir(), "sample")
	must(t, "report", "--store", filepath.Join(dir, "store"), "--out", reports, "--month", "2026-07")
	must(t, "sample", "--store", filepath.Join(dir, "store"), "--month", "2026-07", "--size", "20", "--trial", "--out", sample)
	pages = append(pages, filepath.Join(reports, "months", "2026-07", "issue.html"), filepath.Join(reports, "months", "index.html"), filepath.Join(sample, "index.html"))
	var faults []string
	ctx := browser(t, &faults)
	for medium, options := range map[string]string{"light": "{}", "dark": `{ runOnly: ["color-contrast"] }`} { // colours are all that differs
		if _, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: medium}}}); err != nil {
			t.Fatal(err)
		}
		for _, page := range pages {
			for _, fault := range axeFaults(t, ctx, axe, options, page) {
				t.Errorf("%s, %s: %s", filepath.Base(page), medium, fault)
			}
		}
	}
}

// axeFaults lists what the checker finds on a page, with its own options.
func axeFaults(t *testing.T, ctx context.Context, axe, options, page string) []string {
	t.Helper()
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(1280, 900), chromedp.Navigate("file://"+page)); err != nil {
		t.Fatalf("%s: %v", page, err)
	}
	if _, err := chromedp.Run(ctx, chromedp.Evaluate[any](axe+"; 0")); err != nil {
		t.Fatalf("%s: %v", page, err)
	}
	ask := `(async (options) => {
	  for (const d of document.querySelectorAll("details")) d.open = true;
	  const r = await axe.run(document, { resultTypes: ["violations"], ...options });
	  return r.violations.map((v) => v.id + ": " + v.nodes.length + " times, as " + v.nodes[0].target.join(" ") + ": " + v.help);
	})(` + options + `)`
	found, err := chromedp.Run(ctx, chromedp.Evaluate[[]string](ask, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatalf("%s: %v", page, fmt.Errorf("ask axe: %w", err))
	}
	return found
}
