package form

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"leakback/leakback"
	"leakback/leakback/entry"
	"leakback/limits/quantity"
)

// Read reads a filled form; name is its file's, for messages and for the test's
// id, and the defaults fill in what its cells leave empty. What is wrong with it is
// an *entry.FaultError, which names the cells; any other error is the reader's own.
func Read(r io.ReaderAt, size int64, name string, d entry.Defaults) (*Form, error) {
	var form *Form
	err := guarded(func() error {
		file, err := unpacked(r, size)
		if err != nil {
			return asFault(name, err)
		}
		defer file.Close()
		f, err := find(file)
		if err != nil {
			return asFault(name, err)
		}
		form, err = f.read(name, d)
		return err
	})
	if errors.Is(err, errDamaged) { // of a panic
		err = asFault(name, err)
	}
	if err != nil {
		return nil, err
	}
	return form, nil
}

// read reads all that was entered.
func (f *filled) read(name string, d entry.Defaults) (*Form, error) {
	f.checkPlaces()
	form := &Form{}
	if len(f.faults) == 0 {
		once := f.once(form)
		form.Test = f.test(name, once, d)
	}
	for i := range f.faults {
		f.faults[i].File = name
	}
	if err := f.faults.err(); err != nil {
		return nil, err
	}
	return form, nil
}

// answer is what was entered in one cell.
type answer struct {
	text string
	// at is the cell, what it is in words.
	at   box
	what string
}

// once reads what is entered once. The work order goes to the form; what a
// readings file has a column for is given by its name.
func (f *filled) once(form *Form) map[string]answer {
	of := map[string]answer{}
	for _, p := range f.fields() {
		what := strings.ToLower(p.field.label[:1]) + p.field.label[1:]
		if p.field.label == "VIN" {
			what = p.field.label
		}
		a := answer{at: p.entry, what: what}
		switch job := form.Job.Field(p.name); {
		case p.name == leakback.FieldTested:
			form.Job.Tested = f.tested(p.entry, what)
		case job != nil:
			*job = f.text(p.entry, what, p.takes.text)
		default:
			a.text = f.text(p.entry, what, cmp.Or(p.takes.text, leakback.LongestName))
			of[p.name] = f.plain(a, p.takes)
		}
	}
	form.BatteryV = f.battery(of[leakback.FieldBatteryV])
	form.Primed = f.primed(of[fieldPrimed])
	return of
}

// plain is an answer as a readings file takes it: a figure with its unit in the
// unit of its column.
func (f *filled) plain(a answer, takes taker) answer {
	s := takes.number
	if s == nil || len(s.units) == 0 || a.text == "" || slices.ContainsFunc(s.words, func(w string) bool {
		return strings.EqualFold(w, a.text)
	}) {
		return a
	}
	if _, err := quantity.ParseNumber(a.text, true); err == nil {
		return a
	}
	x, err := quantity.Parse(s.kind, a.text)
	if err != nil {
		f.fault(a.at, a.what, a.text, expectedOf(a.text, err))
		a.text = ""
		return a
	}
	a.text = quantity.Plain(x, -1)
	return a
}

// expectedOf is what a quantity's error expected of the text.
func expectedOf(text string, err error) string {
	return strings.TrimPrefix(strings.TrimPrefix(err.Error(), quantity.Quote(text)+": "), "expected ")
}

// battery is the battery's voltage as a plain number.
func (f *filled) battery(a answer) string {
	if a.text == "" {
		return ""
	}
	x, err := quantity.ParseNumber(strings.TrimSpace(strings.TrimSuffix(strings.ToUpper(a.text), "V")), true)
	if err != nil || x < batterySpan.low || x > batterySpan.high {
		f.fault(a.at, a.what, a.text, batterySpan.expected()+" V")
		return ""
	}
	return quantity.Plain(x, -1)
}

// ticks are what people set in place of yes, and of no.
var ticks = map[string]bool{
	"yes": true, "y": true, "x": true, "✓": true, "✔": true, "1": true, "true": true,
	"": false, "no": false, "n": false, "-": false, "0": false, "false": false,
}

func (f *filled) primed(a answer) bool {
	yes, known := ticks[strings.ToLower(a.text)]
	if !known {
		f.fault(a.at, a.what, a.text, "yes, no or nothing")
	}
	return yes
}

// test reads the readings, and what was entered once, through the reader of
// readings files.
func (f *filled) test(name string, once map[string]answer, d entry.Defaults) *leakback.Test {
	if d.Cylinders == 0 {
		d.Cylinders = f.cylinders
	}
	r := &reading{filled: f, name: name, id: testID(name), once: once, defaults: d}
	if !r.checkOnce() {
		return nil
	}
	r.addRuns()
	if len(r.rows) == 0 {
		f.fault(f.layout.readings[0].box, r.whatOf(f.layout.readings[0]), "", "at least one reading; the form has none")
		return nil
	}
	return r.parse(r.columns(), r.rows)
}

// testID is the id of the test in a file of that name.
func testID(name string) string {
	if ext := filepath.Ext(name); strings.EqualFold(ext, ".xlsx") {
		name = strings.TrimSuffix(name, ext)
	}
	return entry.TestID(name)
}

// whatOf says what a reading's cell holds: "cylinder 3, run 1".
func (l *layout) whatOf(s slot) string {
	if l.method == leakback.MethodIndividual {
		return fmt.Sprintf("cylinder %d, run %d", s.row+1, s.run)
	}
	return fmt.Sprintf("run %d", s.run)
}
