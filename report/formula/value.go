package formula

import (
	"math"
	"strconv"
	"strings"
)

// Kind is what a cell holds.
type Kind int8

// The kinds; a cell that nothing was written into is Blank.
const (
	Blank Kind = iota
	Number
	Text
	Truth // only within formulas: cells hold 1 and 0
	Fault // what spreadsheets write as #VALUE! and the like
)

// Value is what a cell holds. Text is the text, or the name of the fault.
type Value struct {
	Kind   Kind
	Number float64
	Text   string
}

// Faults, as spreadsheets write them.
const (
	faultValue = "#VALUE!"
	faultDiv   = "#DIV/0!"
	faultNum   = "#NUM!"
	faultRef   = "#REF!"
	faultNone  = "#N/A"
)

// Num is a number; a fault for what no cell can hold.
func Num(x float64) Value {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return fault(faultNum)
	}
	return Value{Kind: Number, Number: x}
}

// NumOrBlank is a number, blank for NaN.
func NumOrBlank(x float64) Value {
	if math.IsNaN(x) {
		return Value{}
	}
	return Num(x)
}

// Str is a text.
func Str(text string) Value { return Value{Kind: Text, Text: text} }

// StrOrBlank is a text, blank for "".
func StrOrBlank(text string) Value {
	if text == "" {
		return Value{}
	}
	return Str(text)
}

func truth(yes bool) Value {
	if yes {
		return Value{Kind: Truth, Number: 1}
	}
	return Value{Kind: Truth}
}

func fault(name string) Value { return Value{Kind: Fault, Text: name} }

// Float is the number, NaN for anything else: how the program says that a
// figure does not exist.
func (v Value) Float() float64 {
	if v.Kind != Number {
		return math.NaN()
	}
	return v.Number
}

// String is the value as text joins it: numbers to 15 digits, as spreadsheets
// keep them.
func (v Value) String() string {
	switch v.Kind {
	case Number:
		return strconv.FormatFloat(v.rounded15(), 'f', -1, 64)
	case Text, Fault:
		return v.Text
	case Truth:
		return strings.ToUpper(strconv.FormatBool(v.Number != 0))
	}
	return ""
}

func (v Value) rounded15() float64 {
	x, err := strconv.ParseFloat(strconv.FormatFloat(v.Number, 'g', 15, 64), 64)
	if err != nil {
		return v.Number
	}
	return x
}

// number is the value in arithmetic: a blank is 0, text is a fault.
func (v Value) number() Value {
	switch v.Kind {
	case Blank:
		return Value{Kind: Number}
	case Text, Truth:
		return fault(faultValue)
	}
	return v
}

// compare orders values as spreadsheets do: numbers, then text without regard
// to case. A blank is 0 beside a number and "" beside a text.
func compare(a, b Value) int {
	if a.Kind == Blank {
		a = blankBeside(b)
	}
	if b.Kind == Blank {
		b = blankBeside(a)
	}
	if a.Kind != b.Kind {
		return int(a.Kind) - int(b.Kind)
	}
	if a.Kind == Text {
		return strings.Compare(strings.ToLower(a.Text), strings.ToLower(b.Text))
	}
	switch {
	case a.Number < b.Number:
		return -1
	case a.Number > b.Number:
		return 1
	}
	return 0
}

func blankBeside(other Value) Value {
	if other.Kind == Text {
		return Value{Kind: Text}
	}
	return Value{Kind: other.Kind}
}
