package limits

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"leakback/limits/quantity"
)

// Fault is one thing that is wrong with a limits sheet, and where.
type Fault struct {
	// Path is the sheet's file.
	Path string
	// Line and Column count from 1, the column in characters; both are 0 where
	// the fault is the whole file's.
	Line, Column int
	// Key is the sheet's key, or a table's header in its brackets; "" for the
	// whole file.
	Key string
	// Text is the value, where there is one, and what was expected.
	Text string
}

// Error is one line: file, line, column, key, the value and what was expected.
func (f Fault) Error() string {
	var b strings.Builder
	b.WriteString(quantity.Name(f.Path))
	if f.Line > 0 {
		fmt.Fprintf(&b, ":%d:%d", f.Line, f.Column)
	}
	if f.Key != "" {
		b.WriteString(": " + f.Key)
	}
	return b.String() + ": " + f.Text
}

// mostFaults is how many faults of one sheet are reported together.
const mostFaults = 20

// FaultError is the error of a sheet that was read but is not sound.
type FaultError struct {
	// Faults are in the order of the file: at least one, at most twenty.
	Faults []Fault
	// More is how many faults the sheet has beyond these.
	More int
}

// Error is a line for each fault, and one that says how many more there are.
func (e *FaultError) Error() string {
	lines := make([]string, 0, len(e.Faults)+1)
	for _, f := range e.Faults {
		lines = append(lines, f.Error())
	}
	if e.More > 0 {
		lines = append(lines, fmt.Sprintf("%s: and %d more", quantity.Name(e.Faults[0].Path), e.More))
	}
	return strings.Join(lines, "\n")
}

// faultError is nil without faults.
func faultError(faults []Fault) error {
	if len(faults) == 0 {
		return nil
	}
	slices.SortStableFunc(faults, func(a, b Fault) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	shown := faults[:min(len(faults), mostFaults)]
	return &FaultError{Faults: shown, More: len(faults) - len(shown)}
}
