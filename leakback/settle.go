package leakback

import (
	"fmt"
	"math"

	"leakback/stats"
)

func newSettle(a Action, text string) *Settle {
	nan := math.NaN()
	return &Settle{Action: a, CollectS: nan, SaidS: nan, TubeML: nan, GraduationML: nan, Text: text}
}

// planFor starts from how a cylinder, or the total, was measured, with the r
// and the levels of the decision.
func (e *evaluation) planFor(s *series) plan {
	m := e.sheet.Measurement
	p := plan{
		rule: e.rule, rateMLMin: s.numberMLMin, levels: 1, tube: s.parts[0].tube,
		timingS: m.TimingS, collectS: s.parts[0].intervalS, runs: len(s.parts),
		cranks: max(1, e.test.Runs[0].State.Cranks), boundS: math.Inf(1),
	}
	for _, part := range s.parts {
		p.levels = math.Max(p.levels, part.levels)
		p.collectS = math.Max(p.collectS, part.intervalS)
	}
	if e.test.Condition == Cranking {
		p.crank(&e.sheet.Measurement, e.limitCranks())
	}
	return p.withTube(p.tube)
}

// Cranking is the condition in which the starter turns the engine.
const Cranking = "cranking"

// limitCranks is the crank pattern that the limit asks for; 0 for any.
func (e *evaluation) limitCranks() int {
	if e.limit == nil {
		return 0
	}
	return e.limit.Cranks
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
			if e.test.Method == MethodBlockOff {
				c.Settle.Text = fmt.Sprintf("measure the return line of cylinder %d as well", c.Cylinder)
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
	case s.share != nil:
		return e.settleShare(i)
	case e.noInterval:
		return e.settleUntimed(i)
	case e.guard.unjudged:
		return e.guard.settle
	case c.Has(LowInSet):
		return e.checkHose(i)
	case s.bound == AtLeast:
		return e.settleOverflow(s, "all cylinders")
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
	return getLimit()
}

func getLimit() *Settle {
	return newSettle(GetLimit, "get the maker's limit for this engine and condition from the service information")
}

func (e *evaluation) checkHose(i int) *Settle {
	return newSettle(CheckHose, fmt.Sprintf("stop the engine, check hose, priming and tube of cylinder %d, "+
		"then collect again", e.all[i].cylinder))
}

// settleOverflow asks for a run of what was collected that the tube can hold.
func (e *evaluation) settleOverflow(one *series, what string) *Settle {
	p := e.planFor(one)
	reached := one.rateMLMin * p.collectS / 60
	s := newSettle(LargerTube, "")
	s.CollectS, s.TubeML = p.collectS/2, 2*reached
	s.SaidS, s.Runs = math.Floor(s.CollectS), p.runs
	s.Text = fmt.Sprintf("take a tube of %s mL or more, or collect %s for %s s",
		plain(math.Ceil(s.TubeML)), what, plain(s.SaidS))
	return s
}

// settleClose answers a rate or ratio that is too close to its limit.
func (e *evaluation) settleClose(i int) *Settle {
	call, p := e.at[i].open, e.planFor(&e.all[i])
	p.limitMLMin = call.limit
	ask := rateAgainst(call.limit)
	if len(call.ratioTo) > 0 {
		p.limitMLMin, ask = 0, e.askRatio(i, call)
	}
	if s := p.settleBy(ask); s != nil {
		return s
	}
	return tooClose()
}

func tooClose() *Settle {
	return newSettle(Swap, "do a swap test where the maker allows it: this is too close to the limit to be told "+
		"apart by collecting")
}

// askRatio plans for the cylinder and its reference alike.
func (e *evaluation) askRatio(i int, call *closeCall) question {
	ratio := e.all[i].rateMLMin / call.scale
	return func(p plan) bool {
		own := p.ownRelative()
		reference := p
		reference.rateMLMin = call.scale
		other := reference.ownRelative()
		var squares float64 // what averaging over the members leaves of a variance
		for _, m := range call.ratioTo {
			squares += m.weight * m.weight
		}
		u := ratio * math.Hypot(own, other*math.Sqrt(squares))
		dof := stats.EffectiveDoF(u, stats.Part{
			U:   ratio * p.rule.rep.CV * math.Sqrt((1+squares)/float64(p.runs)),
			DoF: p.rule.rep.DoF,
		})
		return apart(math.Abs(ratio-call.limit), u, dof)
	}
}

// settleInSet: a doubt within the set is settled by collecting only where
// measuring is the larger doubt (u > s/2); else, and where a cylinder stands
// apart for certain, by a limit, a swap or a spread learned from the shop's own
// tests.
func (e *evaluation) settleInSet(i int) *Settle {
	if e.guard.sequential {
		return e.guard.settle
	}
	if e.set.at[i].swayed {
		return e.settleBounds()
	}
	if e.set.at[i].unsure {
		s := newSettle(Repeat, "collect once more: two runs must agree where so little returns")
		s.Runs = len(e.all[i].parts) + 1
		return s
	}
	if e.res.Cylinders[i].Has(HighInSet) {
		if e.guard.settle != nil {
			return e.guard.settle
		}
	} else if e.set.at[i].ownU > e.set.spread/2 {
		level := e.set.medianMLMin
		if e.set.tooLittle {
			level = e.set.reference
		}
		if advice := e.planFor(&e.all[i]).settleBy(measuredWell(level, e.set.spread)); advice != nil {
			return advice
		}
	}
	return e.settleApart()
}

// settleBounds asks for readings in the place of bounds.
func (e *evaluation) settleBounds() *Settle {
	for i := range e.all {
		if e.all[i].bound == AtLeast {
			return e.settleOverflow(&e.all[i], "all cylinders")
		}
	}
	s := newSettle(Repeat, "collect again until every cylinder can be read: one of which only a bound is known may decide for others")
	s.Runs = len(e.test.Runs)
	return s
}

// settleApart is for what collecting again does not settle.
func (e *evaluation) settleApart() *Settle {
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
	p := e.planFor(&e.all[i])
	most := p.longestS
	for k := range e.all {
		if e.all[k].readable() {
			most = math.Min(most, e.planFor(&e.all[k]).longestS)
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
		r.Settle = e.settleTotal()
	case e.test.Method == MethodTotal && r.Verdict == Unread:
		r.Settle = newSettle(ReadAll, "read what came back")
	case e.test.Method == MethodTotal:
		r.Settle = newSettle(GetLimit, "get the maker's limit of the total, or measure the cylinders' own returns, or block "+
			"one cylinder after the other where the maker allows it")
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
	return e.guard.tookWhole || !e.anyOpen()
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
