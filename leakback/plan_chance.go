package leakback

import (
	"math"
	"sort"

	"leakback/stats"
)

// decidedChance is the chance that the planned test is decided on the side of
// the limit where the rate is: Phi(|q - L|/u - t_0.95), and of one run, whose
// reading lies on a mark, what rounds to the last mark that is decided. Of
// several runs, whose own scatter smears the marks, the smaller of both stands.
func (p plan) decidedChance() float64 {
	b := p.budget()
	step, toward := 60*p.tube.GraduationML/p.collectS/float64(p.runs), 1.0
	if p.rateMLMin > p.limitMLMin {
		toward = -1
	}
	rounding := stats.ResolutionU(step)
	onMarks := stats.NormalCDF(toward * (p.lastDecided(step, toward) - p.rateMLMin) /
		math.Sqrt(b.StandardMLMin*b.StandardMLMin-rounding*rounding))
	if p.runs == 1 {
		return onMarks
	}
	return math.Min(onMarks, stats.NormalCDF(math.Abs(p.rateMLMin-p.limitMLMin)/b.StandardMLMin-stats.T95(b.DoF)))
}

// lastDecided is half a step beyond the last multiple of step, on the way
// toward the limit, that is decided.
func (p plan) lastDecided(step, toward float64) float64 {
	start := toward * math.Floor(toward*p.rateMLMin/step)
	open := sort.Search(int(math.Abs(p.limitMLMin-p.rateMLMin)/step)+2, func(i int) bool {
		at := p
		at.rateMLMin = (start + toward*float64(i)) * step
		return stats.Against(at.rateMLMin, at.budget().ExpandedMLMin, p.limitMLMin) == stats.Open ||
			toward*at.rateMLMin > toward*p.limitMLMin
	})
	return (start + toward*(float64(open)-0.5)) * step
}

// nominal is the chance of an answer that is planned for.
const nominal = 0.95

// wholeSeconds is the plan in whole seconds: the fewest, of each crank where it
// is cranked, at which the marks of the tube leave the nominal chance, as far
// as a quarter more of the time does; else those with the best chance.
func (p plan) wholeSeconds() plan {
	most := math.Min(p.longestS, 1.25*p.collectS+leastS)
	p.collectS = p.wholeS()
	if p.limitMLMin == 0 || p.givenS > 0 {
		return p
	}
	best, chance := p, p.decidedChance()
	for q := p; chance < nominal; {
		before := q.collectS
		q = q.withTime(before + 1)
		q.collectS = q.wholeS()
		if q.collectS > most || q.collectS <= before {
			break
		}
		if next := q.decidedChance(); next > chance {
			best, chance = q, next
		}
	}
	return best
}
