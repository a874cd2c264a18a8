package ingest

import (
	"bytes"
	"compress/gzip"
	"errors"
	"io"
)

// Text files are cut into records by one goroutine, which has to see every quote in order; the
// records' cells are read by several. Sizes in bytes.
const (
	maxRecord   = 1 << 20       // longest record; a quoted cell that does not end within it is an unclosed quote
	windowBytes = 4 << 20       // how much of a file is looked at together
	lookAhead   = maxRecord + 2 // enough to see a record of the longest size and its line end
	blockBytes  = 1 << 20       // about how much one goroutine parses at a time

	firstUnzipped = 64 << 10 // how much of a gzipped file is looked at first, as it may be small
)

var (
	lineTooLong    = &fault{"line_length", "is longer than 1 MiB; a line break may be missing"}
	quoteNotClosed = &fault{"quote_not_closed", "opens a quote that is not closed, or not within 1 MiB; close it or remove it"}
	quoteMisplaced = &fault{"quote_misplaced", "has a quote inside a cell or text after a closing quote; quote the whole cell and double the quotes inside it"}
)

// record is one stretch of a textBlock's data.
type record struct {
	start, end int
	line       int64  // physical line it starts on
	quoted     bool   // some cell is quoted
	fault      *fault // set when it cannot be taken apart into cells
}

// textBlock is a run of records.
type textBlock struct {
	data    []byte
	records []record
}

// textSource cuts a text file into records. A physical line ends at LF, CRLF or CR; blank lines
// are passed over.
type textSource struct {
	src      Source
	r        io.Reader
	final    bool // the window reaches the end of the file
	skipping bool // the window starts inside a line that is too long
	pos      int
	line     int64 // physical line at pos
	cut      splitter
}

// newTextSource opens the text of a file of the given size in bytes and looks at its start for
// signs that it is something else.
func newTextSource(src Source, r io.Reader, size int64) (*textSource, error) {
	t := &textSource{src: src, r: r, line: 1}
	first := int64(windowBytes)
	if src.Gzipped {
		unzipped, err := gzip.NewReader(r)
		if err != nil {
			return nil, src.ioError("open", shortGzip(err))
		}
		t.r, first = &unzipping{r: unzipped, packed: size}, firstUnzipped
	} else {
		first = min(first, size+1) // one more, to see the end
	}
	if err := t.fill(int(first)); err != nil {
		return nil, err
	}
	start := t.cut.data[:min(len(t.cut.data), 4)]
	switch {
	case bytes.HasPrefix(start, []byte("PK\x03\x04")):
		return nil, src.fileError("open", errors.New("it is not a text file but a zip or XLSX file"), "give it the extension .xlsx")
	case bytes.HasPrefix(start, []byte{0x1f, 0x8b}):
		return nil, src.fileError("open", errors.New("it is gzip-compressed"), "add .gz to its name")
	case bytes.HasPrefix(start, []byte("PAR1")):
		return nil, src.fileError("open", errors.New("it is not a text file but a Parquet file"), "give it the extension .parquet")
	case bytes.HasPrefix(start, []byte{0xff, 0xfe}), bytes.HasPrefix(start, []byte{0xfe, 0xff}), bytes.IndexByte(start, 0) >= 0:
		return nil, src.fileError("open", errors.New("the text is not UTF-8 but looks like UTF-16"), "save it as UTF-8")
	case bytes.HasPrefix(start, []byte{0xef, 0xbb, 0xbf}):
		t.pos = 3
	}
	return t, nil
}

// shortGzip names a gzip header cut short by the error that gzip uses everywhere else.
func shortGzip(err error) error {
	if errors.Is(err, io.EOF) {
		return io.ErrUnexpectedEOF
	}
	return err
}

// fill moves a window of the given size on to the first record not yet given out.
func (t *textSource) fill(size int) error {
	for {
		window := make([]byte, size)
		n := copy(window, t.cut.data[t.pos:])
		got, err := readUpTo(t.r, window[n:])
		if err != nil && !errors.Is(err, io.EOF) {
			return t.src.ioError("read", err)
		}
		t.final = errors.Is(err, io.EOF)
		t.cut.reset(window[:n+got])
		t.pos = 0
		if !t.skipping {
			return nil
		}
		_, next := t.cut.lineEnd(0)
		t.skipTo(next)
	}
}

// readUpTo fills buf as far as the reader goes. Unlike io.ReadFull it keeps a clean end (io.EOF)
// apart from a stream cut short (io.ErrUnexpectedEOF).
func readUpTo(r io.Reader, buf []byte) (n int, err error) {
	for n < len(buf) && err == nil {
		var got int
		got, err = r.Read(buf[n:])
		n += got
	}
	return n, err
}

// skipTo passes over the rest of a line that is too long; next is where the line after it starts,
// or the end of the window. A CR at that end is looked at again, since an LF may follow.
func (t *textSource) skipTo(next int) {
	size := len(t.cut.data)
	t.skipping = next == size && !t.final
	t.pos = next
	if t.skipping && t.cut.data[size-1] == '\r' {
		t.pos--
	}
}

// ready tells whether the record at pos can be seen whole.
func (t *textSource) ready() bool {
	left := len(t.cut.data) - t.pos
	return !t.skipping && left > 0 && (t.final || left >= lookAhead)
}

