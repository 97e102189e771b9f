// Package simulate draws invented engines, reads their returns as a technician
// would, and counts how often the tool's comparison, the usual outlier rules
// and the best rule there could be are right. It is how the error chances that
// the tool promises are held against what it does; nothing in the tool depends
// on it. Every figure comes from a seed and does not depend on the machine.
//
// # The model
//
// The true return of cylinder i is
//
//	q_i = level · factor_i · exp(s e_i)
//
// with s the log standard deviation that the relative spread of healthy
// injectors stands for, e_i independent with mean 0 and variance 1 of the
// scene's Shape, and factor_i 1 for a sound cylinder. Faulty cylinders are
// drawn at random among those of the engine.
//
// Run k lasts t + timing·√2·e seconds where t was asked for, and its speed,
// pressure and temperature multiply every return by exp(common·e); each
// cylinder of it by its own exp(repeatability·e), all e normal. Every tube is
// off by an amount of its own, uniform within its tolerance and the same in all
// runs. The level is read at the nearest mark. Nothing at the first mark or
// above is a reading below the first mark, for which half a mark stands.
//
// From these volumes and the intervals asked for, and from nothing else, every
// rule gets its rates; the tool's own rule the logarithms and own variances
// that its arithmetic makes of them.
package simulate

import (
	"math"
	"math/rand/v2"

	"leakback/stats"
)

// Shape is the distribution of the logarithms of healthy returns, standardised.
type Shape int8

// The shapes: normal; Student's t with 5 degrees of freedom over its standard
// deviation (excess kurtosis 6); a gamma variable of shape 4, centred, over its
// standard deviation (skewness 1, long side up); the same turned over.
const (
	Normal Shape = iota
	HeavyTailed
	Skewed
	SkewedDown
)

func (s Shape) draw(r *rand.Rand) float64 {
	switch s {
	case HeavyTailed:
		const nu = 5
		var chi float64
		for range nu {
			e := r.NormFloat64()
			chi += e * e
		}
		return r.NormFloat64() / math.Sqrt(chi/nu) * math.Sqrt((nu-2.0)/nu)
	case Skewed, SkewedDown:
		const shape = 4
		var gamma float64
		for range shape {
			gamma += r.ExpFloat64()
		}
		e := (gamma - shape) / math.Sqrt(shape)
		if s == SkewedDown {
			return -e
		}
		return e
	}
	return r.NormFloat64()
}

// Tube is a graduated tube.
type Tube struct {
	GraduationML float64
	ToleranceML  float64
}

// Run is one timed collection.
type Run struct {
	IntervalS float64
	// Cylinders is how many are read in it, the first ones; 0 for all.
	Cylinders int
}

// Scene is a kind of engine and how it is measured.
type Scene struct {
	Cylinders int
	// HealthyCV is the relative spread of sound injectors.
	HealthyCV float64
	Shape     Shape
	// Factors multiply the returns of as many cylinders: 2 is a leak of 2
	// times, 0.5 half the flow, 0 no return. At most one a cylinder, none of
	// them 1. Empty is a healthy engine.
	Factors []float64
	// LevelMLMin is the median return of sound injectors.
	LevelMLMin float64
	// Runs are in time order, at least one; the first holds every cylinder.
	Runs []Run
	// Tubes are dealt out to the cylinders in turn, at least one.
	Tubes []Tube
	// RepeatabilityCV, CommonCV and TimingS are what runs scatter by.
	RepeatabilityCV float64
	CommonCV        float64
	TimingS         float64
}

// Bench is the scene that the others vary: n cylinders with a healthy spread
// of 12 %, about 25 mL in one run of a minute, tubes with marks of 1 mL and one
// mark of tolerance, and the scatter that the tool assumes.
func Bench(n int) Scene {
	return Scene{
		Cylinders: n, HealthyCV: 0.12, LevelMLMin: 25,
		Runs:            []Run{{IntervalS: 60}},
		Tubes:           []Tube{{GraduationML: 1, ToleranceML: 1}},
		RepeatabilityCV: 0.03, CommonCV: 0.02, TimingS: 0.3,
	}
}

// With is the scene with other faults.
func (s Scene) With(factors ...float64) Scene {
	s.Factors = factors
	return s
}

// Repeat is n factors of one size.
func Repeat(n int, factor float64) []float64 {
	f := make([]float64, n)
	for i := range f {
		f[i] = factor
	}
	return f
}

func (s *Scene) reads(run, cylinder int) bool {
	n := s.Runs[run].Cylinders
	return n == 0 || cylinder < n
}

func (s *Scene) tube(cylinder int) Tube { return s.Tubes[cylinder%len(s.Tubes)] }

// Engine is one drawn engine as it was measured.
type Engine struct {
	// Factor is each cylinder's factor, 1 where sound.
	Factor []float64
	// VolumeML is the level read of each cylinder in each run; NaN where the
	// run did not hold it.
	VolumeML [][]float64
}

// Draw draws an engine of the scene and measures it. It reuses the engine it
// is given; a zero Engine will do.
func (s *Scene) Draw(r *rand.Rand, e *Engine) {
	e.fit(s.Cylinders, len(s.Runs))
	s.spoil(r, e.Factor)
	for k, run := range s.Runs {
		seconds := run.IntervalS + s.TimingS*math.Sqrt2*r.NormFloat64()
		shared := seconds / 60 * math.Exp(s.CommonCV*r.NormFloat64())
		for i := range s.Cylinders {
			e.VolumeML[i][k] = math.NaN()
			if s.reads(k, i) {
				e.VolumeML[i][k] = shared * math.Exp(s.RepeatabilityCV*r.NormFloat64())
			}
		}
	}
	spread := stats.LogSpread(s.HealthyCV)
	for i, volumes := range e.VolumeML {
		rate := s.LevelMLMin * e.Factor[i] * math.Exp(spread*s.Shape.draw(r))
		tube := s.tube(i)
		off := tube.ToleranceML * (2*r.Float64() - 1)
		for k := range volumes {
			volumes[k] = readLevel(rate*volumes[k]+off, tube.GraduationML)
		}
	}
}

// readLevel reads a level at the nearest mark, and not below the bottom.
func readLevel(levelML, graduationML float64) float64 {
	return graduationML * math.Max(0, math.Round(levelML/graduationML))
}

// spoil gives the scene's factors to cylinders drawn at random.
func (s *Scene) spoil(r *rand.Rand, factor []float64) {
	for i := range factor {
		factor[i] = 1
	}
	for _, f := range s.Factors {
		i := r.IntN(len(factor))
		for factor[i] != 1 {
			i = r.IntN(len(factor))
		}
		factor[i] = f
	}
}

func (e *Engine) fit(cylinders, runs int) {
	if len(e.Factor) == cylinders && len(e.VolumeML[0]) == runs {
		return
	}
	e.Factor = make([]float64, cylinders)
	e.VolumeML = make([][]float64, cylinders)
	for i := range e.VolumeML {
		e.VolumeML[i] = make([]float64, runs)
	}
}
