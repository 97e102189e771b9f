package leakback

import (
	"math"
	"slices"

	"leakback/limits"
	"leakback/stats"
)

// Sample is what one test tells about how far sound injectors, and readings of
// one injector, scatter.
type Sample struct {
	// ID, Engine, Condition and Injectors are the test's.
	ID, Engine, Condition, Injectors string
	// Without is the finding for which the test has no set to learn from: back-pressure,
	// few-cylinders, too-little-return (a median below ten marks), over-range,
	// below-first-mark or sequential, and Merged; "" where it has one. Over-range and
	// below-first-mark stand for a bound among the cylinders that agree: how far they
	// are apart is then not known.
	Without Code
	// Cylinders are the numbers of the cylinders of the set, LogRates the
	// logarithms of their rates in mL/min.
	Cylinders []int
	LogRates  []float64
	// Beyond are those that stand apart from the set whatever they return: the
	// tube overflowed far above it, or nothing reached the first mark far below.
	// They belong to the test and not to the set.
	Beyond []Beyond
	// LevelMLMin is the median rate, the cylinders of Beyond included; NaN
	// without a set.
	LevelMLMin float64
	// Repeats is what the test's repeated runs tell.
	Repeats Repeats

	all     []series
	members []int // places of Cylinders in all
	runs    int
}

// Merged stands in Sample.Without for a test whose returns were not collected
// cylinder by cylinder; it is no finding. Shares are known too badly: what their
// runs scatter would be learned, and not what injectors do.
const Merged Code = "merged"

// Beyond is a cylinder whose return lies beyond the scale of its tube.
type Beyond struct {
	Cylinder  int
	Bound     Bound
	RateMLMin float64 // the bound
}

// Repeats is how repeated runs came out, of the cylinders with a plain reading
// of at least ten marks in every run: below that the marks are coarser than
// what is looked for. Without two such cylinders and two runs it is empty.
type Repeats struct {
	// Cylinders are the numbers of the cylinders.
	Cylinders []int
	// LogRates are the logarithms of the rates in mL/min, a row a cylinder, a
	// column a run.
	LogRates [][]float64
	// ReadingVariance is the part of each one's variance that reading to the
	// nearest mark makes.
	ReadingVariance [][]float64
	// TimingVariance is the part of each run's variance, the same for all its
	// cylinders, that its start and stop make.
	TimingVariance []float64
}

// SampleOf looks at a test with the eyes of a sheet. The error says what of
// the test does not fit the sheet.
func SampleOf(t *Test, sheet *limits.Sheet) (Sample, error) {
	ev := NewEvaluator(Verdicts)
	if _, err := ev.Evaluate(t, sheet); err != nil {
		return Sample{}, err
	}
	e := &ev.e
	s := Sample{
		ID: t.ID, Engine: t.Engine, Condition: t.Condition, Injectors: t.Injectors,
		LevelMLMin: math.NaN(), all: e.all, runs: len(e.test.Runs),
	}
	switch {
	case t.Method != MethodIndividual:
		s.Without = Merged
	case e.guard.unjudged:
		s.Without = BackPressure
	case e.sequential: // drift would be learned as spread
		s.Without = Sequential
	}
	if s.Without != "" {
		return s, nil
	}
	s.Repeats = repeatsOf(e.all, len(e.test.Runs))
	if s.Without = s.gather(&e.set); s.Without == "" {
		s.LevelMLMin = e.set.medianMLMin
		return s, nil
	}
	s.Cylinders, s.LogRates, s.Beyond, s.members = nil, nil, nil, nil
	return s, nil
}

// gather takes the cylinders of the set, or says why there is none.
func (s *Sample) gather(set *comparison) Code {
	switch {
	case set.few:
		return FewCylinders
	case set.tooLittle, s.coarse(set):
		return TooLittleReturn
	}
	for k, i := range set.index {
		one := &s.all[i]
		switch at := set.at[i].place; {
		case one.bound == Exact:
			s.Cylinders = append(s.Cylinders, one.cylinder)
			s.LogRates = append(s.LogRates, math.Log(set.rates[k]))
			s.members = append(s.members, i)
		case one.bound == AtLeast && at == placeHigh, one.bound == AtMost && at == placeLow:
			s.Beyond = append(s.Beyond, Beyond{one.cylinder, one.bound, one.rateMLMin})
		case one.bound == AtLeast:
			return OverRange
		default:
			return BelowFirstMark
		}
	}
	if len(s.Cylinders) < fewest {
		return FewCylinders
	}
	return ""
}

// coarse says whether the median is below ten marks. Read that coarsely sets
// look further apart than they are: at 5 marks the learned spread comes out a
// fifth too large, at 10 a hundredth (package stats/simulate).
func (s *Sample) coarse(set *comparison) bool {
	return stats.Round6(set.medianMLMin) < stats.Round6(fewestMarks*firstMarkMLMin(s.all, set.index))
}

// Set is the set for package stats: with the own variances, at the set's
// level, that these measurement figures make. It is empty without a set.
func (s *Sample) Set(m limits.Measurement) stats.SetSample {
	set := stats.SetSample{Y: s.LogRates}
	if len(s.members) == 0 {
		return set
	}
	ru := newRule(s.all, s.runs, m)
	for _, i := range s.members {
		set.OwnVariance = append(set.OwnVariance, ru.ownVariance(&s.all[i], s.LevelMLMin))
	}
	return set
}

func repeatsOf(all []series, runs int) Repeats {
	var r Repeats
	if runs < 2 {
		return r
	}
	var last *series
	for i := range all {
		if s := &all[i]; s.repeatsWell(runs) {
			last = s
			r.add(s)
		}
	}
	if len(r.Cylinders) < 2 {
		return Repeats{}
	}
	for k := range last.parts {
		u := last.parts[k].timingS / last.parts[k].intervalS
		r.TimingVariance = append(r.TimingVariance, u*u)
	}
	return r
}

// repeatsWell says whether a cylinder has a plain reading of enough marks in
// every run.
func (s *series) repeatsWell(runs int) bool {
	return len(s.parts) == runs && s.readable() && s.bound == Exact &&
		!slices.ContainsFunc(s.parts, func(p part) bool {
			return stats.Round6(p.netML/p.tube.GraduationML) < fewestMarks
		})
}

func (r *Repeats) add(s *series) {
	rates, reading := make([]float64, len(s.parts)), make([]float64, len(s.parts))
	for k := range s.parts {
		p := &s.parts[k]
		u := stats.ResolutionU(p.tube.GraduationML) / p.netML
		rates[k], reading[k] = math.Log(p.rateMLMin), p.levels*u*u
	}
	r.Cylinders = append(r.Cylinders, s.cylinder)
	r.LogRates = append(r.LogRates, rates)
	r.ReadingVariance = append(r.ReadingVariance, reading)
}
