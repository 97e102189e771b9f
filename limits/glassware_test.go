package limits_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/limits"
	"leakback/stats/reference"
)

// Source: ASTM E1272-02(2012), Table 1, as the file quotes it; its rows for
// 1000 and 2000 mL are from memory. The ISO 4788 rows of the file must not be
// used: that standard gives other errors for the same size.
func TestGlassTolerancesAreThoseOfTheStandard(t *testing.T) {
	seen := 0
	for _, row := range reference.Rows(t, "glassware_cylinders.csv") {
		if !strings.HasPrefix(row["standard"], "ASTM E1272") {
			continue
		}
		seen++
		capacity := row.Float(t, "capacity_ml")
		for class, column := range map[string]string{"A": "mpe_class_a_ml", "b": "mpe_class_b_ml"} {
			got, err := limits.GlassToleranceML(capacity, class)
			require.NoError(t, err)
			assert.Equal(t, row.Float(t, column), got, "%v mL class %s", capacity, class)
		}
	}
	assert.Equal(t, 11, seen)
}

// Source: the same table, capacities and graduations of its ASTM E1272 rows.
func TestCommonGlassIsWhatTheStandardHas(t *testing.T) {
	var want []limits.Glass
	for _, row := range reference.Rows(t, "glassware_cylinders.csv") {
		if strings.HasPrefix(row["standard"], "ASTM E1272") {
			want = append(want, limits.Glass{CapacityML: row.Float(t, "capacity_ml"),
				GraduationML: row.Float(t, "graduation_ml")})
		}
	}
	assert.Equal(t, want, limits.CommonGlass())
}

func TestGlassToleranceRefuses(t *testing.T) {
	_, err := limits.GlassToleranceML(20, "A")
	assert.EqualError(t, err, "20 mL: expected a capacity that ASTM E1272 has: 5, 10, 25, 50, 100, 250, 500, 1000 or 2000 mL")
	_, err = limits.GlassToleranceML(25, "C")
	assert.EqualError(t, err, `"C": expected class A or B`)
	_, err = limits.GlassToleranceML(25, "")
	assert.EqualError(t, err, `"": expected class A or B`)
}
