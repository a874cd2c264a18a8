package ingest

import (
	"slices"

	"scanledger/ingest/contract"
)

// rowParser judges rows and gathers them into a Chunk. It serves one goroutine.
type rowParser struct {
	set    *contract.Set
	src    Source
	fields []fieldParser
	rules  []boundRule
	cells  []cell  // one per field, filled by the format's reader before row is called
	values []value // scratch
	chunk  Chunk
}

func newRowParser(src Source, decimalComma bool) *rowParser {
	p := &rowParser{
		set:    src.Set,
		src:    src,
		rules:  bindRules(src.Set),
		cells:  make([]cell, len(src.Set.Fields)),
		values: make([]value, len(src.Set.Fields)),
	}
	for _, f := range src.Set.Fields {
		p.fields = append(p.fields, newFieldParser(f, decimalComma))
	}
	return p
}

// start begins a chunk of at most capacity rows.
func (p *rowParser) start(capacity int) {
	batch, ok := p.src.spare.Get().(*Batch)
	if !ok {
		batch = NewBatch(p.set, capacity)
	}
	batch.Reset()
	p.chunk = Chunk{Batch: batch}
}

// row judges p.cells as one row.
func (p *rowParser) row(line int64) {
	p.chunk.Rows++
	before := len(p.chunk.Rejects)
	for i := range p.fields {
		if f := p.fields[i].parse(p.cells[i], &p.values[i]); f != nil {
			p.reject(line, i, f)
		}
	}
	p.judge(line, before)
	if len(p.chunk.Rejects) > before {
		return
	}
	batch := p.chunk.Batch
	batch.Lines = append(batch.Lines, line)
	for i := range batch.Cols {
		batch.Cols[i].append(p.fields[i].kind, &p.values[i])
	}
}

// judge applies the row rules and puts the row's rejects, which begin at before, in column order.
func (p *rowParser) judge(line int64, before int) {
	found := false
	for _, rule := range p.rules {
		values := make([]value, 0, 4) // stays on the stack
		for _, i := range rule.fields {
			values = append(values, p.values[i])
		}
		if slices.ContainsFunc(values, func(v value) bool { return v.state == faulty }) {
			continue
		}
		if !rule.keeps(values) {
			p.reject(line, rule.fields[0], &fault{rule.name, rule.message})
			found = true
		}
	}
	if found {
		slices.SortStableFunc(p.chunk.Rejects[before:], func(a, b Reject) int {
			return p.set.Field(a.Column) - p.set.Field(b.Column)
		})
	}
}

func (p *rowParser) reject(line int64, field int, f *fault) {
	p.chunk.Rejects = append(p.chunk.Rejects, Reject{
		File: p.src.Name, Line: line, Column: p.set.Fields[field].Name,
		Rule: f.rule, Value: clip(p.cells[field].text), Message: f.message,
	})
}

// rejectRow rejects a row that cannot be taken apart into cells.
func (p *rowParser) rejectRow(line int64, f *fault, raw []byte) {
	p.chunk.Rows++
	p.chunk.Rejects = append(p.chunk.Rejects, Reject{
		File: p.src.Name, Line: line, Rule: f.rule, Value: clip(raw), Message: f.message,
	})
}
