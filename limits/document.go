package limits

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"

	"leakback/limits/quantity"
)

// document is a TOML file as values and, by their paths ("limit[1].source"),
// where they stand. The library's decoder gives the values and its parser the
// places, so that a fault of meaning has a line and a column as a fault of
// form has. Faults are collected here.
type document struct {
	file   string
	data   []byte
	lines  []int // offsets at which lines start
	values map[string]any
	places map[string]place
	faults []Fault
}

// place is where a key, a header or an element of an array stands in the file,
// and its value as written where that is a single one.
type place struct {
	offset int
	raw    string
}

// readDocument reads TOML; the error is a *FaultError where it is not that.
func readDocument(data []byte, file string) (*document, error) {
	data, err := plainText(data)
	if err != nil {
		return nil, faultError([]Fault{{Path: file, Text: err.Error()}})
	}
	d := &document{file: file, data: data, lines: lineStarts(data), places: map[string]place{}}
	l := locator{document: d, tables: map[string]int{}}
	l.parser.Reset(data)
	l.locate()
	if err := toml.Unmarshal(data, &d.values); err != nil {
		return nil, faultError([]Fault{d.formFault(err)})
	}
	return d, nil
}

// mostBytes and mostKeys are how long a sheet may be; written by hand, it is a
// few thousand bytes. The decoder's time goes with the square of the keys, and of
// the tables.
const (
	mostBytes = 1 << 20
	mostKeys  = 10_000
)

// plainText refuses what is not UTF-8 text of a sensible length and takes the
// byte order mark off.
func plainText(data []byte) ([]byte, error) {
	switch {
	case len(data) > mostBytes:
		return nil, errors.New("longer than 1 MiB: expected a limits sheet")
	case bytes.HasPrefix(data, []byte{0xff, 0xfe}), bytes.HasPrefix(data, []byte{0xfe, 0xff}):
		return nil, errors.New("text in UTF-16: expected UTF-8, save it so")
	case bytes.IndexByte(data, 0) >= 0:
		return nil, errors.New("not a text file: expected a limits sheet in TOML, saved as UTF-8")
	case bytes.Count(data, []byte("="))-bytes.Count(data, []byte("==")) > mostKeys:
		return nil, errors.New("too many keys: expected a limits sheet")
	case bytes.Count(data, []byte("[")) > mostKeys:
		return nil, errors.New("too many tables and lists: expected a limits sheet")
	}
	return bytes.TrimPrefix(data, []byte("\ufeff")), nil
}

// plainer says in the shop's words what the library says in TOML's, by how
// the library's text begins.
var plainer = []struct{ begins, text string }{
	{"expected newline", "expected the line to end here: " + howValuesLook},
	{"unexpected character", "expected a value here: " + howValuesLook},
	{"strings must be quoted", "expected the number to end here: " + howValuesLook},
	{"unable to parse float", "number too large: expected one that fits a figure of this sheet"},
	{"decimal number is too large", "number too large: expected one that fits a figure of this sheet"},
}

const howValuesLook = "a number has a decimal point and no unit, text stands in quotes, a list in brackets"

// formFault says where a file is not TOML.
func (d *document) formFault(err error) Fault {
	f := Fault{Path: d.file, Text: strings.TrimPrefix(err.Error(), "toml: ")}
	for _, p := range plainer {
		if strings.HasPrefix(f.Text, p.begins) {
			f.Text = p.text
		}
	}
	f.Text = oneLine(f.Text)
	var at *toml.DecodeError
	if errors.As(err, &at) {
		line, column := at.Position() // in bytes
		f.Line, f.Column = d.position(d.lines[line-1] + column - 1)
	}
	return f
}

// oneLine is a message in which a key of the file may stand, on one line.
func oneLine(text string) string {
	if quantity.Printable(text) {
		return text
	}
	text = strconv.Quote(text)
	return strings.ReplaceAll(text[1:len(text)-1], `\"`, `"`)
}

