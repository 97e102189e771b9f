package form

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"path"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"github.com/xuri/excelize/v2"

	"leakback/leakback/entry"
	"leakback/limits/quantity"
)

// Bounds of a file that is read at all. A filled form has 15 parts, 25 KiB, and
// 150 KiB when unpacked; there is room for a photo or two.
const (
	// MostBytes is how large a form's file may be.
	MostBytes    = 4 << 20
	mostUnpacked = 8 << 20
	mostPart     = 2 << 20 // of XML: what it unfolds to in memory is many times that
	mostParts    = 200
	mostDepth    = 64
	mostRow      = 2000
	mostColumn   = 400
	mostSheets   = 20
	// mostCells bounds what the library fills up between the cells of a sheet.
	mostCells = 400_000
)

// refusal is what was expected of a file that is not read as a form.
type refusal string

func (r refusal) Error() string { return "expected " + string(r) }

const (
	errNoWorkbook refusal = "an entry form, which is a workbook (.xlsx); write a blank one with leakback form --output blank.xlsx"
	errOldFormat  refusal = "a workbook without a password, in the format .xlsx: open it and save it so"
	errDamaged    refusal = "a workbook that is whole; this one is damaged: open it in a spreadsheet program, save it and try again"
	errMacros     refusal = "a workbook without macros; an entry form has none, so do not open this one: ask for the readings on a blank form"
	errLinks      refusal = "a workbook without links to other files or to data; an entry form has none: ask for the readings on a blank form"
	errObjects    refusal = "a workbook without objects or controls in it; an entry form has none: copy the readings into a blank form"
	errOdd        refusal = "a workbook as spreadsheet programs write them; the parts of this one are odd: do not trust it, " +
		"ask for the readings on a blank form"
	errTooLarge refusal = "an entry form, which is small; this workbook is far larger inside: copy the readings into a blank form"
)

var errTooLong = refusal(fmt.Sprintf("at most %d MiB; an entry form is far smaller: "+
	"take out pictures, or copy the readings into a blank form", MostBytes>>20))

// forbidden are beginnings of parts' names, and of the last words of
// relationships' types, in small letters.
var forbidden = []struct {
	part, kind string
	why        refusal
}{
	{"xl/vbaproject", "vbaproject", errMacros},
	{"xl/vbadata", "wordvbadata", errMacros},
	{"xl/macrosheets/", "xlmacrosheet", errMacros},
	{"xl/macrosheets/", "xlintlmacrosheet", errMacros},
	{"xl/dialogsheets/", "dialogsheet", errMacros},
	{"customui/", "extensibility", errMacros},
	{"usercustomization/", "usercustomization", errMacros},
	{"xl/externallinks/", "externallink", errLinks},
	{"xl/connections", "connections", errLinks},
	{"xl/querytables/", "querytable", errLinks},
	{"xl/webextensions/", "webextension", errLinks},
	{"xl/model/", "powerpivotdata", errLinks},
	{"xl/embeddings/", "oleobject", errObjects},
	{"xl/embeddings/", "package", errObjects},
	{"xl/activex/", "activexcontrol", errObjects},
	{"xl/ctrlprops/", "ctrlprop", errObjects},
}

// unpacked looks through a workbook before anything else reads it, and gives it
// to the library with nothing but what was looked through.
func unpacked(r io.ReaderAt, size int64) (*excelize.File, error) {
	if size > MostBytes {
		return nil, errTooLong
	}
	data := make([]byte, max(size, 0))
	if n, err := r.ReadAt(data, 0); err != nil && (err != io.EOF || n < len(data)) {
		return nil, err
	}
	switch {
	case bytes.HasPrefix(data, []byte("\xd0\xcf\x11\xe0")):
		return nil, errOldFormat
	case !bytes.HasPrefix(data, []byte("PK")):
		return nil, errNoWorkbook
	}
	z, err := zip.NewReader(bytes.NewReader(data), size)
	if err != nil {
		return nil, errDamaged
	}
	if err := checkParts(z); err != nil {
		return nil, err
	}
	f, err := excelize.OpenReader(bytes.NewReader(data), excelize.Options{
		RawCellValue: true, UnzipSizeLimit: mostUnpacked, UnzipXMLSizeLimit: mostUnpacked, // never to a file
	})
	if err != nil {
		return nil, errDamaged
	}
	return f, nil
}

// checkParts looks at each part: its name, its size and, where it is XML, what
// is in it.
func checkParts(z *zip.Reader) error {
	if len(z.File) > mostParts {
		return errTooLarge
	}
	var all int64
	seen := map[string]bool{}
	for _, part := range z.File {
		name := strings.ToLower(part.Name)
		if oddName(part.Name) || seen[name] || part.Flags&1 != 0 { // 1 is encrypted
			return errOdd
		}
		seen[name] = true
		for _, f := range forbidden {
			if strings.HasPrefix(name, f.part) {
				return f.why
			}
		}
		read, err := checkPart(part, mostUnpacked-all)
		if err != nil {
			return err
		}
		all += read
	}
	if !seen["[content_types].xml"] || !seen["xl/workbook.xml"] {
		return errNoWorkbook
	}
	return nil
}

