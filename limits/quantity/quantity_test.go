package quantity_test

import (
	"math"
	"strings"
	"testing"

	"github.com/spf13/pflag"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/limits/quantity"
)

var _ pflag.Value = quantity.NewValue(quantity.Volume)

var allKinds = []quantity.Kind{
	quantity.Volume, quantity.Interval, quantity.Rate,
	quantity.Pressure, quantity.Temperature, quantity.Torque,
}

func TestListed(t *testing.T) {
	for want, words := range map[string][]string{"": nil, "a": {"a"}, "a or b": {"a", "b"}, "a, b or c": {"a", "b", "c"}} {
		assert.Equal(t, want, quantity.Listed(words, "or"))
	}
}

func TestParseTakesWhatPeopleType(t *testing.T) {
	tests := []struct {
		kind quantity.Kind
		text string
		want float64
	}{
		{quantity.Volume, "22.5", 22.5},
		{quantity.Volume, "22,5", 22.5},
		{quantity.Volume, "0,125 ml", 0.125},
		{quantity.Volume, " 22.5 mL ", 22.5},
		{quantity.Volume, "22cc", 22},
		{quantity.Volume, "22 cm3", 22},
		{quantity.Volume, "22 cm³", 22},
		{quantity.Volume, "500 µL", 0.5}, // micro sign
		{quantity.Volume, "500 μL", 0.5}, // Greek mu
		{quantity.Volume, "0.25 L", 250},
		{quantity.Volume, "2 fl oz", 59.147059125},
		{quantity.Volume, "2floz", 59.147059125},
		{quantity.Volume, "2 US fl. oz.", 59.147059125},
		{quantity.Volume, "0", 0},
		{quantity.Volume, "+3", 3},
		{quantity.Volume, "10000", 10000},
		{quantity.Interval, "60", 60},
		{quantity.Interval, "60s", 60},
		{quantity.Interval, "60 sec", 60},
		{quantity.Interval, "1.5 min", 90},
		{quantity.Interval, "2m", 120},
		{quantity.Interval, "1h", 3600},
		{quantity.Interval, "1m30s", 90},
		{quantity.Interval, "1 min 30 s", 90},
		{quantity.Interval, "1 min 30,5 s", 90.5},
		{quantity.Interval, "1h1m1s", 3661},
		{quantity.Interval, "1:30", 90},
		{quantity.Interval, "0:05", 5},
		{quantity.Interval, "1:30.25", 90.25},
		{quantity.Interval, "90:00", 5400},
		{quantity.Interval, "1:02:03", 3723},
		{quantity.Rate, "40", 40},
		{quantity.Rate, "40 mL/min", 40},
		{quantity.Rate, "40 cc / min", 40},
		{quantity.Rate, "2.4 L/h", 40},
		{quantity.Rate, "0.04 l/min", 40},
		{quantity.Pressure, "350", 350},
		{quantity.Pressure, "350 bar", 350},
		{quantity.Pressure, "35 MPa", 350},
		{quantity.Pressure, "35mpa", 350},
		{quantity.Pressure, "290 kPa", 2.9},
		{quantity.Temperature, "-40", -40},
		{quantity.Temperature, "−40 °F", -40}, // typographic minus
		{quantity.Temperature, "212F", 100},
		{quantity.Temperature, "45 °C", 45},
		{quantity.Temperature, "45ºC", 45}, // ordinal sign for the degree sign
		{quantity.Temperature, "45 ℃", 45},
		{quantity.Temperature, "45 degC", 45},
		{quantity.Temperature, "45 deg C", 45},
		{quantity.Torque, "60 N·m", 60},
		{quantity.Torque, "60 N⋅m", 60},
		{quantity.Torque, "60 N.m", 60},
		{quantity.Torque, "60 N m", 60},
		{quantity.Torque, "60Nm", 60},
		{quantity.Torque, "60 N*m", 60},
	}
	for _, test := range tests {
		got, err := quantity.Parse(test.kind, test.text)
		if assert.NoError(t, err, test.text) {
			assert.Equal(t, test.want, got, test.text)
		}
	}
}

