package ooxml

import (
	"archive/zip"
	"bytes"
	"io"
	"path"
	"strings"
	"unicode"

	"github.com/xuri/excelize/v2"
)

// Limits bound a workbook from a stranger that is read at all. What a file unfolds
// to in memory is many times what its parts are.
type Limits struct {
	// Bytes is how large the file may be, Unpacked all of its parts, and Part one
	// part of XML.
	Bytes, Unpacked, Part int64
	// Parts is how many there may be, and Depth how deep their XML.
	Parts, Depth int
	// Sheets is how many there may be, Rows and Columns how large each, and Cells
	// what a sheet has once the gaps in its rows are filled, and what a Book has in
	// all.
	Sheets, Rows, Columns, Cells int
}

// Refusal is why a file is not read as a workbook.
type Refusal string

// Error says what was expected.
func (r Refusal) Error() string { return "expected " + string(r) }

// What a file may be instead of a workbook that can be read.
const (
	NoWorkbook Refusal = "a workbook (.xlsx)"
	OldFormat  Refusal = "a workbook without a password, in the format .xlsx"
	Damaged    Refusal = "a workbook that is whole"
	Macros     Refusal = "a workbook without macros"
	Links      Refusal = "a workbook without links to other files or to data"
	Objects    Refusal = "a workbook without objects or controls in it"
	Odd        Refusal = "a workbook as spreadsheet programs write them; the parts of this one are odd"
	TooLong    Refusal = "a smaller file"
	TooLarge   Refusal = "a workbook that is smaller inside"
)

// Package is a workbook's file that was looked through.
type Package struct {
	// Parts are the parts in the order of the file.
	Parts  []Part
	data   []byte
	limits Limits
	book   *Book // once it was read
}

// Part is a part of a workbook's file.
type Part struct {
	// Name is its path inside, and Content what it holds.
	Name    string
	Content []byte
}

// Read looks through all of a file before anything else reads it. A file that is
// not to be trusted is a Refusal; any other error is the reader's own.
func Read(r io.ReaderAt, size int64, l Limits) (*Package, error) {
	if size > l.Bytes {
		return nil, TooLong
	}
	data := make([]byte, max(size, 0))
	if n, err := r.ReadAt(data, 0); err != nil && (err != io.EOF || n < len(data)) {
		return nil, err
	}
	switch {
	case bytes.HasPrefix(data, []byte("\xd0\xcf\x11\xe0")):
		return nil, OldFormat
	case !bytes.HasPrefix(data, []byte("PK")):
		return nil, NoWorkbook
	}
	z, err := zip.NewReader(bytes.NewReader(data), size)
	if err != nil {
		return nil, Damaged
	}
	p := &Package{data: data, limits: l}
	if err := p.look(z); err != nil {
		return nil, err
	}
	return p, nil
}

// Workbook gives the file to the library. It must be closed.
func (p *Package) Workbook() (*excelize.File, error) {
	f, err := excelize.OpenReader(bytes.NewReader(p.data), excelize.Options{
		RawCellValue: true, UnzipSizeLimit: p.limits.Unpacked, UnzipXMLSizeLimit: p.limits.Unpacked, // never to a file
	})
	if err != nil {
		return nil, Damaged
	}
	return f, nil
}

// Part is what a part of that name holds; nil where there is none.
func (p *Package) Part(name string) []byte {
	for i := range p.Parts {
		if strings.EqualFold(p.Parts[i].Name, name) {
			return p.Parts[i].Content
		}
	}
	return nil
}

// Guarded runs what reads a stranger's file: a panic in a library is an error of
// the file, Damaged.
func Guarded(read func() error) (err error) {
	defer func() {
		if recover() != nil {
			err = Damaged
		}
	}()
	return read()
}

// forbidden are beginnings of parts' names, and of the last words of
// relationships' types, in small letters.
var forbidden = []struct {
	part, kind string
	why        Refusal
}{
	{"xl/vbaproject", "vbaproject", Macros},
	{"xl/vbadata", "wordvbadata", Macros},
	{"xl/macrosheets/", "xlmacrosheet", Macros},
	{"xl/macrosheets/", "xlintlmacrosheet", Macros},
	{"xl/dialogsheets/", "dialogsheet", Macros},
	{"customui/", "extensibility", Macros},
	{"usercustomization/", "usercustomization", Macros},
	{"xl/externallinks/", "externallink", Links},
	{"xl/connections", "connections", Links},
	{"xl/querytables/", "querytable", Links},
	{"xl/webextensions/", "webextension", Links},
	{"xl/model/", "powerpivotdata", Links},
	{"xl/embeddings/", "oleobject", Objects},
	{"xl/embeddings/", "package", Objects},
	{"xl/activex/", "activexcontrol", Objects},
	{"xl/ctrlprops/", "ctrlprop", Objects},
}

// look goes through each part: its name, its size and, where it is XML, what is
// in it.
func (p *Package) look(z *zip.Reader) error {
	if len(z.File) > p.limits.Parts {
		return TooLarge
	}
	left := p.limits.Unpacked
	seen := map[string]bool{}
	for _, part := range z.File {
		name := strings.ToLower(part.Name)
		if oddName(part.Name) || seen[name] || part.Flags&1 != 0 { // 1 is encrypted
			return Odd
		}
		seen[name] = true
		for _, f := range forbidden {
			if strings.HasPrefix(name, f.part) {
				return f.why
			}
		}
		content, err := p.unpacked(part, left)
		if err != nil {
			return err
		}
		p.Parts = append(p.Parts, Part{part.Name, content})
		left -= int64(len(content))
	}
	if !seen["[content_types].xml"] || !seen[workbookPart] {
		return NoWorkbook
	}
	return nil
}

// workbookPart is where programs write the list of sheets.
const workbookPart = "xl/workbook.xml"

// oddName says that a part's name leads elsewhere, or is none that a spreadsheet
// program would give.
func oddName(name string) bool {
	return name == "" || len(name) > 200 || strings.ContainsAny(name, "\\:\x00") || path.IsAbs(name) ||
		strings.TrimSuffix(path.Clean(name), "/") != strings.TrimSuffix(name, "/") || strings.HasPrefix(name, "../") || name == ".." ||
		strings.IndexFunc(name, func(r rune) bool { return !unicode.IsPrint(r) }) >= 0
}

// unpacked reads a part to its end, no further than left.
func (p *Package) unpacked(part *zip.File, left int64) ([]byte, error) {
	xmlPart := isXML(part.Name)
	if xmlPart {
		left = min(left, p.limits.Part)
	}
	if part.UncompressedSize64 > uint64(left) {
		return nil, TooLarge
	}
	in, err := part.Open()
	if err != nil {
		return nil, Damaged
	}
	defer in.Close()
	content, err := io.ReadAll(io.LimitReader(in, left+1))
	switch {
	case int64(len(content)) > left:
		return nil, TooLarge
	case err != nil:
		return nil, Damaged
	case xmlPart:
		err = p.limits.checkXML(strings.ToLower(part.Name), content)
	}
	return content, err
}

func isXML(name string) bool {
	name = strings.ToLower(name)
	return strings.HasSuffix(name, ".xml") || strings.HasSuffix(name, ".rels")
}
