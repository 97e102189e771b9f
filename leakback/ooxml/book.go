package ooxml

import (
	"bytes"
	"encoding/xml"
	"io"
	"maps"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// Sheet is what stands in a sheet.
type Sheet struct {
	// Name is what people see, and Hidden says that they do not see it.
	Name   string
	Hidden bool
	// Cells are those in which something stands, by their names, such as E12.
	Cells map[string]Cell
	// Footer is what is printed at the foot of its pages, as the file has it.
	Footer string
	part   string
}

// Names are the names of the cells in which something stands, row by row.
func (s *Sheet) Names() []string { return slices.SortedFunc(maps.Keys(s.Cells), byPlace) }

// Cell is what stands in a cell; an empty Cell where there is nothing.
func (s *Sheet) Cell(name string) Cell { return s.Cells[name] }

// Book is what stands in a workbook, without its looks.
type Book struct {
	// Sheets are in the order in which they are shown.
	Sheets []Sheet
	// Names are the defined names with what they refer to; those of one sheet
	// have its name and ! in front.
	Names map[string]string
	// Program is what the file says wrote it; "" where it does not say.
	Program string
}

// Sheet is the sheet of that name; nil where there is none.
func (b *Book) Sheet(name string) *Sheet {
	for i := range b.Sheets {
		if b.Sheets[i].Name == name {
			return &b.Sheets[i]
		}
	}
	return nil
}

// Book reads what stands in the workbook. It follows the standard (ISO/IEC
// 29500-1, 18) and not a library that fills in and corrects what it reads: of a
// file that says something twice nothing is read. An error is a Refusal.
func (p *Package) Book() (*Book, error) {
	if p.book != nil {
		return p.book, nil
	}
	r := &cellReader{p: p, book: &Book{Names: map[string]string{}}, targets: map[string]string{}}
	for _, read := range []func() error{r.relations, r.program, r.workbook, r.sharedTexts, r.formats, r.sheets} {
		if err := read(); err != nil {
			return nil, err
		}
	}
	p.book = r.book
	return r.book, nil
}

// cellReader reads a workbook.
type cellReader struct {
	p       *Package
	book    *Book
	targets map[string]string // of the workbook's relationships, by id
	kinds   map[string]string // the parts of the workbook that there is one of
	texts   []string
	codes   []string // of number formats, by the number of the look
	cells   int
	moved   int // bytes of formulas that were worked out
}

// Namespaces of what is read; the second is that of the strict form.
var (
	mainSpaces = []string{"http://schemas.openxmlformats.org/spreadsheetml/2006/main", "http://purl.oclc.org/ooxml/spreadsheetml/main"}
	relSpaces  = []string{"http://schemas.openxmlformats.org/officeDocument/2006/relationships", "http://purl.oclc.org/ooxml/officeDocument/relationships"}
)

// walker is told of the elements of a part that are of its namespaces, each with
// the names from the outermost on, and of the text in them. text and end may be nil.
type walker struct {
	spaces []string
	start  func(at []string, e xml.StartElement) error
	text   func(at []string, text string)
	end    func(at []string) error
}

// each goes through a part. What is in an element of another namespace is not
// looked at.
func (w walker) each(content []byte) error {
	d := xml.NewDecoder(bytes.NewReader(content))
	var at []string
	for {
		token, err := d.Token()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return Damaged
		}
		switch t := token.(type) {
		case xml.StartElement:
			if !slices.Contains(w.spaces, t.Name.Space) {
				if err = d.Skip(); err != nil {
					return Damaged
				}
				continue
			}
			at = append(at, t.Name.Local)
			err = w.start(at, t)
		case xml.EndElement:
			err = w.ended(at)
			at = at[:len(at)-1]
		case xml.CharData:
			if w.text != nil && len(at) > 0 {
				w.text(at, string(t))
			}
		}
		if err != nil {
			return err
		}
	}
}

func (w walker) ended(at []string) error {
	if w.end == nil {
		return nil
	}
	return w.end(at)
}

// relations are what the workbook leads to.
func (r *cellReader) relations() error {
	r.kinds = map[string]string{}
	spaces := []string{"http://schemas.openxmlformats.org/package/2006/relationships"}
	return walker{spaces: spaces, start: func(_ []string, e xml.StartElement) error {
		if e.Name.Local != "Relationship" {
			return nil
		}
		target, id, kind := attribute(e, "Target"), attribute(e, "Id"), path.Base(attribute(e, "Type"))
		if strings.HasPrefix(target, "/") {
			target = strings.TrimPrefix(target, "/")
		} else {
			target = path.Join("xl", target)
		}
		if _, twice := r.targets[id]; twice {
			return Odd
		}
		r.targets[id] = target
		if kind != "worksheet" {
			r.kinds[kind] = target
		}
		return nil
	}}.each(r.p.Part("xl/_rels/workbook.xml.rels"))
}

