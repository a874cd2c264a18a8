package store

import (
	"strings"

	"scanledger/ingest/contract"
)

// resource is one table of the store in the Data Package standard (datapackage.org, version 2).
type resource struct {
	Name      string   `json:"name"`
	Title     string   `json:"title"`
	Type      string   `json:"type"`
	Format    string   `json:"format"`
	Mediatype string   `json:"mediatype"`
	Path      []string `json:"path"`
	Schema    any      `json:"schema"`
}

// dataPackage describes every table of the store, so that others can read it without this program.
func dataPackage(m Manifest) ([]byte, error) {
	var tables []resource
	for _, set := range contract.Sets() {
		tables = append(tables, tableOf(m, Data, set.Name, set.Title, withLineage(set)))
	}
	tables = append(tables,
		tableOf(m, Fates, "", "What became of every row that is not plainly accepted; the newest load's entry for a file and line counts, "+
			"and a row of a data table counts unless that entry says held = false", fateFields),
		tableOf(m, Rejects, "", "Every broken rule", rejectFields))
	return seal(struct {
		Checksum  string     `json:"checksum"` // no field of the standard, which allows more
		Schema    string     `json:"$schema"`
		Name      string     `json:"name"`
		Title     string     `json:"title"`
		Resources []resource `json:"resources"`
	}{unsealed, "https://datapackage.org/profiles/2.0/datapackage.json", "scanledger-store", "Inspections, readings and later findings", nonEmpty(tables)})
}

func tableOf(m Manifest, kind PartKind, set, title string, schema any) resource {
	r := resource{Name: set, Title: title, Type: "table", Format: "parquet", Mediatype: "application/vnd.apache.parquet", Schema: schema}
	if set == "" {
		r.Name = string(kind)
	}
	for _, p := range m.Parts {
		if p.Kind == kind && p.RecordSet == set && isParquet(p.Path) {
			r.Path = append(r.Path, p.Path)
		}
	}
	return r
}

func nonEmpty(tables []resource) []resource {
	out := []resource{}
	for _, t := range tables {
		if len(t.Path) > 0 {
			out = append(out, t)
		}
	}
	return out
}

func withLineage(set *contract.Set) contract.Set {
	s := *set
	s.Fields = append(append([]contract.Field{}, set.Fields...),
		contract.Field{Name: FileColumn, Type: "integer", Description: "Number of the record file in manifest.json"},
		contract.Field{Name: LineColumn, Type: "integer", Description: "Physical line of the row in that file"})
	return s
}

type plainSchema struct {
	Fields []contract.Field `json:"fields"`
}

var fateFields = plainSchema{[]contract.Field{
	{Name: "load", Type: "integer", Description: "Load in which this was decided"},
	{Name: "record_set", Type: "string", Description: "Record set of the row"},
	{Name: "file", Type: "integer", Description: "Number of the record file in manifest.json"},
	{Name: "line", Type: "integer", Description: "Physical line of the row"},
	{Name: "fate", Type: "string", Description: "accepted, duplicate, corrected, waiting or rejected"},
	{Name: "held", Type: "boolean", Description: "The row is the one that counts for its key"},
	{Name: "column", Type: "string", Description: "Column at fault"},
	{Name: "rule", Type: "string", Description: "Rule broken, or name waited for"},
	{Name: "value", Type: "string", Description: "Raw value"},
	{Name: "message", Type: "string", Description: "What is wrong"},
}}

var rejectFields = plainSchema{[]contract.Field{
	{Name: "file", Type: "string", Description: "Record file"},
	{Name: "record_set", Type: "string", Description: "Record set"},
	{Name: "line", Type: "integer", Description: "Physical line"},
	{Name: "column", Type: "string", Description: "Column at fault; empty when the row as a whole is"},
	{Name: "rule", Type: "string", Description: "Rule broken"},
	{Name: "value", Type: "string", Description: "Raw value"},
	{Name: "message", Type: "string", Description: "What is wrong and what to do"},
}}

func isParquet(path string) bool { return strings.HasSuffix(path, ".parquet") }
