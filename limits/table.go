package limits

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"unicode"

	"leakback/limits/quantity"
)

// table reads the keys of one table of a sheet. What is wrong becomes a fault
// of the document; the reader then gets what it gets for a key that is absent.
type table struct {
	doc    *document
	path   string // "" for the file itself
	title  string // as people write it: [set], [[limit]]; "" for the file itself
	prefix string // in front of its keys in faults, where the key alone says too little
	values map[string]any
	faulty map[string]bool
}

func (d *document) root() *table { return d.newTable("", "", d.values) }

func (d *document) newTable(path, title string, values map[string]any) *table {
	return &table{doc: d, path: path, title: title, values: values, faulty: map[string]bool{}}
}

// table is the table below a key; nil where it is absent or something else.
func (t *table) table(key string) *table {
	v, ok := t.values[key]
	if !ok {
		return nil
	}
	title := "[" + key + "]"
	values, ok := v.(map[string]any)
	if !ok {
		t.fault(key, "expected one table, %s", title)
		return nil
	}
	return t.doc.newTable(join(t.path, key), title, values)
}

// tables are the tables of an array of tables, in the order of the file.
func (t *table) tables(key string) []*table {
	v, ok := t.values[key]
	if !ok {
		return nil
	}
	title := "[[" + key + "]]"
	list, ok := v.([]any)
	if !ok {
		t.fault(key, "expected the header in double brackets, %s", title)
		return nil
	}
	var all []*table
	for i, v := range list {
		path := fmt.Sprintf("%s[%d]", join(t.path, key), i)
		values, ok := v.(map[string]any)
		if !ok {
			t.fault(key, "expected tables, each under a header %s", title)
			return nil
		}
		all = append(all, t.doc.newTable(path, title, values))
	}
	return all
}

// line is the line of the table's header.
func (t *table) line() int {
	line, _ := t.doc.position(t.doc.places[t.path].offset)
	return line
}

// has says whether a key is there, sound or not.
func (t *table) has(key string) bool {
	_, ok := t.values[key]
	return ok
}

// sound says that none of the keys has a fault, so that they can be compared.
func (t *table) sound(keys ...string) bool {
	return !slices.ContainsFunc(keys, func(key string) bool { return t.faulty[key] })
}

// fault notes what is wrong with a key's value.
func (t *table) fault(key, format string, args ...any) {
	t.faultAt(join(t.path, key), key, format, args...)
}

// faultAt notes what is wrong at a path that need not be the key's own.
func (t *table) faultAt(path, key, format string, args ...any) {
	t.faulty[key] = true
	t.doc.add(t.prefix+printable(key), fmt.Sprintf(format, args...),
		path, path+"[0]", join(t.path, key), t.path)
}

// add notes a fault at the first of the paths that has a place.
func (d *document) add(key, text string, paths ...string) {
	f := Fault{Path: d.file, Line: 1, Column: 1, Key: key, Text: text}
	for _, path := range paths {
		if at, ok := d.places[path]; ok {
			f.Line, f.Column = d.position(at.offset)
			break
		}
	}
	d.faults = append(d.faults, f)
}

// faultWhole notes what is wrong with the table as a whole.
func (t *table) faultWhole(format string, args ...any) {
	t.doc.add(t.title, fmt.Sprintf(format, args...), t.path)
}

// only refuses all keys but those.
func (t *table) only(known ...string) {
	for _, key := range t.keys() {
		if !slices.Contains(known, key) {
			t.fault(key, "unknown key: %s takes %s",
				cmp.Or(t.title, "a sheet"), strings.Join(known, ", "))
		}
	}
}

// keys lists the table's keys in the order of the file.
func (t *table) keys() []string {
	offset := func(key string) int { return t.doc.places[join(t.path, key)].offset }
	return slices.SortedFunc(maps.Keys(t.values), func(a, b string) int {
		return cmp.Or(cmp.Compare(offset(a), offset(b)), strings.Compare(a, b))
	})
}

// text reads a line of text without the spaces around it; "" where the key is
// absent.
func (t *table) text(key string) string {
	v, ok := t.values[key]
	if !ok {
		return ""
	}
	s, ok := v.(string)
	s = strings.TrimSpace(s)
	switch {
	case !ok:
		t.fault(key, "%s: expected text in quotes", t.shown(key))
		return ""
	case strings.ContainsFunc(s, unicode.IsControl):
		t.fault(key, "%s: expected one line of text", quantity.Quote(s))
		return ""
	}
	return s
}

// required reads a line of text that must be there and say something.
func (t *table) required(key, expected string) string {
	s := t.text(key)
	switch {
	case !t.has(key):
		t.faultWhole("no %s: expected %s", key, expected)
	case s == "" && t.sound(key):
		t.fault(key, "empty: expected %s", expected)
	}
	return s
}

// source reads the source that every table must name.
func (t *table) source() string {
	s := t.required("source", "where the figures come from")
	if strings.EqualFold(s, templateSource) {
		t.fault("source", "still the template's: expected where the figures come from")
	}
	return s
}

