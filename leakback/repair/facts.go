package repair

import (
	"slices"

	"leakback/leakback"
	"leakback/limits"
)

// Facts are what advice is matched on: each fact that holds, with the cylinders
// of which it holds (none where it is about the engine or the tests).
type Facts map[string][]int

// Has says whether a fact holds.
func (f Facts) Has(name string) bool {
	_, ok := f[name]
	return ok
}

// FactNames are all facts that there can be.
func FactNames() []string {
	var names []string
	for _, f := range workTable {
		names = append(names, f.name)
	}
	for _, f := range factTable {
		names = append(names, f.name)
	}
	return names
}

// workTable says when each fact of works holds: of the cylinders, as things
// stand there after them; a fact of the engine has holds instead.
var workTable = []struct {
	name  string
	of    func(*worked, *Standing) bool
	holds func(*worked) bool
}{
	{name: "new-injector-alone", of: stands(func(s *Standing) bool { return s.NewInjector() && !s.NewTube() })},
	{name: "new-injector-and-tube", of: stands(func(s *Standing) bool { return s.NewInjector() && s.NewTube() })},
	{name: "new-tube-alone", of: stands(func(s *Standing) bool { return !s.NewInjector() && s.NewTube() })},
	{name: "has-new-injector", of: stands((*Standing).NewInjector)},
	{name: "has-new-tube", of: stands((*Standing).NewTube)},
	{name: "has-old-tube", of: stands((*Standing).UsedTube)},
	{name: "seals-reused", of: stands(func(s *Standing) bool { return s.Seals == Reused })},
	{name: "core-open", of: stands(func(s *Standing) bool { return s.CoreOpen })},
	{name: "set-new", holds: (*worked).allNew},
	{name: "declined", holds: anywhere(func(s *Standing) bool { return s.Declined != "" })},
	{name: "relief-valve-work", holds: anywhere(func(s *Standing) bool { return s.ReliefValve != "" })},
	// step-fault: the last tightening there does not follow the sheet's steps.
	// steps-unwritten: none of it was written down. steps-open: either of the two.
	// steps-kept: it was written down and follows them. step-fault-engine: nor does
	// one follow them that was written down for no cylinder.
	{name: "step-fault", of: func(w *worked, s *Standing) bool { return w.faultAt(s.Cylinder) && !w.unwrittenAt(s.Cylinder) }},
	{name: "steps-unwritten", of: func(w *worked, s *Standing) bool { return w.unwrittenAt(s.Cylinder) }},
	{name: "steps-open", of: func(w *worked, s *Standing) bool { return w.faultAt(s.Cylinder) }},
	{name: "steps-kept", of: func(w *worked, s *Standing) bool { return w.tightenedAt(s.Cylinder) && !w.faultAt(s.Cylinder) }},
	{name: "step-fault-engine", holds: func(w *worked) bool { return w.faultAt(wholeEngine) }},
}

// worked is an engine after works.
type worked struct {
	cylinders []int
	standing  []Standing
	faults    []StepFault
	// tightened are the cylinders with steps that the sheet's could be held against.
	tightened []int
}

// WorkFacts are the facts that works in the order of time leave behind, at an
// engine of those cylinders, held against the tightening steps of a sheet, which
// may be nil. They say how it stands now: a tube that was new and went back in
// later is a used one.
func WorkFacts(works []Work, cylinders []int, sheet *limits.Sheet) Facts {
	w := &worked{cylinders: cylinders, standing: Stand(works, cylinders...)}
	if sheet != nil {
		w.faults = StandingFaults(works, sheet.Tightening)
		w.tightened = tightenedAt(works, sheet.Tightening)
	}
	f := Facts{}
	for _, fact := range workTable {
		if fact.holds != nil {
			if fact.holds(w) {
				f[fact.name] = nil
			}
			continue
		}
		for i := range w.standing {
			if s := &w.standing[i]; s.Cylinder != wholeEngine && fact.of(w, s) {
				f[fact.name] = append(f[fact.name], s.Cylinder)
			}
		}
	}
	return f
}

func stands(how func(*Standing) bool) func(*worked, *Standing) bool {
	return func(_ *worked, s *Standing) bool { return how(s) }
}

func anywhere(how func(*Standing) bool) func(*worked) bool {
	return func(w *worked) bool {
		return slices.ContainsFunc(w.standing, func(s Standing) bool { return how(&s) })
	}
}

