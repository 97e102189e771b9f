package report

import (
	"archive/zip"
	"bytes"
	"io"
	"io/fs"
	"regexp"
	"slices"
	"sort"
	"strings"

	"github.com/xuri/excelize/v2"
)

// contentTypes is the part that names the type of every other; readers that
// tell file types by their first bytes expect it first.
const contentTypes = "[Content_Types].xml"

// sharedStrings is the part that holds the texts of the cells.
const sharedStrings = "xl/sharedStrings.xml"

// partWriter stands between excelize and the zip file. It keeps the parts until
// Close, puts our own in place of some, and writes them in one order with one
// date, so that equal pages give equal bytes.
type partWriter struct {
	w     io.Writer
	parts map[string]*bytes.Buffer
	// replace holds parts of our own by name, in place of what excelize wrote.
	replace map[string][]byte
}

// zipWriter is what excelize's SetZipWriter asks for.
func zipWriter(replace map[string][]byte) func(io.Writer) excelize.ZipWriter {
	return func(w io.Writer) excelize.ZipWriter {
		return &partWriter{w: w, parts: map[string]*bytes.Buffer{}, replace: replace}
	}
}

// Create begins a part.
func (p *partWriter) Create(name string) (io.Writer, error) {
	part := new(bytes.Buffer)
	p.parts[name] = part
	return part, nil
}

// AddFS is not used by excelize's writer.
func (p *partWriter) AddFS(fs.FS) error { return fs.ErrInvalid }

// Close writes all parts.
func (p *partWriter) Close() error {
	zw := zip.NewWriter(p.w)
	for _, name := range p.order() {
		part, err := zw.Create(name)
		if err != nil {
			return err
		}
		if _, err := part.Write(p.content(name)); err != nil {
			return err
		}
	}
	return zw.Close()
}

// order is the content types, the relationships of the package, the rest by name.
func (p *partWriter) order() []string {
	names := make([]string, 0, len(p.parts))
	for name := range p.parts {
		names = append(names, name)
	}
	rank := func(name string) int {
		return slices.Index([]string{"_rels/.rels", contentTypes}, name)
	}
	sort.Slice(names, func(i, j int) bool {
		if a, b := rank(names[i]), rank(names[j]); a != b {
			return a > b
		}
		return names[i] < names[j]
	})
	return names
}

// content is what stands in the file for a part.
func (p *partWriter) content(name string) []byte {
	if own, ok := p.replace[name]; ok {
		return own
	}
	content := p.parts[name].Bytes()
	switch name {
	case contentTypes:
		return sortedTypes(content)
	case sharedStrings:
		return bytes.ReplaceAll(content, []byte(string(escapedLine)), []byte("_x005F_"))
	}
	if strings.HasPrefix(name, sheetParts) {
		// excelize leaves out a stored value that is empty text.
		return bytes.ReplaceAll(content, []byte("</f></c>"), []byte("</f><v></v></c>"))
	}
	return content
}

// sheetParts is where the parts of the sheets stand.
const sheetParts = "xl/worksheets/"

var defaultType = regexp.MustCompile(`<Default [^>]*>(</Default>)?`)

// sortedTypes puts the Default elements in order: excelize takes them from a
// map, so their order is otherwise another in every run.
func sortedTypes(content []byte) []byte {
	found := defaultType.FindAllString(string(content), -1)
	sort.Strings(found)
	rest := defaultType.ReplaceAllString(string(content), "")
	head := strings.Index(rest, "<Override")
	if head < 0 {
		return content
	}
	return []byte(rest[:head] + strings.Join(found, "") + rest[head:])
}
