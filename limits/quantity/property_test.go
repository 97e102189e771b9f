package quantity_test

import (
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leakback/limits/quantity"
	"leakback/stats"
)

// alias is a unit that people type and its exact size in the inside unit.
type alias struct {
	kind  quantity.Kind
	names []string
	size  *big.Rat
}

func ratio(text string) *big.Rat {
	r, ok := new(big.Rat).SetString(text)
	if !ok {
		panic(text)
	}
	return r
}

func product(factors ...string) *big.Rat {
	r := big.NewRat(1, 1)
	for _, f := range factors {
		r.Mul(r, ratio(f))
	}
	return r
}

// Source: the exact definitions in NIST Special Publication 811 (2008), Appendix
// B: the inch is 0.0254 m, the avoirdupois pound 0.45359237 kg, standard gravity
// 9.80665 m/s2, the US gallon 231 cubic inches and 128 fluid ounces.
var aliases = []alias{
	{quantity.Volume, []string{"mL", " cc", " cm3", "ml", " CCM"}, ratio("1")},
	{quantity.Volume, []string{" L", "l"}, ratio("1000")},
	{quantity.Volume, []string{" µL", " ul"}, ratio("1/1000")},
	{quantity.Volume, []string{" US fl oz", " fl. oz.", "floz"}, product("2.54", "2.54", "2.54", "231/128")},
	{quantity.Interval, []string{"", "s", " sec", " SECONDS"}, ratio("1")},
	{quantity.Interval, []string{" min", "m", " minutes"}, ratio("60")},
	{quantity.Interval, []string{" h", " hr"}, ratio("3600")},
	{quantity.Rate, []string{"", " mL/min", " cc/min"}, ratio("1")},
	{quantity.Rate, []string{" L/min"}, ratio("1000")},
	{quantity.Rate, []string{" L/h", "l/hr"}, ratio("1000/60")},
	{quantity.Pressure, []string{"", " bar", "BAR"}, ratio("1")},
	{quantity.Pressure, []string{" MPa", "mpa"}, ratio("10")},
	{quantity.Pressure, []string{" kPa"}, ratio("1/100")},
	{quantity.Pressure, []string{" psi", " PSI"}, product("0.45359237", "9.80665", "10000/254", "10000/254", "1/100000")},
	{quantity.Torque, []string{" N·m", "Nm", " N*m"}, ratio("1")},
	{quantity.Torque, []string{" lbf·ft", " ft-lb", " lb ft"}, product("0.45359237", "9.80665", "12", "0.0254")},
	{quantity.Torque, []string{" lbf·in", " in lbs"}, product("0.45359237", "9.80665", "0.0254")},
	{quantity.Torque, []string{" kgf·m", " m·kgf"}, ratio("9.80665")},
}

// figures draws a plain decimal as people type it and its exact value.
func figures(t *rapid.T, high int64) (text string, exact *big.Rat) {
	places := rapid.IntRange(0, 6).Draw(t, "decimals")
	whole := rapid.Int64Range(0, high*int64(math.Pow10(places))).Draw(t, "digits")
	exact = big.NewRat(whole, int64(math.Pow10(places)))
	text = exact.FloatString(places)
	return text, exact
}

// What was typed in one unit is what it is in another: within the last bits of
// the exact definitions, and the same at the 6 decimals by which all is decided.
func TestUnitsAreTheirDefinitions(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.SampledFrom(aliases).Draw(t, "unit")
		text, exact := figures(t, 3000)
		want, _ := new(big.Rat).Mul(exact, a.size).Float64()
		name := rapid.SampledFrom(a.names).Draw(t, "name")
		got, err := quantity.Parse(a.kind, text+name)
		low, high := a.kind.Bounds()
		if inside := want >= low && want <= high; (err == nil) != inside {
			// At the bound itself the last bit decides.
			require.InEpsilon(t, 1, 1+math.Min(math.Abs(want-low), math.Abs(want-high))/(1+want), 1e-12, "%s: %v", text+name, err)
			return
		}
		if err != nil {
			require.True(t, math.IsNaN(got))
			return
		}
		require.InDelta(t, want, got, 4e-16*want)
		require.Equal(t, stats.Round6(want), stats.Round6(got), "decides alike")

		comma, err := quantity.Parse(a.kind, strings.Replace(text, ".", ",", 1)+name)
		if err == nil { // "1,500" is refused
			require.Equal(t, got, comma)
		}
		spaced, err := quantity.Parse(a.kind, "  +"+text+strings.ToUpper(name)+" ")
		if !strings.Contains(name, "µ") {
			require.NoError(t, err)
			require.Equal(t, got, spaced)
		}
	})
}