// allNew says that every cylinder has a new injector.
func (w *worked) allNew() bool {
	fresh := 0
	for i := range w.standing {
		if w.standing[i].NewInjector() {
			fresh++
		}
	}
	return fresh > 0 && fresh == len(w.cylinders)
}

func (w *worked) faultAt(cylinder int) bool {
	return slices.ContainsFunc(w.faults, func(f StepFault) bool { return f.Cylinder == cylinder })
}

// unwrittenAt says that no step at all was written down there, where some belong.
func (w *worked) unwrittenAt(cylinder int) bool {
	return slices.ContainsFunc(w.faults, func(f StepFault) bool { return f.Cylinder == cylinder && f.Code == StepsNotRecorded })
}

func (w *worked) tightenedAt(cylinder int) bool { return slices.Contains(w.tightened, cylinder) }

// tightenedAt are the cylinders of which works have tightening steps; none where
// the sheet has none to hold them against.
func tightenedAt(works []Work, steps []limits.Step) []int {
	var list []int
	if len(steps) == 0 {
		return nil
	}
	for i := range works {
		for _, s := range works[i].Steps {
			list = append(list, s.Cylinder)
		}
	}
	slices.Sort(list)
	return slices.Compact(list)
}

// factTable says when each fact of a comparison holds. of gives the cylinders; a
// fact of the engine or the tests has holds instead.
var factTable = []struct {
	name  string
	of    func(*Pair, *Change) bool
	holds func(*Comparison) bool
}{
	// Work done at a cylinder between the first test and the last, what was done
	// to the lines or seals of all among it. work-doubt: the work log does not fit
	// together there.
	{name: "worked-on", of: func(p *Pair, c *Change) bool { return p.workedOn(c.Cylinder) }},
	{name: "injector-swapped", of: func(p *Pair, c *Change) bool {
		return slices.ContainsFunc(p.Work, func(w Work) bool { return w.At(c.Cylinder).Injector == Swapped })
	}},
	{name: "work-doubt", of: (*Pair).workDoubt},
	{name: "codes-not-moved", of: (*Pair).codesNotMoved},

	// How the cylinder came out. still-high: too much before and now.
	// came-back: failed before, passes now, by more than noise. other-now-high:
	// too much now and not before. passed-since-work: a test between the last work
	// and the last test found nothing wrong there. next-to-nothing: next to no
	// return now.
	{name: "still-high", of: stillHigh},
	{name: "came-back", of: (*Pair).cameBack},
	{name: "other-now-high", of: func(_ *Pair, c *Change) bool { return c.After.High && !c.Before.High && c.Before.Read() }},
	{name: "passed-since-work", of: (*Pair).passedSinceWork},
	{name: "next-to-nothing", of: func(_ *Pair, c *Change) bool { return c.After.NextToNothing }},
	{name: "still-high-untouched", of: func(p *Pair, c *Change) bool { return stillHigh(p, c) && !p.workedOn(c.Cylinder) }},

	// Swap tests: the cylinder that was high before (of an unclear one both).
	// swap-now-at is where the leak followed the injector to.
	{name: "swap-followed", of: inSwap(Followed)},
	{name: "swap-now-at", of: (*Pair).swapNowAt},
	{name: "swap-stayed", of: inSwap(Stayed)},
	{name: "swap-vanished", of: inSwap(Vanished)},
	{name: "swap-unclear", of: inSwap(Unclear)},
	{name: "swap-new-tubes", holds: swapTubes(New)},
	{name: "swap-old-tubes", holds: swapTubes(Reused)},

	// The whole: evenly-high-before-and-after is most of the set over its limit in
	// both tests. nothing-stood-out is no cylinder standing out in either with no
	// maker's limit applied, as a set that is worn evenly looks.
	{name: "evenly-high-before-and-after", holds: func(c *Comparison) bool {
		return c.Whole.before.Result.Has(leakback.SetTogetherHigh) && c.Whole.after.Result.Has(leakback.SetTogetherHigh)
	}},
	{name: "next-to-nothing-from-most", holds: func(c *Comparison) bool { return c.Whole.nothingAfter }},
	{name: "next-to-nothing-before", holds: because(NothingBefore)},
	{name: "nothing-stood-out", holds: because(NothingStoodOut)},
	{name: "normal-before", holds: because(NormalBefore)},
	{name: "back-to-normal", holds: answered(BackToNormal)},
	{name: "not-back-to-normal", holds: answered(NotBackToNormal)},
	{name: "repair-undecided", holds: answered(Undecided)},
	{name: "within-noise", holds: because(WithinNoise)},
	{name: "temperature-decides", holds: because(TemperatureDecides)},
	{name: "temperatures-apart", holds: func(c *Comparison) bool { return c.Whole.Temperature.Apart }},
	{name: "temperature-unknown", holds: func(c *Comparison) bool { return c.Whole.Has(TemperatureUnknown) }},
	{name: "temperature-elsewhere", holds: func(c *Comparison) bool { return c.Whole.Has(TakenElsewhere) }},
	{name: "not-comparable", holds: func(c *Comparison) bool { return !c.Whole.Comparable }},
	{name: "no-work-recorded", holds: func(c *Comparison) bool { return len(c.Whole.Work) == 0 }},

	// The complaint, which is another question than the return.
	{name: "complaint-gone", holds: complaint(Yes)},
	{name: "complaint-stays", holds: complaint(No)},
	{name: "complaint-not-tried", holds: complaint(NotTried)},
	{name: "complaint-not-asked", holds: complaint("")},
}

