package repair

import (
	"math"

	"leakback/leakback"
	"leakback/stats"
)

// The levels of confidence at which a change is held against noise.
const (
	Likely  = 0.95
	Certain = 0.99
)

// Shift is how far a figure moved from the earlier test to the later one.
type Shift struct {
	// Value is after less before, or a bound of that; NaN where there is none.
	Value float64
	// Bound says on which side of Value the true change lies.
	Bound leakback.Bound
	// U is its standard uncertainty, DoF the degrees of freedom: the parts of both
	// tests as if independent, although with the same tube part of the scale's
	// error cancels.
	U, DoF float64
	// T is Value over U and P the two-sided probability of such a change by
	// measurement noise alone; NaN for a bound.
	T, P float64
	// Level is the highest of Certain and Likely at which the change is more than
	// measurement noise; 0 where it is not.
	Level float64
}

// Direction is -1 where the figure fell by more than noise (95 %), +1 where it
// rose, 0 where neither is shown.
func (s Shift) Direction() int {
	if s.Level == 0 {
		return 0
	}
	return int(math.Copysign(1, s.Value))
}

// Words says how the change compares with measurement noise.
func (s Shift) Words() string {
	switch {
	case math.IsNaN(s.Value):
		return "cannot be told"
	case s.Level == Certain:
		return "more than measurement noise (99 %)"
	case s.Level == Likely:
		return "more than measurement noise (95 %)"
	}
	return "not more than measurement noise"
}

// figure is one side of a shift.
type figure struct {
	value, u, dof float64
	bound         leakback.Bound
}

func (f *Figures) rate() figure { return figure{f.RateMLMin, f.UMLMin, f.DoF, f.Bound} }
func (f *Figures) ratio() figure {
	return figure{f.RatioToConsensus, f.RatioU, f.RatioDoF, f.Bound}
}

// times is the figure at another temperature.
func (f figure) times(x float64) figure {
	f.value, f.u = f.value*x, f.u*x
	return f
}

// estimate is what enters a difference: a bound that was read has no uncertainty.
func (f figure) estimate() stats.Estimate {
	if f.bound != leakback.Exact {
		return stats.Estimate{Value: f.value, DoF: stats.MaxDoF}
	}
	return stats.Estimate{Value: f.value, U: f.u, DoF: f.dof}
}

// shift is how far a figure moved. With a bound on either side only a bound of
// the change is known, and only a change towards that side can be shown.
func shift(before, after figure) Shift {
	nan := math.NaN()
	s := Shift{Value: nan, U: nan, DoF: nan, T: nan, P: nan}
	bound, known := boundOf(before.bound, after.bound)
	if !known || math.IsNaN(before.value) || math.IsNaN(after.value) {
		return s
	}
	d := after.estimate().Less(before.estimate())
	s.Value, s.Bound, s.U, s.DoF = d.Value, bound, d.U, d.DoF
	if bound == leakback.Exact {
		s.T, s.P = d.T(), d.P()
	} else if (d.Value > 0) != (bound == leakback.AtLeast) { // the other side proves nothing
		return s
	}
	for _, level := range []float64{Likely, Certain} {
		if d.Exceeds(level) {
			s.Level = level
		}
	}
	return s
}

// boundOf is the bound of after less before; unknown where both are bounds of
// one kind.
func boundOf(before, after leakback.Bound) (bound leakback.Bound, known bool) {
	opposite := [...]leakback.Bound{leakback.Exact: leakback.Exact, leakback.AtLeast: leakback.AtMost, leakback.AtMost: leakback.AtLeast}
	switch from := opposite[before]; {
	case from == leakback.Exact:
		return after, true
	case after == leakback.Exact, after == from:
		return from, true
	}
	return leakback.Exact, false
}

// Change is one cylinder, or the whole return, in two tests.
type Change struct {
	// Cylinder is 0 for the whole return.
	Cylinder      int
	Before, After Figures
	// Rate is the change of the rate as measured, in mL/min.
	Rate Shift
	// Ratio is the change of the ratio to the consensus as measured.
	Ratio Shift
	// Range is the change over the exponent of the temperature; nil where the
	// temperatures are not known, or lie together.
	Range *Range
	// RatioCounts says that the change is told by the ratio and not by the rate:
	// the temperatures lie apart, or no interval was measured.
	RatioCounts bool
}

// Worse says that the cylinder fails in the later test and did not in the
// earlier one.
func (c *Change) Worse() bool {
	return c.After.Verdict == leakback.Fail && c.Before.Verdict != leakback.Fail
}

// Direction is which way the cylinder's return moved by more than noise (95 %):
// -1, +1, or 0 where that is not shown. settled is false where it depends on the
// unknown exponent of the temperature, and the direction is then 0.
func (c *Change) Direction() (direction int, settled bool) {
	if c.Range != nil {
		return c.Range.direction(c.RatioCounts)
	}
	return c.deciding().Direction(), true
}

// deciding is the shift that tells the change.
func (c *Change) deciding() Shift {
	if c.RatioCounts {
		return c.Ratio
	}
	return c.Rate
}

// Level is the highest of Certain and Likely at which the change is more than
// noise, at every exponent where temperatures lie apart; 0 where it is not.
func (c *Change) Level() float64 {
	if c.Range == nil {
		return c.deciding().Level
	}
	if direction, _ := c.Direction(); direction == 0 {
		return 0
	}
	if c.RatioCounts {
		return math.Min(c.Range.Zero.Ratio.Level, c.Range.One.Ratio.Level)
	}
	return math.Min(c.Range.Zero.Rate.Level, c.Range.One.Rate.Level)
}

// change holds the figures of two tests against one another.
func (p *Pair) change(cylinder int, before, after Figures) Change {
	c := Change{Cylinder: cylinder, Before: before, After: after}
	c.Rate = shift(before.rate(), after.rate())
	c.Ratio = shift(before.ratio(), after.ratio())
	noRate := math.IsNaN(before.RateMLMin) || math.IsNaN(after.RateMLMin)
	c.RatioCounts = noRate || p.Temperature.Apart && p.yardstick() && !math.IsNaN(c.Ratio.Value)
	if p.Temperature.Apart {
		c.Range = p.overExponent(&c)
	}
	return c
}

// yardstick says whether the consensus may be held against that of the earlier
// test: most of the engine was left alone between the two.
func (p *Pair) yardstick() bool {
	return 2*len(p.allWorkedOn()) <= len(p.after.Result.Cylinders)
}