// Degrees Fahrenheit by their definition, t/degC = (t/degF - 32)/1.8 (NIST SP 811).
func TestFahrenheitIsItsDefinition(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tenths := rapid.Int64Range(-700, 3900).Draw(t, "tenths of a degree")
		name := rapid.SampledFrom([]string{" °F", "F", " degF", " deg F", "℉"}).Draw(t, "name")
		exact := new(big.Rat).Mul(new(big.Rat).Sub(big.NewRat(tenths, 10), ratio("32")), ratio("5/9"))
		want, _ := exact.Float64()
		got, err := quantity.Parse(quantity.Temperature, big.NewRat(tenths, 10).FloatString(1)+name)
		require.Equal(t, want >= -60 && want <= 200, err == nil)
		if err == nil {
			require.InDelta(t, want, got, 1e-13)
			require.Equal(t, stats.Round6(want), stats.Round6(got), "decides alike")
		}
	})
}

// However a stopwatch's time is written, it is the same seconds.
func TestIntervalsAreTheSameTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h, m, s := rapid.IntRange(0, 3).Draw(t, "h"), rapid.IntRange(0, 59).Draw(t, "min"), rapid.IntRange(0, 59).Draw(t, "s")
		tenth := rapid.IntRange(0, 9).Draw(t, "tenth")
		want := float64(36000*h+600*m+10*s+tenth) / 10
		texts := []string{
			fmt.Sprintf("%d:%02d:%02d.%d", h, m, s, tenth), fmt.Sprintf("%dh%dm%d,%ds", h, m, s, tenth),
			fmt.Sprintf("%d:%02d.%d", 60*h+m, s, tenth), fmt.Sprintf("%d min %d.%d s", 60*h+m, s, tenth),
			strconv.FormatFloat(want, 'f', 1, 64),
		}
		for _, text := range texts {
			got, err := quantity.Parse(quantity.Interval, text)
			if want < 1 {
				require.Error(t, err, text)
				continue
			}
			require.NoError(t, err, text)
			require.InDelta(t, want, got, 1e-11, text)
			require.Equal(t, stats.Round6(want), stats.Round6(got), text)
		}
	})
}

// Printed figures are the figure rounded half away from zero on its decimal of
// 15 digits (OpenDocument v1.2 part 2, 6.17.5), worked in exact decimals.
func TestFixedIsTheDecimal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.OneOf(rapid.Float64Range(-1e6, 1e6), rapid.Float64(),
			rapid.Map(rapid.IntRange(-1e8, 1e8), func(n int) float64 { return float64(n) / 2000 })).Draw(t, "x")
		decimals := rapid.IntRange(0, 8).Draw(t, "decimals")
		got := quantity.Fixed(x, decimals)
		exact := ratio(strconv.FormatFloat(math.Abs(x), 'e', 14, 64))
		scale := ratio(strconv.FormatFloat(math.Pow10(decimals), 'f', 0, 64))
		half := new(big.Rat).Add(new(big.Rat).Mul(exact, scale), big.NewRat(1, 2))
		whole := new(big.Int).Quo(half.Num(), half.Denom())
		want := new(big.Rat).Quo(new(big.Rat).SetInt(whole), scale).FloatString(decimals)
		if x < 0 && strings.Trim(want, "0.") != "" {
			want = "-" + want
		}
		require.Equal(t, want, got)
		if math.Abs(x) < 1e9 {
			require.Equal(t, stats.Round6(quantity.Printed(x, 6)), quantity.Printed(x, 6), "six decimals are what decides")
		}
	})
}

// The digits that are added part a figure from its limit wherever six decimals
// do, on the right side of it.
func TestApartShowsTheSide(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		limit := float64(rapid.IntRange(0, 2000).Draw(t, "half limit")) / 2
		x := limit + rapid.OneOf(rapid.Float64Range(-50, 50), rapid.Float64Range(-1e-5, 1e-5)).Draw(t, "beside it")
		least := rapid.IntRange(0, 3).Draw(t, "decimals")
		d := quantity.Apart(x, limit, least)
		require.GreaterOrEqual(t, d, least)
		shown, bar := quantity.Printed(x, d), quantity.Printed(limit, d)
		switch at6, bar6 := quantity.Printed(x, 6), quantity.Printed(limit, 6); {
		case at6 > bar6:
			require.Greater(t, shown, bar)
		case at6 < bar6:
			require.Less(t, shown, bar)
		default:
			require.Equal(t, least, d, "nothing parts them")
		}
		for fewer := least; fewer < d; fewer++ {
			require.Equal(t, quantity.Fixed(limit, fewer), quantity.Fixed(x, fewer), "no digit more than it takes")
		}
	})
}
