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
	for k := range s.parts {
		p := &s.parts[k]
		u := stats.ResolutionU(60 * p.tube.GraduationML / p.intervalS)
		sum += p.levels * u * u
	}
	return math.Sqrt(sum*(1+s.driftExtra)) / float64(len(s.parts))
}

// tubeMLMin is the error of the tube's scale, the same in all runs: it does
// not average down. T/sqrt(3) times the mean of 60/t.
func (s *series) tubeMLMin() float64 {
	var sum float64
	for k := range s.parts {
		sum += 60 * s.parts[k].tube.ToleranceML / s.parts[k].intervalS
	}
	return stats.RectangularU(sum / float64(len(s.parts)))
}

// repeatMLMin is q r/sqrt(R).
func (s *series) repeatMLMin(rep repeatability) float64 {
	return s.rateMLMin * rep.CV * math.Sqrt((1+s.driftExtra)/float64(len(s.parts)))
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

// few is how many runs a test has, mostly: lists of so many need no memory of
// their own.
const few = 4

// rates appends the rate of each run.
func (s *series) rates(to []float64) []float64 {
	for k := range s.parts {
		to = append(to, s.parts[k].rateMLMin)
	}
	return to
}

// budget is the uncertainty of one cylinder's rate (JCGM 100:2008).
func (ru *rule) budget(s *series) Budget {
	switch {
	case !s.readable() || s.bound != Exact:
		return emptyBudget()
	case s.share != nil:
		return s.share.budget
	}
	b := Budget{
		ReadingMLMin:       s.readingMLMin(),
		TubeMLMin:          s.tubeMLMin(),
		RepeatabilityMLMin: s.repeatMLMin(ru.rep),
	}
	var room [few]float64
	b.TimingMLMin, b.CommonMLMin = commonParts(s.rates(room[:0]), s.parts, ru.common)
	if s.driftExtra > 0 {
		widen := math.Sqrt(1 + s.driftExtra)
		b.TimingMLMin, b.CommonMLMin = widen*b.TimingMLMin, widen*b.CommonMLMin
	}
	return ru.combine(b)
}

// combine adds the parts in quadrature and gives degrees of freedom and the
// expanded uncertainty. Only r and c are estimates; the rest is known.
func (ru *rule) combine(b Budget) Budget {
	b.StandardMLMin = stats.Quadrature(b.ReadingMLMin, b.TubeMLMin, b.RepeatabilityMLMin,
		b.TimingMLMin, b.CommonMLMin)
	b.DoF = stats.EffectiveDoF(b.StandardMLMin,
		stats.Part{U: b.RepeatabilityMLMin, DoF: ru.rep.DoF},
		stats.Part{U: b.CommonMLMin, DoF: stats.AssumedDoF})
	b.ExpandedMLMin = stats.T95(b.DoF) * b.StandardMLMin
	return b
}

// tally adds up plain cylinders, or takes them from one another, with the
// uncertainty of the outcome: own parts in quadrature, common parts on the sum
// itself; where the cylinders do not share their runs, common parts are own too.
type tally struct {
	parts Budget
	rates []float64 // by run
	first *series
	count int
}

// add takes so much of a cylinder, whose budget is own.
func (t *tally) add(ru *rule, s *series, own *Budget, weight float64) {
	t.count++
	b := &t.parts
	b.ReadingMLMin = math.Hypot(b.ReadingMLMin, weight*own.ReadingMLMin)
	b.TubeMLMin = math.Hypot(b.TubeMLMin, weight*own.TubeMLMin)
	b.RepeatabilityMLMin = math.Hypot(b.RepeatabilityMLMin, weight*own.RepeatabilityMLMin)
	if !ru.shared {
		b.TimingMLMin = math.Hypot(b.TimingMLMin, weight*own.TimingMLMin)
		b.CommonMLMin = math.Hypot(b.CommonMLMin, weight*own.CommonMLMin)
		return
	}
	if t.first == nil {
		t.first = s
		for range s.parts {
			t.rates = append(t.rates, 0)
		}
	}
	for k := range s.parts {
		t.rates[k] += weight * s.parts[k].rateMLMin
	}
}

// budget is the uncertainty of what was added up.
func (t *tally) budget(ru *rule) Budget {
	if ru.shared {
		t.parts.TimingMLMin, t.parts.CommonMLMin = commonParts(t.rates, t.first.parts, ru.common)
	}
	return ru.combine(t.parts)
}

// relative is the own uncertainty of a weighted mean relative to it, in parts:
// what an estimate of r makes, what one of c makes (only where runs are not
// shared), and all of it.
type relative struct{ rep, common, all float64 }

func (ru *rule) relative(members ...member) relative {
	var room [few]float64
	t, value := tally{rates: room[:0]}, 0.0
	for _, m := range members {
		value += m.weight * m.numberMLMin
		if m.bound == Exact {
			own := ru.budget(m.series)
			t.add(ru, m.series, &own, m.weight)
		}
	}
	b := &t.parts
	return relative{
		rep: b.RepeatabilityMLMin / value, common: b.CommonMLMin / value,
		all: stats.Quadrature(b.ReadingMLMin, b.TubeMLMin, b.RepeatabilityMLMin, b.TimingMLMin, b.CommonMLMin) / value,
	}
}

// ratio is the expanded uncertainty of a cylinder's rate over a reference, as
// if independent. A bound adds none of its own.
func (ru *rule) ratio(value float64, s *series, reference []member) (u, dof, expanded float64) {
	if s.share != nil {
		return shareRatio(value, s, reference)
	}
	a, b := ru.relative(member{s, 1}), ru.relative(reference...)
	u = value * math.Hypot(a.all, b.all)
	dof = stats.EffectiveDoF(u,
		stats.Part{U: value * math.Hypot(a.rep, b.rep), DoF: ru.rep.DoF},
		stats.Part{U: value * math.Hypot(a.common, b.common), DoF: stats.AssumedDoF})
	return u, dof, stats.T95(dof) * u
}

// ownVariance is the relative own variance of a cylinder at the set's level
// M, with V_k = M t_k/60:
// r^2/R + sum levels g^2/(12 V_k^2)/R^2 + T^2/3 (mean of 1/V_k)^2,
// and the common parts where runs are not shared; of a share the variance of
// its contrast with the others.
func (ru *rule) ownVariance(s *series, levelMLMin float64) float64 {
	if s.share != nil {
		u := s.share.contrastMLMin / levelMLMin
		return u * u
	}
	runs := float64(len(s.parts))
	var room [few]stats.ScaleReading
	readings := room[:0]
	var timing float64
	for k := range s.parts {
		p := &s.parts[k]
		readings = append(readings, stats.ScaleReading{
			Amount: levelMLMin * p.intervalS / 60, Step: p.tube.GraduationML,
			Levels: p.levels * (1 + s.driftExtra), HalfWidth: p.tube.ToleranceML,
		})
		u := p.timingS / p.intervalS
		timing += u * u
	}
	averaged := ru.rep.CV * ru.rep.CV / runs
	if !ru.shared {
		averaged += timing/(runs*runs) + ru.common*ru.common/runs
	}
	return averaged*(1+s.driftExtra) + stats.ScaleVariance(readings)
}

func newRule(all []series, runs int, m limits.Measurement) rule {
	return rule{rep: pool(all, runs, m.RepeatabilityCV), common: m.CommonCV, shared: shared(all)}
}
