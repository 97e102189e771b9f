package leakback

import (
	"math"

	"leakback/limits"
	"leakback/stats"
)

// rule is what turns readings into uncertainties: the sheet's measurement
// figures and the repeatability of this test.
type rule struct {
	rep    repeatability
	common float64 // common_cv
	shared bool
}

// emptyBudget is the budget of what has no plain rate.
func emptyBudget() Budget {
	nan := math.NaN()
	return Budget{nan, nan, nan, nan, nan, nan, nan, nan}
}

// readingMLMin is the reading to the nearest mark in every run, as a standard
// uncertainty of the mean: sqrt(sum levels (60 g/t)^2/12)/R.
func (s *series) readingMLMin() float64 {
	var sum float64
	for _, p := range s.parts {
		u := stats.ResolutionU(60 * p.tube.GraduationML / p.intervalS)
		sum += p.levels * u * u
	}
	return math.Sqrt(sum) / float64(len(s.parts))
}

// tubeMLMin is the error of the tube's scale, the same in all runs: it does
// not average down. T/sqrt(3) times the mean of 60/t.
func (s *series) tubeMLMin() float64 {
	var sum float64
	for _, p := range s.parts {
		sum += 60 * p.tube.ToleranceML / p.intervalS
	}
	return stats.RectangularU(sum / float64(len(s.parts)))
}

// repeatMLMin is q r/sqrt(R).
func (s *series) repeatMLMin(rep repeatability) float64 {
	return s.rateMLMin * rep.CV / math.Sqrt(float64(len(s.parts)))
}

// commonParts are the parts that a run puts on all its cylinders alike, for
// anything that is linear in the rates of the runs (a cylinder, the total, a
// difference): rates by run, in mL/min.
func commonParts(rateMLMin []float64, timing []part, commonCV float64) (timingU, commonU float64) {
	runs := float64(len(rateMLMin))
	var sum, squares float64
	for k, q := range rateMLMin {
		u := q * timing[k].timingS / timing[k].intervalS
		squares += u * u
		sum += q
	}
	return math.Sqrt(squares) / runs, math.Abs(sum) / runs * commonCV / math.Sqrt(runs)
}

func (s *series) rates() []float64 {
	q := make([]float64, len(s.parts))
	for k, p := range s.parts {
		q[k] = p.rateMLMin
	}
	return q
}

// budget is the uncertainty of one cylinder's rate (JCGM 100:2008).
func (ru rule) budget(s *series) Budget {
	if !s.readable() || s.bound != Exact {
		return emptyBudget()
	}
	b := Budget{
		ReadingMLMin:       s.readingMLMin(),
		TubeMLMin:          s.tubeMLMin(),
		RepeatabilityMLMin: s.repeatMLMin(ru.rep),
	}
	b.TimingMLMin, b.CommonMLMin = commonParts(s.rates(), s.parts, ru.common)
	return ru.combine(b)
}

// combine adds the parts in quadrature and gives degrees of freedom and the
// expanded uncertainty. Only r and c are estimates; the rest is known.
func (ru rule) combine(b Budget) Budget {
	b.StandardMLMin = stats.Quadrature(b.ReadingMLMin, b.TubeMLMin, b.RepeatabilityMLMin,
		b.TimingMLMin, b.CommonMLMin)
	b.DoF = stats.EffectiveDoF(b.StandardMLMin,
		stats.Part{U: b.RepeatabilityMLMin, DoF: ru.rep.DoF},
		stats.Part{U: b.CommonMLMin, DoF: stats.AssumedDoF})
	b.ExpandedMLMin = stats.T95(b.DoF) * b.StandardMLMin
	return b
}

// sum is the uncertainty of a total (signs all +1) or a difference (+1, -1) of
// plain cylinders: own parts in quadrature, common parts on the sum itself;
// where the cylinders do not share their runs, common parts are own too.
func (ru rule) sum(members []*series, signs []float64) (valueMLMin float64, b Budget) {
	rates := make([]float64, len(members[0].parts))
	for i, s := range members {
		valueMLMin += signs[i] * s.rateMLMin
		own := ru.budget(s)
		b.ReadingMLMin = math.Hypot(b.ReadingMLMin, own.ReadingMLMin)
		b.TubeMLMin = math.Hypot(b.TubeMLMin, own.TubeMLMin)
		b.RepeatabilityMLMin = math.Hypot(b.RepeatabilityMLMin, own.RepeatabilityMLMin)
		if !ru.shared {
			b.TimingMLMin = math.Hypot(b.TimingMLMin, own.TimingMLMin)
			b.CommonMLMin = math.Hypot(b.CommonMLMin, own.CommonMLMin)
			continue
		}
		for k, p := range s.parts {
			rates[k] += signs[i] * p.rateMLMin
		}
	}
	if ru.shared {
		b.TimingMLMin, b.CommonMLMin = commonParts(rates, members[0].parts, ru.common)
	}
	return valueMLMin, ru.combine(b)
}

// relative is the own uncertainty of a rate relative to it, in parts: what an
// estimate of r makes, what one of c makes (only where runs are not shared),
// and all of it.
type relative struct{ rep, common, all float64 }

func (ru rule) relative(members ...*series) relative {
	signs := make([]float64, len(members))
	for i := range signs {
		signs[i] = 1
	}
	value, b := ru.sum(members, signs)
	if ru.shared {
		b.TimingMLMin, b.CommonMLMin = 0, 0
	}
	rel := relative{rep: b.RepeatabilityMLMin / value, common: b.CommonMLMin / value}
	rel.all = stats.Quadrature(b.ReadingMLMin, b.TubeMLMin, b.RepeatabilityMLMin,
		b.TimingMLMin, b.CommonMLMin) / value
	return rel
}

// ratio is the expanded uncertainty of a cylinder's rate over a reference made
// of the rates given (their sum or mean, which is the same here), as if
// independent.
func (ru rule) ratio(value float64, s *series, reference ...*series) (u, dof, expanded float64) {
	a, b := ru.relative(s), ru.relative(reference...)
	u = value * math.Hypot(a.all, b.all)
	dof = stats.EffectiveDoF(u,
		stats.Part{U: value * math.Hypot(a.rep, b.rep), DoF: ru.rep.DoF},
		stats.Part{U: value * math.Hypot(a.common, b.common), DoF: stats.AssumedDoF})
	return u, dof, stats.T95(dof) * u
}

// ownVariance is the relative own variance of a cylinder at the set's level
// M, with V_k = M t_k/60:
// r^2/R + sum levels g^2/(12 V_k^2)/R^2 + T^2/3 (mean of 1/V_k)^2,
// and the common parts where runs are not shared.
func (ru rule) ownVariance(s *series, levelMLMin float64) float64 {
	runs := float64(len(s.parts))
	readings := make([]stats.ScaleReading, len(s.parts))
	var timing float64
	for k, p := range s.parts {
		readings[k] = stats.ScaleReading{
			Amount: levelMLMin * p.intervalS / 60, Step: p.tube.GraduationML,
			Levels: p.levels, HalfWidth: p.tube.ToleranceML,
		}
		u := p.timingS / p.intervalS
		timing += u * u
	}
	variance := ru.rep.CV*ru.rep.CV/runs + stats.ScaleVariance(readings)
	if !ru.shared {
		variance += timing/(runs*runs) + ru.common*ru.common/runs
	}
	return variance
}

func newRule(all []series, runs int, m limits.Measurement) rule {
	return rule{rep: pool(all, runs, m.RepeatabilityCV), common: m.CommonCV, shared: shared(all)}
}
