package leakback

import (
	"math"

	"leakback/limits"
	"leakback/stats"
)

// part is what one reading contributes: one cylinder in one run.
type part struct {
	run        int     // index into Test.Runs
	rateMLMin  float64 // or the bound
	netML      float64
	intervalS  float64
	bound      Bound
	levels     float64 // 1, or 2 where the start level was read as well
	tube       Tube
	timingS    float64 // standard uncertainty of the interval
	typedZero  bool
	belowFirst bool
}

// series is one cylinder over its runs, unread ones left out.
type series struct {
	cylinder int
	parts    []part
	// rateMLMin is the mean, or the bound; NaN where unread.
	rateMLMin float64
	bound     Bound
	// numberMLMin is what stands where a number is needed: half an upper bound.
	numberMLMin float64
	mixedBounds bool
	// driftExtra is the variance that taking drift out adds to the mean, in
	// parts of the variance of what averages down over the runs; 0 where none
	// was taken out.
	driftExtra float64
	// share is how a share of a merged return is known; nil where the cylinder
	// was collected by itself.
	share *share
}

func (s *series) readable() bool { return !math.IsNaN(s.rateMLMin) }

// nominalS stands for every interval of a test in which one is unknown: only
// ratios are taken of such rates, and numbers of mL in the place of mL/min.
const nominalS = 60

// newPart turns a reading into a rate: q = 60 (V - S)/t in mL/min. A net
// volume of zero is a reading below the first mark.
func newPart(index int, run *Run, r *Reading, m *limits.Measurement) part {
	p := part{
		run: index, netML: r.VolumeML - r.StartML, intervalS: run.IntervalS,
		bound: r.Bound, levels: 1, tube: r.Tube, belowFirst: r.Bound == AtMost,
	}
	if r.StartRead {
		p.levels = 2
	}
	if p.bound != AtLeast && stats.Round6(p.netML) <= 0 {
		p.typedZero = p.bound == Exact
		p.bound, p.netML = AtMost, r.Tube.GraduationML
	}
	p.rateMLMin = 60 * p.netML / p.intervalS
	p.timingS = m.TimingS * math.Sqrt(2*float64(max(1, run.State.Cranks)))
	return p
}

// collect gathers each cylinder's parts over the runs, for the cylinders given.
func (e *evaluation) collect(cylinders []int) {
	t := e.test
	e.all, e.parts = resized(e.all, len(cylinders)), e.parts[:0]
	for i, cylinder := range cylinders {
		from := len(e.parts)
		for k := range t.Runs {
			run := &t.Runs[k]
			for j := range run.Readings {
				if r := &run.Readings[j]; r.Cylinder == cylinder && r.Read() {
					e.parts = append(e.parts, newPart(k, run, r, &e.sheet.Measurement))
				}
			}
		}
		if e.noInterval {
			asVolumes(e.parts[from:])
		}
		// A part that moved when the list grew stays as good where it was.
		e.all[i] = series{cylinder: cylinder, parts: e.parts[from:len(e.parts):len(e.parts)]}
		e.all[i].average()
	}
}

// asVolumes makes the rates of so many mL in a minute.
func asVolumes(parts []part) {
	for k := range parts {
		p := &parts[k]
		p.intervalS, p.rateMLMin, p.timingS = nominalS, p.netML*60/nominalS, 0
	}
}

// average sets the mean over the runs. A mean that holds a bound is that
// bound; one that holds both kinds says nothing and counts as unread.
func (s *series) average() {
	var sum float64
	s.bound, s.mixedBounds = Exact, false
	for k := range s.parts {
		p := &s.parts[k]
		sum += p.rateMLMin
		switch {
		case p.bound == Exact || p.bound == s.bound:
		case s.bound == Exact:
			s.bound = p.bound
		default:
			s.mixedBounds = true
		}
	}
	if len(s.parts) == 0 || s.mixedBounds {
		s.rateMLMin, s.numberMLMin, s.bound = math.NaN(), math.NaN(), Exact
		return
	}
	s.rateMLMin = sum / float64(len(s.parts))
	s.numberMLMin = s.rateMLMin
	if s.bound == AtMost {
		s.numberMLMin /= 2
	}
}

// shared says whether every readable cylinder was read in the same runs, so
// that what a run does to all of them cancels between them.
func shared(all []series) bool {
	var first *series
	for i := range all {
		s := &all[i]
		if !s.readable() {
			continue
		}
		if first == nil {
			first = s
			continue
		}
		if len(s.parts) != len(first.parts) {
			return false
		}
		for k := range s.parts {
			if s.parts[k].run != first.parts[k].run {
				return false
			}
		}
	}
	return true
}

// repeatability is the relative standard deviation of a repeated reading,
// pooled from the sheet's figure and the test's own scatter.
type repeatability struct {
	// CV is sqrt((8 r0^2 + nu s^2)/(8 + nu)).
	CV float64
	// DoF is 8 + nu.
	DoF float64
	// SheetCV is r0, the sheet's figure alone.
	SheetCV float64
	// Plain counts the cylinders with a plain reading in every run.
	Plain int
	// squares are the sums of squared residuals of ln q after cylinder and run
	// means, by place in the series; NaN for a cylinder that took no part.
	squares []float64
}

// pool measures the scatter of ln q that neither the cylinder nor the run
// explains (two-way residuals) over the cylinders that are plain in every run,
// and pools it with the sheet's figure.
func pool(all []series, runs int, sheetCV float64) repeatability {
	rep := repeatability{CV: sheetCV, DoF: stats.AssumedDoF, SheetCV: sheetCV}
	if runs < 2 {
		return rep
	}
	var plain []int
	for i := range all {
		if s := &all[i]; len(s.parts) == runs && s.readable() && s.bound == Exact {
			plain = append(plain, i)
		}
	}
	rep.Plain = len(plain)
	if rep.Plain < 2 {
		return rep
	}
	table := make([][]float64, rep.Plain)
	for k, i := range plain {
		for _, p := range all[i].parts {
			table[k] = append(table[k], math.Log(p.rateMLMin))
		}
	}
	squares, nu := stats.TwoWaySquares(table)
	rep.squares = nans(len(all))
	var sum float64
	for k, i := range plain {
		rep.squares[i] = squares[k]
		sum += squares[k]
	}
	rep.CV = math.Sqrt(stats.PoolVariance(sheetCV*sheetCV, sum, nu))
	rep.DoF = stats.AssumedDoF + nu
	return rep
}

// unsteady says whether cylinder i scatters more from run to run than its
// reading and the sheet's repeatability explain: the sum of its squared
// residuals over (1 - 1/n)(r0^2 + levels g^2/(12 V^2)) beyond the chi-square
// quantile 0.99^(1/n) at R - 1 degrees of freedom, n the plain cylinders.
func (rep repeatability) unsteady(all []series, i int) bool {
	if rep.squares == nil || math.IsNaN(rep.squares[i]) {
		return false
	}
	s, n := &all[i], float64(rep.Plain)
	var reading float64
	for _, p := range s.parts {
		u := stats.ResolutionU(p.tube.GraduationML) / p.netML
		reading += p.levels * u * u / float64(len(s.parts))
	}
	scaled := rep.squares[i] / ((1 - 1/n) * (rep.SheetCV*rep.SheetCV + reading))
	bar := stats.ChiSquareQuantile(math.Pow(0.99, 1/n), float64(len(s.parts)-1))
	return stats.Round6(scaled) > stats.Round6(bar)
}
