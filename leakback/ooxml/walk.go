package ooxml

import (
	"bytes"
	"encoding/xml"
	"io"
	"path"
	"slices"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"
)

// checkXML reads a part once, piece by piece: it must be whole, shallow, without
// a document type, and what it says must be harmless.
func (l Limits) checkXML(name string, content []byte) error {
	d := xml.NewDecoder(bytes.NewReader(content))
	w := &walk{name: name, limits: l}
	for {
		token, err := d.RawToken()
		if err == io.EOF {
			return w.ended()
		}
		if err != nil {
			return Damaged
		}
		switch t := token.(type) {
		case xml.StartElement:
			err = w.start(t)
		case xml.EndElement:
			w.depth--
		case xml.Directive:
			err = Odd
		}
		if err != nil {
			return err
		}
	}
}

// walk is a part that is being looked through.
type walk struct {
	name   string
	limits Limits
	// root is the part's outermost element.
	root  string
	depth int
	// row and column are those of the last cell of a sheet, widest is the last
	// column of its row, cells and sheets what was counted.
	row, widest   int
	cells, sheets int
}

func (w *walk) start(e xml.StartElement) error {
	if w.depth++; w.depth > w.limits.Depth {
		return Odd
	}
	if w.root == "" {
		w.root = e.Name.Local
	}
	switch {
	case strings.HasSuffix(w.name, ".rels") && e.Name.Local == "Relationship":
		return checkRelationship(e)
	case w.name == "[content_types].xml":
		return checkType(e)
	case w.root == "workbook" && e.Name.Local == "sheet":
		if w.sheets++; w.sheets > w.limits.Sheets {
			return TooLarge
		}
	case w.root != "worksheet":
	case e.Name.Local == "row":
		return w.newRow(e)
	case e.Name.Local == "c":
		return w.newCell(e)
	}
	return nil
}

// ended refuses a part whose elements do not pair.
func (w *walk) ended() error {
	if w.depth != 0 {
		return Damaged
	}
	return nil
}

func attribute(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// checkRelationship refuses what leads outside, or to what may run. A link that
// a reader may click on is harmless: programs make one of any mail address.
func checkRelationship(e xml.StartElement) error {
	kind := strings.ToLower(path.Base(attribute(e, "Type")))
	for _, f := range forbidden {
		if kind == f.kind {
			return f.why
		}
	}
	if strings.EqualFold(attribute(e, "TargetMode"), "External") {
		if kind != "hyperlink" {
			return Links
		}
		return nil
	}
	// What is read as XML must have been looked through as XML.
	read := []string{"officedocument", "worksheet", "sharedstrings", "styles", "theme", "calcchain"}
	if slices.Contains(read, kind) && !isXML(attribute(e, "Target")) {
		return Odd
	}
	return nil
}

// checkType refuses the types of workbooks that may hold macros. That parts of
// some ending would be macros, if there were any, is written by programs that make
// none: what leads to them is refused.
func checkType(e xml.StartElement) error {
	kind := strings.ToLower(attribute(e, "ContentType"))
	switch {
	case strings.Contains(kind, "macroenabled"), strings.Contains(kind, "vbaproject") && e.Name.Local != "Default":
		return Macros
	case strings.Contains(kind, "binary.macro"), strings.Contains(kind, "sheet.binary"):
		return OldFormat
	}
	return nil
}

// newRow keeps rows, which the library fills up from the first to the last, in
// bounds.
func (w *walk) newRow(e xml.StartElement) error {
	w.row++
	if text := attribute(e, "r"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < w.row || strconv.Itoa(n) != text {
			return Odd
		}
		w.row = n
	}
	w.widest = 0
	if w.row > w.limits.Rows {
		return TooLarge
	}
	return nil
}

// newCell does so with cells, which must stand in their order under their usual
// names: what one program takes for B2, as B02 or b2, another one passes over.
func (w *walk) newCell(e xml.StartElement) error {
	before := w.widest
	w.widest++
	if name := attribute(e, "r"); name != "" {
		column, row, err := excelize.CellNameToCoordinates(name)
		if err != nil || row != w.row || column < w.widest {
			return Odd
		}
		if usual, err := excelize.CoordinatesToCellName(column, row); err != nil || usual != name {
			return Odd
		}
		w.widest = column
	}
	w.cells += w.widest - before
	if w.widest > w.limits.Columns || w.cells > w.limits.Cells {
		return TooLarge
	}
	return nil
}
