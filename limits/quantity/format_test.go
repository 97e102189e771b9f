package quantity_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"leakback/limits/quantity"
)

// Source of the figures: =FIXED(ROUND(x;d);d) worked in LibreOffice Calc 7.4.
func TestFixedRoundsAsASpreadsheetDoes(t *testing.T) {
	tests := []struct {
		x        float64
		decimals int
		want     string
	}{
		{1.005, 2, "1.01"},
		{-1.005, 2, "-1.01"},
		{2.675, 2, "2.68"},
		{0.285, 2, "0.29"},
		{1.0049999999999997, 2, "1.01"}, // a spreadsheet holds 15 digits
		{1.00499999999999, 2, "1.00"},
		{40.0000005, 6, "40.000001"},
		{39.9999995, 6, "40.000000"},
		{2.5, 0, "3"},
		{-2.5, 0, "-3"},
		{0.5, 0, "1"},
		{-0.4, 0, "0"},
		{1000000000.5, 0, "1000000001"},
		{123456.7890125, 6, "123456.789013"},
		{5e-07, 6, "0.000001"},
		{4.9999e-07, 6, "0.000000"},
		{9.9999995, 6, "10.000000"},
		{99.95, 1, "100.0"},
		{0.1 + 0.2, 6, "0.300000"},
		{434.99999999999994, 0, "435"},
		{10.235, 2, "10.24"},
		{0.5929224999999999, 6, "0.592923"},
		{41400.350000000006, 1, "41400.4"},
		{59.895250000000004, 4, "59.8953"},
		{577815.5, 0, "577816"},
	}
	for _, test := range tests {
		assert.Equal(t, test.want, quantity.Fixed(test.x, test.decimals), "%v", test.x)
	}
}

func TestFixedNeverSaysMinusZero(t *testing.T) {
	negativeZero := math.Copysign(0, -1)
	assert.Equal(t, "0", quantity.Fixed(negativeZero, 0))
	assert.Equal(t, "0.00", quantity.Fixed(negativeZero, 2))
	assert.Equal(t, "0.00", quantity.Fixed(-0.004, 2))
	assert.Equal(t, "-0.01", quantity.Fixed(-0.005, 2))
	assert.Equal(t, "0.00", quantity.Fixed(1e-300, 2))
	assert.Equal(t, "NaN", quantity.Fixed(math.NaN(), 2))
	assert.Equal(t, "+Inf", quantity.Fixed(math.Inf(1), 2))
	assert.Equal(t, "1000000000000000000000.0", quantity.Fixed(1e21, 1))
}

func TestDecimalsShowTwoDigitsOfTheUncertainty(t *testing.T) {
	for u, want := range map[float64]int{
		123: 0, 12: 0, 9.96: 0, 9.94: 1, 1.2: 1, 0.95: 2, 0.12: 2, 0.0996: 2, 0.012: 3, 1e-9: 6,
		0: 0, -1: 0, math.Inf(1): 0,
	} {
		assert.Equal(t, want, quantity.Decimals(u), "%v", u)
	}
	assert.Equal(t, 0, quantity.Decimals(math.NaN()))
}

func TestApartAddsTheDigitThatShowsWhy(t *testing.T) {
	tests := []struct {
		x, limit float64
		atLeast  int
		want     int
	}{
		{40.04, 40, 1, 2},
		{40.06, 40, 1, 1},
		{41, 40, 0, 0},
		{39.96, 40, 0, 2}, // 39.96 is 40.0 at one decimal
		{40.000001, 40, 1, 6},
		{40.0000001, 40, 1, 1},
		{40, 40, 2, 2},
		{40.5, 40, 7, 7},
		{math.NaN(), math.NaN(), 1, 1},
	}
	for _, test := range tests {
		assert.Equal(t, test.want, quantity.Apart(test.x, test.limit, test.atLeast), "%v", test)
	}
}

func TestFormatIsForPeople(t *testing.T) {
	tests := []struct {
		kind quantity.Kind
		x    float64
		want string
	}{
		{quantity.Interval, 60, "60 s"},
		{quantity.Pressure, 350, "350 bar"},
		{quantity.Temperature, 45, "45 °C"},
		{quantity.Temperature, -17.777777777777779, "-17.778 °C"},
		{quantity.Torque, 59.6559897265816, "59.656 N·m"},
		{quantity.Volume, 22.5, "22.5 mL"},
		{quantity.Volume, 0, "0 mL"},
		{quantity.Volume, -0.0000001, "0 mL"},
		{quantity.Volume, 0.0012345, "0.00123 mL"},
		{quantity.Rate, 40.125, "40.125 mL/min"},
		{quantity.Rate, 100000, "100000 mL/min"},
	}
	for _, test := range tests {
		assert.Equal(t, test.want, quantity.Format(test.kind, test.x))
	}
}

func TestGroupedSetsThousandsApart(t *testing.T) {
	for x, want := range map[float64]string{
		0: "0", 999: "999", 1000: "1,000", -1000: "-1,000", 100000: "100,000", 1234567.25: "1,234,567.25", -60: "-60",
	} {
		assert.Equal(t, want, quantity.Grouped(x))
	}
}