func TestParseTakesTorqueInEveryOrder(t *testing.T) {
	for want, texts := range map[string][]string{
		"59.656 N·m": {"44 lbf·ft", "44 lbf.ft", "44 lb-ft", "44 ft-lb", "44 ft·lbf", "44ftlbs", "44 LB FT", "44 lb–ft"},
		"1.243 N·m":  {"11 lbf·in", "11 in-lb", "11 lb.in", "11 in lbs", "11inlbf"},
		"58.84 N·m":  {"6 kgf·m", "6 kg-m", "6 m·kgf"},
	} {
		for _, text := range texts {
			got, err := quantity.Parse(quantity.Torque, text)
			require.NoError(t, err, text)
			assert.Equal(t, want, quantity.Format(quantity.Torque, got), text)
		}
	}
}

func TestParseRefusesTheRest(t *testing.T) {
	const (
		volume      = "expected a volume in mL, cc, cm3, L or US fl oz (a plain number is in mL)"
		interval    = "expected an interval in s, min or h, also as 1m30s or 1:30 (a plain number is in s)"
		pressure    = "expected a pressure in bar, psi, kPa or MPa (a plain number is in bar)"
		temperature = "expected a temperature in °C or °F (a plain number is in °C)"
		torque      = "expected a torque with its unit: N·m, lbf·ft, lbf·in or kgf·m"
		rate        = "expected a rate in mL/min, cc/min, L/min or L/h (a plain number is in mL/min)"
		number      = "expected a plain number such as 22.5"
	)
	tests := []struct {
		kind quantity.Kind
		text string
		want string
	}{
		{quantity.Volume, "", volume},
		{quantity.Volume, "mL", volume},
		{quantity.Volume, "2 gal", volume},
		{quantity.Volume, "5 drops", volume},
		{quantity.Volume, "2 imp fl oz", volume},
		{quantity.Volume, "0x10", volume},
		{quantity.Volume, "1e3", volume},
		{quantity.Volume, "1_000", volume},
		{quantity.Volume, "NaN", volume},
		{quantity.Volume, "Inf", volume},
		{quantity.Volume, "1 000", volume},
		{quantity.Volume, "1.2.3", number},
		{quantity.Volume, "1,2,3", number},
		{quantity.Volume, "1.234,5", number},
		{quantity.Volume, "--3", number},
		{quantity.Volume, "3-4", number},
		{quantity.Volume, ".", number},
		{quantity.Volume, "1,500", "expected a number without a thousands mark: write 1500 or 1.500"},
		{quantity.Volume, "-1", "expected a volume from 0 to 10,000 mL"},
		{quantity.Volume, "10001", "expected a volume from 0 to 10,000 mL"},
		{quantity.Volume, "11 L", "expected a volume from 0 to 10,000 mL"},
		{quantity.Interval, "0", "expected an interval from 1 to 86,400 s"},
		{quantity.Interval, "0:00", "expected an interval from 1 to 86,400 s"},
		{quantity.Interval, "25h", "expected an interval from 1 to 86,400 s"},
		{quantity.Interval, "1:5", interval},
		{quantity.Interval, "1:60", interval},
		{quantity.Interval, "1.5:30", interval},
		{quantity.Interval, "-1:30", interval},
		{quantity.Interval, "1:2:3:4", interval},
		{quantity.Interval, "1m90s", interval},
		{quantity.Interval, "30s1m", interval},
		{quantity.Interval, "1m1m", interval},
		{quantity.Interval, "1.5m30s", interval},
		{quantity.Interval, "1m30", interval},
		{quantity.Interval, "60 mL", interval},
		{quantity.Rate, "40 mL", rate},
		{quantity.Rate, "100001", "expected a rate from 0 to 100,000 mL/min"},
		{quantity.Pressure, "35 mPa", pressure},
		{quantity.Pressure, "4001", "expected a pressure from 0 to 4,000 bar"},
		{quantity.Temperature, "300 K", temperature},
		{quantity.Temperature, "-61", "expected a temperature from -60 to 200 °C"},
		{quantity.Torque, "60", torque},
		{quantity.Torque, "60 mN", torque},
		{quantity.Torque, "60 lb", torque},
		{quantity.Torque, "2001 N·m", "expected a torque from 0 to 2,000 N·m"},
	}
	for _, test := range tests {
		got, err := quantity.Parse(test.kind, test.text)
		assert.EqualError(t, err, quantity.Quote(test.text)+": "+test.want)
		assert.True(t, math.IsNaN(got), test.text)
	}
}

