package leakback

import (
	"cmp"
	"fmt"
	"math"

	"leakback/limits"
	"leakback/limits/quantity"
	"leakback/stats"
)

// Bounds of what is ever proposed.
const (
	fewestMarks = 10  // collected at least
	longestS    = 600 // of one run, where no tube says less: ours, not a source's
	mostRuns    = 10
	// power is the normal quantile that makes an answer about 95 % likely.
	power = 1.645
)

// plan is what a further test of one cylinder would look like.
type plan struct {
	rule      rule
	rateMLMin float64
	levels    float64
	tube      Tube
	timingS   float64 // of one end
	collectS  float64
	runs      int
	cranks    int
	maxCrankS float64 // 0 where a run is not cranked
	restS     float64
	// limitMLMin is the limit that the rate is held against; 0 where it is not.
	limitMLMin float64
	// limitCrank is the pattern that the limit asks for; 0 for any.
	limitCrank int
	// boundS is the longest run that anything but the tube allows, longestS
	// with the tube as well; withTube sets it.
	boundS, longestS float64
	// givenS is the only length of a run that may be; 0 for any.
	givenS float64
	// spareMLMin is the rate of another cylinder that the tube should hold as
	// well; 0 where nobody asks.
	spareMLMin float64
}

// withTube gives the plan a tube: never longer than the tube holds, in whole
// seconds.
func (p plan) withTube(t Tube) plan {
	p.tube, p.longestS = t, math.Min(p.boundS, longestS)
	if t.CapacityML > 0 {
		p.longestS = math.Min(p.boundS, math.Floor(stats.Round6(p.fullS(p.rateMLMin))))
	}
	return p
}

// fullS is when a rate fills the tube.
func (p plan) fullS(rateMLMin float64) float64 { return 60 * p.tube.CapacityML / rateMLMin }

// sparing is the plan with runs so short that a cylinder at spareMLMin does not
// fill the tube: whatever overflows is then known to return more.
func (p plan) sparing() plan {
	if p.spareMLMin > 0 && p.tube.CapacityML > 0 {
		p.longestS = math.Min(p.longestS, math.Ceil(stats.Round6(p.fullS(p.spareMLMin)))-1)
	}
	return p
}

// withTime gives the plan another length of run, cranked as the starter allows.
func (p plan) withTime(t float64) plan {
	p.collectS = t
	if p.maxCrankS > 0 {
		p.cranks = max(1, int(math.Ceil(stats.Round6(t/p.maxCrankS))))
		if p.limitCrank > 0 {
			p.cranks = p.limitCrank
		}
	}
	return p
}

// crank bounds the runs by the starter: without the sheet's figures no longer
// cranking time than the plan's is ever proposed.
func (p *plan) crank(m *limits.Measurement, limitCranks int) {
	p.limitCrank = limitCranks
	if m.MaxCrankS <= 0 {
		p.boundS = math.Min(p.boundS, p.collectS)
		return
	}
	p.maxCrankS, p.restS = m.MaxCrankS, m.RestS
	if limitCranks > 0 {
		p.boundS = math.Min(p.boundS, float64(limitCranks)*m.MaxCrankS)
	}
}

// budget is the uncertainty that the planned test would have.
func (p plan) budget() Budget {
	s := series{rateMLMin: p.rateMLMin, numberMLMin: p.rateMLMin, parts: make([]part, p.runs)}
	for k := range s.parts {
		s.parts[k] = part{
			rateMLMin: p.rateMLMin, netML: p.rateMLMin * p.collectS / 60, intervalS: p.collectS,
			levels: p.levels, tube: p.tube, timingS: p.timingS * math.Sqrt(2*float64(p.cranks)),
		}
	}
	return p.rule.budget(&s)
}

// ownRelative is the part of the uncertainty that counts between cylinders,
// relative to the rate.
func (p plan) ownRelative() float64 {
	b := p.budget()
	if p.rule.shared {
		return b.OwnMLMin() / p.rateMLMin
	}
	return b.StandardMLMin / p.rateMLMin
}

// question is what a planned test may answer; it must stay answered when the
// run is made longer within its cranks.
type question func(p plan) bool

