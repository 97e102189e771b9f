package leakback

import (
	"fmt"
	"math"

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

// marksML are the steps that graduated cylinders commonly have (ASTM E1272).
var marksML = []float64{5, 2, 1, 0.5, 0.2, 0.1}

func newSettle(a Action, text string) *Settle {
	nan := math.NaN()
	return &Settle{Action: a, CollectS: nan, TubeML: nan, GraduationML: nan, Text: text}
}

// plan is what a further test of one cylinder would look like.
type plan struct {
	rule       rule
	rateMLMin  float64
	levels     float64
	tube       Tube
	timingS    float64 // of one end
	collectS   float64
	runs       int
	cranks     int
	maxCrankS  float64 // 0 where a run is not cranked
	restS      float64
	limitCrank int // the pattern that the limit asks for; 0 for any
	longestS   float64
}

// planFor starts from how the cylinder was measured, with the r and the levels
// of the decision.
func (e *evaluation) planFor(i int) plan {
	s, m := &e.all[i], e.sheet.Measurement
	p := plan{
		rule: e.rule, rateMLMin: s.numberMLMin, levels: 1, tube: s.parts[0].tube,
		timingS: m.TimingS, collectS: s.parts[0].intervalS, runs: len(s.parts),
		cranks: max(1, e.test.Runs[0].State.Cranks), longestS: longestS,
	}
	for _, part := range s.parts {
		p.levels = math.Max(p.levels, part.levels)
		p.collectS = math.Max(p.collectS, part.intervalS)
	}
	if p.tube.CapacityML > 0 {
		p.longestS = 60 * p.tube.CapacityML / p.rateMLMin
	}
	if e.test.Condition == Cranking {
		e.crankPlan(&p)
	}
	return p
}

// Cranking is the condition in which the starter turns the engine.
const Cranking = "cranking"

// crankPlan bounds a run by the starter: without the sheet's figures no longer
// cranking time is ever proposed.
func (e *evaluation) crankPlan(p *plan) {
	m := e.sheet.Measurement
	if e.limit != nil {
		p.limitCrank = e.limit.Cranks
	}
	if m.MaxCrankS <= 0 {
		p.longestS = math.Min(p.longestS, p.collectS)
		return
	}
	p.maxCrankS, p.restS = m.MaxCrankS, m.RestS
	if p.limitCrank > 0 {
		p.longestS = math.Min(p.longestS, float64(p.limitCrank)*m.MaxCrankS)
	}
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

// question is a comparison that a plan may answer: how far the figure lies
// from its limit, and its standard uncertainty and degrees of freedom.
type question func(p plan) (distance, u, dof float64)

// answers says whether the plan has about a 95 % chance of an answer:
// |q - L| >= (t_0.95 + 1.645) u.
func (p plan) answers(ask question) bool {
	distance, u, dof := ask(p)
	return distance >= (stats.T95(dof)+power)*u
}

// shortestS is the time that collects at least ten marks.
func (p plan) shortestS() float64 { return 60 * fewestMarks * p.tube.GraduationML / p.rateMLMin }

// time finds the shortest run that answers, by bisection inside each number of
// cranks; false where none does.
func (p plan) time(ask question) (plan, bool) {
	from := p.shortestS()
	for from <= p.longestS {
		to := p.longestS
		if p.maxCrankS > 0 && p.limitCrank == 0 {
			to = math.Min(to, p.maxCrankS*math.Floor(from/p.maxCrankS+1))
		}
		if p.withTime(to).answers(ask) {
			return p.bisect(ask, from, to), true
		}
		if to == p.longestS {
			break
		}
		from = math.Nextafter(to, math.Inf(1))
	}
	return p, false
}

func (p plan) bisect(ask question, from, to float64) plan {
	if p.withTime(from).answers(ask) {
		return p.withTime(from)
	}
	for to-from > 1e-9*to {
		middle := (from + to) / 2
		if p.withTime(middle).answers(ask) {
			to = middle
		} else {
			from = middle
		}
	}
	return p.withTime(to)
}

// settleBy finds what would answer a question: a longer run, else more runs,
// else a finer tube; nil where nothing practical does.
func (p plan) settleBy(ask question) *Settle {
	for runs := p.runs; runs <= mostRuns; runs++ {
		q := p
		q.runs = runs
		if found, ok := q.time(ask); ok {
			return found.settle(p.runs)
		}
	}
	for _, g := range marksML {
		if g >= p.tube.GraduationML {
			continue
		}
		q := p
		q.tube.GraduationML, q.tube.ToleranceML = g, math.Min(g, p.tube.ToleranceML)
		for q.runs = p.runs; q.runs <= mostRuns; q.runs++ {
			if found, ok := q.time(ask); ok {
				s := found.settle(p.runs)
				s.Action, s.GraduationML = FinerTube, g
				s.Text = fmt.Sprintf("take a tube with marks of %s mL and %s", plain(g), s.Text)
				return s
			}
		}
	}
	return nil
}

// settle puts the plan into words.
func (p plan) settle(before int) *Settle {
	s := newSettle(Collect, "")
	s.CollectS, s.Runs = p.collectS, p.runs
	text := "collect for " + p.seconds()
	if p.runs > before {
		s.Action = Repeat
	}
	if p.runs > 1 {
		text = fmt.Sprintf("collect %d times for %s each", p.runs, p.seconds())
	}
	if p.maxCrankS > 0 && p.cranks > 1 {
		text += fmt.Sprintf(", in %d cranks of at most %s s with %s s of rest between",
			p.cranks, plain(p.maxCrankS), plain(p.restS))
	}
	s.Text = text
	return s
}

// seconds rounds a time up for people, within what the tube holds.
func (p plan) seconds() string {
	return quantity.Fixed(math.Min(math.Ceil(stats.Round6(p.collectS)), p.longestS), 0) + " s"
}

// settle says for every open cylinder what would turn it into an answer.
func (e *evaluation) settle() {
	for i := range e.all {
		c := &e.res.Cylinders[i]
		switch c.Verdict {
		case Unread:
			c.Settle = newSettle(ReadAll, fmt.Sprintf("read cylinder %d as well", c.Cylinder))
			if e.all[i].mixedBounds {
				c.Settle.Text = fmt.Sprintf("one run of cylinder %d overflowed and another stayed below the "+
					"first mark: prime it and collect again", c.Cylinder)
			}
		case Undecided:
			c.Settle = e.settleCylinder(i)
		}
	}
}

// settleCylinder takes the reasons in the order in which they can be mended.
func (e *evaluation) settleCylinder(i int) *Settle {
	s, c := &e.all[i], &e.res.Cylinders[i]
	switch {
	case e.guard.unjudged:
		return e.guard.settle
	case c.Has(LowInSet):
		return newSettle(CheckHose, fmt.Sprintf("stop the engine, check hose, priming and tube of cylinder %d, "+
			"then collect again", c.Cylinder))
	case s.bound == AtLeast:
		return e.settleOverflow(i)
	case e.at[i].open != nil:
		return e.settleClose(i)
	case c.Has(Unsteady):
		runs := newSettle(Repeat, fmt.Sprintf("prime the hoses and collect %d times more", len(s.parts)+1))
		runs.Runs = len(s.parts) + 1
		return runs
	case c.Has(HighInSet) || c.Has(CloseInSet):
		return e.settleInSet(i)
	case e.guard.settle != nil && !e.set.few:
		return e.guard.settle
	case e.set.tooLittle:
		return e.settleTooLittle(i)
	case c.Has(CloseToLimit) && s.bound == AtMost:
		return e.settleTooLittle(i)
	}
	return newSettle(GetLimit, "get the maker's limit for this engine and condition from the service information")
}

// settleOverflow asks for a run that the tube can hold.
func (e *evaluation) settleOverflow(i int) *Settle {
	p := e.planFor(i)
	reached := e.all[i].rateMLMin * p.collectS / 60
	s := newSettle(LargerTube, "")
	s.CollectS, s.TubeML = p.collectS/2, 2*reached
	s.Runs = p.runs
	s.Text = fmt.Sprintf("take a tube of %s mL or more, or collect all cylinders for %s s",
		plain(math.Ceil(s.TubeML)), plain(math.Floor(s.CollectS)))
	return s
}

// settleClose answers a rate or ratio that is too close to its limit.
func (e *evaluation) settleClose(i int) *Settle {
	call, p := e.at[i].open, e.planFor(i)
	ask := func(p plan) (distance, u, dof float64) {
		b := p.budget()
		return math.Abs(p.rateMLMin - call.limit), b.StandardMLMin, b.DoF
	}
	if len(call.ratioTo) > 0 {
		ask = e.askRatio(i, call)
	}
	if s := p.settleBy(ask); s != nil {
		return s
	}
	return newSettle(Swap, "do a swap test where the maker allows it: this is too close to the limit to be told "+
		"apart by collecting")
}

// askRatio plans for the cylinder and its reference alike.
func (e *evaluation) askRatio(i int, call *closeCall) question {
	ratio := e.all[i].rateMLMin / call.scale
	return func(p plan) (distance, u, dof float64) {
		own := p.ownRelative()
		reference := p
		reference.rateMLMin = call.scale
		other := reference.ownRelative()
		shrink := math.Sqrt(float64(len(call.ratioTo)))
		u = ratio * math.Hypot(own, other/shrink)
		dof = stats.EffectiveDoF(u, stats.Part{
			U:   ratio * p.rule.rep.CV * math.Sqrt((1+1/(shrink*shrink))/float64(p.runs)),
			DoF: p.rule.rep.DoF,
		})
		return math.Abs(ratio - call.limit), u, dof
	}
}

func (p plan) ownRelative() float64 {
	b := p.budget()
	if p.rule.shared {
		return b.OwnMLMin() / p.rateMLMin
	}
	return b.StandardMLMin / p.rateMLMin
}

// settleInSet: what stands apart from its set is settled by repeating only
// where measuring is the larger doubt (u > s/2); else by a limit, a swap or a
// spread learned from the shop's own tests.
func (e *evaluation) settleInSet(i int) *Settle {
	if e.set.at[i].unsure {
		s := newSettle(Repeat, "collect once more: two runs must agree where so little returns")
		s.Runs = len(e.all[i].parts) + 1
		return s
	}
	if e.set.at[i].ownU > e.set.spread/2 {
		p := e.planFor(i)
		for runs := p.runs; runs <= mostRuns; runs++ {
			q := p
			q.runs = runs
			for _, t := range []float64{math.Max(p.shortestS(), p.collectS), p.longestS} {
				if t <= p.longestS && q.withTime(t).ownRelative() <= e.set.spread/2 {
					return q.withTime(t).settle(p.runs)
				}
			}
		}
	}
	if e.hasMax {
		return newSettle(Swap, "do a swap test where the maker allows it, or learn the healthy spread from the "+
			"shop's own tests; collecting again tells little, and the maker's maximum is met")
	}
	return newSettle(GetLimit, "get the maker's limit; without one do a swap test where the maker allows it, "+
		"or learn the healthy spread from the shop's own tests")
}

// settleTooLittle asks for ten times the time, which makes a first mark ten,
// where the fullest tube holds it; else for finer marks.
func (e *evaluation) settleTooLittle(i int) *Settle {
	p := e.planFor(i)
	most := p.longestS
	for k := range e.all {
		if e.all[k].readable() {
			most = math.Min(most, e.planFor(k).longestS)
		}
	}
	longer := fewestMarks * p.collectS
	if longer <= most {
		return p.withTime(longer).settle(p.runs)
	}
	s := newSettle(FinerTube, "")
	s.GraduationML = p.tube.GraduationML / fewestMarks
	s.CollectS, s.Runs = p.collectS, p.runs
	s.Text = fmt.Sprintf("take tubes with marks of %s mL or finer, or weigh what returns", plain(s.GraduationML))
	return s
}

// settleTest says what settles the test as a whole: what touches all of it
// first, else the widest reaching advice of its cylinders.
func (e *evaluation) settleTest() {
	r := &e.res
	if r.Verdict != Undecided && r.Verdict != Unread {
		return
	}
	switch {
	case e.guard.unjudged, e.guard.settle != nil && r.Verdict == Undecided && e.guardTouched():
		r.Settle = e.guard.settle
	case r.Has(NoConsensus):
		r.Settle = newSettle(GetLimit, "get the maker's limit: the set alone cannot settle it")
	case r.Has(CloseToTotal) || r.Has(CloseToDifference):
		r.Settle = newSettle(Repeat, "collect again, longer or more often")
		r.Settle.Runs = len(e.test.Runs) + 1
	default:
		r.Settle = e.widest()
	}
}

// guardTouched says whether the state took a verdict away from anything.
func (e *evaluation) guardTouched() bool {
	for i := range e.res.Cylinders {
		if c := &e.res.Cylinders[i]; c.Verdict == Undecided && c.Settle == e.guard.settle {
			return true
		}
	}
	return !e.anyOpen()
}

func (e *evaluation) anyOpen() bool {
	for i := range e.res.Cylinders {
		if v := e.res.Cylinders[i].Verdict; v == Undecided || v == Unread {
			return true
		}
	}
	return false
}

// widest is the advice of the cylinder that asks for most collecting.
func (e *evaluation) widest() *Settle {
	var best *Settle
	most := -1.0
	for i := range e.res.Cylinders {
		s := e.res.Cylinders[i].Settle
		if s == nil || e.res.Cylinders[i].Verdict != e.res.Verdict {
			continue
		}
		effort := 0.0
		if !math.IsNaN(s.CollectS) {
			effort = s.CollectS * float64(max(1, s.Runs))
		}
		if effort > most {
			best, most = s, effort
		}
	}
	return best
}