func TestQuoteKeepsALineShort(t *testing.T) {
	assert.Equal(t, `"22,5"`, quantity.Quote("22,5"))
	assert.Equal(t, `"a\nb"`, quantity.Quote("a\nb"))
	assert.Equal(t, `"`+strings.Repeat("x", 40)+`…"`, quantity.Quote(strings.Repeat("x", 1<<20)))
	assert.Equal(t, `"`+strings.Repeat("😀", 40)+`…"`, quantity.Quote(strings.Repeat("😀", 41)))
	assert.Equal(t, `"`+strings.Repeat("ü", 40)+`"`, quantity.Quote(strings.Repeat("ü", 40)))
}

func TestBoundsAreClosedAndSaid(t *testing.T) {
	for _, k := range allKinds {
		low, high := k.Bounds()
		assert.NoError(t, k.Check(low), k)
		assert.NoError(t, k.Check(high), k)
		for _, x := range []float64{low - 0.001, high + 0.001, math.NaN(), math.Inf(1), math.Inf(-1)} {
			assert.Error(t, k.Check(x), k)
		}
	}
	assert.EqualError(t, quantity.Rate.Check(-4), "-4: expected a rate from 0 to 100,000 mL/min")
	assert.EqualError(t, quantity.Volume.Check(1e300), "1e+300: expected a volume from 0 to 10,000 mL")
	assert.EqualError(t, quantity.Interval.Check(math.NaN()), "NaN: expected an interval from 1 to 86,400 s")
}

func TestValueIsAFlag(t *testing.T) {
	v := quantity.NewValue(quantity.Pressure)
	assert.False(t, v.Known())
	assert.True(t, math.IsNaN(v.Value()))
	assert.Equal(t, "", v.String())
	assert.Equal(t, "", v.Text())
	assert.Equal(t, "pressure", v.Type())
	assert.Equal(t, "", (*quantity.Value)(nil).String()) // pflag asks a zero value

	require.NoError(t, v.Set("35,5 MPa"))
	assert.True(t, v.Known())
	assert.Equal(t, 355.0, v.Value())
	assert.Equal(t, "355 bar", v.String())
	assert.Equal(t, "35,5 MPa", v.Text())

	require.Error(t, v.Set("much"))
	assert.False(t, v.Known())
	assert.True(t, math.IsNaN(v.Value()))
	assert.Equal(t, "", v.Text())
}

func TestValueNamesTheFlagInErrors(t *testing.T) {
	flags := pflag.NewFlagSet("check", pflag.ContinueOnError)
	flags.Var(quantity.NewValue(quantity.Interval), "interval", "length of the collection")
	err := flags.Parse([]string{"--interval", "a while"})
	assert.ErrorContains(t, err, "--interval")
	assert.ErrorContains(t, err, "s, min or h")
}

// What parses prints back and parses to the same; an error means no value.
func FuzzParse(f *testing.F) {
	for _, text := range []string{
		"22.5", "22,5 mL", "2 US fl oz", "1m30s", "1 min 30,5 s", "1:30", "2.4 L/h", "14.5 psi",
		"-40 °F", "44 lbf·ft", "11 in-lb", "1,500", "mPa", "1e400", "", "-0", "0.0000001", "−4", "\xff", "1:2:3",
	} {
		for _, k := range allKinds {
			f.Add(int(k), text)
		}
	}
	f.Fuzz(func(t *testing.T, kind int, text string) {
		if kind < 0 || kind >= len(allKinds) {
			t.Skip()
		}
		k := quantity.Kind(kind)
		x, err := quantity.Parse(k, text)
		if err != nil {
			require.True(t, math.IsNaN(x))
			return
		}
		require.NoError(t, k.Check(x))
		v := quantity.NewValue(k)
		require.NoError(t, v.Set(text))
		back, err := quantity.Parse(k, v.String())
		require.NoError(t, err)
		require.Equal(t, math.Float64bits(x), math.Float64bits(back))
		shown := quantity.Format(k, x)
		rounded, err := quantity.Parse(k, shown)
		if k == quantity.Interval && x < 1.001 || x < 0.001 {
			return // rounding may leave the bounds
		}
		require.NoError(t, err)
		require.InDelta(t, x, rounded, 0.0005000001)
		require.Equal(t, shown, quantity.Format(k, rounded))
	})
}

func TestSplitPartsNumberAndUnit(t *testing.T) {
	for text, want := range map[string][2]string{
		"30 lbf·ft": {"30", "lbf·ft"}, " 22,5mL ": {"22,5", "mL"}, "60": {"60", ""}, "bar": {"", "bar"}, "\u22125 °C": {"-5", "°C"},
	} {
		number, unit := quantity.Split(text)
		assert.Equal(t, want, [2]string{number, unit}, text)
	}
}
