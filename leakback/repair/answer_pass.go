package repair

import (
	"fmt"
	"math"
	"slices"

	"leakback/leakback"
	"leakback/limits/quantity"
	"leakback/stats"
)

// answerPass is for a later test that passes as a whole. Whatever speaks against
// "back to normal" is said, and makes it undecided.
func (p *Pair) answerPass() {
	p.sayNothing()
	p.sayDoubts(func(r Remark) bool { return r.DoubtsPass })
	p.sayDependent()
	p.sayNoLimit() // before what a change shows: without a limit none shows what a limit said
	p.sayWithinNoise()
	if len(p.Reasons) > 0 {
		p.Answer = Undecided
		return
	}
	p.Answer = BackToNormal
	p.sayBack()
}

// failed are the cylinders, and the whole return, that failed before.
func (p *Pair) failed() []*Change {
	var list []*Change
	for i := range p.Cylinders {
		if p.Cylinders[i].Before.Verdict == leakback.Fail {
			list = append(list, &p.Cylinders[i])
		}
	}
	if p.Total.Before.High {
		list = append(list, &p.Total)
	}
	return list
}

// concerned are those that failed before and those that were worked on.
func (p *Pair) concerned() []*Change {
	list := p.failed()
	for _, n := range p.allWorkedOn() {
		if c := p.At(n); c != nil && !slices.Contains(list, c) {
			list = append(list, c)
		}
	}
	return list
}

// sayDependent names what would not pass for certain at the temperature of the
// earlier test, or did not come back for certain.
func (p *Pair) sayDependent() {
	var limit, apart []int
	for _, c := range p.concerned() {
		_, settled := c.Direction()
		switch {
		case c.Range == nil:
		case c.temperatureDecides(stats.Below):
			limit = append(limit, c.Cylinder)
		case !settled && c.Before.Verdict == leakback.Fail, !c.Range.Throughout(func(d Decisions) bool { return !d.Apart }):
			apart = append(apart, c.Cylinder)
		}
	}
	p.sayTemperature(limit, "would be within the limit")
	p.sayTemperature(apart, "would have come back")
}

// wanted is the direction in which a cylinder that failed has to go.
func (c *Change) wanted() int {
	if c.Before.Low && !c.Before.High {
		return +1
	}
	return -1
}

func (p *Pair) sayWithinNoise() {
	var list []*Change
	for _, c := range p.failed() {
		if direction, settled := c.Direction(); settled && direction != c.wanted() {
			list = append(list, c)
		}
	}
	p.sayOfEach(WithinNoise, list, ", yet ", func([]*Change) string {
		return "what they return did not come back by more than measurement noise"
	})
	for _, c := range list {
		p.settleNoise(c)
	}
}

// many is from how many cylinders on one sentence speaks of all of them and leaves
// their figures to the table.
const many = 3

// sayOfEach says of what failed before and passes now how it changed: of each by
// itself, or of many cylinders at once by what is common to them; of the whole
// return last.
func (p *Pair) sayOfEach(code ReasonCode, list []*Change, joint string, common func([]*Change) string) {
	cylinders := slices.DeleteFunc(slices.Clone(list), func(c *Change) bool { return c == &p.Total })
	if len(cylinders) >= many {
		numbers := make([]int, len(cylinders))
		for i, c := range cylinders {
			numbers[i] = c.Cylinder
		}
		p.reason(code, numbers, "%s failed in %s and pass now%s%s", namesOf(numbers), p.before.Label, joint, common(cylinders))
		list = slices.DeleteFunc(slices.Clone(list), func(c *Change) bool { return c != &p.Total })
	}
	for _, c := range list {
		p.reason(code, numbered([]int{c.Cylinder}), "%s failed in %s and passes now%s%s",
			namesOf([]int{c.Cylinder}), p.before.Label, joint, p.changeText(c))
	}
}

// changeText says how far a figure moved and whether that is more than noise.
func (p *Pair) changeText(c *Change) string {
	what, unit, before, after := "its rate", " mL/min", c.Before.rate(), c.After.rate()
	if c.RatioCounts {
		what, unit, before, after = "its ratio to the cylinders that agree", "", c.Before.ratio(), c.After.ratio()
		before, after = before.asRatio(), after.asRatio()
	}
	if math.IsNaN(before.value) || math.IsNaN(after.value) {
		return "what it returned in the two tests cannot be held against one another"
	}
	words := Shift{Value: c.deciding().Value, Level: c.Level()}.Words()
	return fmt.Sprintf("%s went from %s to %s%s, %s", what, before.text(), after.text(), unit, words)
}

// ratioPrinted is the uncertainty that prints a ratio with two decimals.
const ratioPrinted = 0.1

func (f figure) asRatio() figure {
	return figure{value: quantity.Printed(f.value, 2), u: ratioPrinted, bound: f.bound}
}

func (f figure) text() string {
	switch f.bound {
	case leakback.AtLeast:
		return "at least " + quantity.Plain(f.value, 6)
	case leakback.AtMost:
		return "at most " + quantity.Plain(f.value, 6)
	}
	return rateText(f.value, f.u)
}

