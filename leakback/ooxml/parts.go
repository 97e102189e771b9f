// Package ooxml makes what excelize writes the same in every run, and keeps text
// in a spreadsheet's file what it is. It looks through workbooks of strangers before
// anything reads them, reads their cells as the standard has them, and compares two
// workbooks. It knows nothing of what stands in them.
package ooxml

import (
	"archive/zip"
	"bytes"
	"cmp"
	"io"
	"io/fs"
	"maps"
	"regexp"
	"slices"
	"strings"

	"github.com/xuri/excelize/v2"
)

// contentTypes is the part that names the type of every other; programs that
// tell a file by its first bytes look for it at the front.
const contentTypes = "[Content_Types].xml"

// sharedStrings is the part that holds the texts of the cells.
const sharedStrings = "xl/sharedStrings.xml"

// Steady is for excelize's SetZipWriter: equal workbooks give equal bytes.
func Steady(w io.Writer) excelize.ZipWriter { return NewParts(w, nil) }

// Parts keeps the parts of a workbook until it is closed, and then writes them in
// one order, all with the same date. It is an excelize.ZipWriter.
type Parts struct {
	w     io.Writer
	parts map[string]*bytes.Buffer
	own   func(name string, part []byte) []byte
}

// NewParts writes to w. own, which may be nil, gives what stands in the file for a
// part.
func NewParts(w io.Writer, own func(name string, part []byte) []byte) *Parts {
	return &Parts{w: w, parts: map[string]*bytes.Buffer{}, own: own}
}

// Create begins a part.
func (p *Parts) Create(name string) (io.Writer, error) { return p.Begin(name), nil }

// Begin begins a part.
func (p *Parts) Begin(name string) *bytes.Buffer {
	p.parts[name] = new(bytes.Buffer)
	return p.parts[name]
}

// AddFS is never called by excelize's writer.
func (p *Parts) AddFS(fs.FS) error { return fs.ErrInvalid }

// Close writes the file.
func (p *Parts) Close() error {
	z := zip.NewWriter(p.w)
	for _, name := range p.Names() {
		part, err := z.Create(name)
		if err != nil {
			return err
		}
		if _, err := part.Write(p.Content(name)); err != nil {
			return err
		}
	}
	return z.Close()
}

// Names are the parts' names in the order of the file.
func (p *Parts) Names() []string { return slices.SortedFunc(maps.Keys(p.parts), inFile) }

// Content is what stands in the file for a part.
func (p *Parts) Content(name string) []byte {
	part := settled(name, p.parts[name].Bytes())
	if p.own != nil {
		return p.own(name, part)
	}
	return part
}

// inFile is the order of parts: the types, what the package leads to, the rest
// by name.
func inFile(a, b string) int {
	rank := func(name string) int {
		switch name {
		case contentTypes:
			return 0
		case "_rels/.rels":
			return 1
		}
		return 2
	}
	return cmp.Or(cmp.Compare(rank(a), rank(b)), strings.Compare(a, b))
}

// settled is a part without what differs from run to run, its texts escaped.
func settled(name string, part []byte) []byte {
	switch name {
	case contentTypes:
		return defaultsInOrder(part)
	case sharedStrings:
		return Escaped(part)
	}
	return part
}

var defaultType = regexp.MustCompile(`<Default [^>]*>(?:</Default>)?`)

// defaultsInOrder sorts the default types, which excelize keeps in a map.
func defaultsInOrder(part []byte) []byte {
	all := defaultType.FindAll(part, -1)
	slices.SortFunc(all, bytes.Compare)
	next := 0
	return defaultType.ReplaceAllFunc(part, func([]byte) []byte {
		next++
		return all[next-1]
	})
}
