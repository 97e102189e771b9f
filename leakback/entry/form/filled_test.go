package form

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/leakback/entry"
)

// blank is a blank form.
func blank(t testing.TB, o Options) []byte {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, Write(&out, o))
	return out.Bytes()
}

// six is the form of an invented engine.
func six() Options {
	return Options{Workshop: "Bay 2, invented", Engine: "Northmoor Six-90", Cylinders: 6, FiringOrder: []int{1, 5, 3, 6, 2, 4},
		Cautions: nineCautions(), Version: "0.1.0"}
}

// nineCautions are as many, and as long, as those that are printed.
func nineCautions() []string {
	text := "Invented: do nothing with a hand that a tool does better, and wait until what moves stands still. "
	return slices.Repeat([]string{text + text + "Then wait a little longer."}, 9)
}

// shapeFor is the shape of the form that the options give.
func shapeFor(t testing.TB, o Options) shape {
	t.Helper()
	o, err := o.settled()
	require.NoError(t, err)
	runs, err := o.schedule()
	require.NoError(t, err)
	s := shape{o.Method, o.Cylinders, o.Runs, len(o.ReturnLines)}
	if len(runs) > 0 {
		s.runs = len(runs)
	}
	return s
}

// entries are what is written into a form: fields by name, "time K" for a run's
// own time, and readings by "row I run K" with I from 1.
type entries map[string]any

// cellOf is the cell of an entry.
func cellOf(t testing.TB, l *layout, name string) string {
	t.Helper()
	for _, f := range l.fields() {
		if f.name == name {
			return f.entry.cell()
		}
	}
	for _, s := range l.times {
		if name == fmt.Sprintf("time %d", s.run) {
			return s.cell()
		}
	}
	for _, s := range l.readings {
		if name == fmt.Sprintf("row %d run %d", s.row+1, s.run) {
			return s.cell()
		}
	}
	require.Fail(t, "no such entry", name)
	return ""
}

// filledIn is a form with entries.
func filledIn(t testing.TB, o Options, e entries) []byte {
	t.Helper()
	return edited(t, blank(t, o), func(f *excelize.File) {
		l := newLayout(shapeFor(t, o))
		for name, value := range e {
			require.NoError(t, f.SetCellValue(sheetName, cellOf(t, l, name), value))
		}
	})
}

// edited is a workbook after a change.
func edited(t testing.TB, book []byte, change func(*excelize.File)) []byte {
	t.Helper()
	f, err := excelize.OpenReader(bytes.NewReader(book))
	require.NoError(t, err)
	defer f.Close()
	change(f)
	var out bytes.Buffer
	require.NoError(t, f.Write(&out))
	return out.Bytes()
}

func readBytes(book []byte, name string) (*Form, error) {
	return Read(bytes.NewReader(book), int64(len(book)), name, entry.NoDefaults())
}

// fromCSV is the test of a readings file.
func fromCSV(t testing.TB, id, text string, d entry.Defaults) *leakback.Test {
	t.Helper()
	test, err := entry.NewReader(strings.NewReader(text), id+".csv", id, d).Next()
	require.NoError(t, err)
	return test
}

// same compares tests, whose figures may be NaN.
func same(t testing.TB, want, got *leakback.Test) {
	t.Helper()
	require.NotNil(t, got)
	assert.Equal(t, fmt.Sprintf("%#v", want), fmt.Sprintf("%#v", got))
}
