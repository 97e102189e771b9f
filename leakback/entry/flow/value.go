package flow

import (
	"fmt"
	"strconv"
	"strings"

	"leakback/leakback/entry/frame"
	"leakback/limits/quantity"
)

// figure reads a quantity with its unit into the inside unit.
func figure(k quantity.Kind) frame.Reader {
	return func(text string) (string, string) {
		x, err := quantity.Parse(k, text)
		if err != nil {
			return "", frame.Expected(err, text)
		}
		return quantity.Plain(x, mostDecimals), ""
	}
}

// positive reads a quantity above zero.
func positive(k quantity.Kind) frame.Reader {
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
func whole(what string, low, high int) frame.Reader {
	return func(text string) (string, string) {
		n, err := strconv.Atoi(text)
		if err != nil || n < low || n > high {
			return "", fmt.Sprintf("%s, a whole number from %d to %d", what, low, high)
		}
		return strconv.Itoa(n), ""
	}
}

// plainFigure reads a number in bounds, whose unit may stand behind it.
func plainFigure(what, unit string, low, high float64) frame.Reader {
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
