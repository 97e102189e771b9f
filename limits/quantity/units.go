package quantity

import "strings"

// unit turns a figure into the inside unit: (x - sub) * mul / div. Factor and
// divisor are apart so that a round figure stays round: 290 kPa is 2.9 bar.
type unit struct{ sub, mul, div float64 }

// inside is x of the unit in the inside unit.
func (u unit) inside(x float64) float64 { return (x - u.sub) * u.mul / u.div }

// same is the inside unit itself.
var same = unit{0, 1, 1}

// Exact by definition: the international pound, standard gravity, the
// international inch and the US gallon of 231 cubic inches (128 fluid ounces).
const (
	kgPerLb        = 0.45359237
	gravity        = 9.80665 // m/s2
	metrePerInch   = 0.0254
	metrePerFoot   = 12 * metrePerInch
	mLPerCubicInch = 2.54 * 2.54 * 2.54
	mLPerFluidOz   = 231 * mLPerCubicInch / 128
	newtonPerLbf   = kgPerLb * gravity
	pascalPerPsi   = newtonPerLbf / (metrePerInch * metrePerInch)
	pascalPerBar   = 1e5
)

// The names are canonical ones.
var (
	volumeUnits = named(map[unit][]string{
		same:                 {"ml", "cc", "cm3", "ccm", "cm^3"},
		{0, 1, 1000}:         {"ul"},
		{0, 1000, 1}:         {"l"},
		{0, mLPerFluidOz, 1}: {"floz", "fl.oz", "fl.oz.", "usfloz", "usfl.oz", "usfl.oz."},
	})
	intervalUnits = named(map[unit][]string{
		same:         {"s", "sec", "secs", "second", "seconds"},
		{0, 60, 1}:   {"m", "min", "mins", "minute", "minutes"},
		{0, 3600, 1}: {"h", "hr", "hour", "hours"},
	})
	rateUnits = named(map[unit][]string{
		same:          {"ml/min", "cc/min", "cm3/min", "ccm/min", "cm^3/min"},
		{0, 1000, 1}:  {"l/min"},
		{0, 1000, 60}: {"l/h", "l/hr"},
	})
	pressureUnits = named(map[unit][]string{
		same:                            {"bar", "bars"},
		{0, pascalPerPsi, pascalPerBar}: {"psi"},
		{0, 1, 100}:                     {"kpa"},
		{0, 10, 1}:                      {"mpa"},
	})
	temperatureUnits = named(map[unit][]string{
		same:       {"c", "°c", "degc", "deg.c", "celsius"},
		{32, 5, 9}: {"f", "°f", "degf", "deg.f", "fahrenheit"},
	})
	torqueUnits = named(map[unit][]string{
		same:                                {"n.m", "nm"}, // mN would be a millinewton
		{0, newtonPerLbf * metrePerFoot, 1}: products([]string{"lbf", "lb", "lbs"}, "ft"),
		{0, newtonPerLbf * metrePerInch, 1}: products([]string{"lbf", "lb", "lbs"}, "in"),
		{0, gravity, 1}:                     products([]string{"kgf", "kg"}, "m"),
	})
)

// named turns units with their names into names with their unit.
func named(units map[unit][]string) map[string]unit {
	byName := map[string]unit{}
	for u, names := range units {
		for _, name := range names {
			byName[name] = u
		}
	}
	return byName
}

// products are the ways to write force times arm, in either order.
func products(forces []string, arm string) []string {
	var names []string
	for _, force := range forces {
		names = append(names, force+"."+arm, arm+"."+force, force+arm, arm+force)
	}
	return names
}

// variants brings the signs that keyboards and word processors put for one
// another to one: every middle dot, hyphen and star between two units is a
// point, both micro signs are u, every degree sign is one.
var variants = strings.NewReplacer(
	"·", ".", "⋅", ".", "∙", ".", "•", ".", "‧", ".", "×", ".", "*", ".",
	"-", ".", "\u2010", ".", "\u2011", ".", "\u2013", ".",
	"\u00b5", "u", "\u03bc", "u", "³", "3",
	"º", "°", "˚", "°", "℃", "°c", "℉", "°f",
)

// canonical is a unit's name without spaces, case and variants.
func canonical(name string) string {
	return strings.ToLower(variants.Replace(strings.Join(strings.Fields(name), "")))
}
