package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestPrint prints a page with a name that an address must escape.
func TestPrint(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "a month#1")
	page, pdf := filepath.Join(dir, "issue.html"), filepath.Join(dir, "issue.pdf")
	if err := os.MkdirAll(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(page, []byte("<!DOCTYPE html><title>x</title><p>printed"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := (&app{ctx: context.Background()}).print(page, pdf); err != nil {
		t.Fatal(err)
	}
	if raw, err := os.ReadFile(pdf); err != nil || !bytes.HasPrefix(raw, []byte("%PDF-")) {
		t.Errorf("%.20q, %v", raw, err)
	}
}

// TestPrintWithoutBrowser: nothing is issued where there is no Chromium, and it says so.
func TestPrintWithoutBrowser(t *testing.T) {
	storeDir, out := filepath.Join(theDemo(t), "store"), t.TempDir()
	t.Setenv("PATH", t.TempDir())
	var problems bytes.Buffer
	code := run(context.Background(), []string{"report", "--store", storeDir, "--out", out, "--month", "2026-07", "--pdf"}, terminal{strings.NewReader(""), &bytes.Buffer{}, &problems})
	if code != exitFailure || !strings.Contains(problems.String(), "no Chromium was found on this machine; install one") {
		t.Errorf("exit %d: %s", code, problems.String())
	}
	if left, _ := filepath.Glob(filepath.Join(out, "months", "*2026*")); len(left) > 0 {
		t.Errorf("left %v", left)
	}
}
