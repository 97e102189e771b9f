package leakback

import (
	"fmt"
	"math"
	"slices"

	"leakback/leakback/blockoff"
	"leakback/limits/quantity"
	"leakback/stats"
)

// settleShare is settleCylinder for a share of a merged return.
func (e *evaluation) settleShare(i int) *Settle {
	c := &e.res.Cylinders[i]
	switch {
	case e.guard.unjudged, e.guard.notHeld:
		return e.guard.settle
	case c.Has(LowInSet):
		return newSettle(CheckHose, fmt.Sprintf("make sure that the line of cylinder %d was the one blocked and that its "+
			"injector is driven, then measure again", c.Cylinder))
	case e.guard.otherReturn:
		return e.guard.settle
	case len(e.all[i].share.line.FarOut) > 0:
		return e.all[i].share.line.settleFarOut()
	case e.at[i].open != nil:
		return e.settleCloseShare(i)
	case c.Has(HighInSet) && e.guard.settle != nil:
		return e.guard.settle
	case c.Has(HighInSet) || c.Has(CloseInSet):
		if more := e.morePasses(); more != nil && c.Has(CloseInSet) {
			return more
		}
		return e.settleApart()
	case e.guard.settle != nil && !e.set.few:
		return e.guard.settle
	case e.set.tooLittle, c.Has(CloseToLimit):
		if more := e.morePasses(); more != nil {
			return more
		}
	}
	return getLimit()
}

// passes is how often every cylinder was blocked at least.
func (e *evaluation) passes() int {
	passes := math.MaxInt
	for _, line := range e.lines {
		passes = min(passes, slices.Min(line.repeats))
	}
	return passes
}

// contrast is how well a share is known against the others, relative to the
// median share: the worst of them.
func (e *evaluation) contrast() float64 {
	var worst float64
	for i := range e.all {
		if s := e.all[i].share; s != nil {
			worst = math.Max(worst, s.contrastMLMin/e.set.medianMLMin)
		}
	}
	return worst
}

// settleFarOut asks to do again what disagrees.
func (l *solvedLine) settleFarOut() *Settle {
	if len(l.FarOut) == 1 {
		return newSettle(Repeat, fmt.Sprintf("leave run %d out if it stumbled or spilled, else measure it again", l.FarOut[0]))
	}
	return newSettle(Repeat, fmt.Sprintf("measure once more what runs %s measured, or leave out the one that stumbled or spilled",
		numberedAnd(l.FarOut)))
}

// morePasses asks for two more passes until the contrast is known well enough;
// nil where it is.
func (e *evaluation) morePasses() *Settle {
	contrast := e.contrast()
	if stats.Round6(contrast) < blockoff.TargetContrast || math.IsNaN(contrast) {
		return nil
	}
	s := e.passesMore(2)
	s.Text += fmt.Sprintf(": a share is known against the others within %s %% of the median share (one standard "+
		"deviation), and under %s %% is enough", quantity.Fixed(100*contrast, 1), plain(100*blockoff.TargetContrast))
	return s
}

// passesMore is the advice to measure so many more passes.
func (e *evaluation) passesMore(more int) *Settle {
	s := newSettle(Repeat, fmt.Sprintf("measure %d more passes (every cylinder blocked in order, then in reverse order, "+
		"then nothing blocked)", more))
	s.Runs = len(e.test.Runs) + more*len(e.numbers) + more/2
	return s
}

// settleCloseShare answers a share or ratio that is too close to its limit: by
// more passes, which lower what one run's scatter makes.
func (e *evaluation) settleCloseShare(i int) *Settle {
	call, s := e.at[i].open, e.all[i].share
	passes := e.passes()
	for more := 2; passes+more <= blockoff.MostPasses; more += 2 {
		shrink := math.Sqrt(float64(passes) / float64(passes+more))
		if len(call.ratioTo) > 0 {
			ratio := s.plainMLMin / call.scale
			u, dof, _ := shareRatio(ratio, &e.all[i], call.ratioTo)
			if apart(math.Abs(ratio-call.limit), shrink*u, dof) {
				return e.passesMore(more)
			}
			continue
		}
		b := s.line.budget(s.plainMLMin, shrink*s.budget.RepeatabilityMLMin, s.repeats+more, e.sheet.Measurement.CommonCV)
		if apart(math.Abs(s.plainMLMin-call.limit), b.StandardMLMin, b.DoF) {
			return e.passesMore(more)
		}
	}
	return tooClose()
}

// settleTotal says what settles a total, or a difference, that is open.
func (e *evaluation) settleTotal() *Settle {
	again := newSettle(Repeat, "collect the total again, longer or more often")
	again.Runs = len(e.test.Runs) + 1
	switch {
	case e.test.Method == MethodBlockOff && !e.res.Has(CloseToTotal):
		return e.passesMore(2)
	case e.test.Method == MethodBlockOff:
		again.Text = "collect with nothing blocked again, longer or more often"
	case e.test.Method != MethodTotal:
		again.Text = "collect again, longer or more often"
	case len(e.totals) == 1 && e.totals[0].bound == AtLeast:
		return e.settleOverflow(&e.totals[0], "it")
	case len(e.totals) == 1 && e.totals[0].bound == Exact && e.totals[0].readable():
		p := e.planFor(&e.totals[0])
		if s := p.settleBy(rateAgainst(*e.limit.MaxTotalMLMin)); s != nil {
			return s
		}
	}
	return again
}

// settleUntimed is settleCylinder where the length of a run is unknown.
func (e *evaluation) settleUntimed(i int) *Settle {
	c := &e.res.Cylinders[i]
	switch {
	case e.guard.unjudged:
		return e.guard.settle
	case c.Has(LowInSet):
		return e.checkHose(i)
	case e.all[i].bound == AtLeast:
		return newSettle(LargerTube, "take a larger tube or collect for a shorter time, and note how long")
	}
	return newSettle(RecordState, "collect again over a time that is noted, so that rates and the maker's limit can be used")
}
