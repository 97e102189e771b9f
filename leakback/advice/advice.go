// Package advice says what to look at next after a test, or after a repair and
// its retest, what a test does not see, and the cautions that go with it. What
// it says is common practice, never a verdict; the words are data, matched on
// what the evaluation found, what was done and how the tests compare.
package advice

import (
	"bytes"
	_ "embed"
	"fmt"
	"slices"
	"strings"
	"sync"

	"github.com/pelletier/go-toml/v2"

	"leakback/leakback"
	"leakback/leakback/repair"
)

//go:embed next.toml
var nextTable []byte

// entry is one piece of advice and the facts it needs.
type entry struct {
	Name string `toml:"name"`
	// At and But narrow it to cylinders: every fact of At, none of But.
	At    []string `toml:"at"`
	But   []string `toml:"but"`
	All   []string `toml:"all"`
	Any   []string `toml:"any"`
	None  []string `toml:"none"`
	Text  string   `toml:"text"`
	Basis string   `toml:"basis"`
}

// entries reads the embedded table once. A table that does not parse is a fault
// of the build, which the tests catch.
var entries = sync.OnceValue(func() []entry {
	list, err := parse(nextTable)
	if err != nil {
		panic("advice: " + err.Error())
	}
	return list
})

func parse(table []byte) ([]entry, error) {
	var file struct {
		Entry []entry `toml:"entry"`
	}
	dec := toml.NewDecoder(bytes.NewReader(table)).DisallowUnknownFields()
	if err := dec.Decode(&file); err != nil {
		return nil, err
	}
	for _, e := range file.Entry {
		if err := e.check(); err != nil {
			return nil, fmt.Errorf("entry %q: %w", e.Name, err)
		}
	}
	return file.Entry, nil
}

func (e entry) check() error {
	switch {
	case e.Name == "" || e.Text == "" || e.Basis == "":
		return fmt.Errorf("name, text and basis are all needed")
	case len(e.At)+len(e.All)+len(e.Any) == 0:
		return fmt.Errorf("no fact it waits for")
	case len(e.At) == 0 && (len(e.But) > 0 || slices.Contains(e.placeholders(), there)):
		return fmt.Errorf("but and {%s} need cylinders: expected at", there)
	}
	for _, name := range e.names() {
		if !slices.Contains(names(), name) {
			return fmt.Errorf("unknown fact %q", name)
		}
	}
	return nil
}

// there stands in a text for the cylinders that an entry is about.
const there = "there"

// names are the facts that the entry mentions.
func (e entry) names() []string {
	inText := slices.DeleteFunc(e.placeholders(), func(name string) bool { return name == there })
	return slices.Concat(e.At, e.But, e.All, e.Any, e.None, inText)
}

// placeholders are the names between braces in the text.
func (e entry) placeholders() []string {
	var names []string
	for _, part := range strings.Split(e.Text, "{")[1:] {
		name, _, _ := strings.Cut(part, "}")
		names = append(names, name)
	}
	return names
}

func (e entry) matches(f facts) bool {
	if slices.ContainsFunc(e.All, f.lacks) || slices.ContainsFunc(e.None, f.has) {
		return false
	}
	if len(e.Any) > 0 && !slices.ContainsFunc(e.Any, f.has) {
		return false
	}
	return len(e.At) == 0 || len(e.there(f)) > 0
}

// there are the cylinders that the entry is about.
func (e entry) there(f facts) []int {
	if len(e.At) == 0 {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(f[e.At[0]]), func(cylinder int) bool {
		without := func(name string) bool { return !slices.Contains(f[name], cylinder) }
		with := func(name string) bool { return !without(name) }
		return slices.ContainsFunc(e.At, without) || slices.ContainsFunc(e.But, with)
	})
}

// Next is what to look at next after a test of an engine of which nothing else
// is known, most urgent first; each is a sentence or a few.
func Next(r *leakback.Result) []string { return say(factsOf(r)) }

// NextAfter is what to look at next after a repair: by what the last test found,
// by how it compares with the first, and by what was done between. It stands in
// the place of Next for the last test.
func NextAfter(c *repair.Comparison) []string { return say(factsAfter(c)) }

func say(f facts) []string {
	var list []string
	for _, e := range entries() {
		if e.matches(f) {
			list = append(list, e.say(f))
		}
	}
	return list
}

func (e entry) say(f facts) string {
	text := e.Text
	for _, name := range e.placeholders() {
		cylinders := f[name]
		if name == there {
			cylinders = e.there(f)
		}
		text = strings.ReplaceAll(text, "{"+name+"}", leakback.CylinderNames(cylinders))
	}
	return text
}