// Facts gathers every fact that holds, of the last test against the first and of
// the work between them.
func (c *Comparison) Facts() Facts {
	f := WorkFacts(c.Whole.Work, c.Whole.numbers(), c.Whole.after.Result.Sheet)
	for _, fact := range factTable {
		if fact.holds != nil {
			if fact.holds(c) {
				f[fact.name] = nil
			}
			continue
		}
		for i := range c.Whole.Cylinders {
			if change := &c.Whole.Cylinders[i]; fact.of(c.Whole, change) {
				f[fact.name] = append(f[fact.name], change.Cylinder)
			}
		}
	}
	return f
}

func stillHigh(_ *Pair, c *Change) bool { return c.Before.High && c.After.High }

func (p *Pair) cameBack(c *Change) bool {
	direction, _ := c.Direction()
	return c.Before.Verdict == leakback.Fail && c.After.Verdict == leakback.Pass && !c.After.NextToNothing && direction == c.wanted()
}

// passedSinceWork says whether the cylinder passes in a test that was done after
// the last work and before the later test.
func (p *Pair) passedSinceWork(c *Change) bool {
	for i := p.To - 1; i > p.From && len(p.sides[i+1].Work) == 0; i-- {
		if f, has := figuresOf(p.sides[i].Result)[c.Cylinder]; has && f.Verdict == leakback.Pass && !f.NextToNothing {
			return true
		}
	}
	return false
}

func (p *Pair) doubted(c *Change, which func(Doubt) bool) bool {
	return slices.ContainsFunc(p.Work, func(w Work) bool {
		return slices.ContainsFunc(w.Doubts(), func(d Doubt) bool { return d.Cylinder == c.Cylinder && which(d) })
	})
}

// workDoubt leaves out the tube that was used again, which is a fact by itself.
func (p *Pair) workDoubt(c *Change) bool {
	return p.doubted(c, func(d Doubt) bool { return d.Code != TubeUsedAgain })
}

func (p *Pair) codesNotMoved(c *Change) bool {
	return p.doubted(c, func(d Doubt) bool { return d.Code == CodesNotMoved })
}

// inSwap asks for the cylinder that was high before a swap of that outcome.
func inSwap(o Outcome) func(*Pair, *Change) bool {
	return func(p *Pair, c *Change) bool {
		return slices.ContainsFunc(p.Swaps, func(s Swap) bool {
			return s.Outcome == o && (s.High == c.Cylinder || s.High == 0 && (s.A == c.Cylinder || s.B == c.Cylinder))
		})
	}
}

func (p *Pair) swapNowAt(c *Change) bool {
	return slices.ContainsFunc(p.Swaps, func(s Swap) bool { return s.Outcome == Followed && s.A+s.B-s.High == c.Cylinder })
}

func swapTubes(tubes string) func(*Comparison) bool {
	return func(c *Comparison) bool {
		return slices.ContainsFunc(c.Whole.Swaps, func(s Swap) bool { return s.Tubes == tubes })
	}
}

func because(code ReasonCode) func(*Comparison) bool {
	return func(c *Comparison) bool {
		return slices.ContainsFunc(c.Whole.Reasons, func(r Reason) bool { return r.Code == code })
	}
}

func answered(a Answer) func(*Comparison) bool {
	return func(c *Comparison) bool { return c.Whole.Answer == a }
}

func complaint(said string) func(*Comparison) bool {
	return func(c *Comparison) bool { return c.ComplaintGone == said }
}
