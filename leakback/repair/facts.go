package repair

import (
	"slices"

	"leakback/leakback"
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
	names := make([]string, len(factTable))
	for i, f := range factTable {
		names[i] = f.name
	}
	return names
}

// factTable says when each fact holds. of gives the cylinders; a fact of the
// engine or the tests has holds instead.
var factTable = []struct {
	name  string
	of    func(*Pair, *Change) bool
	holds func(*Comparison) bool
}{
	// Work done at a cylinder between the first test and the last.
	{name: "worked-on", of: did(func(p Position) bool { return p.touched() })},
	{name: "injector-replaced", of: did(func(p Position) bool { return p.Injector == Replaced })},
	{name: "injector-swapped", of: did(func(p Position) bool { return p.Injector == Swapped })},
	{name: "injector-cleaned", of: did(func(p Position) bool { return p.Injector == Cleaned })},
	{name: "injector-refitted", of: did(func(p Position) bool { return p.Injector == Refitted })},
	{name: "tube-new", of: did(tubeIsNew)},
	{name: "tube-reused", of: did(func(p Position) bool { return p.FeedTube == Reused })},
	{name: "tube-reseated", of: did(func(p Position) bool { return p.FeedTube == Reseated })},
	{name: "seals-reused", of: did(func(p Position) bool { return p.Seals == Reused })},
	{name: "relief-valve-work", holds: func(c *Comparison) bool {
		return slices.ContainsFunc(c.Whole.Work, func(w Work) bool { return w.At(wholeEngine).ReliefValve != "" })
	}},
	// step-fault: something is wrong with the tightening there by the later
	// test's sheet. work-doubt: the work log does not fit together there.
	{name: "step-fault", of: (*Pair).stepFault},
	{name: "work-doubt", of: (*Pair).workDoubt},
	{name: "codes-not-moved", of: (*Pair).codesNotMoved},

	// How the cylinder came out. still-high: too much before and now.
	// came-back: failed before, passes now, by more than noise. other-now-high:
	// too much now and not before. no-change: worked on, and no change shown.
	{name: "still-high", of: stillHigh},
	{name: "came-back", of: (*Pair).cameBack},
	{name: "other-now-high", of: func(_ *Pair, c *Change) bool { return c.After.High && !c.Before.High && c.Before.Read() }},
	{name: "no-change", of: (*Pair).noChange},
	// What was done where it is still high: the pattern behind "the tube first".
	{name: "still-high-new-injector-old-tube", of: stillHighAfter(func(p Position) bool { return p.Injector == Replaced && !tubeIsNew(p) })},
	{name: "still-high-new-injector-new-tube", of: stillHighAfter(func(p Position) bool { return p.Injector == Replaced && tubeIsNew(p) })},
	{name: "still-high-new-tube", of: stillHighAfter(func(p Position) bool { return p.Injector != Replaced && tubeIsNew(p) })},
	{name: "still-high-untouched", of: func(p *Pair, c *Change) bool {
		return stillHigh(p, c) && !slices.Contains(WorkedOn(p.Work), c.Cylinder)
	}},

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

// Facts gathers every fact that holds, of the last test against the first.
func (c *Comparison) Facts() Facts {
	f := Facts{}
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

// did asks the work at a cylinder, all of it together.
func did(what func(Position) bool) func(*Pair, *Change) bool {
	return func(p *Pair, c *Change) bool {
		return slices.ContainsFunc(p.Work, func(w Work) bool { return what(w.At(c.Cylinder)) })
	}
}

func tubeIsNew(p Position) bool { return p.FeedTube == New }

func stillHigh(_ *Pair, c *Change) bool { return c.Before.High && c.After.High }

// stillHighAfter asks the works at a cylinder put together.
func stillHighAfter(what func(Position) bool) func(*Pair, *Change) bool {
	return func(p *Pair, c *Change) bool {
		var all Position
		for i := range p.Work {
			at := p.Work[i].At(c.Cylinder)
			if at.Injector != "" {
				all.Injector = at.Injector
			}
			if at.FeedTube != "" {
				all.FeedTube = at.FeedTube
			}
		}
		return stillHigh(p, c) && what(all)
	}
}

func (p *Pair) cameBack(c *Change) bool {
	direction, _ := c.Direction()
	return c.Before.Verdict == leakback.Fail && c.After.Verdict == leakback.Pass && direction == c.wanted()
}

func (p *Pair) noChange(c *Change) bool {
	direction, _ := c.Direction()
	return direction == 0 && c.Before.Read() && c.After.Read() && slices.Contains(WorkedOn(p.Work), c.Cylinder)
}

func (p *Pair) stepFault(c *Change) bool {
	sheet := p.after.Result.Sheet
	return sheet != nil && slices.ContainsFunc(p.Work, func(w Work) bool {
		return slices.ContainsFunc(w.StepFaults(sheet.Tightening), func(f StepFault) bool { return f.Cylinder == c.Cylinder })
	})
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
