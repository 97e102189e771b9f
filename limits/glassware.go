package limits

import (
	"fmt"
	"strings"

	"leakback/limits/quantity"
)

// cylinders are the laboratory cylinders of ASTM E1272-02(2012), Table 1: the
// capacity, the steps between marks that it is made with, and the largest error
// at any point of the scale, in mL at 20 °C. Two graduations of one capacity
// share their tolerance.
var cylinders = []struct {
	capacityML, classAML, classBML float64
	graduationsML                  []float64
}{
	{5, 0.05, 0.1, []float64{0.1}},
	{10, 0.1, 0.2, []float64{0.1, 0.2}},
	{25, 0.17, 0.34, []float64{0.2, 0.5}},
	{50, 0.25, 0.5, []float64{1}},
	{100, 0.5, 1, []float64{1}},
	{250, 1, 2, []float64{2}},
	{500, 2, 4, []float64{5}},
	{1000, 3, 6, []float64{10}},  // tolerances from memory
	{2000, 6, 12, []float64{20}}, // from memory
}

// Glass is one common size of graduated cylinder.
type Glass struct {
	// CapacityML is the highest mark, GraduationML the step between two marks.
	CapacityML, GraduationML float64
}

// CommonGlass lists the sizes of ASTM E1272, from the smallest.
func CommonGlass() []Glass {
	var sizes []Glass
	for _, c := range cylinders {
		for _, g := range c.graduationsML {
			sizes = append(sizes, Glass{c.capacityML, g})
		}
	}
	return sizes
}

// GlassToleranceML is the largest error of a laboratory cylinder of a capacity
// in mL and of class A or B by ASTM E1272. Shop plastic is neither. The error
// lists what the standard has.
func GlassToleranceML(capacityML float64, class string) (float64, error) {
	if !strings.EqualFold(class, "A") && !strings.EqualFold(class, "B") {
		return 0, fmt.Errorf("%s: expected class A or B", quantity.Quote(class))
	}
	var known []string
	for _, c := range cylinders {
		if c.capacityML == capacityML && strings.EqualFold(class, "A") {
			return c.classAML, nil
		}
		if c.capacityML == capacityML {
			return c.classBML, nil
		}
		known = append(known, quantity.Plain(c.capacityML, -1))
	}
	return 0, fmt.Errorf("%s: expected a capacity that ASTM E1272 has: %s mL",
		quantity.Format(quantity.Volume, capacityML), quantity.Listed(known, "or"))
}
