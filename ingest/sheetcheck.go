package ingest

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strconv"

	"github.com/xuri/excelize/v2"
)

// Limits on what a sheet holds, against small files that unpack to much work. A row takes the memory of all columns up to
// its last cell, and every shared string takes some wherever it is kept.
const (
	maxSpan    = 200_000_000 // columns up to the last cell, over all rows: a million rows of 200 columns
	maxStrings = 4_000_000   // shared strings
)

var (
	errDeep     = errors.New("its XML is nested deeper than a workbook's")
	errDisorder = errors.New("its rows or cells are not in order, so that they cannot be told apart")
	errWide     = errors.New("its rows reach over more columns than records have")
	errStrings  = errors.New("it holds more texts than a sheet has cells for")
)

// partCheck looks at the XML of one part of a workbook before a library does. The library takes broken XML for the end of
// the sheet, puts cells that are out of order under other columns, and an index of a shared string that there is not for
// the text itself.
type partCheck struct {
	root        string
	depth       int
	row, column int // of a sheet: where the last row and the last cell in it stand
	span        int
	strings     int // how many shared strings the part holds
	shared      bool
	inValue     bool
	value       []byte
	most        int // the highest shared string that a cell names, or -1
}

// checkXML reads a part to its end.
func checkXML(r io.Reader) (partCheck, error) {
	c := partCheck{most: -1}
	decoder := xml.NewDecoder(r)
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			return c, nil
		}
		if err == nil {
			err = c.token(token)
		}
		if err != nil {
			return c, err
		}
	}
}

func (c *partCheck) token(token xml.Token) error {
	switch t := token.(type) {
	case xml.StartElement:
		if c.depth++; c.depth > maxXMLDepth {
			return errDeep
		}
		if c.depth == 1 {
			c.root = t.Name.Local
		}
		return c.start(t)
	case xml.EndElement:
		c.depth--
		if c.inValue && c.shared {
			c.inValue = false
			return c.index(string(trim(c.value)))
		}
	case xml.CharData:
		if c.inValue && c.shared {
			c.value = append(c.value, t...)
		}
	}
	return nil
}

func (c *partCheck) start(e xml.StartElement) error {
	switch {
	case c.root == "worksheet" && e.Name.Local == "row":
		return c.startRow(e)
	case c.root == "worksheet" && e.Name.Local == "c":
		return c.startCell(e)
	case c.root == "worksheet" && e.Name.Local == "v":
		c.inValue, c.value = true, c.value[:0]
	case c.root == "sst" && e.Name.Local == "si":
		if c.strings++; c.strings > maxStrings {
			return errStrings
		}
	}
	return nil
}

func (c *partCheck) startRow(e xml.StartElement) error {
	row := c.row + 1
	if text := attribute(e, "r"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < row || n > excelize.TotalRows {
			return fmt.Errorf("%w: row %q after row %d", errDisorder, clip([]byte(text)), c.row)
		}
		row = n
	}
	c.row, c.column = row, 0
	return nil
}

func (c *partCheck) startCell(e xml.StartElement) error {
	column := c.column + 1
	if text := attribute(e, "r"); text != "" {
		n, _, err := excelize.CellNameToCoordinates(text)
		if err != nil || n < column {
			return fmt.Errorf("%w: cell %q in row %d", errDisorder, clip([]byte(text)), c.row)
		}
		column = n
	}
	c.span += column - c.column
	c.column, c.shared, c.inValue = column, attribute(e, "t") == "s", false
	if c.span > maxSpan {
		return errWide
	}
	return nil
}

// index reads the number of a shared string.
func (c *partCheck) index(text string) error {
	n, err := strconv.Atoi(text)
	if err != nil || n < 0 {
		return fmt.Errorf("row %d names a shared text by %q", c.row, clip([]byte(text)))
	}
	c.most = max(c.most, n)
	return nil
}

func attribute(e xml.StartElement, name string) (value string) {
	for _, a := range e.Attr {
		if a.Name.Local == name {
			value = a.Value
		}
	}
	return value
}
