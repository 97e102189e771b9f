package flow

import (
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"

	"leakback/leakback/entry"
	"leakback/leakback/entry/ask"
	"leakback/limits/quantity"
)

// reader makes a field's value of what was typed; expected says what should have
// been typed where that is none.
type reader func(text string) (value, expected string)

// How long what people type may be, in characters: names as in a readings file,
// sentences as long as a page has room for.
const (
	longestName     = 100
	longestSentence = 1000
)

// words reads a line of text of at most so many characters.
func words(most int) reader {
	return func(text string) (string, string) {
		if !entry.Printable(text) || utf8.RuneCountInString(text) > most {
			return "", fmt.Sprintf("one line of at most %s printable characters", quantity.Grouped(float64(most)))
		}
		return text, ""
	}
}

// figure reads a quantity with its unit into the inside unit.
func figure(k quantity.Kind) reader {
	return func(text string) (string, string) {
		x, err := quantity.Parse(k, text)
		if err != nil {
			return "", expectedOf(err, text)
		}
		return quantity.Plain(x, mostDecimals), ""
	}
}

// positive reads a quantity above zero.
func positive(k quantity.Kind) reader {
	read := figure(k)
	return func(text string) (value, expected string) {
		value, expected = read(text)
		if value == "0" {
			return "", "a " + k.String() + " above zero"
		}
		return value, expected
	}
}

// mostDecimals is how far figures are compared, and logged where a unit or a
// clock makes more of them.
const mostDecimals = 6

// whole reads a whole number in bounds.
func whole(what string, low, high int) reader {
	return func(text string) (string, string) {
		n, err := strconv.Atoi(text)
		if err != nil || n < low || n > high {
			return "", fmt.Sprintf("%s, a whole number from %d to %d", what, low, high)
		}
		return strconv.Itoa(n), ""
	}
}

// plainFigure reads a number in bounds, whose unit may stand behind it.
func plainFigure(what, unit string, low, high float64) reader {
	return func(text string) (string, string) {
		figure := text
		if n := len(text) - len(unit); n > 0 && strings.EqualFold(text[n:], unit) {
			figure = strings.TrimSpace(text[:n])
		}
		x, err := quantity.ParseNumber(figure, true)
		if err != nil || x < low || x > high {
			return "", fmt.Sprintf("a %s from %s to %s %s", what, quantity.Grouped(low), quantity.Grouped(high), unit)
		}
		return quantity.Plain(x, mostDecimals), ""
	}
}

// oneOf takes an option by its value, in any case, or by its number from 1; what
// is none of them goes to own, where there is one.
func oneOf(options []ask.Option, own reader) reader {
	return func(text string) (string, string) {
		for _, o := range options {
			if strings.EqualFold(o.Value, text) {
				return o.Value, ""
			}
		}
		if n, err := strconv.Atoi(text); err == nil && n >= 1 && n <= len(options) {
			return options[n-1].Value, ""
		}
		if own != nil {
			return own(text)
		}
		return "", alternatives(options)
	}
}

// alternatives lists the values of options: "a, b or c".
func alternatives(options []ask.Option) string {
	values := make([]string, len(options))
	for i, o := range options {
		values[i] = o.Value
	}
	last := len(values) - 1
	if last < 1 {
		return strings.Join(values, "")
	}
	return strings.Join(values[:last], ", ") + " or " + values[last]
}

// expectedOf is what an error about a quantity expects in the place of text.
func expectedOf(err error, text string) string {
	return strings.TrimPrefix(strings.TrimPrefix(err.Error(), quantity.Quote(text)+": "), "expected ")
}

// seconds prints a length of time for people: "60 s".
func seconds(s float64) string { return quantity.Format(quantity.Interval, s) }

// number is a figure that was read before; 0 where it is none.
func number(value string) float64 {
	x, err := quantity.ParseNumber(value, false)
	if err != nil {
		return 0
	}
	return x
}

// atoi is a whole number that was read before; 0 where it is none.
func atoi(value string) int { return int(number(value)) }
