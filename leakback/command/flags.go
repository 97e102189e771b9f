package command

import (
	"fmt"
	"math"

	"github.com/spf13/pflag"

	"leakback/leakback"
	"leakback/limits/quantity"
)

// numberValue is a plain number with bounds given as a flag, NaN where it was
// not given. It is a pflag.Value.
type numberValue struct {
	value, low, high float64
	what, unit       string // "speed", "rpm"
}

// addNumber adds a flag for a number of what, from low to high.
func addNumber(f *pflag.FlagSet, to **numberValue, name, what, unit string, low, high float64, usage string) {
	*to = &numberValue{math.NaN(), low, high, what, unit}
	f.Var(*to, name, usage)
}

// addSpeed adds the flag of the engine's speed.
func addSpeed(f *pflag.FlagSet, to **numberValue, usage string) {
	addNumber(f, to, "rpm", "speed", "rpm", 0, leakback.MostRPM, usage)
}

// Set reads a plain number within the bounds.
func (v *numberValue) Set(text string) error {
	x, err := quantity.ParseNumber(text, true)
	if err != nil || x < v.low || x > v.high {
		return fmt.Errorf("%s: expected a %s from %s to %s %s", quantity.Quote(text), v.what,
			quantity.Grouped(v.low), quantity.Grouped(v.high), v.unit)
	}
	v.value = x
	return nil
}

// String is the number, or nothing.
func (v *numberValue) String() string {
	if math.IsNaN(v.value) {
		return ""
	}
	return plain(v.value)
}

// Type names the kind of value in the help.
func (v *numberValue) Type() string { return v.what }