// oddName says that a part's name leads elsewhere, or is none that a spreadsheet
// program would give.
func oddName(name string) bool {
	return name == "" || len(name) > 200 || strings.ContainsAny(name, "\\:\x00") || path.IsAbs(name) ||
		strings.TrimSuffix(path.Clean(name), "/") != strings.TrimSuffix(name, "/") || strings.HasPrefix(name, "../") || name == ".." ||
		strings.IndexFunc(name, func(r rune) bool { return !unicode.IsPrint(r) }) >= 0
}

// checkPart reads a part to its end, no further than left, and gives its length.
func checkPart(part *zip.File, left int64) (int64, error) {
	xmlPart := isXML(part.Name)
	if xmlPart {
		left = min(left, mostPart)
	}
	if part.UncompressedSize64 > uint64(left) {
		return 0, errTooLarge
	}
	in, err := part.Open()
	if err != nil {
		return 0, errDamaged
	}
	defer in.Close()
	content, err := io.ReadAll(io.LimitReader(in, left+1))
	switch {
	case int64(len(content)) > left:
		return 0, errTooLarge
	case err != nil:
		return 0, errDamaged
	case xmlPart:
		err = checkXML(strings.ToLower(part.Name), content)
	}
	return int64(len(content)), err
}

func isXML(name string) bool {
	name = strings.ToLower(name)
	return strings.HasSuffix(name, ".xml") || strings.HasSuffix(name, ".rels")
}

// checkXML reads a part once, piece by piece: it must be whole, shallow, without
// a document type, and what it says must be harmless.
func checkXML(name string, content []byte) error {
	d := xml.NewDecoder(bytes.NewReader(content))
	w := &walk{name: name}
	for {
		token, err := d.RawToken()
		if err == io.EOF {
			return w.ended()
		}
		if err != nil {
			return errDamaged
		}
		switch t := token.(type) {
		case xml.StartElement:
			err = w.start(t)
		case xml.EndElement:
			w.depth--
		case xml.Directive:
			err = errOdd
		}
		if err != nil {
			return err
		}
	}
}

// walk is a part that is being looked through.
type walk struct {
	name string
	// root is the part's outermost element.
	root  string
	depth int
	// row and column are those of the last cell of a sheet, widest is the last
	// column of its row, cells and sheets what was counted.
	row, widest   int
	cells, sheets int
}

func (w *walk) start(e xml.StartElement) error {
	if w.depth++; w.depth > mostDepth {
		return errOdd
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
		if w.sheets++; w.sheets > mostSheets {
			return errTooLarge
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
		return errDamaged
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
			return errLinks
		}
		return nil
	}
	// What the library reads as XML must have been looked through as XML.
	read := []string{"officedocument", "worksheet", "sharedstrings", "styles", "theme", "calcchain"}
	if slices.Contains(read, kind) && !isXML(attribute(e, "Target")) {
		return errOdd
	}
	return nil
}

// checkType refuses the types of workbooks that may hold macros.
func checkType(e xml.StartElement) error {
	kind := strings.ToLower(attribute(e, "ContentType"))
	switch {
	case strings.Contains(kind, "macroenabled"), strings.Contains(kind, "vbaproject"):
		return errMacros
	case strings.Contains(kind, "binary.macro"), strings.Contains(kind, "sheet.binary"):
		return errOldFormat
	}
	return nil
}

// newRow keeps rows, which the library fills up from the first to the last, in
// bounds.
func (w *walk) newRow(e xml.StartElement) error {
	w.row++
	if text := attribute(e, "r"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < w.row {
			return errOdd
		}
		w.row = n
	}
	w.widest = 0
	if w.row > mostRow {
		return errTooLarge
	}
	return nil
}

// newCell does so with cells, which must stand in their order.
func (w *walk) newCell(e xml.StartElement) error {
	before := w.widest
	w.widest++
	if name := attribute(e, "r"); name != "" {
		column, row, err := excelize.CellNameToCoordinates(name)
		if err != nil || row != w.row || column < w.widest {
			return errOdd
		}
		w.widest = column
	}
	w.cells += w.widest - before
	if w.widest > mostColumn || w.cells > mostCells {
		return errTooLarge
	}
	return nil
}

// guarded runs what reads a stranger's file: a panic in the library is an error
// of the file.
func guarded(read func() error) (err error) {
	defer func() {
		if recover() != nil {
			err = errDamaged
		}
	}()
	return read()
}

// asFault is an error of the whole file as a fault of it, and any other as it is.
func asFault(name string, err error) error {
	var why refusal
	if !errors.As(err, &why) {
		return fmt.Errorf("%s: %w", quoted(name), err)
	}
	return faults{{File: name, Expected: string(why)}}.err()
}

// quoted is a file's name, quoted where it would break the line.
func quoted(name string) string {
	if entry.Printable(name) {
		return name
	}
	return quantity.Quote(name)
}