// next gives the next record that is not blank, reading on as needed; ok is false at the end.
func (t *textSource) next() (rec record, ok bool, err error) {
	for {
		for t.ready() {
			if rec, ok = t.take(); ok {
				return rec, true, nil
			}
		}
		if t.final {
			return record{}, false, nil
		}
		if err := t.fill(windowBytes); err != nil {
			return record{}, false, err
		}
	}
}

// take cuts the record at pos; ok is false for a blank line.
func (t *textSource) take() (rec record, ok bool) {
	rec, next, lines := t.cut.record(t.pos)
	rec.line = t.line
	t.line += lines
	if rec.fault == lineTooLong {
		t.skipTo(next)
		return rec, true
	}
	t.pos = next
	return rec, len(bytes.TrimLeft(t.cut.data[rec.start:rec.end], " ")) > 0
}

// blocks emits the rest of the file.
func (t *textSource) blocks(emit func(textBlock) error) error {
	for {
		rec, ok, err := t.next()
		if err != nil || !ok {
			return err
		}
		block := textBlock{data: t.cut.data, records: make([]record, 1, BatchRows)}
		block.records[0] = rec
		for len(block.records) < BatchRows && t.pos-rec.start < blockBytes && t.ready() {
			if rec, ok := t.take(); ok {
				block.records = append(block.records, rec)
			}
		}
		if err := emit(block); err != nil {
			return err
		}
	}
}

// splitter finds records in a window of a file.
type splitter struct {
	data          []byte
	delimiter     byte // zero: quotes mean nothing
	lf, cr, quote finder
}

func (s *splitter) reset(data []byte) {
	s.data = data
	s.lf, s.cr, s.quote = finder{b: '\n'}, finder{b: '\r'}, finder{b: '"'}
}

// finder looks for one byte. It remembers where the next one is, so that looking from ever later
// positions costs one pass over the data in all.
type finder struct {
	b      byte
	asked  int // no b lies between asked and at
	at     int // where one lies, or the length of the data
	primed bool
}

func (f *finder) from(data []byte, pos int) int {
	if f.primed && pos >= f.asked && pos <= f.at {
		return f.at
	}
	f.primed, f.asked, f.at = true, pos, len(data)
	if i := bytes.IndexByte(data[pos:], f.b); i >= 0 {
		f.at = pos + i
	}
	return f.at
}

// lineEnd gives where the text of the line at pos ends and where the next line starts.
func (s *splitter) lineEnd(pos int) (end, next int) {
	lf, cr := s.lf.from(s.data, pos), s.cr.from(s.data, pos)
	end = min(lf, cr)
	switch {
	case end == len(s.data):
		return end, end
	case cr+1 == lf:
		return end, lf + 1
	default:
		return end, end + 1
	}
}

// record finds the record at pos, where the next one starts, and how many physical lines it takes.
func (s *splitter) record(pos int) (rec record, next int, lines int64) {
	end, next := s.lineEnd(pos)
	rec = record{start: pos, end: end}
	if end-pos > maxRecord {
		rec.fault = lineTooLong
		return rec, next, 1
	}
	if s.delimiter == 0 || s.quote.from(s.data, pos) >= end {
		return rec, next, 1
	}
	rec.quoted = true
	wholeEnd, wholeNext, lines, f := s.quotedRecord(pos, end, next)
	if f != nil {
		// Whatever went wrong, only this line is given up: a stray quote must not swallow the rows
		// after it.
		if lines > 1 {
			f = quoteNotClosed
		}
		rec.fault = f
		return rec, next, 1
	}
	rec.end = wholeEnd
	return rec, wholeNext, lines
}

// quotedRecord walks the cells of a record with quotes; end and next are those of its first line.
func (s *splitter) quotedRecord(pos, end, next int) (recEnd, recNext int, lines int64, f *fault) {
	lines = 1
	for i := pos; ; i++ { // i is at the start of a cell, then at the delimiter after it
		if i < end && s.data[i] == '"' {
			closing := closingQuote(s.data[:min(len(s.data), pos+maxRecord)], i+1)
			if closing < 0 {
				return 0, 0, lines, quoteNotClosed
			}
			i = closing + 1
			for end < i {
				end, next = s.lineEnd(next)
				lines++
			}
			if i < end && s.data[i] != s.delimiter {
				return 0, 0, lines, quoteMisplaced
			}
		} else {
			cell := s.data[i:end]
			if d := bytes.IndexByte(cell, s.delimiter); d >= 0 {
				cell = cell[:d]
			}
			if bytes.IndexByte(cell, '"') >= 0 {
				return 0, 0, lines, quoteMisplaced
			}
			i += len(cell)
		}
		if end-pos > maxRecord {
			return 0, 0, lines, quoteNotClosed
		}
		if i == end {
			return end, next, lines, nil
		}
	}
}

// closingQuote finds the quote that ends a quoted cell whose content starts at pos, or -1.
// A doubled quote is part of the content.
func closingQuote(data []byte, pos int) int {
	for {
		i := bytes.IndexByte(data[pos:], '"')
		if i < 0 {
			return -1
		}
		pos += i
		if pos+1 >= len(data) || data[pos+1] != '"' {
			return pos
		}
		pos += 2
	}
}
