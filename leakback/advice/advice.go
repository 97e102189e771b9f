// Package advice says what to look at next after a test, what the test does
// not see, and the cautions that go with it. What it says is common practice,
// never a verdict; the words are data, matched on what the evaluation found.
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
)

//go:embed next.toml
var nextTable []byte

// entry is one piece of advice and the facts it needs.
type entry struct {
	Name  string   `toml:"name"`
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
	case len(e.All)+len(e.Any) == 0:
		return fmt.Errorf("no fact it waits for")
	}
	for _, name := range slices.Concat(e.All, e.Any, e.None, e.placeholders()) {
		if !known(name) {
			return fmt.Errorf("unknown fact %q", name)
		}
	}
	return nil
}

func known(name string) bool {
	_, kind := kinds[name]
	_, pattern := patterns[name]
	return kind || pattern || slices.Contains(codes, leakback.Code(name))
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
	for _, name := range e.All {
		if !f.has(name) {
			return false
		}
	}
	if slices.ContainsFunc(e.None, f.has) {
		return false
	}
	return len(e.Any) == 0 || slices.ContainsFunc(e.Any, f.has)
}

// Next is what to look at next after the test, most urgent first; each is a
// sentence or a few.
func Next(r *leakback.Result) []string {
	f := factsOf(r)
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
		text = strings.ReplaceAll(text, "{"+name+"}", leakback.CylinderNames(f[name]))
	}
	return text
}
