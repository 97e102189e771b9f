package repair_test

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leakback/leakback/repair"
	"leakback/stats/reference"
)

// The worked sheet for ASTM D341 in testdata/reference/viscosity_vcf_cases.csv:
// 32 mm2/s at 40 degC and 5.4 at 100 degC give 8.5 at 80 degC. That sheet takes
// T = degC + 273; its A and B follow from there, and 273.15 K from here moves A
// by 0.005 and the viscosity by 0.0001.
func TestWalthersEquationAgainstAWorkedSheet(t *testing.T) {
	_, param, expect := reference.Case(t, reference.Rows(t, "viscosity_vcf_cases.csv"), "d341_32_5.4")
	f, err := repair.NewFuel(repair.Point{TempC: param["t1"], ViscosityMM2S: param["v1"]},
		repair.Point{TempC: param["t2"], ViscosityMM2S: param["v2"]})
	require.NoError(t, err)
	for _, name := range []string{"v_80C", "v_80C_with_273.15"} {
		assert.InDelta(t, expect[name].Float(t, "value"), f.ViscosityMM2S(80), expect[name].Float(t, "tol"), name)
	}
	assert.InDelta(t, expect["B"].Float(t, "value"), f.B, 0.002)
	assert.InDelta(t, expect["A"].Float(t, "value"), f.A, 0.006)
}

// property finds one figure of testdata/reference/fluids_reference.csv.
func property(t *testing.T, fluid, kelvin, name, source string) float64 {
	t.Helper()
	for _, row := range reference.Rows(t, "fluids_reference.csv") {
		if row["fluid"] == fluid && row["T_K"] == kelvin && row["property"] == name && strings.Contains(row["source"], source) {
			return row.Float(t, "value")
		}
	}
	t.Fatalf("no %s of %s at %s K", name, fluid, kelvin)
	return 0
}

// Fitted to two published viscosities of a pure hydrocarbon, the equation must
// give a third between them.
func TestViscosityOfPureHydrocarbons(t *testing.T) {
	// n-hexadecane (Meng 2018): 20 and 110 degC, checked at 300 K. The
	// correlation is good to 1 % (k = 2), and at 110 degC the viscosity is down
	// to 1.1 mm2/s, where the equation without its low end is at its weakest.
	const gramPerMol = 226.441
	at383 := property(t, "hexadecane", "383.15", "viscosity", "Meng") /
		(property(t, "hexadecane", "383.15", "molar_density", "Meng") * gramPerMol / 1000)
	f, err := repair.NewFuel(repair.Point{TempC: 20, ViscosityMM2S: property(t, "hexadecane", "293.15", "kinematic_viscosity", "")},
		repair.Point{TempC: 110, ViscosityMM2S: at383})
	require.NoError(t, err)
	at300 := property(t, "hexadecane", "300", "viscosity", "Meng") / (3.3958 * gramPerMol / 1000) // at that density, as the row says
	assert.InEpsilon(t, at300, f.ViscosityMM2S(300-273.15), 0.01)

	// Over the range of a test, from dynamic viscosities (Perry, 8th edition) and
	// densities: of hexadecane along the line through the file's 773.70 kg/m3 at
	// 20 degC and 768.94 at 300 K, of dodecane 745.6 kg/m3 at 25 degC falling by
	// 0.725 kg/m3 a kelvin (from memory).
	density := map[string]func(tempC float64) float64{
		"hexadecane": func(c float64) float64 { return 773.70 - (773.70-768.94)/6.85*(c-20) },
		"dodecane":   func(c float64) float64 { return 745.6 - 0.725*(c-25) },
	}
	for fluid, rho := range density {
		nu := func(kelvin string, c float64) float64 {
			return property(t, fluid, kelvin, "viscosity", "Perry") / rho(c) * 1000
		}
		f, err := repair.NewFuel(repair.Point{TempC: 25, ViscosityMM2S: nu("298.15", 25)},
			repair.Point{TempC: 50, ViscosityMM2S: nu("323.15", 50)})
		require.NoError(t, err)
		assert.InEpsilon(t, nu("313.15", 40), f.ViscosityMM2S(40), 0.005, fluid)
	}
}

