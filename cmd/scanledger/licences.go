package main

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"strings"
)

// licencesFile lists the modules that are linked into the program, with the texts of their licences. It is generated from
// the build information of the binary and the modules' own files: go test ./cmd/scanledger -run Licences -update.
//
//go:embed licences.json
var licencesFile []byte

// licence is one text, with the modules that stand under it word for word.
type licence struct {
	Name    string         `json:"licence"` // SPDX identifier
	Modules []linkedModule `json:"modules"`
	Text    []string       `json:"text"` // by line
}

type linkedModule struct {
	Path    string `json:"path"`
	Version string `json:"version"`
}

// beyondModules is what is in the program and is no Go module.
const beyondModules = `The fonts in the pages are subsets of the Go fonts, copyright 2016 Bigelow & Holmes Inc., under the BSD licence of the Go
project. DuckDB is linked in as a library that holds parts of others (among them fastpfor, fmt, fsst, hyperloglog, ICU,
jemalloc, Mbed TLS, miniz, the parser of PostgreSQL, RE2, utf8proc, yyjson, zstd); their licences come with DuckDB's sources.`

type licencesCmd struct{}

// Run prints the modules, then the texts.
func (licencesCmd) Run(a *app) error {
	var all []licence
	if err := json.Unmarshal(licencesFile, &all); err != nil {
		return fmt.Errorf("licences: the list in this program is damaged: %w; build it again", err)
	}
	if a.json {
		return a.object(all)
	}
	rows := []string{"module\tversion\tlicence"}
	for _, l := range all {
		for _, m := range l.Modules {
			rows = append(rows, fmt.Sprintf("%s\t%s\t%s", m.Path, m.Version, l.Name))
		}
	}
	if err := a.table(rows); err != nil {
		return err
	}
	_, err := fmt.Fprintf(a.t.out, "\n%s\n%s", beyondModules, licenceTexts(all))
	return err
}

func licenceTexts(all []licence) string {
	var out strings.Builder
	for _, l := range all {
		out.WriteString("\n" + strings.Repeat("-", 72) + "\n" + l.Name + ", of:\n")
		for _, m := range l.Modules {
			out.WriteString("  " + m.Path + " " + m.Version + "\n")
		}
		out.WriteString("\n" + strings.Join(l.Text, "\n") + "\n")
	}
	return out.String()
}
