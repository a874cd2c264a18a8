package ingest

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strings"

	"github.com/xuri/excelize/v2"

	"scanledger/ingest/contract"
)

// Limits on a workbook, against files made to exhaust memory. A sheet of a million rows of the
// widest record set takes about 600 MB when unpacked and packs by a factor of 10 to 50.
const (
	maxWorkbook  = 1 << 30   // bytes of all parts, unpacked
	maxOtherPart = 64 << 20  // bytes of one part that is neither sheet nor shared strings
	inMemoryPart = 16 << 20  // bytes of a sheet kept in memory; a larger one goes to a temporary file
	maxInMemory  = 256 << 20 // bytes of all parts kept in memory
	maxRatio     = 300       // unpacked to packed size, from inMemoryPart on
	maxXMLDepth  = 64        // nesting; worksheets need about ten
)

var (
	errEncrypted  = errors.New("it is encrypted, or a workbook of the older .xls kind")
	errNotXLSX    = errors.New("it is not an XLSX workbook")
	errTooLarge   = errors.New("it unpacks to more than a workbook can need")
	xlsxRemedy    = "open it in a spreadsheet program and save it as .xlsx without a password"
	exportAsText  = "export the sheet as CSV instead"
	compoundMagic = []byte{0xd0, 0xcf, 0x11, 0xe0} // Compound File Binary: .xls, or an encrypted .xlsx
)

// sheetRow is one row as the sheet holds it: raw values, not their display.
type sheetRow struct {
	line  int64
	cells []string
}

// readXLSX reads the sheet named like the record set, or else the first sheet. A formula counts
// with the value saved beside it. The raw values do not tell text from numbers; the field's type
// decides, so that a number under a date or timestamp is a serial date.
func readXLSX(ctx context.Context, src Source, file *os.File, size int64, deliver func(parsed) error) error {
	if err := checkWorkbook(ctx, src, file, size); err != nil {
		return err
	}
	var sheet *sheetReader
	if err := src.guard(func() (err error) { sheet, err = openSheet(src); return err }); err != nil {
		return err
	}
	defer sheet.close()
	if err := deliver(parsed{Chunk: Chunk{Batch: &Batch{Set: src.Set}}, extra: sheet.layout.extra}); err != nil {
		return err
	}
	produce := func(emit func([]sheetRow) error) error {
		return src.guard(func() error { return sheet.blocks(emit) })
	}
	newParser := func() func([]sheetRow) parsed {
		p := sheetParser{rows: newRowParser(src, false), layout: sheet.layout, date1904: sheet.date1904}
		return p.parse
	}
	return inOrder(ctx, produce, newParser, deliver)
}

// checkWorkbook looks at every part before a library does: what is too large, too deep or broken ends here.
func checkWorkbook(ctx context.Context, src Source, file *os.File, size int64) error {
	start := make([]byte, len(compoundMagic))
	if _, err := io.ReadFull(file, start); err == nil && bytes.Equal(start, compoundMagic) {
		return src.fileError("open", errEncrypted, xlsxRemedy)
	}
	archive, err := zip.NewReader(file, size)
	if err != nil {
		return src.fileError("open", fmt.Errorf("%w: %w", errNotXLSX, err), xlsxRemedy)
	}
	if err := checkSizes(archive.File, uint64(size)); err != nil {
		return src.fileError("open", err, exportAsText)
	}
	texts, most := 0, -1
	for _, part := range archive.File {
		found, err := checkPart(ctx, part)
		if err != nil {
			return src.ioError("open", src.partError(part, err))
		}
		texts, most = texts+found.strings, max(most, found.most)
	}
	if most >= texts {
		return src.fileError("open", fmt.Errorf("a cell names text %d of %d", most+1, texts), exportAsText)
	}
	return nil
}

func (s Source) partError(part *zip.File, err error) error {
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	return s.fileError("open", fmt.Errorf("part %q: %w", clip([]byte(part.Name)), err), exportAsText)
}

// checkSizes looks at what the parts of a file of the given size claim to unpack to; reading a part holds it to that.
func checkSizes(parts []*zip.File, packed uint64) error {
	total, held := uint64(0), uint64(0)
	for _, part := range parts {
		size := part.UncompressedSize64
		total += min(size, maxWorkbook+1)
		if size <= inMemoryPart || !ofRows(part.Name) {
			held += size
		}
		if total > maxWorkbook || held > maxInMemory || size > maxOtherPart && !ofRows(part.Name) || total > inMemoryPart && total/maxRatio > packed {
			return fmt.Errorf("part %q: %w", clip([]byte(part.Name)), errTooLarge)
		}
	}
	return nil
}

// ofRows tells whether the library puts a large part into a temporary file, and not into memory.
func ofRows(name string) bool {
	name = strings.ToLower(name)
	return strings.HasPrefix(name, "xl/worksheets/sheet") || name == "xl/sharedstrings.xml"
}

func checkPart(ctx context.Context, part *zip.File) (partCheck, error) {
	name := strings.ToLower(part.Name)
	if !strings.HasSuffix(name, ".xml") && !strings.HasSuffix(name, ".rels") {
		return partCheck{most: -1}, nil
	}
	content, err := part.Open()
	if err != nil {
		return partCheck{}, err
	}
	defer func() { _ = content.Close() }() // nothing was written
	return checkXML(wanted{ctx, content})
}

// sheetReader streams the rows of one sheet.
type sheetReader struct {
	src      Source
	book     *excelize.File
	rows     *excelize.Rows
	line     int64
	layout   layout
	date1904 bool
}

