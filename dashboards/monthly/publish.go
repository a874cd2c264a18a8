package monthly

import (
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"scanledger/dashboards"
	"scanledger/ingest/disk"
	"scanledger/queries"
)

// stagePrefix begins the names of folders of issues being made; what a killed run left of them is removed by the next.
const stagePrefix = ".issue-"

// Files in an issue's folder, in the order of its manifest.
const (
	PageFile     = "issue.html"
	WorkbookFile = "issue.xlsx"
	SummaryFile  = "summary.json"
	ManifestFile = "manifest.json"
	PDFFile      = "issue.pdf" // only where it was asked for
)

// Publish writes the issue into a folder of its own, which appears whole or not at all, and returns its name. A
// printer, where given, makes the PDF of a page; its bytes are no part of the manifest, as printers put the time in them.
func (m Maker) Publish(i Issue, b *queries.Book, printer func(page, pdf string) error) (name string, err error) {
	name = i.name()
	if err := os.MkdirAll(m.Dir, 0o700); err != nil {
		return "", fmt.Errorf("write issue: %w", err)
	}
	if err := sweep(m.Dir); err != nil {
		return "", err
	}
	stage, err := os.MkdirTemp(m.Dir, stagePrefix+"*")
	if err != nil {
		return "", fmt.Errorf("write issue: %w", err)
	}
	defer func() { err = errors.Join(err, disk.RemoveAll(stage)) }()
	if err := m.write(stage, i, b); err != nil {
		return "", fmt.Errorf("write issue %s: %w", name, err)
	}
	if printer != nil {
		if err := printer(filepath.Join(stage, PageFile), filepath.Join(stage, PDFFile)); err != nil {
			return "", fmt.Errorf("print issue %s: %w", name, err)
		}
	}
	if err := disk.Rename(stage, filepath.Join(m.Dir, name)); err != nil {
		return "", fmt.Errorf("write issue: %w; an issue is never overwritten", err)
	}
	return name, disk.Sync(m.Dir)
}

func sweep(dir string) error {
	left, err := disk.Named(dir, stagePrefix)
	if err != nil {
		return err
	}
	for _, stage := range left {
		if err := disk.RemoveAll(stage); err != nil {
			return fmt.Errorf("write issue: remove what an earlier run left: %w", err)
		}
	}
	return nil
}

// write fills a folder with the files of an issue, the manifest last.
func (m Maker) write(dir string, i Issue, b *queries.Book) error {
	page, err := dashboards.RenderMonth(dashboards.MonthIssue{Month: i.Month, For: i.For, Figures: i.Figures, Restates: i.Restates, Changes: i.Changes}, b, m.Business)
	if err != nil {
		return err
	}
	sheets, err := workbook(i, b)
	if err != nil {
		return err
	}
	summary, err := json.MarshalIndent(i, "", " ")
	if err != nil {
		return err
	}
	type file struct {
		Name   string `json:"name"`
		SHA256 string `json:"sha256"`
	}
	manifest := struct {
		Tool     string  `json:"tool"`
		Month    string  `json:"month"`
		For      string  `json:"for"`
		AsOf     string  `json:"as_of"`
		Load     int     `json:"load"`
		Removals int     `json:"removals,omitempty"`
		Restates string  `json:"restates"`
		Files    []file  `json:"files"`
		Inputs   []Input `json:"inputs"`
	}{i.Tool, i.Month, i.For, i.AsOf, i.Load, i.Removals, i.Restates, nil, m.Inputs}
	for _, f := range []struct {
		name    string
		content []byte
	}{{PageFile, page}, {WorkbookFile, sheets}, {SummaryFile, append(summary, '\n')}} {
		if err := disk.Write(filepath.Join(dir, f.name), f.content); err != nil {
			return err
		}
		manifest.Files = append(manifest.Files, file{f.name, fmt.Sprintf("%x", sha256.Sum256(f.content))})
	}
	raw, err := json.MarshalIndent(manifest, "", " ")
	if err != nil {
		return err
	}
	return errors.Join(disk.Write(filepath.Join(dir, ManifestFile), append(raw, '\n')), disk.Sync(dir))
}

// WriteIndex writes the list of issues in the folder as a page, in one step.
func (m Maker) WriteIndex() error {
	all, err := Issued(m.Dir)
	if err != nil {
		return err
	}
	var lines []dashboards.IssueLine
	for _, n := range slices.Backward(all) {
		lines = append(lines, dashboards.IssueLine{Name: n.Name, Month: n.Month, For: n.For, AsOf: n.AsOf, Restates: n.Restates, Changes: len(n.Changes)})
	}
	page, err := dashboards.RenderIssues(lines, m.Business)
	if err != nil {
		return err
	}
	temp := filepath.Join(m.Dir, ".index.html")
	if err := disk.Write(temp, page); err != nil {
		return fmt.Errorf("write list of issues: %w", err)
	}
	return errors.Join(disk.Rename(temp, filepath.Join(m.Dir, "index.html")), disk.Sync(m.Dir))
}
