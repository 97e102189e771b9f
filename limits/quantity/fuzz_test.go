package quantity_test

import (
	"math"
	"math/big"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"leakback/limits/quantity"
)

// cells are what people typed in the readings files of the testdata, good and
// bad, each once.
func cells(f *testing.F) []string {
	f.Helper()
	seen := map[string]bool{}
	var list []string
	for _, pattern := range []string{"*.csv", "*.tsv", "bad/*.csv"} {
		files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "readings", pattern))
		require.NoError(f, err)
		for _, file := range files {
			data, err := os.ReadFile(file)
			require.NoError(f, err)
			for _, cell := range strings.FieldsFunc(string(data), func(r rune) bool { return strings.ContainsRune(",;\t\n", r) }) {
				if !seen[cell] {
					seen[cell] = true
					list = append(list, cell)
				}
			}
		}
	}
	require.Greater(f, len(list), 50)
	return list
}

// A number and its unit are the text again, and each cell of a readings file is
// a quantity or an error on one line.
func FuzzSplit(f *testing.F) {
	for _, cell := range append(cells(f), "44 lbf·ft", "−40 °F", "1.5 min", "60", "\u2212\u2212", "5\u00a0mL", "½", "\xc3") {
		f.Add(cell)
	}
	f.Fuzz(func(t *testing.T, text string) {
		number, name := quantity.Split(text)
		require.Equal(t, strings.TrimSpace(name), name)
		require.Empty(t, strings.Trim(number, "+-0123456789.,"))
		joined := strings.ReplaceAll(strings.TrimSpace(text), "\u2212", "-")
		require.True(t, strings.HasPrefix(joined, number))
		require.True(t, strings.HasSuffix(joined, strings.ReplaceAll(name, "\u2212", "-")))
		for _, k := range allKinds {
			if x, err := quantity.Parse(k, text); err != nil {
				require.True(t, math.IsNaN(x))
				require.NotContains(t, err.Error(), "\n")
				require.True(t, utf8.ValidString(err.Error()))
			}
		}
	})
}

// What an error shows of a text is one short line of characters that a screen
// can show, whatever the text is.
func FuzzQuote(f *testing.F) {
	for _, cell := range append(cells(f), "a\nb", "\x1b[2J", "\u202e", strings.Repeat("ü", 41), strings.Repeat("\xff", 200)) {
		f.Add(cell)
	}
	f.Fuzz(func(t *testing.T, text string) {
		quoted := quantity.Quote(text)
		require.True(t, utf8.ValidString(quoted))
		back, err := strconv.Unquote(quoted)
		require.NoError(t, err)
		for _, r := range quoted {
			require.True(t, strconv.IsPrint(r), "%q", quoted)
		}
		require.LessOrEqual(t, utf8.RuneCountInString(back), 164)
		if len(text) <= 40 {
			require.Equal(t, text, back)
		}
	})
}

// Any figure prints, at any number of decimals, as the decimal of 15 digits
// that it stands for, rounded half away from zero; exactly printed it reads back.
func FuzzFixed(f *testing.F) {
	for _, x := range []float64{1.005, -1.005, 0, math.Copysign(0, -1), 9.9999995, 5e-324, math.MaxFloat64, 1e15, 0.1 + 0.2, 434.99999999999994} {
		f.Add(x, uint8(2))
		f.Add(x, uint8(6))
	}
	f.Fuzz(func(t *testing.T, x float64, decimals uint8) {
		d := int(decimals % 12)
		text := quantity.Fixed(x, d)
		require.NotRegexp(t, `^-0*\.?0*$`, text)
		if math.IsNaN(x) || math.IsInf(x, 0) {
			require.True(t, math.IsNaN(quantity.Printed(x, d)) || math.IsInf(x, 0))
			return
		}
		got, exact := ratio(text), ratio(strconv.FormatFloat(x, 'e', 14, 64))
		half := new(big.Rat).Quo(big.NewRat(1, 2), ratio("1e"+strconv.Itoa(d)))
		off := new(big.Rat).Sub(got, exact)
		require.True(t, off.Abs(off).Cmp(half) <= 0, "%v to %d decimals is %s", x, d, text)
		back, err := strconv.ParseFloat(quantity.Plain(x, -1), 64)
		require.NoError(t, err)
		require.Equal(t, x, back)
	})
}
