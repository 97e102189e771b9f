package quantity

import (
	"math"
	"strconv"
	"strings"
)

// significant is how many digits a spreadsheet keeps of a number.
const significant = 15

// mostDecimals is how many decimals are ever shown to people, and compared.
const mostDecimals = 6

// Fixed prints x with that many decimals, rounded half away from zero on the
// decimal, as a spreadsheet's ROUND does: 1.005 is 1.01, though the nearest
// float64 lies below it. It never prints -0. NaN and infinities print as
// strconv prints them.
func Fixed(x float64, decimals int) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return strconv.FormatFloat(x, 'f', decimals, 64)
	}
	digits, exponent := decompose(math.Abs(x))
	text := place(round(digits, exponent, decimals), decimals)
	if x < 0 && strings.Trim(text, "0.") != "" {
		return "-" + text
	}
	return text
}

// decompose gives the significant digits of x >= 0 and the power of ten of the
// first of them.
func decompose(x float64) (digits []byte, exponent int) {
	text := strconv.AppendFloat(nil, x, 'e', significant-1, 64)
	e := len(text) - 1
	for text[e] != 'e' {
		e--
	}
	exponent, _ = strconv.Atoi(string(text[e+1:])) // strconv wrote it
	return append(text[:1], text[2:e]...), exponent
}

// round gives the digits of the whole number x*10^decimals, rounded half up.
func round(digits []byte, exponent, decimals int) []byte {
	keep := exponent + 1 + decimals
	if keep < 0 {
		return []byte{'0'}
	}
	whole := append(make([]byte, 0, keep+1), '0')
	for i := range keep {
		if i < len(digits) {
			whole = append(whole, digits[i])
		} else {
			whole = append(whole, '0')
		}
	}
	if keep < len(digits) && digits[keep] >= '5' {
		carry(whole)
	}
	return whole
}

// carry adds one to a whole number whose first digit is below 9.
func carry(whole []byte) {
	i := len(whole) - 1
	for ; whole[i] == '9'; i-- {
		whole[i] = '0'
	}
	whole[i]++
}

// place puts the decimal point before the last decimals digits of whole.
func place(whole []byte, decimals int) string {
	text := strings.TrimLeft(string(whole), "0")
	if missing := decimals + 1 - len(text); missing > 0 {
		text = strings.Repeat("0", missing) + text
	}
	if decimals == 0 {
		return text
	}
	point := len(text) - decimals
	return text[:point] + "." + text[point:]
}

// Decimals is how many decimals show the uncertainty u to two significant
// digits, from 0 to 6; 0 where u is not a positive number.
func Decimals(u float64) int {
	if !(u > 0) || math.IsInf(u, 0) {
		return 0
	}
	// Printed first, because 0.0996 to two digits is 0.10.
	text := strconv.FormatFloat(u, 'e', 1, 64)
	exponent, _ := strconv.Atoi(text[strings.IndexByte(text, 'e')+1:]) // strconv wrote it
	return min(max(1-exponent, 0), mostDecimals)
}

// Apart is the fewest decimals, from atLeast to 6, at which x and limit print
// differently, so that a rounded figure never contradicts its verdict; atLeast
// where 6 decimals do not part them.
func Apart(x, limit float64, atLeast int) int {
	for decimals := atLeast; decimals <= mostDecimals; decimals++ {
		if Fixed(x, decimals) != Fixed(limit, decimals) {
			return decimals
		}
	}
	return atLeast
}

// Format prints x of the inside unit with its unit for people: "350 bar",
// "59.656 N·m". It shows up to 3 decimals, more only where a small figure
// would lose its first three digits, and no zeros at the end. Parse takes it.
func Format(k Kind, x float64) string {
	decimals := 3
	if x != 0 && math.Abs(x) < 1 {
		_, exponent := decompose(math.Abs(x))
		decimals = min(2-exponent, mostDecimals)
	}
	return Plain(x, max(decimals, 3)) + " " + kinds[k].symbol
}

// FormatRange prints a range with its unit once: "300 to 400 bar".
func FormatRange(k Kind, low, high float64) string {
	return strings.TrimSuffix(Format(k, low), " "+k.Unit()) + " to " + Format(k, high)
}

// Printed is the number that Fixed shows.
func Printed(x float64, decimals int) float64 {
	shown, err := strconv.ParseFloat(Fixed(x, decimals), 64)
	if err != nil { // an infinity that is spelled out
		return math.NaN()
	}
	return shown
}

// Plain prints x without zeros at the end: rounded to decimals, or exactly for
// decimals -1.
func Plain(x float64, decimals int) string {
	if decimals < 0 {
		return exact(x)
	}
	text := Fixed(x, decimals)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return text
}

// exact prints the shortest plain decimal that reads back as x, an exponent
// only where the decimal would be a line of zeros.
func exact(x float64) string {
	if math.Abs(x) >= 1e15 {
		return strconv.FormatFloat(x, 'g', -1, 64)
	}
	return strconv.FormatFloat(x+0, 'f', -1, 64)
}

// Grouped prints x exactly, its thousands set off by commas: "100,000". It is
// for sentences; Parse does not take it.
func Grouped(x float64) string {
	text := exact(x)
	end := strings.IndexAny(text, ".e")
	if end < 0 {
		end = len(text)
	}
	for i := end - 3; i > 0 && isDigit(text[i-1]) && isDigit(text[i]); i -= 3 {
		text = text[:i] + "," + text[i:]
	}
	return text
}
