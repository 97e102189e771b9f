package quantity

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

var errNumber = errors.New("expected a plain number such as 22.5")

// ParseNumber reads a plain decimal: an optional sign, digits and at most one
// decimal point; where comma is true the mark may be a comma instead. It knows
// no exponent, hexadecimal, underscore, infinity or NaN. Spaces around it are
// allowed. It allocates nothing unless it fails; an error quotes the text and
// comes with NaN.
func ParseNumber(text string, comma bool) (float64, error) {
	x, err := number(text, comma)
	if err != nil {
		return math.NaN(), fmt.Errorf("%s: %w", Quote(text), err)
	}
	return x, nil
}

// mostDigits is how many digits a float64 holds exactly in every case; 10 to
// that power is exact as well, so one division rounds correctly.
const mostDigits = 15

var powersOfTen = [mostDigits + 1]float64{
	1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
}

func number(text string, comma bool) (float64, error) {
	text = strings.TrimSpace(text)
	d, ok := scan(text, comma)
	if !ok {
		return 0, errNumber
	}
	if d.digits > mostDigits {
		return longNumber(text, d.mark)
	}
	x := float64(d.value) / powersOfTen[d.decimals]
	if d.negative && x != 0 {
		x = -x
	}
	return x, nil
}

// decimal is what scan finds: the digits as one whole number, how many they
// are, how many of them stand behind the decimal mark, and where it is (-1
// without one). The value holds for mostDigits digits.
type decimal struct {
	negative         bool
	value            uint64
	digits, decimals int
	mark             int
}

// scan reads text as a plain decimal and says whether it is one.
func scan(text string, comma bool) (decimal, bool) {
	d := decimal{mark: -1}
	for i := 0; i < len(text); i++ {
		c := text[i]
		switch {
		case isDigit(c):
			d.value = 10*d.value + uint64(c-'0')
			d.digits++
		case d.mark < 0 && (c == '.' || comma && c == ','):
			d.mark = i
			d.decimals = -d.digits
		case i == 0 && (c == '-' || c == '+'):
			d.negative = c == '-'
		default:
			return d, false
		}
	}
	if d.mark >= 0 {
		d.decimals += d.digits
	}
	return d, d.digits > 0
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

// longNumber reads a scanned number of many digits. The standard library does
// it, given a point.
func longNumber(text string, mark int) (float64, error) {
	if mark >= 0 && text[mark] == ',' {
		text = text[:mark] + "." + text[mark+1:]
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return 0, errNumber
	}
	return x + 0, nil // never -0
}
