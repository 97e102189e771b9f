package limits_test

import (
	"encoding/csv"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/limits"
)

// Source: ASTM E1272-02(2012), Table 1, as the file quotes it; its rows for
// 1000 and 2000 mL are from memory. The ISO 4788 rows of the file must not be
// used: that standard gives other errors for the same size.
func TestGlassTolerancesAreThoseOfTheStandard(t *testing.T) {
	file, err := os.Open("../testdata/reference/glassware_cylinders.csv")
	require.NoError(t, err)
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	rows, err := reader.ReadAll()
	require.NoError(t, err)
	seen := 0
	for _, row := range rows[1:] {
		if !strings.HasPrefix(row[0], "ASTM E1272") {
			continue
		}
		seen++
		capacity := number(t, row[1])
		for class, want := range map[string]string{"A": row[3], "b": row[4]} {
			got, err := limits.GlassToleranceML(capacity, class)
			require.NoError(t, err)
			assert.Equal(t, number(t, want), got, "%v mL class %s", capacity, class)
		}
	}
	assert.Equal(t, 11, seen)
}

func number(t *testing.T, text string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err)
	return x
}

func TestGlassToleranceRefuses(t *testing.T) {
	_, err := limits.GlassToleranceML(20, "A")
	assert.EqualError(t, err, "20 mL: expected a capacity that ASTM E1272 has: 5, 10, 25, 50, 100, 250, 500, 1000 or 2000 mL")
	_, err = limits.GlassToleranceML(25, "C")
	assert.EqualError(t, err, `"C": expected class A or B`)
	_, err = limits.GlassToleranceML(25, "")
	assert.EqualError(t, err, `"": expected class A or B`)
}
