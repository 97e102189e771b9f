package repair

import (
	"math"
	"slices"

	"leakback/leakback"
	"leakback/limits"
	"leakback/stats"
)

// apartK is how far fuel temperatures may lie apart before rates are compared
// over the range of the exponent only.
const apartK = 5

// Temperature is how the fuel's temperatures of two tests lie to one another.
type Temperature struct {
	// BeforeC and AfterC are the means over the runs; NaN where a run of the test
	// has none, and where no fuel is that warm or cold.
	BeforeC, AfterC float64
	// BeforeAt and AfterAt are where they were taken: supply, rail, return, tube;
	// "" where that is not recorded or not the same in all runs.
	BeforeAt, AfterAt string
	// Apart says that they lie more than 5 K apart, or were taken at different
	// places.
	Apart bool
	// Elsewhere says that they were taken at different places.
	Elsewhere bool
	// BeforeViscosityMM2S and AfterViscosityMM2S are the fuel's there; NaN where a
	// temperature is not known.
	BeforeViscosityMM2S, AfterViscosityMM2S float64
}

func newTemperature(before, after *leakback.Test, fuel Fuel) Temperature {
	var t Temperature
	t.BeforeC, t.BeforeAt = fuelTemperature(before)
	t.AfterC, t.AfterAt = fuelTemperature(after)
	for _, c := range []*float64{&t.BeforeC, &t.AfterC} {
		if math.IsNaN(fuel.ViscosityMM2S(*c)) { // no temperature that a fuel has
			*c = math.NaN()
		}
	}
	t.BeforeViscosityMM2S, t.AfterViscosityMM2S = fuel.ViscosityMM2S(t.BeforeC), fuel.ViscosityMM2S(t.AfterC)
	t.Elsewhere = t.Known() && t.BeforeAt != "" && t.AfterAt != "" && t.BeforeAt != t.AfterAt
	t.Apart = t.Elsewhere || t.warmer()
	return t
}

// warmer says that the fuel was clearly warmer in one of the two.
func (t Temperature) warmer() bool { return stats.Round6(math.Abs(t.AfterC-t.BeforeC)) > apartK }

// Known says whether both temperatures are.
func (t Temperature) Known() bool { return !math.IsNaN(t.BeforeC) && !math.IsNaN(t.AfterC) }

// Scale is how many times as much the later test would have returned at the
// temperature of the earlier one, all of it through clearances (exponent 1).
func (t Temperature) Scale() float64 { return t.AfterViscosityMM2S / t.BeforeViscosityMM2S }

// fuelTemperature is the mean over the runs that count, and where it was taken.
func fuelTemperature(t *leakback.Test) (tempC float64, at string) {
	runs := counted(t)
	tempC = meanOf(runs, func(s *leakback.State) float64 { return s.FuelTempC })
	at = runs[0].State.FuelTempAt
	if slices.ContainsFunc(runs, func(r leakback.Run) bool { return r.State.FuelTempAt != at }) {
		at = ""
	}
	return tempC, at
}

// counted are the runs that were not left out.
func counted(t *leakback.Test) []leakback.Run {
	runs := slices.DeleteFunc(slices.Clone(t.Runs), func(r leakback.Run) bool { return r.LeftOut != "" })
	if len(runs) == 0 {
		return t.Runs
	}
	return runs
}

// meanOf is the mean of a figure of the state over runs; NaN where one has none.
func meanOf(runs []leakback.Run, figure func(*leakback.State) float64) float64 {
	values := make([]float64, len(runs))
	for i := range runs {
		values[i] = figure(&runs[i].State)
	}
	return stats.Mean(values)
}

// Range is a change over the exponent m of the temperature. Leakage through
// clearances goes with 1/viscosity (m = 1), through a damaged seat hardly with
// it at all (m = 0), and which of them a cylinder has is not known. At m the
// later rate, at the earlier test's temperature, is the one measured times
// (viscosity after / viscosity before)^m. The cylinders that agree leak through
// clearances alone: a cylinder's ratio to them goes with the same to the power
// m - 1, so that it is the one measured at m = 1.
type Range struct {
	// MaxMLMin is the maximum that the later rate, at the earlier test's
	// temperature, is held against; NaN where none is (maximumAtBefore).
	MaxMLMin float64
	// Zero and One are the two ends, and Half lies half-way: the least bad single
	// figure, which decides nothing.
	Zero, Half, One End
	// Pieces are the stretches of m from 0 to 1 on which every decision is the
	// same; more than one where a decision changes.
	Pieces []Piece
}

// End is a change at one exponent.
type End struct {
	M float64
	// RateMLMin is the later rate at the earlier test's temperature, and Rate the
	// change with it.
	RateMLMin float64
	Rate      Shift
	// RatioToConsensus is the later ratio there, and Ratio the change with it.
	RatioToConsensus float64
	Ratio            Shift
}

// Piece is a stretch of the exponent.
type Piece struct {
	FromM, ToM float64
	Decisions
}

// Decisions are what may depend on the exponent.
type Decisions struct {
	// Rate and Ratio are the directions of the change: -1, 0 or +1.
	Rate, Ratio int
	// Limit holds the later rate, at the earlier test's temperature, against the
	// range's maximum; Open where there is none.
	Limit stats.Decision
	// Apart says that it would stand apart from its set there.
	Apart bool
}

