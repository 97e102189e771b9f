package command

import (
	"math"
	"strings"

	"leakback/leakback/entry"
	"leakback/limits/quantity"
)

// intervalValue is the length of a collection given as a flag, or that it is
// unknown. It is a pflag.Value.
type intervalValue struct {
	*quantity.Value
	unknown bool
}

func newIntervalValue() *intervalValue {
	return &intervalValue{Value: quantity.NewValue(quantity.Interval)}
}

// Set reads a length, or the word unknown.
func (v *intervalValue) Set(text string) error {
	v.unknown = strings.EqualFold(strings.TrimSpace(text), entry.Unknown)
	if v.unknown {
		v.Value = quantity.NewValue(quantity.Interval)
		return nil
	}
	return v.Value.Set(text)
}

// String is the length, or unknown; "" where it is not set.
func (v *intervalValue) String() string {
	if v != nil && v.unknown {
		return entry.Unknown
	}
	if v == nil || v.Value == nil {
		return ""
	}
	return v.Value.String()
}

// Seconds is the length in s, +Inf where it is unknown; NaN where it is not set.
func (v *intervalValue) Seconds() float64 {
	if v.unknown {
		return math.Inf(1)
	}
	return v.Value.Value()
}
