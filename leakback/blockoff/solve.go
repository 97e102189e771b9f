package blockoff

import (
	"fmt"
	"math"

	"leakback/stats"
)

// Solve finds each cylinder's share of the total of one return line. A run is
// the sum of the open cylinders' shares, with drift over the runs, and a
// baseline has a level of its own, D, for what does not add up; weights are
// 1/((r0 ybar)^2 + levels (60 g/t)^2/12). Drift and D are dropped where the
// runs do not show them (Solution.Model says so). Where D is below zero beyond
// the two-sided 99 % Student quantile, a constant return R0 is fitted in every
// run instead; an all-blocked run measures R0 directly, and there half of an
// upper bound may stand for the total.
//
// The error is ErrNoRuns, or one of this package's types: RepeatedRunError,
// UnknownCylinderError, RepeatedCylinderError, BoundedTotalError, FigureError,
// AllBlockedOnlyError, DriftError, UndeterminedError; another says that the
// options cannot be.
func Solve(runs []Run, opts Options) (*Solution, error) {
	if !(opts.RepeatabilityCV >= 0) || !(opts.SheetDoF > 0) ||
		math.IsInf(opts.RepeatabilityCV+opts.SheetDoF, 1) {
		return nil, fmt.Errorf("repeatability %v with %v degrees of freedom: expected figures not below zero, "+
			"and degrees of freedom above it", opts.RepeatabilityCV, opts.SheetDoF)
	}
	p, err := newProblem(runs, opts)
	if err != nil {
		return nil, err
	}
	p.weigh()
	first, err := p.ladder()
	if err != nil {
		return nil, err
	}
	notAddingUp := p.notAddingUp(first)
	final := first
	if notAddingUp.Meaning == OtherReturn {
		final = p.refit(first)
	}
	s := &Solution{NotAddingUp: notAddingUp}
	p.fill(s, final)
	return s, nil
}

// fill takes everything that the final fit says into the solution.
func (p *problem) fill(s *Solution, f *solved) {
	s.Model, s.DoF, s.SigmaDoF = f.model, f.DoF, f.dof
	s.SigmaMLMin = math.Sqrt(f.factor * stats.Mean(p.variance))
	s.DriftMLMinPerRun, s.DriftSDMLMinPerRun = math.NaN(), math.NaN()
	if f.model.Drift {
		j := f.model.driftAt(len(p.opts.Cylinders))
		s.DriftMLMinPerRun, s.DriftSDMLMinPerRun = f.Coefficients[j], f.sd(j)
	}
	s.Covariance = f.covariance(len(p.opts.Cylinders))
	p.shares(s, f)
	s.Constant = p.constant(f)
	s.Total = p.total(f)
	var dof float64
	s.Residuals, dof = p.residuals(f)
	s.FarOut = farOutOf(s.Residuals, dof)
	s.Pressure = p.pressure()
}

// shares sets the shares, and says whether they are known well enough.
func (p *problem) shares(s *Solution, f *solved) {
	s.Shares = make([]Share, len(p.opts.Cylinders))
	numbers := make([]float64, len(s.Shares))
	for i, c := range p.opts.Cylinders {
		share := Share{Cylinder: c, ShareMLMin: f.Coefficients[i], SDMLMin: f.sd(i)}
		share.RateMLMin, share.NumberMLMin = share.ShareMLMin, share.ShareMLMin
		if bound := share.LeastMLMin(); stats.Round6(share.ShareMLMin) < stats.Round6(bound) {
			share.AtMost, share.RateMLMin, share.NumberMLMin = true, bound, bound/2
		}
		s.Shares[i], numbers[i] = share, share.NumberMLMin
	}
	s.MedianMLMin = stats.Median(numbers)
	var worst float64
	for i, sd := range Contrasts(s)[0] {
		s.Shares[i].ContrastSDMLMin = sd
		worst = math.Max(worst, sd)
	}
	s.Contrast = worst / s.MedianMLMin // above zero: half a bound at least
	s.Enough = stats.Round6(s.Contrast) < TargetContrast
}

// Contrasts are the standard deviations of each share less the mean share of
// all the lines given, line by line; the lines are independent of one another.
func Contrasts(lines ...*Solution) [][]float64 {
	var n, all float64
	for _, line := range lines {
		n += float64(len(line.Shares))
		for _, row := range line.Covariance {
			for _, c := range row {
				all += c
			}
		}
	}
	out := make([][]float64, len(lines))
	for l, line := range lines {
		out[l] = make([]float64, len(line.Shares))
		for i, row := range line.Covariance {
			var with float64
			for _, c := range row {
				with += c
			}
			out[l][i] = math.Sqrt(math.Max(0, row[i]-2*with/n+all/(n*n)))
		}
	}
	return out
}

// total is the return with nothing blocked, at the middle of the runs.
func (p *problem) total(f *solved) Total {
	at := make([]float64, len(f.Coefficients))
	for j := range at {
		if !f.model.Drift || j != f.model.driftAt(len(p.opts.Cylinders)) {
			at[j] = 1
		}
	}
	t := Total{FromBaselines: p.baselines > 0}
	var variance float64
	for i, a := range at {
		t.MLMin += a * f.Coefficients[i]
		for j, b := range at {
			variance += a * b * f.Cofactor[i][j]
		}
	}
	t.SDMLMin = math.Sqrt(math.Max(0, variance) * f.factor)
	return t
}

// residuals holds every run against the fit, those left out too.
func (p *problem) residuals(f *solved) (list []Residual, dof float64) {
	studentised, dof := f.Studentised(p.opts.SheetDoF)
	for i := range p.all {
		pt := &p.all[i]
		r := Residual{Run: pt.run, Studentised: math.NaN()}
		for j, a := range p.row(pt, f.model) {
			r.FittedMLMin += a * f.Coefficients[j]
		}
		r.MLMin = pt.totalMLMin - r.FittedMLMin
		if pt.run.LeftOut == "" {
			r.Studentised, studentised = studentised[0], studentised[1:]
		}
		list = append(list, r)
	}
	return list, dof
}

// farOutOf names what is far out: beyond the two-sided Student quantile at 1 %
// over the number of runs that others speak about (Bonferroni's bound: Cook and
// Weisberg, Residuals and Influence in Regression, 1982, 2.2.2).
func farOutOf(list []Residual, dof float64) (numbers []int) {
	tested, most := 0, 0.0
	for _, r := range list {
		if !math.IsNaN(r.Studentised) {
			tested++
			most = math.Max(most, math.Abs(r.Studentised))
		}
	}
	if tested == 0 || stats.Round6(most) <= stats.Round6(stats.StudentQuantile(1-farOut/float64(2*tested), dof)) {
		return nil
	}
	for _, r := range list {
		if math.Abs(r.Studentised) >= most*(1-1e-6) { // a pair is equal but for rounding
			numbers = append(numbers, r.Run.Number)
		}
	}
	return numbers
}

// pressure says whether the recorded rail pressure was held over the fit.
func (p *problem) pressure() Pressure {
	held := Pressure{LowBar: math.NaN(), HighBar: math.NaN()}
	for _, pt := range p.fitted {
		bar := pt.run.RailPressureBar
		if !(bar > 0) {
			continue
		}
		if !(bar >= held.LowBar) {
			held.LowBar = bar
		}
		if !(bar <= held.HighBar) {
			held.HighBar = bar
		}
	}
	held.NotHeld = stats.Round6(held.HighBar) > stats.Round6(heldRatio*held.LowBar)
	return held
}
