package recorded

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"leakback/limits/quantity"
)

// ErrNoReadings is of a record in which nothing has been read yet.
var ErrNoReadings = errors.New("no reading has been entered yet")

// Fault is one thing that is wrong with what a record says, and where.
type Fault struct {
	// Run, Cylinder and Line are those of the event's key.
	Run, Cylinder int
	Line          string
	// Field is the event's.
	Field string
	// Value is what was entered there; "" where it is not to be shown.
	Value string
	// Expected is what should have been there.
	Expected string
}

// Error is one line: run, cylinder, field, the value and what was expected.
func (f Fault) Error() string {
	var parts []string
	if f.Run != 0 {
		parts = append(parts, fmt.Sprintf("run %d", f.Run))
	}
	if f.Cylinder != 0 {
		parts = append(parts, fmt.Sprintf("cylinder %d", f.Cylinder))
	}
	if f.Line != "" {
		parts = append(parts, "return line "+quantity.Quote(f.Line))
	}
	if f.Field != "" {
		parts = append(parts, quantity.Name(f.Field))
	}
	text := strings.Join(parts, ", ")
	if text != "" {
		text += ": "
	}
	if f.Value != "" {
		text += quantity.Quote(f.Value) + ": "
	}
	return text + "expected " + f.Expected
}

// FaultError holds the faults of one record, at least one.
type FaultError struct {
	// Faults are in the order of runs and readings; what is wrong with the whole
	// test comes first.
	Faults []Fault
	// More says that there are more.
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

// mostFaults is how many faults are reported of one record.
const mostFaults = 20

// add keeps a fault that was not there before.
func (e *FaultError) add(f Fault) {
	switch {
	case slices.Contains(e.Faults, f):
	case len(e.Faults) == mostFaults:
		e.More = true
	default:
		e.Faults = append(e.Faults, f)
	}
}