// EN 590 (temperate) and the calibration fluid of ISO 4113 at 40 degC.
func TestAssumedDieselIsADiesel(t *testing.T) {
	f := repair.AssumedFuel()
	assert.True(t, f.Assumed)
	seen := 0
	for _, row := range reference.Rows(t, "fuel_specs.csv") {
		if row["fluid"] != "EN 590 (temperate grades)" && row["fluid"] != "ISO 4113:2010 basic fluid" ||
			row["property"] != "kinematic viscosity at 40 degC" {
			continue
		}
		seen++
		assert.GreaterOrEqual(t, f.ViscosityMM2S(40), row.Float(t, "min"), row["fluid"])
		assert.LessOrEqual(t, f.ViscosityMM2S(40), row.Float(t, "max"), row["fluid"])
	}
	assert.Equal(t, 2, seen)
	for i, want := range []float64{5.26, 4.09, 3.28, 2.70, 2.27, 1.94} { // the design's table, 10 to 60 degC
		assert.InDelta(t, want, f.ViscosityMM2S(float64(10*(i+1))), 0.005)
	}
	assert.InDelta(t, 2.1, f.ViscosityMM2S(20)/f.ViscosityMM2S(60), 0.05)
	assert.Equal(t, "a typical diesel, assumed (2.7 mm²/s at 40 °C, slope B 3.75)", f.String())
}

func TestPointsThatNoFuelHas(t *testing.T) {
	point := func(c, nu float64) repair.Point { return repair.Point{TempC: c, ViscosityMM2S: nu} }
	for _, c := range []struct {
		a, b repair.Point
		want string
	}{
		{point(40, 0), point(60, 2), "0: expected a viscosity from 0.31 to 1,000 mm²/s"},
		{point(40, math.NaN()), point(60, 2), "NaN: expected a viscosity from 0.31 to 1,000 mm²/s"},
		{point(-70, 3), point(60, 2), "-70: expected a temperature from -60 to 200 °C"},
		{point(40, 3), point(49, 2), "points at 40 °C and 49 °C: expected two temperatures at least 10 K apart"},
		{point(40, 2), point(20, 2), "2 mm²/s at 20 °C and 2 mm²/s at 40 °C: expected the viscosity of one fuel, which falls as it warms (slope B from 1 to 8, here 0.00)"},
		{point(40, 90), point(60, 0.5), "90 mm²/s at 40 °C and 0.5 mm²/s at 60 °C: expected the viscosity of one fuel, which falls as it warms (slope B from 1 to 8, here 51.81)"},
	} {
		_, err := repair.NewFuel(c.a, c.b)
		assert.EqualError(t, err, c.want)
	}
	assert.True(t, math.IsNaN(repair.AssumedFuel().ViscosityMM2S(300)))
}

// A fuel goes through both its points, in whatever order they come, and is
// thinner the warmer it is.
func TestFuelGoesThroughItsPoints(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		a := repair.Point{TempC: rapid.Float64Range(-20, 40).Draw(r, "a"), ViscosityMM2S: rapid.Float64Range(3, 9).Draw(r, "nu a")}
		b := repair.Point{TempC: rapid.Float64Range(60, 120).Draw(r, "b"), ViscosityMM2S: rapid.Float64Range(0.8, 2).Draw(r, "nu b")}
		f, err := repair.NewFuel(a, b)
		if err != nil {
			r.Skip("not a fuel")
		}
		g, err := repair.NewFuel(b, a)
		require.NoError(r, err)
		assert.Equal(r, f, g)
		for _, p := range f.Points {
			assert.InEpsilon(r, p.ViscosityMM2S, f.ViscosityMM2S(p.TempC), 1e-9)
		}
		low := rapid.Float64Range(-20, 100).Draw(r, "low")
		assert.Greater(r, f.ViscosityMM2S(low), f.ViscosityMM2S(low+1))
	})
}
