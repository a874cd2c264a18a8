package ingest

import (
	"bytes"
	"context"
	"errors"
	"io"
)

// delimiters are those taken, in order of preference where a header fits several.
const delimiters = ",;\t"

// readCSV reads comma-, semicolon- or tab-separated text (RFC 4180).
func readCSV(ctx context.Context, src Source, file io.Reader, size int64, deliver func(parsed) error) error {
	text, err := newTextSource(src, file, size)
	if err != nil {
		return err
	}
	header, err := text.header()
	if err != nil {
		return err
	}
	if err := deliver(parsed{Chunk: Chunk{Batch: &Batch{Set: src.Set}}, extra: header.extra}); err != nil {
		return err
	}
	delimiter := text.cut.delimiter
	newParser := func() func(textBlock) parsed {
		p := csvParser{rows: newRowParser(src, delimiter == ';'), layout: header, delimiter: delimiter}
		return p.parse
	}
	return inOrder(ctx, text.blocks, newParser, deliver)
}

// header reads the first record and settles the delimiter: the one under which the header gives
// the most known columns, then the most columns.
func (t *textSource) header() (layout, error) {
	first, ok, err := t.next()
	if err != nil {
		return layout{}, err
	}
	if !ok {
		return layout{}, t.src.fileError("read header", errNoHeader, headerRemedy)
	}
	if first.fault == lineTooLong {
		return layout{}, t.src.fileError("read header", errLongHeader, headerRemedy)
	}
	t.pos, t.line = first.start, first.line
	names, err := columnNames(t.src)
	if err != nil {
		return layout{}, err
	}
	var best []string
	bestScore := 0
	for _, d := range []byte(delimiters) {
		cells := t.headerCells(d)
		if score := headerScore(cells, names); score > bestScore {
			best, bestScore, t.cut.delimiter = cells, score, d
		}
	}
	if best == nil {
		return layout{}, t.src.fileError("read header", errBadHeader, headerRemedy+" and check its quotes")
	}
	t.take()
	return newLayout(t.src, best)
}

var errBadHeader = errors.New("the header row cannot be taken apart into column names")

var errLongHeader = errors.New("the header row is longer than 1 MiB; a line break may be missing")

func headerScore(cells []string, names map[string]int) int {
	score := len(cells)
	for _, c := range cells {
		if _, ok := names[columnName(c)]; ok {
			score += maxRecord // more than any number of cells
		}
	}
	return score
}

// headerCells splits the record at pos under a delimiter, or gives nil where it cannot be split.
func (t *textSource) headerCells(delimiter byte) []string {
	cut := splitter{delimiter: delimiter}
	cut.reset(t.cut.data)
	rec, _, _ := cut.record(t.pos)
	if rec.fault != nil {
		return nil
	}
	p := csvParser{delimiter: delimiter}
	var names []string
	for _, raw := range p.split(t.cut.data, rec) {
		names = append(names, string(raw))
	}
	return names
}

// csvParser turns records into rows. It serves one goroutine.
type csvParser struct {
	rows      *rowParser
	layout    layout
	delimiter byte
	raw       [][]byte // scratch: the cells of one record
}

var cellCount = &fault{"cell_count", "has more or fewer cells than the header; check for a stray or missing delimiter or quote"}

func (p *csvParser) parse(block textBlock) parsed {
	p.rows.start(len(block.records))
	for _, rec := range block.records {
		if rec.fault != nil {
			p.rows.rejectRow(rec.line, rec.fault, block.data[rec.start:rec.end])
			continue
		}
		raw := p.split(block.data, rec)
		if len(raw) != len(p.layout.fieldOf) {
			p.rows.rejectRow(rec.line, cellCount, block.data[rec.start:rec.end])
			continue
		}
		for i, field := range p.layout.fieldOf {
			if field >= 0 {
				p.rows.cells[field].text = raw[i]
			}
		}
		p.rows.row(rec.line)
	}
	return parsed{Chunk: p.rows.chunk}
}

// split takes a sound record apart into cells, without their quotes.
func (p *csvParser) split(data []byte, rec record) [][]byte {
	raw := p.raw[:0]
	rest := data[rec.start:rec.end]
	for {
		var cell []byte
		if rec.quoted && len(rest) > 0 && rest[0] == '"' {
			closing := closingQuote(rest, 1)
			cell, rest = unquote(rest[1:closing]), rest[closing+1:]
		} else if i := bytes.IndexByte(rest, p.delimiter); i >= 0 {
			cell, rest = rest[:i], rest[i:]
		} else {
			cell, rest = rest, nil
		}
		raw = append(raw, cell)
		if len(rest) == 0 {
			p.raw = raw
			return raw
		}
		rest = rest[1:] // the delimiter
	}
}

// unquote makes doubled quotes single (RFC 4180, section 2, rule 7).
func unquote(cell []byte) []byte {
	if bytes.IndexByte(cell, '"') < 0 {
		return cell
	}
	return bytes.ReplaceAll(cell, []byte(`""`), []byte(`"`))
}
