package command

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"leakback/limits/quantity"
)

// tubeValue is a tube given as a flag: capacity/marks. It is a pflag.Value.
type tubeValue struct {
	known                    bool
	capacityML, graduationML float64
	text                     string
}

var errTube = errors.New("expected capacity and marks in mL, such as 100/1 for 100 mL with marks of 1 mL")

// Set reads capacity/marks, each a volume in the units of the trade.
func (t *tubeValue) Set(text string) error {
	*t = tubeValue{}
	capacity, marks, ok := strings.Cut(text, "/")
	if !ok || strings.Contains(marks, "/") {
		return fmt.Errorf("%s: %w", quantity.Quote(text), errTube)
	}
	read := tubeValue{known: true, text: text}
	for _, part := range []struct {
		text string
		to   *float64
	}{{capacity, &read.capacityML}, {marks, &read.graduationML}} {
		x, err := quantity.Parse(quantity.Volume, part.text)
		switch {
		case err != nil:
			return fmt.Errorf("%w; %w", err, errTube)
		case x == 0:
			return fmt.Errorf("%s: %w", quantity.Quote(text), errTube)
		}
		*part.to = x
	}
	if read.graduationML > read.capacityML {
		return fmt.Errorf("%s: marks of %s are more than the tube holds: %w", quantity.Quote(text),
			quantity.Format(quantity.Volume, read.graduationML), errTube)
	}
	*t = read
	return nil
}

// String is what was typed; "" where it is not set.
func (t *tubeValue) String() string { return t.text }

// Type is the word that help shows behind the flag's name.
func (t *tubeValue) Type() string { return "tube" }

// The orders in which block-off may go through an engine.
const (
	orderCylinder = "cylinder"
	orderFiring   = "firing"
)

// order is the cylinders in the order in which they are blocked.
func (p *planning) order() ([]int, error) {
	n := p.o.cylinders
	switch p.o.order {
	case orderCylinder:
		order := make([]int, n)
		for i := range order {
			order[i] = i + 1
		}
		return order, nil
	case orderFiring:
		if len(p.sheet.FiringOrder) != n {
			return nil, fmt.Errorf("--order: firing: the limits sheet %s has no firing order of %d cylinders; "+
				"expected it there, or the list itself", p.sheet.Name, n)
		}
		return p.sheet.FiringOrder, nil
	}
	return listedOrder(p.o.order, n)
}

// listedOrder reads 1-5-3-6-2-4.
func listedOrder(text string, cylinders int) ([]int, error) {
	words := strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune("-, ", r) })
	order := make([]int, 0, len(words))
	for _, word := range words {
		c, err := strconv.Atoi(word)
		if err != nil || c < 1 || c > cylinders || slices.Contains(order, c) {
			order = nil
			break
		}
		order = append(order, c)
	}
	if len(order) != cylinders {
		return nil, fmt.Errorf("--order: %s: expected cylinder, firing, or each of the %d cylinders once, such as 1-3-4-2",
			quantity.Quote(text), cylinders)
	}
	return order, nil
}