// apart says whether a figure so far from its limit has about a 95 % chance of
// an answer: |q - L| >= (t_0.95 + 1.645) u.
func apart(distance, u, dof float64) bool { return distance >= (stats.T95(dof)+power)*u }

// rateAgainst asks whether the rate is over or under a limit.
func rateAgainst(limitMLMin float64) question {
	return func(p plan) bool {
		b := p.budget()
		return apart(math.Abs(p.rateMLMin-limitMLMin), b.StandardMLMin, b.DoF)
	}
}

// measuredWell asks whether measuring is not the larger doubt in a comparison
// within a set of that level: u <= s/2, s the log standard deviation of healthy
// injectors.
func measuredWell(levelMLMin, spread float64) question {
	return func(p plan) bool {
		p.rateMLMin = levelMLMin
		return p.ownRelative() <= spread/2
	}
}

// shortestS is the time that collects at least ten marks.
func (p plan) shortestS() float64 { return 60 * fewestMarks * p.tube.GraduationML / p.rateMLMin }

// time finds the shortest run that answers, by bisection inside each number of
// cranks; false where none does.
func (p plan) time(ask question) (plan, bool) {
	from := p.shortestS()
	if p.givenS > 0 {
		q := p.withTime(p.givenS)
		return q, p.givenS >= from && p.givenS <= p.longestS && ask(q)
	}
	if !p.everAnswers(ask) {
		return p, false
	}
	for from <= p.longestS {
		to := p.longestS
		if p.maxCrankS > 0 && p.limitCrank == 0 {
			to = math.Min(to, p.maxCrankS*math.Floor(from/p.maxCrankS+1))
		}
		if ask(p.withTime(to)) {
			return p.withTime(first(from, to, func(t float64) bool { return ask(p.withTime(t)) })), true
		}
		if to == p.longestS {
			break
		}
		from = math.Nextafter(to, math.Inf(1))
	}
	return p, false
}

// everAnswers looks at the longest run and, as a crank that is only begun adds
// more doubt than time, at the longest of whole cranks.
func (p plan) everAnswers(ask question) bool {
	if ask(p.withTime(p.longestS)) {
		return true
	}
	return p.maxCrankS > 0 && p.longestS >= p.maxCrankS &&
		ask(p.withTime(p.maxCrankS*math.Floor(p.longestS/p.maxCrankS)))
}

// first is the smallest x between from and to that holds, by bisection: to
// holds, and so does everything above one that does.
func first(from, to float64, holds func(x float64) bool) float64 {
	if holds(from) {
		return from
	}
	for to-from > 1e-9*to {
		middle := (from + to) / 2
		if holds(middle) {
			to = middle
		} else {
			from = middle
		}
	}
	return to
}

// repeated finds the fewest runs that answer, each as short as it may be:
// sparing ones first.
func (p plan) repeated(ask question) (plan, bool) {
	for _, way := range []plan{p.sparing(), p} {
		way.runs = mostRuns
		hopeless := p.givenS == 0 && !way.everAnswers(ask)
		for runs := p.runs; runs <= mostRuns && !hopeless; runs++ {
			way.runs = runs
			if found, ok := way.time(ask); ok {
				return found, true
			}
		}
		if way.longestS == p.longestS {
			break
		}
	}
	return p, false
}

// search finds what would answer a question: a longer run, else more runs, else
// another of the common tubes; false where nothing practical does.
func (p plan) search(ask question) (plan, bool) {
	if found, ok := p.repeated(ask); ok {
		return found, true
	}
	ways, best := p.inTubes(ask)
	if best < 0 {
		return p, false
	}
	return ways[best], true
}

// inTubes looks at each common tube: the ways that answer, from the smallest
// tube, and the place of the best; -1 where none does.
func (p plan) inTubes(ask question) (ways []plan, best int) {
	best = -1
	for _, tube := range p.tube.common() {
		q := p.withTube(tube)
		q.longestS = math.Min(q.longestS, longestS)
		if q.fullS(math.Max(q.rateMLMin, q.spareMLMin)) < leastS {
			continue // full before anybody can look
		}
		found, ok := q.repeated(ask)
		if !ok {
			continue
		}
		ways = append(ways, found)
		if best < 0 || found.better(&ways[best]) {
			best = len(ways) - 1
		}
	}
	return ways, best
}