func lineStarts(data []byte) []int {
	starts := []int{0}
	for i, c := range data {
		if c == '\n' {
			starts = append(starts, i+1)
		}
	}
	return starts
}

// position is the line and the column, in characters, of an offset.
func (d *document) position(offset int) (line, column int) {
	line = d.line(offset)
	return line + 1, utf8.RuneCount(d.data[d.lines[line]:offset]) + 1
}

// line is the index of the line that holds the offset.
func (d *document) line(offset int) int {
	i, found := slices.BinarySearch(d.lines, offset)
	if !found {
		i--
	}
	return i
}

// locator walks the file and notes the places.
type locator struct {
	*document
	parser unstable.Parser
	tables map[string]int // number of [[tables]] so far, by path
}

// locate notes the places up to the first error of form, which it leaves to
// the decoder.
func (l *locator) locate() {
	within := ""
	for l.parser.NextExpression() {
		e := l.parser.Expression()
		switch e.Kind {
		case unstable.Table, unstable.ArrayTable:
			within = l.header(e)
		case unstable.KeyValue:
			l.keyValue(within, e, 0)
		}
	}
}

// header notes the place of a table's header and gives the table's path.
func (l *locator) header(e *unstable.Node) string {
	path, depth := "", 0
	for it := e.Key(); it.Next() && depth < deepest; depth++ {
		path = join(path, string(it.Node().Data))
		start := int(it.Node().Raw.Offset)
		if it.IsLast() && e.Kind == unstable.ArrayTable {
			l.tables[path]++
		}
		if n := l.tables[path]; n > 0 {
			path = fmt.Sprintf("%s[%d]", path, n-1)
		}
		if it.IsLast() {
			l.note(path, l.bracket(start, e.Kind), "")
		}
	}
	return path
}

// bracket is the offset of the bracket that opens the header whose last key
// part starts at offset.
func (l *locator) bracket(offset int, kind unstable.Kind) int {
	line := l.lines[l.line(offset)]
	open := line + bytes.IndexByte(l.data[line:offset], '[')
	if open < line { // a quoted key of many lines cannot be; stay on the key
		return offset
	}
	return open
}

// deepest is how many levels of tables are located; a sheet has two.
const deepest = 4

func (l *locator) keyValue(within string, e *unstable.Node, depth int) {
	path, start := within, -1
	for it := e.Key(); it.Next() && depth < deepest; depth++ {
		if start < 0 {
			start = int(it.Node().Raw.Offset)
		}
		path = join(path, string(it.Node().Data))
		l.note(path, start, l.raw(e.Value()))
	}
	l.value(path, e.Value(), depth)
}

// value notes what stands inside an array or an inline table.
func (l *locator) value(path string, v *unstable.Node, depth int) {
	if depth >= deepest {
		return
	}
	switch v.Kind {
	case unstable.InlineTable:
		for it := v.Children(); it.Next(); {
			l.keyValue(path, it.Node(), depth)
		}
	case unstable.Array:
		i := 0
		for it := v.Children(); it.Next(); i++ {
			element := fmt.Sprintf("%s[%d]", path, i)
			if it.Node().Kind != unstable.Array { // arrays do not know where they start
				l.note(element, int(it.Node().Raw.Offset), l.raw(it.Node()))
			}
			l.value(element, it.Node(), depth+1)
		}
	}
}

// raw is a single value as written; "" for an array or a table.
func (l *locator) raw(v *unstable.Node) string {
	if v.Kind == unstable.Array || v.Kind == unstable.InlineTable {
		return ""
	}
	return string(l.parser.Raw(v.Raw))
}

// note keeps the first place of a path: a dotted key may come back to it.
func (l *locator) note(path string, offset int, raw string) {
	if _, known := l.places[path]; known {
		return
	}
	l.places[path] = place{offset, raw}
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}