// program is what the file says wrote it.
func (r *cellReader) program() error {
	spaces := []string{"http://schemas.openxmlformats.org/officeDocument/2006/extended-properties", "http://purl.oclc.org/ooxml/officeDocument/extendedProperties"}
	return walker{spaces: spaces, start: func([]string, xml.StartElement) error { return nil }, text: func(at []string, text string) {
		if at[len(at)-1] == "Application" {
			r.book.Program += text
		}
	}}.each(r.p.Part("docProps/app.xml"))
}

// workbook is the list of sheets, and of names.
func (r *cellReader) workbook() error {
	var name string
	var refers strings.Builder
	return walker{spaces: mainSpaces, start: func(at []string, e xml.StartElement) error {
		switch strings.Join(at, "/") {
		case "workbook/sheets/sheet":
			return r.listed(e)
		case "workbook/definedNames/definedName":
			name = attribute(e, "name")
			if n, err := strconv.Atoi(attribute(e, "localSheetId")); err == nil && n >= 0 && n < len(r.book.Sheets) {
				name = r.book.Sheets[n].Name + "!" + name
			}
			refers.Reset()
		}
		return nil
	}, text: func(at []string, text string) {
		if at[len(at)-1] == "definedName" {
			refers.WriteString(text)
		}
	}, end: func(at []string) error {
		if at[len(at)-1] == "definedName" {
			if _, twice := r.book.Names[name]; twice {
				return Odd
			}
			r.book.Names[name] = refers.String()
		}
		return nil
	}}.each(r.p.Part(workbookPart))
}

func (r *cellReader) listed(e xml.StartElement) error {
	s := Sheet{Name: attribute(e, "name"), Cells: map[string]Cell{}}
	state := attribute(e, "state")
	s.Hidden = state != "" && state != "visible"
	for _, a := range e.Attr {
		if a.Name.Local == "id" && slices.Contains(relSpaces, a.Name.Space) {
			s.part = r.targets[a.Value]
		}
	}
	if r.p.Part(s.part) == nil || r.book.Sheet(s.Name) != nil {
		return Odd
	}
	r.book.Sheets = append(r.book.Sheets, s)
	return nil
}

// sharedTexts are the texts that cells share.
func (r *cellReader) sharedTexts() error {
	content := r.p.Part(r.kinds["sharedStrings"])
	if content == nil {
		return nil
	}
	var b strings.Builder
	return walker{spaces: mainSpaces, start: func(at []string, e xml.StartElement) error {
		if len(at) == 2 && e.Name.Local == "si" {
			b.Reset()
		}
		return nil
	}, text: func(at []string, text string) {
		if len(at) > 2 && isRun(at[2:]) {
			b.WriteString(text)
		}
	}, end: func(at []string) error {
		if len(at) == 2 && at[1] == "si" {
			r.texts = append(r.texts, plain(b.String()))
		}
		return nil
	}}.each(content)
}

// isRun says that a text inside si or is belongs to what is shown; phonetic hints
// do not.
func isRun(inside []string) bool {
	return len(inside) == 1 && inside[0] == "t" || len(inside) == 2 && inside[0] == "r" && inside[1] == "t"
}

// escapedRune is a character as its number (22.9.2.19, ST_Xstring).
var escapedRune = regexp.MustCompile(`_x([0-9A-Fa-f]{4})_`)

// plain is text as people read it.
func plain(text string) string {
	if !strings.Contains(text, "_x") {
		return text
	}
	return escapedRune.ReplaceAllStringFunc(text, func(s string) string {
		n, _ := strconv.ParseUint(s[2:6], 16, 32) // four hex digits
		return string(rune(n))
	})
}

// builtIn are the codes of formats that a file need not name (18.8.30); others of
// them say dates and currency, which depend on the place.
var builtIn = map[string]string{"0": "General", "1": "0", "2": "0.00", "9": "0%", "10": "0.00%", "49": "@"}

// formats are the number formats of the looks.
func (r *cellReader) formats() error {
	content := r.p.Part(r.kinds["styles"])
	if content == nil {
		return nil
	}
	named := map[string]string{}
	return walker{spaces: mainSpaces, start: func(at []string, e xml.StartElement) error {
		switch strings.Join(at, "/") {
		case "styleSheet/numFmts/numFmt":
			named[attribute(e, "numFmtId")] = attribute(e, "formatCode")
		case "styleSheet/cellXfs/xf":
			id := attribute(e, "numFmtId")
			code, ok := named[id]
			if !ok {
				code, ok = builtIn[id]
			}
			if !ok {
				code = "built in, number " + id
			}
			r.codes = append(r.codes, code)
		}
		return nil
	}}.each(content)
}

func (r *cellReader) sheets() error {
	for i := range r.book.Sheets {
		s := &sheetReader{cellReader: r, sheet: &r.book.Sheets[i], shared: map[string]sharedFormula{}}
		if err := (walker{mainSpaces, s.start, s.text, s.end}).each(r.p.Part(s.sheet.part)); err != nil {
			return err
		}
	}
	return nil
}
