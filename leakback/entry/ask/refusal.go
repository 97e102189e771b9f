package ask

import (
	"errors"

	"leakback/limits/quantity"
)

// Error is one line: the value and what was expected.
func (r *Refusal) Error() string {
	if r.Value == "" {
		return "expected " + r.Expected
	}
	return quantity.Quote(r.Value) + ": expected " + r.Expected
}

// ErrLeft says that the input ended, or the person left, before the flow was
// done. What was answered has been taken.
var ErrLeft = errors.New("left before the last question")

// Alternatives lists the values of options as a refusal has them: "a, b or c". A
// skin that shows numbers in their place says those.
func Alternatives(options []Option) string {
	values := make([]string, len(options))
	for i, o := range options {
		values[i] = o.Value
	}
	return quantity.Listed(values, "or")
}
