package learn

import (
	"math"

	"leakback/leakback"
	"leakback/limits"
	"leakback/stats"
)

// The least that repeated runs are taken to show, and that is learned from
// them: closer they were by luck, or rounded to the same marks (common practice,
// no source). For the spread of injectors it is stats.LeastSpread.
const (
	LeastRepeatabilityCV = 0.01
	LeastCommonCV        = 0.005
)

// steadiness is the chance that an engine whose readings all repeat alike has
// none of them left out.
const steadiness = 0.99

// repeats learns the repeatability of one injector's reading and what a run
// does to all of them together.
func (l *Learned) repeats(m limits.Measurement) {
	builtin := limits.Builtin().Measurement
	rAssumed := assumed(m.SourceOf("repeatability_cv"), m.RepeatabilityCV, builtin.RepeatabilityCV)
	cAssumed := assumed(m.SourceOf("common_cv"), m.CommonCV, builtin.CommonCV)
	var repeated []*leakback.Sample
	for i := range l.Tests {
		if s := l.Tests[i].Sample; len(s.Repeats.Cylinders) > 0 {
			repeated = append(repeated, s)
		}
	}
	l.Repeated = len(repeated)
	cv := rAssumed
	for range stats.LearnRounds {
		before := cv
		if l.Repeatability = repeatability(repeated, m.RepeatabilityCV, rAssumed, cv); l.Repeatability.Learned() {
			cv = l.Repeatability.CV
		}
		if cv == before {
			break
		}
	}
	for _, s := range repeated {
		l.Unsteady = append(l.Unsteady, unsteady(s, cv)...)
	}
	l.Common = common(repeated, m.CommonCV, cAssumed, cv)
}

// scatter is a sum of squares, its degrees of freedom, and what is known to be
// in it: the known variance times the degrees of freedom.
type scatter struct{ squares, dof, known float64 }

func (a *scatter) add(squares, dof, knownVariance float64) {
	a.squares, a.dof, a.known = a.squares+squares, a.dof+dof, a.known+dof*knownVariance
}

// variance is what is left of it, at least that of leastCV.
func (a *scatter) variance(leastCV float64) float64 {
	return math.Max((a.squares-a.known)/a.dof, leastCV*leastCV)
}

// repeatability pools the two-way residuals of the cylinders that are steady at
// the relative standard deviation cv, less what reading to the mark makes of
// them.
func repeatability(repeated []*leakback.Sample, before, assumed, cv float64) Figure {
	var sum scatter
	for _, s := range repeated {
		rows := steady(&s.Repeats, cv)
		squares, dof := stats.TwoWaySquares(pick(s.Repeats.LogRates, rows))
		sum.add(total(squares), dof, meanOf(pick(s.Repeats.ReadingVariance, rows)))
	}
	return figure(before, assumed, sum, LeastRepeatabilityCV)
}

// common pools how the means of the runs scatter, less what start and stop,
// reading to the mark and the repeatability cv make of a mean of so many
// cylinders.
func common(repeated []*leakback.Sample, before, assumed, cv float64) Figure {
	var sum scatter
	for _, s := range repeated {
		rows := steady(&s.Repeats, cv)
		if len(rows) == 0 {
			continue
		}
		n := float64(len(rows))
		means := make([]float64, len(s.Repeats.TimingVariance))
		for _, row := range pick(s.Repeats.LogRates, rows) {
			for k, y := range row {
				means[k] += y / n
			}
		}
		spread := stats.StdDev(means)
		dof := float64(len(means) - 1)
		own := cv*cv + meanOf(pick(s.Repeats.ReadingVariance, rows))
		sum.add(dof*spread*spread, dof, stats.Mean(s.Repeats.TimingVariance)+own/n)
	}
	return figure(before, assumed, sum, LeastCommonCV)
}

// steady lists the rows that repeat as readings of the relative standard
// deviation cv do; the one that is worst off goes first, because it moves the
// means that the others are held against. Of two that do not nobody can tell
// which it is: both go.
func steady(r *leakback.Repeats, cv float64) []int {
	rows := make([]int, len(r.Cylinders))
	for i := range rows {
		rows[i] = i
	}
	for len(rows) > 0 {
		worst, over := worstOff(r, rows, cv)
		if !over {
			return rows
		}
		if len(rows) == 2 {
			return nil
		}
		rows = append(rows[:worst], rows[worst+1:]...)
	}
	return rows
}

// worstOff is the row whose sum of squared residuals is the largest for its
// expected one, (1 - 1/n)(cv^2 + reading) a degree of freedom, and whether that
// is beyond the chi-square quantile 0.99^(1/n) at R - 1 degrees of freedom, as
// for the finding unsteady.
func worstOff(r *leakback.Repeats, rows []int, cv float64) (worst int, over bool) {
	squares, _ := stats.TwoWaySquares(pick(r.LogRates, rows))
	n := float64(len(rows))
	most := math.Inf(-1)
	for k, i := range rows {
		scaled := squares[k] / ((1 - 1/n) * (cv*cv + stats.Mean(r.ReadingVariance[i])))
		if scaled > most {
			worst, most = k, scaled
		}
	}
	runs := float64(len(r.TimingVariance))
	bar := stats.ChiSquareQuantile(math.Pow(steadiness, 1/n), runs-1)
	return worst, stats.Round6(most) > stats.Round6(bar)
}

// unsteady names the rows that were left out.
func unsteady(s *leakback.Sample, cv float64) (list []Unsteady) {
	kept := map[int]bool{}
	for _, i := range steady(&s.Repeats, cv) {
		kept[i] = true
	}
	for i, cylinder := range s.Repeats.Cylinders {
		if !kept[i] {
			list = append(list, Unsteady{s.ID, cylinder})
		}
	}
	return list
}

func pick(table [][]float64, rows []int) [][]float64 {
	picked := make([][]float64, len(rows))
	for k, i := range rows {
		picked[k] = table[i]
	}
	return picked
}

func total(x []float64) (sum float64) {
	for _, v := range x {
		sum += v
	}
	return sum
}

// meanOf is the mean of all figures of a table; 0 of nothing.
func meanOf(table [][]float64) float64 {
	if len(table) == 0 {
		return 0
	}
	var sum float64
	for _, row := range table {
		sum += stats.Mean(row)
	}
	return sum / float64(len(table))
}
