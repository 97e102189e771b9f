package quantity_test

import (
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/limits/quantity"
	"leakback/stats/reference"
)

func float(t *testing.T, text string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err)
	return x
}

// Source: NIST Special Publication 811 (2008), Appendix B, and the exact
// definitions behind it; the file says which rows were read where.
func TestUnitFactorsAgreeWithNIST(t *testing.T) {
	// The table's units are not all inside units: perTo turns its figure into ours.
	cases := map[string]struct {
		kind  quantity.Kind
		perTo float64
	}{
		"lbf.ft/N.m":    {quantity.Torque, 1},
		"lbf.in/N.m":    {quantity.Torque, 1},
		"kgf.m/N.m":     {quantity.Torque, 1},
		"psi/bar":       {quantity.Pressure, 1},
		"psi/kPa":       {quantity.Pressure, 0.01},
		"fl oz (US)/mL": {quantity.Volume, 1},
	}
	typed := map[string]string{"fl oz (US)": "US fl oz"}
	seen := 0
	for _, row := range reference.Rows(t, "unit_factors.csv") {
		c, ok := cases[row["from"]+"/"+row["to"]]
		if !ok {
			continue // a unit that no quantity here takes
		}
		seen++
		name := row["from"]
		if other := typed[name]; other != "" {
			name = other
		}
		got, err := quantity.Parse(c.kind, "1 "+name)
		require.NoError(t, err)
		assert.InEpsilon(t, float(t, row["factor_exact"])*c.perTo, got, 1e-15, row["from"])
		assert.InEpsilon(t, float(t, row["factor_published"])*c.perTo, got, 5e-7, row["from"])
	}
	assert.Equal(t, len(cases), seen)
}

// Source: the definition t/degC = (t/degF - 32)/1.8, NIST SP 811.
func TestTemperaturesAgreeWithTheirDefinition(t *testing.T) {
	rows := reference.Rows(t, "temperature_conversion.csv")
	require.NotEmpty(t, rows)
	for _, row := range rows {
		got, err := quantity.Parse(quantity.Temperature, row["degF"]+" °F")
		require.NoError(t, err)
		assert.InDelta(t, float(t, row["degC"]), got, 1e-13, row["degF"])
	}
}

// Tightening figures of the trade: common practice, no source. The N·m beside
// them follow from the factors of NIST SP 811 (1.355818 and 0.1129848).
func TestTighteningFiguresOfTheTrade(t *testing.T) {
	for text, want := range map[string]float64{
		"44 lbf·ft": 59.656, "71 lbf·ft": 96.263, "11 lbf·ft": 14.914,
		"37 lbf·ft": 50.165, "27 lbf·ft": 36.607, "11 lbf·in": 1.2428,
	} {
		got, err := quantity.Parse(quantity.Torque, text)
		require.NoError(t, err)
		assert.InDelta(t, want, got, 0.0005, text)
	}
}
