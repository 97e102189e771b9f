package quantity_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/limits/quantity"
)

func TestParseNumber(t *testing.T) {
	tests := []struct {
		text  string
		comma bool
		want  float64
	}{
		{"0", false, 0},
		{"-0", false, 0},
		{"-0.0000000000000000000", false, 0},
		{"22.5", false, 22.5},
		{"+22.5", false, 22.5},
		{"-22.5", false, -22.5},
		{" 22.5\t", false, 22.5},
		{".5", false, 0.5},
		{"5.", false, 5},
		{"22,5", true, 22.5},
		{"22.5", true, 22.5},
		{"1,500", true, 1.5},
		{"0.1", false, 0.1},
		{"123456789012345678901", false, 123456789012345678901},
		{"0,12345678901234567890", true, 0.12345678901234567890},
		{"000000000000000000000007", false, 7},
	}
	for _, test := range tests {
		got, err := quantity.ParseNumber(test.text, test.comma)
		require.NoError(t, err, test.text)
		assert.Equal(t, math.Float64bits(test.want), math.Float64bits(got), test.text)
	}
}

func TestParseNumberRefusesAllElse(t *testing.T) {
	for _, text := range []string{
		"", " ", "+", "-", ".", "-.", "1.2.3", "1-", "--1", "+-1", "1 2", "0x1F", "0b1", "1_000", "1e3", "1E-3", "1p4",
		"NaN", "nan", "Inf", "-inf", "infinity", "1e400", "12a", "½", "٣", "22,5", "1,2.3", ">100", strings.Repeat("9", 400),
	} {
		got, err := quantity.ParseNumber(text, false)
		assert.EqualError(t, err, quantity.Quote(text)+": expected a plain number such as 22.5")
		assert.True(t, math.IsNaN(got), text)
	}
	for _, text := range []string{"1,2.3", "1.2,3", "1,2,3", ",", "1,e"} {
		_, err := quantity.ParseNumber(text, true)
		assert.Error(t, err, text)
	}
}

// A file of a million rows goes through it.
func TestParseNumberAllocatesNothing(t *testing.T) {
	for _, text := range []string{"22.5", "-1234.5678", "0.12345678901234567890"} {
		allocations := testing.AllocsPerRun(100, func() {
			if _, err := quantity.ParseNumber(text, true); err != nil {
				t.Error(err)
			}
		})
		assert.Zero(t, allocations, text)
	}
}

// The standard library's parser, which rounds correctly, is the outside check.
func FuzzParseNumber(f *testing.F) {
	for _, text := range []string{"22.5", "-0", "1,5", ".", "999999999999999", "0.000000000000001", "1e5", "9007199254740993.1"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		got, err := quantity.ParseNumber(text, false)
		plain := strings.TrimSpace(text)
		want, wantErr := strconv.ParseFloat(plain, 64)
		if wantErr != nil || plain == "" || strings.Trim(plain, "+-0123456789.") != "" {
			require.Error(t, err)
			require.True(t, math.IsNaN(got))
			return
		}
		require.NoError(t, err)
		require.Equal(t, want, got)
	})
}
