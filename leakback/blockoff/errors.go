package blockoff

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
)

// ErrNoRuns says that every run was left out.
var ErrNoRuns = errors.New("every run is left out: expected at least one in the fit")

// RepeatedRunError says that a run's number comes twice.
type RepeatedRunError struct {
	// Run is the number.
	Run int
}

// Error names the run.
func (e *RepeatedRunError) Error() string {
	return fmt.Sprintf("run %d comes twice: expected a number of its own for each run", e.Run)
}

// UnknownCylinderError says that a run blocks a cylinder the engine does not have.
type UnknownCylinderError struct {
	// Run is the run's number, Cylinder what it blocks.
	Run, Cylinder int
	// Known are the engine's cylinders.
	Known []int
}

// Error names run, cylinder and what the engine has.
func (e *UnknownCylinderError) Error() string {
	return fmt.Sprintf("run %d: blocked cylinder %d: expected cylinders the engine has (%s)",
		e.Run, e.Cylinder, join(e.Known, ", "))
}

// RepeatedCylinderError says that a run blocks one cylinder twice.
type RepeatedCylinderError struct {
	// Run is the run's number, Cylinder what it names twice.
	Run, Cylinder int
}

// Error names run and cylinder.
func (e *RepeatedCylinderError) Error() string {
	return fmt.Sprintf("run %d: blocked cylinder %d comes twice: expected each cylinder once", e.Run, e.Cylinder)
}

// BoundedTotalError says that a total is only a bound, which cannot be solved.
type BoundedTotalError struct {
	// Run is the run's number.
	Run int
	// AtLeast says that it overflowed; else it stayed below the first mark.
	AtLeast bool
}

// Error names the run and what to do.
func (e *BoundedTotalError) Error() string {
	if e.AtLeast {
		return fmt.Sprintf("run %d: the total overflowed: expected a total that was read; "+
			"collect for a shorter time, or leave the run out", e.Run)
	}
	return fmt.Sprintf("run %d: the total stayed below the first mark: expected a total that was read; "+
		"collect for a longer time, or leave the run out", e.Run)
}

// FigureError says that a figure of a run cannot be.
type FigureError struct {
	// Run is the run's number.
	Run int
	// What is the figure's name, Value what it was, Want what was expected.
	What  string
	Value float64
	Want  string
}

// Error names run, figure, value and what was expected.
func (e *FigureError) Error() string {
	return fmt.Sprintf("run %d: %s %v: expected %s", e.Run, e.What, e.Value, e.Want)
}

// AllBlockedOnlyError says that no run in the fit had an injector open.
type AllBlockedOnlyError struct {
	// Runs are the numbers of the runs.
	Runs []int
}

// Error says what is missing.
func (e *AllBlockedOnlyError) Error() string {
	return fmt.Sprintf("every cylinder is blocked in each run (%s): that measures what no injector returns; "+
		"expected runs with cylinders open", join(e.Runs, ", "))
}

// DriftError says that drift was asked of runs that cannot show it.
type DriftError struct {
	// Add is what a further, last run should block.
	Add []int
}

// Error says which run would show drift.
func (e *DriftError) Error() string {
	return "drift cannot be told from the cylinders in one pass: expected runs done again later; " +
		"repeat them in reverse order, at least the " + describe(e.Add)
}

// UndeterminedError says that the runs do not determine every share.
type UndeterminedError struct {
	// Cylinders are those whose shares stay open.
	Cylinders []int
	// Add are the blocked cylinders of each run that would determine them; an
	// empty one is a baseline.
	Add [][]int
}

// Error names the cylinders and the runs to add.
func (e *UndeterminedError) Error() string {
	runs := make([]string, len(e.Add))
	for i, blocked := range e.Add {
		runs[i] = "a " + describe(blocked)
	}
	noun := "cylinder"
	if len(e.Cylinders) > 1 {
		noun = "cylinders"
	}
	return fmt.Sprintf("the runs do not determine %s %s: add %s", noun, join(e.Cylinders, ", "),
		strings.Join(runs, ", "))
}

// NotMirroredError says why the closed form does not apply.
type NotMirroredError struct {
	// Why is the reason.
	Why string
}

// Error gives the reason.
func (e *NotMirroredError) Error() string { return "not a mirrored schedule: " + e.Why }

// describe names a run by what it blocks.
func describe(blocked []int) string {
	switch len(blocked) {
	case 0:
		return "run with nothing blocked"
	case 1:
		return fmt.Sprintf("run with cylinder %d blocked", blocked[0])
	}
	return fmt.Sprintf("run with cylinders %s blocked", join(blocked, " and "))
}

func join(numbers []int, between string) string {
	text := make([]string, len(numbers))
	for i, n := range numbers {
		text[i] = strconv.Itoa(n)
	}
	return strings.Join(text, between)
}
