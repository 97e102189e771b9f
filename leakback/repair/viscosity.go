package repair

import (
	"fmt"
	"math"

	"leakback/limits/quantity"
)

// Point is one kinematic viscosity of a fuel.
type Point struct {
	// TempC is the temperature in degC.
	TempC float64
	// ViscosityMM2S is the kinematic viscosity there in mm2/s, which is cSt.
	ViscosityMM2S float64
}

// Fuel says how the viscosity of a fuel changes with temperature, by the
// equation of Walther that ASTM D341 takes: log10 log10(nu + 0.7) = A - B log10 T
// with nu in mm2/s and T in K. The standard adds a term below 2 mm2/s; left out
// here, it moves 1.5 mm2/s by a third of a percent of nu + 0.7.
type Fuel struct {
	// A and B are the constants of the equation.
	A, B float64
	// Points are the two it was made from; of an assumed fuel the second is
	// computed from the first.
	Points [2]Point
	// Assumed says that nobody gave the points: a typical diesel stands in.
	Assumed bool
}

// What a diesel is taken for where nobody gave points of the fuel: the middle
// of EN 590 and of ISO 4113 at 40 degC; the slope is common practice, no source.
const (
	assumedTempC         = 40
	assumedViscosityMM2S = 2.7
	assumedSlope         = 3.75
)

// Bounds beyond which a point, or two points together, can only be a mistake.
const (
	leastViscosityMM2S = 0.31 // log10 log10(nu + 0.7) needs nu above 0.3
	mostViscosityMM2S  = 1000
	leastApartK        = 10
	leastSlope         = 1
	mostSlope          = 8
	zeroCelsiusK       = 273.15
	walther            = 0.7
)

// AssumedFuel is a typical diesel: 2.7 mm2/s at 40 degC, slope 3.75.
func AssumedFuel() Fuel {
	f := Fuel{B: assumedSlope, Assumed: true}
	f.A = doubleLog(assumedViscosityMM2S) + f.B*logKelvin(assumedTempC)
	f.Points[0] = Point{assumedTempC, assumedViscosityMM2S}
	f.Points[1] = Point{2 * assumedTempC, f.ViscosityMM2S(2 * assumedTempC)}
	return f
}

// NewFuel is the fuel of two points, in any order. The error says what about
// them no fuel can be.
func NewFuel(a, b Point) (Fuel, error) {
	for _, p := range []Point{a, b} {
		if err := p.check(); err != nil {
			return Fuel{}, err
		}
	}
	if a.TempC > b.TempC {
		a, b = b, a
	}
	if b.TempC-a.TempC < leastApartK {
		return Fuel{}, fmt.Errorf("points at %s and %s: expected two temperatures at least %d K apart",
			quantity.Format(quantity.Temperature, a.TempC), quantity.Format(quantity.Temperature, b.TempC), leastApartK)
	}
	f := Fuel{Points: [2]Point{a, b}}
	f.B = (doubleLog(a.ViscosityMM2S) - doubleLog(b.ViscosityMM2S)) / (logKelvin(b.TempC) - logKelvin(a.TempC))
	f.A = doubleLog(a.ViscosityMM2S) + f.B*logKelvin(a.TempC)
	if !(f.B >= leastSlope && f.B <= mostSlope) {
		return Fuel{}, fmt.Errorf("%s and %s: expected the viscosity of one fuel, which falls as it warms (slope B from %d to %d, here %s)",
			a, b, leastSlope, mostSlope, quantity.Fixed(f.B, 2))
	}
	return f, nil
}

func (p Point) check() error {
	if err := quantity.Temperature.Check(p.TempC); err != nil {
		return err
	}
	if !(p.ViscosityMM2S >= leastViscosityMM2S && p.ViscosityMM2S <= mostViscosityMM2S) {
		return fmt.Errorf("%s: expected a viscosity from %s to %s mm²/s", quantity.Plain(p.ViscosityMM2S, -1),
			quantity.Plain(leastViscosityMM2S, -1), quantity.Grouped(mostViscosityMM2S))
	}
	return nil
}

// String is "2.7 mm²/s at 40 °C".
func (p Point) String() string {
	return quantity.Plain(p.ViscosityMM2S, 3) + " mm²/s at " + quantity.Format(quantity.Temperature, p.TempC)
}

// ViscosityMM2S is the kinematic viscosity at a temperature in degC; NaN where
// that is beyond the bounds of a temperature.
func (f Fuel) ViscosityMM2S(tempC float64) float64 {
	if quantity.Temperature.Check(tempC) != nil {
		return math.NaN()
	}
	return math.Pow(10, math.Pow(10, f.A-f.B*logKelvin(tempC))) - walther
}

// String is how people name the fuel: its points, or that it is assumed.
func (f Fuel) String() string {
	if f.Assumed {
		return fmt.Sprintf("a typical diesel, assumed (%s, slope B %s)", f.Points[0], quantity.Plain(f.B, 3))
	}
	return fmt.Sprintf("the fuel of %s and %s", f.Points[0], f.Points[1])
}

func doubleLog(viscosityMM2S float64) float64 { return math.Log10(math.Log10(viscosityMM2S + walther)) }

func logKelvin(tempC float64) float64 { return math.Log10(tempC + zeroCelsiusK) }