// limit is the decision against the maximum that holds throughout; Open where it
// changes.
func (r *Range) limit() stats.Decision {
	first := r.Pieces[0].Limit
	if !r.Throughout(func(d Decisions) bool { return d.Limit == first }) {
		return stats.Open
	}
	return first
}

// Holds says that no decision depends on the exponent.
func (r *Range) Holds() bool { return len(r.Pieces) == 1 }

// Throughout says whether something holds on every piece.
func (r *Range) Throughout(holds func(Decisions) bool) bool {
	return !slices.ContainsFunc(r.Pieces, func(p Piece) bool { return !holds(p.Decisions) })
}

// direction is the one that holds throughout; settled is false where it changes.
func (r *Range) direction(byRatio bool) (direction int, settled bool) {
	of := func(d Decisions) int {
		if byRatio {
			return d.Ratio
		}
		return d.Rate
	}
	direction = of(r.Pieces[0].Decisions)
	if !r.Throughout(func(d Decisions) bool { return of(d) == direction }) {
		return 0, false
	}
	return direction, true
}

// scaled is a change as a function of the exponent.
type scaled struct {
	c     *Change
	scale float64
	// maxMLMin is the maximum to hold the rate against; NaN where there is none.
	maxMLMin float64
}

func (s scaled) at(m float64) End {
	rate := s.c.After.rate().times(math.Pow(s.scale, m))
	ratio := s.c.After.ratio().times(math.Pow(s.scale, m-1))
	return End{M: m, RateMLMin: rate.value, Rate: shift(s.c.Before.rate(), rate),
		RatioToConsensus: ratio.value, Ratio: shift(s.c.Before.ratio(), ratio)}
}

func (s scaled) decide(m float64) Decisions {
	e := s.at(m)
	d := Decisions{Rate: e.Rate.Direction(), Ratio: e.Ratio.Direction(), Limit: s.limit(m)}
	d.Apart = stats.Round6(e.RatioToConsensus) >= stats.Round6(s.c.After.BitingRatio)
	return d
}

// limit is the guarded decision at m, one-sided 95 % as in every test.
func (s scaled) limit(m float64) stats.Decision {
	f := s.c.After.rate().times(math.Pow(s.scale, m))
	if math.IsNaN(s.maxMLMin) || math.IsNaN(f.value) {
		return stats.Open
	}
	if f.bound != leakback.Exact {
		f.u, f.dof = 0, stats.MaxDoF
	}
	d := stats.Against(f.value, stats.T95(f.dof)*f.u, s.maxMLMin)
	if f.bound == leakback.AtLeast && d == stats.Below || f.bound == leakback.AtMost && d == stats.Above {
		return stats.Open
	}
	return d
}

// grid is how finely the exponent is looked through before a crossing is
// narrowed down. Every decision is monotone in m, so that a stretch holds at
// most one crossing of each; exponentPrecision is how closely it is found.
const (
	grid              = 16
	exponentPrecision = 1e-6
)

// overExponent is a change over the range of the exponent; nil where a
// temperature is beyond the fuel's equation.
func (p *Pair) overExponent(c *Change) *Range {
	scale := p.Temperature.Scale()
	if math.IsNaN(scale) || !c.Before.Read() || !c.After.Read() {
		return nil
	}
	s := scaled{c: c, scale: scale, maxMLMin: p.maximumAtBefore(c.Cylinder)}
	r := &Range{MaxMLMin: s.maxMLMin, Zero: s.at(0), Half: s.at(0.5), One: s.at(1)}
	from, now := 0.0, s.decide(0)
	for k := range grid {
		low, high := float64(k)/grid, float64(k+1)/grid
		for then := s.decide(high); s.decide(low) != then; { // each crossing between the two
			at := s.crossing(low, high)
			r.Pieces = append(r.Pieces, Piece{from, at, now})
			from, low = at, at
			now = s.decide(low)
		}
	}
	r.Pieces = append(r.Pieces, Piece{from, 1, now})
	return r
}

// crossing is the first exponent found behind low at which the decisions of low
// no longer hold, by bisection.
func (s scaled) crossing(low, high float64) float64 {
	start := s.decide(low)
	for high-low > exponentPrecision {
		if mid := (low + high) / 2; s.decide(mid) == start {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}

// maximumAtBefore is the maximum that the later rate, brought to the earlier
// test's temperature, is held against: that of the later test, else of the
// earlier one. There is none (NaN) where the limit names fuel temperatures and the
// later test was within them: then the sheet itself says that the two may be held
// against one figure.
func (p *Pair) maximumAtBefore(cylinder int) float64 {
	for _, l := range []*limits.Limit{p.after.Result.Limit, p.before.Result.Limit} {
		most, ok := maximumOf(l, cylinder)
		switch {
		case ok && covers(l.FuelTempC, p.Temperature.AfterC):
			return math.NaN()
		case ok:
			return most
		}
	}
	return math.NaN()
}

// maximumOf is the maximum of a cylinder, or of the whole return, and whether
// there is one.
func maximumOf(l *limits.Limit, cylinder int) (float64, bool) {
	switch {
	case cylinder != wholeEngine:
		return l.MaxMLMin()
	case l == nil || l.MaxTotalMLMin == nil:
		return 0, false
	}
	return *l.MaxTotalMLMin, true
}
