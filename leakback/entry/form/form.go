// Package form is the entry form: a workbook of one page on which the readings
// of a test are typed in a spreadsheet program, or written by hand and typed
// later. Write makes a blank one and Read reads a filled one back, through the
// reader of readings files, so that both take the same and say the same. A form
// may come from a stranger: nothing in it is followed or calculated. How a test
// is judged is left to others.
package form

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"leakback/leakback"
	"leakback/limits"
	"leakback/limits/quantity"
)

// Version is the version of the form's layout. Read takes this one and refuses
// later ones.
const Version = 1

// Options say what blank form is wanted. What is empty is taken from the sheet
// where it says so.
type Options struct {
	// Workshop is filled in where it is known.
	Workshop string
	// Engine is the engine's name, filled in where it is known.
	Engine string
	// Cylinders is from 1 to 64; 0 is what the sheet has, or 6.
	Cylinders int
	// Runs is how many columns of runs there are, from 1 to 5; 0 is 3. Block-off
	// has a row a run instead, as many as its schedule needs.
	Runs int
	// Method is how the returns are collected; "" is individual.
	Method leakback.Method
	// FiringOrder is printed; it orders nothing.
	FiringOrder []int
	// ReturnLines are named beside each cylinder, or each merged return.
	ReturnLines []limits.ReturnLine
	// Sheet gives names, and the conditions that are offered, never a figure.
	Sheet *limits.Sheet
	// Conditions are offered in a list; empty is what the sheet has, or the usual.
	Conditions []string
	// Cautions are printed below the readings, a paragraph each.
	Cautions []string
	// Version is the program's.
	Version string
}

// Form is what stood on a filled form.
type Form struct {
	// Test is the test as a readings file with the same readings gives it.
	Test *leakback.Test
	// Job is the work order around it.
	Job leakback.Job
	// BatteryV is the battery's voltage in V, a plain number with a decimal
	// point; "" where it was not written.
	BatteryV string
	// Primed says that the tick for primed hoses was set.
	Primed bool
}

// Bounds of what a form holds: so much fits its page.
const (
	usualCylinders = 6
	usualRuns      = 3
	mostRuns       = 5
)

// settled fills in what the options leave open and refuses what no form can hold.
func (o Options) settled() (Options, error) {
	if o.Sheet != nil {
		o.Engine = cmp.Or(o.Engine, o.Sheet.Engine)
		o.Cylinders = cmp.Or(o.Cylinders, o.Sheet.Cylinders)
		o.Conditions = firstList(o.Conditions, conditionsOf(o.Sheet))
		if o.Cylinders == o.Sheet.Cylinders {
			o.FiringOrder = firstList(o.FiringOrder, o.Sheet.FiringOrder)
			o.ReturnLines = firstList(o.ReturnLines, o.Sheet.ReturnLines)
		}
	}
	o.Cylinders = cmp.Or(o.Cylinders, usualCylinders)
	o.Runs = cmp.Or(o.Runs, usualRuns)
	o.Method = cmp.Or(o.Method, leakback.MethodIndividual)
	o.Conditions = firstList(o.Conditions, []string{"cranking", "idle", "raised-idle", "commanded-pressure"})
	return o, o.check()
}

// firstList is a, or b where a is empty.
func firstList[T any](a, b []T) []T {
	if len(a) == 0 {
		return b
	}
	return a
}

// conditionsOf are the conditions of a sheet's limits, each once.
func conditionsOf(sheet *limits.Sheet) []string {
	var all []string
	for i := range sheet.Limits {
		if c := sheet.Limits[i].Condition; !slices.Contains(all, c) {
			all = append(all, c)
		}
	}
	return all
}

func (o *Options) check() error {
	switch {
	case o.Cylinders < 1 || o.Cylinders > limits.MostCylinders:
		return fmt.Errorf("cylinders: %d: expected 1 to %d", o.Cylinders, limits.MostCylinders)
	case o.Runs < 1 || o.Runs > mostRuns:
		return fmt.Errorf("runs: %d: expected 1 to %d", o.Runs, mostRuns)
	case !slices.Contains(methods, o.Method):
		return fmt.Errorf("method: %s: expected individual, block-off or total", quantity.Quote(string(o.Method)))
	case len(o.FiringOrder) > 0 && !isPermutation(o.FiringOrder, o.Cylinders):
		return fmt.Errorf("firing order: %v: expected each cylinder from 1 to %d once", o.FiringOrder, o.Cylinders)
	}
	if err := o.checkLines(); err != nil {
		return err
	}
	for _, text := range o.texts() {
		if !quantity.Printable(text.text) || len([]rune(text.text)) > text.most {
			return fmt.Errorf("%s: %s: expected at most %d printable characters", text.what, quantity.Quote(text.text), text.most)
		}
	}
	return nil
}

var methods = []leakback.Method{leakback.MethodIndividual, leakback.MethodBlockOff, leakback.MethodTotal}

func isPermutation(order []int, n int) bool {
	sorted := slices.Sorted(slices.Values(order))
	for i, c := range sorted {
		if c != i+1 {
			return false
		}
	}
	return len(sorted) == n
}

// checkLines refuses return lines that no engine has.
func (o *Options) checkLines() error {
	seen := map[int]string{}
	for _, line := range o.ReturnLines {
		if strings.TrimSpace(line.Name) == "" {
			return fmt.Errorf("return lines: %q: expected a name for each", line.Name)
		}
		for _, c := range line.Cylinders {
			if before, twice := seen[c]; twice || c < 1 || c > o.Cylinders {
				return fmt.Errorf("return line %s: cylinder %d: expected each cylinder from 1 to %d in one line%s",
					line.Name, c, o.Cylinders, also(before, twice))
			}
			seen[c] = line.Name
		}
	}
	return nil
}

func also(line string, twice bool) string {
	if !twice {
		return ""
	}
	return "; it is in " + line + " as well"
}

// optionText is a text of the options, by its name, and how long it may be.
type optionText struct {
	what, text string
	most       int
}

func (o *Options) texts() []optionText {
	all := []optionText{{"workshop", o.Workshop, leakback.LongestJobText}, {"engine", o.Engine, leakback.LongestName}, {"version", o.Version, leakback.LongestName}}
	for _, c := range o.Conditions {
		all = append(all, optionText{"condition", c, leakback.LongestName})
	}
	for _, line := range o.ReturnLines {
		all = append(all, optionText{"return line", line.Name, leakback.LongestName})
	}
	for _, c := range o.Cautions {
		all = append(all, optionText{"caution", c, leakback.LongestSentence})
	}
	return all
}
