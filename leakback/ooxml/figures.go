package ooxml

import (
	"bytes"
	"math"
	"strconv"
	"strings"
)

// Programs store 15 digits; sums that cancel leave less.
const (
	nearRelative = 1e-9
	nearAbsolute = 1e-12
)

// within says whether two texts are numbers that only rounding tells apart, or are
// the same text.
func within(a, b string) bool {
	x, errX := strconv.ParseFloat(a, 64)
	y, errY := strconv.ParseFloat(b, 64)
	if errX != nil || errY != nil {
		return a == b
	}
	return math.Abs(x-y) <= nearRelative*max(math.Abs(x), math.Abs(y))+nearAbsolute
}

// nearFigure says whether two texts are results that only rounding tells apart. What
// has no decimals on either side, a count, an index or a year, is no result: there
// every digit counts.
func nearFigure(a, b string) bool {
	return (strings.Contains(a, ".") || strings.Contains(b, ".")) && within(a, b)
}

// alike says whether two contents are the same but for figures that only rounding
// tells apart.
func alike(a, b []byte) bool {
	if bytes.Equal(a, b) {
		return true // as most parts are
	}
	for len(a) > 0 && len(b) > 0 {
		n := figure(a)
		m := figure(b)
		switch {
		case n == 0 && m == 0:
			if a[0] != b[0] {
				return false
			}
			n = letters(a, b)
			m = n
		case !bytes.Equal(a[:n], b[:m]) && !nearFigure(string(a[:n]), string(b[:m])):
			return false
		}
		a, b = a[n:], b[m:]
	}
	return len(a) == len(b)
}

// figure is how many bytes at the beginning could be those of a number.
func figure(text []byte) int {
	for i, c := range text {
		switch {
		case c >= '0' && c <= '9', c == '.', c == '-':
		case i > 0 && (c == 'e' || c == 'E' || c == '+'):
		default:
			return i
		}
	}
	return len(text)
}

// letters is how many bytes at the beginning of both are the same letters, and the
// figures that belong to such a word: colours, names and cells are no numbers.
func letters(a, b []byte) int {
	word := letter(a[0])
	for i := 1; i < min(len(a), len(b)); i++ {
		digit := a[i] == '-' || a[i] == '.' || a[i] >= '0' && a[i] <= '9'
		if a[i] != b[i] || digit && !word {
			return i
		}
		word = word && digit || letter(a[i])
	}
	return min(len(a), len(b))
}

func letter(c byte) bool {
	return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c == '_' || c >= 0x80
}
