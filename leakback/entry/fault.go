package entry

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"leakback/limits/quantity"
)

// Fault is one thing that is wrong with what was entered, and where.
type Fault struct {
	// File is the file's name, or the flag that was read in its place.
	File string
	// Row is the line in the file, the first line being 1; 0 where the fault
	// has no place in a file.
	Row int
	// Column is the header's name for the column, or a flag; "" for a whole row.
	// Of a workbook's cell it is what stands there, in words.
	Column string
	// Cell is the cell of a workbook, such as D17, in place of a row; "" in text.
	Cell string
	// Value is what was entered there; "" where it is not to be shown.
	Value string
	// Expected is what should have been there, perhaps with what to do.
	Expected string
}

// Error is one line: file, row, column, the value and what was expected.
func (f Fault) Error() string {
	parts := make([]string, 0, 4)
	if f.File != "" {
		parts = append(parts, quantity.Name(f.File))
	}
	if place := f.place(); place != "" {
		parts = append(parts, place)
	}
	if f.Value != "" {
		parts = append(parts, quantity.Quote(f.Value))
	}
	return strings.Join(append(parts, "expected "+f.Expected), ": ")
}

func (f Fault) place() string {
	switch {
	case f.Cell != "" && f.Column != "":
		return fmt.Sprintf("cell %s, %s", f.Cell, f.Column)
	case f.Cell != "":
		return "cell " + f.Cell
	case f.Row == 0:
		return f.Column
	case f.Column == "":
		return fmt.Sprintf("row %d", f.Row)
	}
	return fmt.Sprintf("row %d, column %s", f.Row, f.Column)
}

// mostFaults is how many faults are reported of one file.
const mostFaults = 20

// FaultError holds the faults of one file in the order of its rows, at least one.
type FaultError struct {
	// Faults are at most twenty.
	Faults []Fault
	// More says that the file has faults beyond these.
	More bool
}

// Error is a line for each fault, and one that says so where there are more.
func (e *FaultError) Error() string {
	lines := make([]string, 0, len(e.Faults)+1)
	for _, f := range e.Faults {
		lines = append(lines, f.Error())
	}
	if e.More {
		lines = append(lines, "and more")
	}
	return strings.Join(lines, "\n")
}

// faultList collects the faults of one file.
type faultList struct {
	file   string
	faults []Fault
	more   bool
}

func (l *faultList) add(f Fault) {
	if len(l.faults) == mostFaults {
		l.more = true
		return
	}
	f.File = l.file
	f.Value = strings.Clone(f.Value) // a cell would hold on to its whole row
	if !utf8.ValidString(f.Value) {
		f.Expected = notUTF8 // whatever it should be, it must be readable first
	}
	l.faults = append(l.faults, f)
}

// err is nil, or all faults by row: those of a whole test are found at its end.
func (l *faultList) err() error {
	if len(l.faults) == 0 {
		return nil
	}
	slices.SortStableFunc(l.faults, func(a, b Fault) int { return a.Row - b.Row })
	return &FaultError{Faults: l.faults, More: l.more}
}