// oneOf reads one of some words; "" where the key is absent.
func (t *table) oneOf(key string, words ...string) string {
	s := t.text(key)
	if t.has(key) && t.sound(key) && !slices.Contains(words, s) {
		t.fault(key, "%s: expected %s", quantity.Quote(s), quantity.Listed(words, "or"))
		return ""
	}
	return s
}

// yes reads true or false; false where the key is absent.
func (t *table) yes(key string) bool {
	v, ok := t.values[key]
	if !ok {
		return false
	}
	b, ok := v.(bool)
	if !ok {
		t.fault(key, "%s: expected true or false", t.shown(key))
	}
	return b
}

// number reads a number; nil where the key is absent.
func (t *table) number(key string, want expectation) *float64 {
	v, ok := t.values[key]
	if !ok {
		return nil
	}
	return t.check(join(t.path, key), key, v, want)
}

// figure reads a number into a field that already has the built-in figure, and
// notes the key where the sheet leaves it at that.
func (t *table) figure(key string, want expectation, into *float64, defaulted *[]string) {
	if !t.has(key) {
		*defaulted = append(*defaulted, key)
	}
	if x := t.number(key, want); x != nil {
		*into = *x
	}
}

// whole reads a whole number; 0 where the key is absent.
func (t *table) whole(key string, low, high float64) int {
	x := t.number(key, wholeNumber("a whole number", low, high))
	if x == nil {
		return 0
	}
	return int(*x)
}

// list reads an array of numbers; nil where the key is absent or anything in
// it is not what is wanted.
func (t *table) list(key, form string, want expectation) []float64 {
	v, ok := t.values[key]
	if !ok {
		return nil
	}
	elements, ok := v.([]any)
	if !ok || len(elements) > MostCylinders {
		t.fault(key, "%sexpected %s", t.lead(key), form)
		return nil
	}
	numbers := make([]float64, 0, len(elements))
	for i, e := range elements {
		x := t.check(fmt.Sprintf("%s[%d]", join(t.path, key), i), key, e, want)
		if x == nil {
			return nil
		}
		numbers = append(numbers, *x)
	}
	return numbers
}

// span reads a range; nil where the key is absent.
func (t *table) span(key string, want expectation) *Range {
	const form = "two numbers in brackets, the lower one first"
	ends := t.list(key, form, want)
	if ends == nil {
		return nil
	}
	if len(ends) != 2 || ends[0] > ends[1] {
		t.fault(key, "%s: expected %s", shownList(ends), form)
		return nil
	}
	return &Range{Low: ends[0], High: ends[1]}
}

// check holds one value against what is wanted; nil after a fault.
func (t *table) check(path, key string, v any, want expectation) *float64 {
	var x float64
	switch v := v.(type) {
	case float64:
		x = v
	case int64:
		x = float64(v)
	case string:
		t.faultAt(path, key, "%s: %s, without quotes", quantity.Quote(v), want.text)
		return nil
	default:
		t.faultAt(path, key, "%s%s", t.lead(key), want.text)
		return nil
	}
	if !want.met(x) {
		t.faultAt(path, key, "%s: %s", t.shownAt(path), want.text)
		return nil
	}
	return &x
}

// shown is a key's value as written, on one line; "" where that is not a
// single value.
func (t *table) shown(key string) string { return t.shownAt(join(t.path, key)) }

func (t *table) shownAt(path string) string {
	raw := t.doc.places[path].raw
	if raw == "" {
		return ""
	}
	return printable(raw)
}

// lead is the value in front of what was expected, where there is one to show.
func (t *table) lead(key string) string {
	if s := t.shown(key); s != "" {
		return s + ": "
	}
	return ""
}

// printable is text as it is where it is short and plain, and quoted otherwise.
func printable(text string) string {
	if text == "" || len(text) > 40 {
		return quantity.Quote(text)
	}
	return quantity.Name(text)
}

func shownList(numbers []float64) string {
	texts := make([]string, len(numbers))
	for i, x := range numbers {
		texts[i] = quantity.Plain(x, -1)
	}
	return "[" + strings.Join(texts, ", ") + "]"
}

// expectation is what a number must be, in a test and in words.
type expectation struct {
	met  func(x float64) bool
	text string
}

// kind expects a quantity within its bounds.
func kind(k quantity.Kind) expectation {
	return expectation{func(x float64) bool { return k.Check(x) == nil }, k.Expected()}
}

// between expects a number in a closed range.
func between(noun string, low, high float64, unit string) expectation {
	text := fmt.Sprintf("expected %s from %s to %s", noun, quantity.Grouped(low), quantity.Grouped(high))
	if unit != "" {
		text += " " + unit
	}
	return expectation{func(x float64) bool { return x >= low && x <= high }, text}
}

// wholeNumber expects a whole number in a closed range.
func wholeNumber(noun string, low, high float64) expectation {
	e := between(noun, low, high, "")
	inRange := e.met
	e.met = func(x float64) bool { return inRange(x) && x == math.Trunc(x) }
	return e
}

// chance expects a chance of error that a decision can be based on.
var chance = expectation{
	func(x float64) bool { return x > 0 && x < 0.5 },
	"expected a chance above 0 and below 0.5",
}
