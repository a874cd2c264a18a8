package ingest

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"unicode/utf8"
)

// readJSONL reads JSON Lines: on each line one object (RFC 8259) of strings, numbers, booleans and
// nulls.
func readJSONL(ctx context.Context, src Source, file io.Reader, size int64, deliver func(parsed) error) error {
	text, err := newTextSource(src, file, size)
	if err != nil {
		return err
	}
	names, err := columnNames(src)
	if err != nil {
		return err
	}
	newParser := func() func(textBlock) parsed {
		p := jsonParser{rows: newRowParser(src, false), names: names, taken: make([]bool, len(src.Set.Fields))}
		return p.parse
	}
	return inOrder(ctx, text.blocks, newParser, deliver)
}

var (
	notJSON      = &fault{"json", "is not valid JSON (RFC 8259); write one object a line"}
	notObject    = &fault{"json_object", "is not a JSON object; write one object a line"}
	nested       = &fault{"json_nested", "holds a list or an object inside the object; give each value a column of its own"}
	duplicateKey = &fault{"json_duplicate", "gives a column twice; keep one of the two"}
)

// jsonParser turns lines into rows. It serves one goroutine.
type jsonParser struct {
	rows  *rowParser
	names map[string]int
	taken []bool // which fields the current object has given
	extra []string
	seen  map[string]bool // the names in extra
	rest  []byte          // what is left of the current line
}

func (p *jsonParser) parse(block textBlock) parsed {
	p.rows.start(len(block.records))
	p.extra, p.seen = nil, map[string]bool{}
	for _, rec := range block.records {
		raw := block.data[rec.start:rec.end]
		f := rec.fault
		if f == nil {
			f = p.object(raw)
		}
		if f != nil {
			p.rows.rejectRow(rec.line, f, raw)
			continue
		}
		p.rows.row(rec.line)
	}
	return parsed{p.rows.chunk, p.extra}
}

// object reads a line into the row parser's cells.
func (p *jsonParser) object(line []byte) *fault {
	clear(p.rows.cells)
	clear(p.taken)
	p.rest = line
	if b := p.peek(); b != '{' {
		if json.Valid(line) {
			return notObject
		}
		return notJSON
	}
	p.rest = p.rest[1:]
	if p.peek() == '}' {
		return p.end()
	}
	for {
		if f := p.member(); f != nil {
			return f
		}
		switch p.peek() {
		case ',':
			p.rest = p.rest[1:]
		case '}':
			return p.end()
		default:
			return notJSON
		}
	}
}

// end passes the closing brace, after which nothing may follow.
func (p *jsonParser) end() *fault {
	p.rest = p.rest[1:]
	if p.peek(); len(p.rest) > 0 {
		return notJSON
	}
	return nil
}

// peek passes white space and gives the next byte, or 0 at the end.
func (p *jsonParser) peek() byte {
	i := 0
	for i < len(p.rest) && (p.rest[i] == ' ' || p.rest[i] == '\t') {
		i++
	}
	p.rest = p.rest[i:]
	if len(p.rest) == 0 {
		return 0
	}
	return p.rest[0]
}

// member reads one "name": value.
func (p *jsonParser) member() *fault {
	if p.peek() != '"' {
		return notJSON
	}
	name, ok := p.str()
	if !ok || p.peek() != ':' {
		return notJSON
	}
	p.rest = p.rest[1:]
	c, f := p.value()
	if f != nil {
		return f
	}
	field, ok := p.names[string(name)]
	if !ok {
		field, ok = p.names[columnName(string(name))]
	}
	if !ok {
		p.unknown(name)
		return nil
	}
	if p.taken[field] {
		return duplicateKey
	}
	p.taken[field] = true
	p.rows.cells[field] = c
	return nil
}

func (p *jsonParser) unknown(name []byte) {
	if len(p.extra) == maxExtraColumns {
		return
	}
	if known := clip(name); !p.seen[known] {
		p.seen[known] = true
		p.extra = append(p.extra, known)
	}
}

func (p *jsonParser) value() (cell, *fault) {
	switch b := p.peek(); {
	case b == '"':
		text, ok := p.str()
		if !ok {
			return cell{}, notJSON
		}
		return cell{written, text}, nil
	case b == '{' || b == '[':
		return cell{}, nested
	case b == '-' || b >= '0' && b <= '9':
		text := p.token()
		if !json.Valid(text) {
			return cell{}, notJSON
		}
		return cell{numeric, text}, nil
	default:
		switch text := p.token(); string(text) {
		case "true", "false":
			return cell{logical, text}, nil
		case "null":
			return cell{}, nil
		default:
			return cell{}, notJSON
		}
	}
}

// token takes everything up to white space or punctuation.
func (p *jsonParser) token() []byte {
	i := bytes.IndexAny(p.rest, " \t,:{}[]\"")
	if i < 0 {
		i = len(p.rest)
	}
	text := p.rest[:i]
	p.rest = p.rest[i:]
	return text
}

// str takes a string, without its quotes and with its escapes resolved.
func (p *jsonParser) str() (text []byte, ok bool) {
	escaped := false
	for i := 1; i < len(p.rest); i++ {
		switch b := p.rest[i]; {
		case b == '"':
			raw := p.rest[:i+1]
			p.rest = p.rest[i+1:]
			if !escaped {
				return raw[1:i], true
			}
			return unescape(raw)
		case b == '\\':
			escaped = true
			i++
		case b < ' ':
			return nil, false
		}
	}
	return nil, false
}

// unescape resolves the escapes of a quoted string. Half of a surrogate pair names no character:
// it becomes a byte that no UTF-8 text holds, so that the field rejects it as such.
func unescape(raw []byte) ([]byte, bool) {
	var text string
	if err := json.Unmarshal(raw, &text); err != nil {
		return nil, false
	}
	out := []byte(text)
	if replaced := []byte(string(utf8.RuneError)); bytes.Contains(out, replaced) &&
		!bytes.Contains(raw, replaced) && !bytes.Contains(bytes.ToLower(raw), []byte(`\ufffd`)) {
		out = bytes.ReplaceAll(out, replaced, []byte{0xff})
	}
	return out, true
}