// common lists the common sizes of tubes, their scales as good as this one's:
// of its class, else to a mark, or to the part of a mark that this one is good to.
func (t Tube) common() []Tube {
	var tubes []Tube
	marks := math.Min(1, t.ToleranceML/t.GraduationML)
	for _, glass := range limits.CommonGlass() {
		tube := Tube{GraduationML: glass.GraduationML, CapacityML: glass.CapacityML, Class: t.Class,
			ToleranceML: marks * glass.GraduationML}
		if own, err := limits.GlassToleranceML(glass.CapacityML, t.Class); err == nil {
			tube.ToleranceML = own
		}
		tubes = append(tubes, tube)
	}
	return tubes
}

// handyS is a run that is long enough to be timed at ease: below it no time is
// saved. Our choice, no source.
const handyS = 30

// better prefers what no other cylinder overflows, then fewer runs, then fewer
// cranks or less time, then the larger tube and the finer marks.
func (p *plan) better(than *plan) bool {
	return cmp.Or(
		cmp.Compare(p.overflows(), than.overflows()),
		cmp.Compare(p.runs, than.runs),
		cmp.Compare(p.effort(), than.effort()),
		cmp.Compare(than.tube.CapacityML, p.tube.CapacityML),
		cmp.Compare(p.tube.GraduationML, than.tube.GraduationML),
	) < 0
}

func (p *plan) effort() float64 {
	if p.maxCrankS > 0 {
		return float64(p.cranks)
	}
	return math.Max(p.collectS, handyS)
}

// overflows is 1 where a cylinder at spareMLMin fills the tube before the run
// is over, so that its overflow proves nothing; else 0.
func (p *plan) overflows() int {
	if p.spareMLMin > 0 && p.tube.CapacityML > 0 && p.fullS(p.spareMLMin) <= p.collectS {
		return 1
	}
	return 0
}

// settleBy puts what answers a question into advice; nil where nothing does.
func (p plan) settleBy(ask question) *Settle {
	found, ok := p.search(ask)
	if !ok {
		return nil
	}
	s := found.settle(p.runs)
	if found.tube != p.tube {
		s.Action, s.TubeML, s.GraduationML = LargerTube, found.tube.CapacityML, found.tube.GraduationML
		if found.tube.GraduationML < p.tube.GraduationML {
			s.Action = FinerTube
		}
		s.Text = fmt.Sprintf("take a tube of %s mL with marks of %s mL and %s",
			plain(s.TubeML), plain(s.GraduationML), s.Text)
	}
	return s
}

// settle puts the plan into words.
func (p plan) settle(before int) *Settle {
	s := newSettle(Collect, "")
	s.CollectS, s.Runs = p.collectS, p.runs
	p = p.wholeSeconds()
	s.SaidS = p.collectS
	seconds := quantity.Format(quantity.Interval, p.collectS)
	text := "collect for " + seconds
	if p.runs > before {
		s.Action = Repeat
	}
	if p.runs > 1 {
		text = fmt.Sprintf("collect %d times for %s each", p.runs, seconds)
	}
	if p.maxCrankS > 0 && p.cranks > 1 {
		s.Cranks = p.cranks
		text += fmt.Sprintf(", in %d cranks of at most %s s with %s s of rest between",
			p.cranks, plain(p.maxCrankS), plain(p.restS))
	}
	s.Text = text
	return s
}

// leastS is the shortest run, or crank, that people are asked for where a longer
// one is allowed. Our choice, no source.
const leastS = 10

// wholeS is the run's length as a stopwatch keeps it: rounded up to whole
// seconds, of each crank where it is cranked, as far as it may be so long.
func (p plan) wholeS() float64 {
	if p.givenS > 0 {
		return p.givenS
	}
	up := func(t float64) float64 { return math.Max(leastS, math.Ceil(stats.Round6(t))) }
	if p.maxCrankS > 0 {
		each := math.Min(up(p.collectS/float64(p.cranks)), p.maxCrankS)
		return math.Min(each*float64(p.cranks), p.longestS)
	}
	return math.Min(up(p.collectS), p.longestS)
}