func openSheet(src Source) (*sheetReader, error) {
	book, err := excelize.OpenFile(src.Path, excelize.Options{
		RawCellValue: true, UnzipSizeLimit: maxWorkbook, UnzipXMLSizeLimit: inMemoryPart,
	})
	if err != nil {
		return nil, src.fileError("open", fmt.Errorf("%w: %w", errNotXLSX, err), xlsxRemedy)
	}
	s := &sheetReader{src: src, book: book}
	if err := s.start(); err != nil {
		s.close()
		return nil, err
	}
	return s, nil
}

func (s *sheetReader) close() {
	if s.rows != nil {
		_ = s.rows.Close() // nothing was written
	}
	_ = s.book.Close()
}

// start chooses the sheet and reads its header.
func (s *sheetReader) start() error {
	props, err := s.book.GetWorkbookProps()
	if err != nil {
		return s.src.fileError("open", err, xlsxRemedy)
	}
	s.date1904 = props.Date1904 != nil && *props.Date1904
	sheets := s.book.GetSheetList()
	if len(sheets) == 0 {
		return s.src.fileError("open", errors.New("it has no sheet"), xlsxRemedy)
	}
	named := max(0, slices.IndexFunc(sheets, func(n string) bool { return strings.EqualFold(n, s.src.Set.Name) }))
	if s.rows, err = s.book.Rows(sheets[named]); err != nil {
		return s.src.fileError("open", fmt.Errorf("sheet %q: %w", sheets[named], err), exportAsText)
	}
	header, ok, err := s.next()
	if err != nil {
		return err
	}
	if !ok {
		return s.src.fileError("read header", errNoHeader, headerRemedy)
	}
	s.layout, err = newLayout(s.src, header.cells)
	return err
}

// next gives the next row that is not blank.
func (s *sheetReader) next() (row sheetRow, ok bool, err error) {
	for s.rows.Next() {
		s.line++
		cells, err := s.rows.Columns()
		if err != nil {
			return row, false, s.src.fileError("read", fmt.Errorf("row %d: %w", s.line, err), exportAsText)
		}
		if slices.ContainsFunc(cells, func(c string) bool { return strings.Trim(c, asciiSpace) != "" }) {
			return sheetRow{s.line, cells}, true, nil
		}
	}
	if err := s.rows.Error(); err != nil {
		return row, false, s.src.fileError("read", err, exportAsText)
	}
	return row, false, nil
}

// cellBytes is what a cell takes beside its text.
const cellBytes = 16

func (s *sheetReader) blocks(emit func([]sheetRow) error) error {
	var block []sheetRow
	size := 0
	for {
		row, ok, err := s.next()
		if err != nil {
			return err
		}
		if ok {
			block = append(block, row)
			for _, c := range row.cells {
				size += len(c) + cellBytes
			}
		}
		if len(block) > 0 && (!ok || len(block) == BatchRows || size >= blockBytes) {
			if err := emit(block); err != nil {
				return err
			}
			block, size = nil, 0
		}
		if !ok {
			return nil
		}
	}
}

// sheetParser turns sheet rows into rows. It serves one goroutine.
type sheetParser struct {
	rows     *rowParser
	layout   layout
	date1904 bool
}

func (p *sheetParser) parse(block []sheetRow) parsed {
	p.rows.start(len(block))
	for _, row := range block {
		for i, field := range p.layout.fieldOf {
			if field < 0 {
				continue
			}
			p.rows.cells[field] = cell{}
			if i < len(row.cells) {
				p.rows.cells[field] = p.cell(p.rows.fields[field].kind, row.cells[i])
			}
		}
		p.rows.row(row.line)
	}
	return parsed{Chunk: p.rows.chunk}
}

// errorValues are what a spreadsheet shows for a formula that failed (ISO/IEC 29500-1, 18.17.3;
// from memory).
var errorValues = []string{"#NULL!", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#N/A", "#GETTING_DATA"}

func (p *sheetParser) cell(kind contract.Kind, raw string) cell {
	text := []byte(raw)
	switch {
	case slices.Contains(errorValues, raw):
		return cell{broken, text}
	case kind == contract.Date || kind == contract.Timestamp:
		return cell{written, p.moment(kind, text)}
	default:
		return cell{numeric, text}
	}
}

// Serial dates count days (ISO/IEC 29500-1, 18.17.4; from memory). Before 1 March 1900 the usual
// count is one day off, since it holds a 29 February 1900 that never was; such dates are left
// alone and rejected. excelize's own conversion rounds to the second.
const (
	serial1970  = 25569 // the serial date of 1970-01-01
	from1904    = 1462  // days from the one epoch to the other
	firstSerial = 61
	lastSerial  = 2958465 // 9999-12-31
)

// moment writes a serial date as an ISO date or a local timestamp, to the millisecond, which is as
// fine as a spreadsheet keeps it. Anything else stays as it is.
func (p *sheetParser) moment(kind contract.Kind, text []byte) []byte {
	serial, ok := parseNumber(trim(text))
	if ok && p.date1904 {
		serial += from1904
	}
	if !ok || serial < firstSerial || serial > lastSerial {
		return text
	}
	micros := int64(math.Round((serial-serial1970)*day/1000)) * 1000
	if kind == contract.Date && micros%day == 0 {
		return appendDate(nil, micros/day)
	}
	return appendTimestamp(nil, micros, true)
}
