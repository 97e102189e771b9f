package leakback

import (
	"math"

	"leakback/leakback/blockoff"
	"leakback/stats"
)

// share is how one cylinder's part of a merged return is known.
type share struct {
	line *solvedLine
	at   int // its place in the line's solution
	// plainMLMin is the share as solved; it may be below zero.
	plainMLMin float64
	// budget is that of the share as solved, also where it is only a bound.
	budget Budget
	// contrastMLMin is the standard deviation of the share less the mean share
	// of all lines; leastMLMin the least that is told apart from nothing.
	contrastMLMin, leastMLMin float64
	repeats                   int // runs that block it, at least 1
}

// solvedLine is one return line, solved.
type solvedLine struct {
	name  string
	index int // among the solved lines
	*blockoff.Solution
	// repeats are the fitted runs that block each cylinder, at least 1;
	// baselines are those that block none.
	repeats   []int
	baselines int
	// timing is the relative standard uncertainty that start and stop give one
	// run, tubeMLMin that of the tube's scale: means over the fitted runs.
	timing, tubeMLMin float64
}

// budget is the uncertainty of a figure that the runs of a line make and that
// so many of them repeat: what one run's scatter makes of it, and, as it meets
// absolute limits, what start, stop and state put on all runs alike.
func (l *solvedLine) budget(valueMLMin, sdMLMin float64, repeats int, commonCV float64) Budget {
	root := math.Sqrt(float64(repeats))
	value := math.Abs(valueMLMin)
	return l.combine(Budget{RepeatabilityMLMin: sdMLMin, TimingMLMin: value * l.timing / root, CommonMLMin: value * commonCV / root})
}

// combine is the rule's combine with the freedom of the line's sigma.
func (l *solvedLine) combine(b Budget) Budget {
	ru := rule{rep: repeatability{DoF: l.SigmaDoF}}
	return ru.combine(b)
}

// term is a share with its weight in a sum.
type term struct {
	share  *share
	weight float64
}

// spreadOf is the standard deviation of a weighted sum of shares by their
// covariance, and its degrees of freedom; lines are independent of one another.
func spreadOf(terms []term) (u, dof float64) {
	var parts []stats.Part
	var variance float64
	for i := range terms {
		line := terms[i].share.line
		if seen(terms[:i], line) {
			continue
		}
		var own float64
		for _, a := range terms {
			for _, b := range terms {
				if a.share.line == line && b.share.line == line {
					own += a.weight * b.weight * line.Covariance[a.share.at][b.share.at]
				}
			}
		}
		own = math.Max(0, own)
		variance += own
		parts = append(parts, stats.Part{U: math.Sqrt(own), DoF: line.SigmaDoF})
	}
	u = math.Sqrt(variance)
	return u, stats.EffectiveDoF(u, parts...)
}

func seen(terms []term, line *solvedLine) bool {
	for _, t := range terms {
		if t.share.line == line {
			return true
		}
	}
	return false
}

// shareRatio is the uncertainty of a share over a reference, with their
// covariance: x/m changes by (dx - x/m dm)/m. A bound adds none of its own.
func shareRatio(value float64, s *series, reference []member) (u, dof, expanded float64) {
	var terms []term
	mean := 0.0
	if s.bound == Exact {
		terms = append(terms, term{s.share, 1})
	}
	for _, r := range reference {
		mean += r.weight * r.numberMLMin
		if r.bound == Exact {
			terms = append(terms, term{r.share, -value * r.weight})
		}
	}
	u, dof = spreadOf(terms)
	u /= mean
	if stats.Round6(u) == 0 { // its own median
		return 0, stats.MaxDoF, 0
	}
	return u, dof, stats.T95(dof) * u
}

// sharesApart is how far some shares lie above others as solved, and the
// expanded uncertainty: by their covariance, and on the difference what start,
// stop and state put on both alike.
func sharesApart(high, low []member, commonCV float64) (span, float64) {
	var terms []term
	var solved, timing float64
	runs := math.MaxInt
	add := func(members []member, sign float64) {
		for _, m := range members {
			terms = append(terms, term{m.share, sign * m.weight})
			solved += sign * m.weight * m.share.plainMLMin
			timing, runs = math.Max(timing, m.share.line.timing), min(runs, m.share.repeats)
		}
	}
	add(high, 1)
	add(low, -1)
	apart, root := math.Max(0, solved), math.Sqrt(float64(runs))
	u, dof := spreadOf(terms)
	if high[0].series == low[0].series { // all are equal, and any two may differ
		u, dof = spreadAtMost(high)
	}
	timing, common := apart*timing/root, apart*commonCV/root
	all := stats.Quadrature(u, timing, common)
	dof = stats.EffectiveDoF(all, stats.Part{U: u, DoF: dof}, stats.Part{U: common, DoF: stats.AssumedDoF})
	return span{apart, apart}, stats.T95(dof) * all
}

// spreadAtMost is what no two shares differ by more than, as a standard
// deviation: twice that of the one that is known least well against their mean.
func spreadAtMost(members []member) (u, dof float64) {
	dof = stats.MaxDoF
	for _, m := range members {
		u, dof = math.Max(u, 2*m.share.contrastMLMin), math.Min(dof, m.share.line.SigmaDoF)
	}
	return u, dof
}
