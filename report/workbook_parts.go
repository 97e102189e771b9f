package report

import (
	"bytes"
	"io"
	"strings"

	"github.com/xuri/excelize/v2"

	"leakback/leakback/ooxml"
)

// sheetParts is where the parts of the sheets stand.
const sheetParts = "xl/worksheets/"

// zipWriter is what excelize's SetZipWriter asks for, with parts of our own in the
// place of those that excelize wrote.
func zipWriter(replace map[string][]byte) func(io.Writer) excelize.ZipWriter {
	return func(w io.Writer) excelize.ZipWriter { return ooxml.NewParts(w, partsOf(replace)) }
}

// partsOf is what stands in the file for a part.
func partsOf(replace map[string][]byte) func(name string, part []byte) []byte {
	return func(name string, part []byte) []byte {
		if own, ok := replace[name]; ok {
			return own
		}
		if strings.HasPrefix(name, sheetParts) {
			// excelize leaves out a stored value that is empty text.
			return bytes.ReplaceAll(part, []byte("</f></c>"), []byte("</f><v></v></c>"))
		}
		return part
	}
}
