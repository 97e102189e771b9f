package report

import (
	"archive/zip"
	"bufio"
	"bytes"
	"compress/flate"
	"errors"
	"io"

	"github.com/xuri/excelize/v2"

	"leakback/leakback/ooxml"
)

// historyParts writes the zip file of a history straight to its destination:
// excelize would build it in memory. A sheet stays in excelize's temporary file
// until its turn comes, because excelize hands sheets over in any order.
type historyParts struct {
	to io.Writer
	*ooxml.Parts
	replace map[string][]byte
	sheets  map[string]*sheetPart
	marked  bool // there are marked underscores in the sheets
}

// zipWriter is what excelize's SetZipWriter asks for. excelize's own buffer
// stays empty.
func (h *historyParts) zipWriter(io.Writer) excelize.ZipWriter {
	h.Parts = ooxml.NewParts(h.to, partsOf(h.replace))
	h.sheets = map[string]*sheetPart{}
	return h
}

// Create begins a part.
func (h *historyParts) Create(name string) (io.Writer, error) {
	part := &sheetPart{Buffer: h.Begin(name)}
	h.sheets[name] = part
	return part, nil
}

// Close writes all parts in their order, the sheets from where they are kept.
// They are large and much alike: the fastest packing makes them small enough.
func (h *historyParts) Close() error {
	zw := zip.NewWriter(h.to)
	zw.RegisterCompressor(zip.Deflate, func(w io.Writer) (io.WriteCloser, error) {
		return flate.NewWriter(w, flate.BestSpeed)
	})
	for _, name := range h.Names() {
		part, err := zw.Create(name)
		if err != nil {
			return err
		}
		if err := h.copy(part, name); err != nil {
			return err
		}
	}
	return zw.Close()
}

func (h *historyParts) copy(to io.Writer, name string) error {
	from := h.sheets[name].kept
	if from == nil {
		from = bytes.NewReader(h.Content(name))
	}
	if h.marked {
		return escapeLines(to, from)
	}
	_, err := io.Copy(to, from)
	return err
}

// sheetPart is a part that remembers where it is to be copied from.
type sheetPart struct {
	*bytes.Buffer
	kept io.Reader
}

// ReadFrom is how io.Copy hands over a sheet that excelize keeps in a file; a
// small one it keeps in memory and writes.
func (p *sheetPart) ReadFrom(r io.Reader) (int64, error) {
	p.kept = r
	return 0, nil
}

// escapeLines copies a sheet, and puts what the file format asks for in the
// place of an underscore that was marked.
func escapeLines(w io.Writer, r io.Reader) error {
	in, marked := bufio.NewReaderSize(r, 1<<20), []byte(string(ooxml.Underscore))
	for {
		text, err := in.ReadSlice('>')
		if bytes.Contains(text, marked) {
			text = ooxml.Escaped(text)
		}
		if _, err := w.Write(text); err != nil {
			return err
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
	}
}
