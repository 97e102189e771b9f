package quantity

import "math"

// Value is a quantity given as a flag; it is a pflag.Value. NewValue makes one.
type Value struct {
	kind  Kind
	known bool
	value float64
	text  string
}

// NewValue is a flag of that kind, not set.
func NewValue(k Kind) *Value { return &Value{kind: k, value: math.NaN()} }

// Set reads the flag's text as Parse does. After an error there is no value.
func (v *Value) Set(text string) error {
	x, err := Parse(v.kind, text)
	v.known, v.value, v.text = err == nil, x, text
	return err
}

// String is the exact value with its inside unit, which Set takes back to the
// same value; "" where it is not set.
func (v *Value) String() string {
	if v == nil || !v.known {
		return ""
	}
	return exact(v.value) + " " + v.kind.Unit()
}

// Type is the word for the kind, which help shows behind the flag's name.
func (v *Value) Type() string { return v.kind.String() }

// Known says whether the flag was set.
func (v *Value) Known() bool { return v.known }

// Value is the quantity in the inside unit; NaN where it is not set.
func (v *Value) Value() float64 { return v.value }

// Text is what was typed; "" where it is not set.
func (v *Value) Text() string {
	if !v.known {
		return ""
	}
	return v.text
}
