// Package repair stands between two tests of one engine: what was done to it
// (the work log and the tightening steps), how a fuel's viscosity changes with
// temperature, and the comparison of the tests with its answer: back to
// normal, not back to normal, or undecided. It judges no test again, it gives
// no advice, and it knows no file, screen, database or clock.
package repair

import (
	"fmt"
	"unicode/utf8"

	"leakback/limits/quantity"
)

// Invalid is a value that cannot be taken.
type Invalid struct {
	// Value is what was typed.
	Value string
	// Expected is what should have been.
	Expected string
}

// Error is one line: the value and what was expected.
func (e *Invalid) Error() string {
	return fmt.Sprintf("%s: expected %s", quantity.Quote(e.Value), e.Expected)
}

// oneLine says whether a text is one printable line of at most so many
// characters.
func oneLine(text string, most int) bool {
	return utf8.RuneCountInString(text) <= most && quantity.Printable(text)
}