// mostRuns is how many runs are ever asked for.
const mostRuns = 10

// settleNoise asks for as many runs of the later test as would tell the change
// from noise; where none do, for a swap test; for a test like the earlier one
// where there is no change to tell.
func (p *Pair) settleNoise(c *Change) {
	if math.IsNaN(c.deciding().Value) {
		p.settleBy(SameState, "test again as in %s, with all that was recorded there", p.before.Label)
		return
	}
	runs := len(counted(p.after.Result.Test))
	for n := runs + 1; n <= mostRuns && !c.RatioCounts && c.Rate.Bound == leakback.Exact; n++ {
		after := c.After.rate()
		after.u = p.withRuns(c.Cylinder, runs, n)
		if s := shift(c.Before.rate(), after); s.Direction() == c.wanted() {
			p.settleBy(leakback.Repeat, "collect %d more times in the state of %s: %d runs would tell the change from noise",
				n-runs, p.after.Label, n)
			p.Settle.Runs = n
			return
		}
	}
	p.settleBy(leakback.Swap, "do a swap test where the maker allows it: so small a change is not told from noise by collecting")
}

// withRuns is the later rate's standard uncertainty with more runs like those
// made: all but the tube's scale averages down.
func (p *Pair) withRuns(cylinder, runs, more int) float64 {
	b := p.after.Result.Total
	for i := range p.after.Result.Cylinders {
		if p.after.Result.Cylinders[i].Cylinder == cylinder {
			b = p.after.Result.Cylinders[i].Budget
		}
	}
	averaged := stats.Quadrature(b.ReadingMLMin, b.RepeatabilityMLMin, b.TimingMLMin, b.CommonMLMin)
	return math.Hypot(b.TubeMLMin, averaged*math.Sqrt(float64(runs)/float64(more)))
}

// sayNoLimit keeps a set that is worn evenly from being called normal.
func (p *Pair) sayNoLimit() {
	if !p.after.Result.Has(leakback.NoAbsoluteLimit) {
		return
	}
	var byLimit []int
	for _, c := range p.failed() {
		if c.Before.ByMaximum || c == &p.Total {
			byLimit = append(byLimit, c.Cylinder)
		}
	}
	switch {
	case len(byLimit) > 0:
		p.reason(NoMaximum, numbered(byLimit), "%s failed by a limit in %s, and no maker's limit was applied to %s",
			namesOf(byLimit), p.before.Label, p.after.Label)
	case !p.stoodOut():
		p.reason(NothingStoodOut, nil, "no cylinder stood out in %s or in %s, and no maker's limit was applied: "+
			"a set that is worn evenly looks like this before and after", p.before.Label, p.after.Label)
	default:
		return
	}
	if len(byLimit) > 0 && p.after.Result.Has(leakback.NoInterval) { // no limit can be held against it
		p.settleBy(SameState, "test again as in %s, with all that was recorded there", p.before.Label)
	}
	p.settleBy(leakback.GetLimit, "get the maker's limit for this engine and condition from the service information")
}

// stoodOut says whether anything was wrong, or in doubt, in the earlier test.
func (p *Pair) stoodOut() bool {
	if p.before.Result.Verdict == leakback.Fail {
		return true
	}
	return slices.ContainsFunc(p.Cylinders, func(c Change) bool {
		return c.Before.NextToNothing || c.Before.Verdict == leakback.Undecided && (c.Before.High || c.Before.Doubtful)
	})
}

// sayBack says why the return is back to normal, and what that does not say.
func (p *Pair) sayBack() {
	p.sayOfEach(CameBack, p.failed(), ": ", func(cylinders []*Change) string {
		level := Certain
		for _, c := range cylinders {
			level = math.Min(level, c.Level())
		}
		return "what each of them returns changed by " + Shift{Level: level}.Words()
	})
	switch {
	case len(p.failed()) > 0:
	case p.before.Result.Verdict != leakback.Pass || p.stoodOut():
		p.reason(BeforeOpen, nil, "%s passes; %s was not clear in itself and does not show what was wrong", p.after.Label, p.before.Label)
	default:
		p.sayPassedBefore()
	}
	if p.after.Result.Has(leakback.NoAbsoluteLimit) {
		p.reason(NoMaximum, nil, "no maker's limit was applied: what is shown is that no cylinder stands apart from its set any more, "+
			"not that the set as a whole is good")
	}
}

// sayPassedBefore is for two tests in neither of which anything stood out. What it
// says of the time before rests on all tests before the later one.
func (p *Pair) sayPassedBefore() {
	var others []string
	for i, s := range p.sides[:p.To] {
		if i != p.From && s.Result.Verdict != leakback.Pass {
			others = append(others, s.Label+" ("+s.Result.Verdict.String()+")")
		}
	}
	if len(others) == 0 {
		p.reason(NormalBefore, nil, "nothing stood out in %s either: the return was normal before, "+
			"so that the complaint has another cause or cannot be seen by this test", p.before.Label)
		return
	}
	p.reason(PassedBefore, nil, "nothing stood out in %s either; what was found in %s stands with the other comparisons",
		p.before.Label, quantity.Listed(others, "and"))
}
