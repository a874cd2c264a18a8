package main

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"time"

	"scanledger/ingest/disk"
)

// printers are the names under which a Chromium is looked for.
var printers = []string{"chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome"}

// printTime is how long a page may take to print.
const printTime = 2 * time.Minute

func findPrinter() (string, error) {
	for _, name := range printers {
		if path, err := exec.LookPath(name); err == nil {
			return path, nil
		}
	}
	return "", errors.New("no Chromium was found on this machine; install one (Debian: the package chromium), or leave --pdf out")
}

// print makes the PDF of a page through a Chromium found on the machine, with a fresh profile and no network of its own.
func (a *app) print(page, pdf string) (err error) {
	browser, err := findPrinter()
	if err != nil {
		return err
	}
	profile, err := disk.FreshScratch(os.TempDir(), "scanledger-print-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, profile.Close()) }()
	ctx, cancel := context.WithTimeout(a.ctx, printTime)
	defer cancel()
	full, err := filepath.Abs(page)
	if err != nil {
		return err
	}
	args := []string{"--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update",
		"--disable-sync", "--no-pdf-header-footer", "--user-data-dir=" + profile.Path, "--print-to-pdf=" + pdf, (&url.URL{Scheme: "file", Path: full}).String()}
	out, err := exec.CommandContext(ctx, browser, args...).CombinedOutput() //nolint:gosec // the browser is one of a fixed list
	if ctx.Err() != nil {
		return ctx.Err()
	}
	if err != nil {
		return fmt.Errorf("%s: %w: %.300s", browser, err, out)
	}
	if _, err := os.Stat(pdf); err != nil {
		return fmt.Errorf("%s printed nothing: %.300s", browser, out)
	}
	return nil
}
