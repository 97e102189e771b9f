package repair

import (
	"cmp"
	"maps"
	"slices"

	"leakback/limits"
)

// Standing is how things stand at one cylinder, or at the engine as a whole,
// after works in the order of time: of each part what the words said of it
// leave. What nobody said is "".
type Standing struct {
	// Cylinder is 0 for the engine as a whole.
	Cylinder int
	// Injector is Replaced where the one that is there now is new, wherever it was
	// fitted first; Swapped where it is another cylinder's; else the last word on
	// it. That it was cleaned or refitted leaves it the injector it was.
	Injector string
	// From is the cylinder that the injector sat in before; 0 where that is this
	// one, or nobody said.
	From int
	// FeedTube and Seals are the last word: what was new and went in again is used.
	FeedTube, Seals string
	// Lines and ReliefValve are New and Replaced also where they were tightened,
	// cleaned or checked since.
	Lines, ReliefValve string
	// CoreOpen says that an old injector that came out there may have to go back yet.
	CoreOpen bool
	// Declined is the last work that was proposed and declined.
	Declined string
}

// NewInjector says that the injector there is a new one.
func (s *Standing) NewInjector() bool { return s.Injector == Replaced }

// NewTube says that the feed tube there is a new one.
func (s *Standing) NewTube() bool { return s.FeedTube == New }

// UsedTube says that the feed tube there was fitted before.
func (s *Standing) UsedTube() bool { return s.FeedTube == Reused || s.FeedTube == Reseated }

// Stand is how works in the order of time leave an engine: every cylinder, and
// the engine as a whole (0), of which something was said, in their order. Lines
// and seals of the engine are those of each of its cylinders, as far as they are
// given.
func Stand(works []Work, cylinders ...int) []Standing {
	at, fitted := map[int]Standing{}, fitted{}
	for i := range works {
		for _, p := range works[i].everywhere(cylinders) {
			s := at[p.Cylinder]
			s.take(&p)
			at[p.Cylinder] = s
		}
		fitted.follow(&works[i])
	}
	var list []Standing
	for _, cylinder := range slices.Sorted(maps.Keys(at)) {
		s := at[cylinder]
		s.Cylinder = cylinder
		s.Injector, s.From = fitted.at(cylinder).standing(cylinder)
		list = append(list, s)
	}
	return list
}

// injector is one as far as works tell it from others.
type injector struct {
	// home is the cylinder where it was before any swap; 0 where nobody said.
	home int
	// word is the last that tells what it is.
	word string
}

// standing is what the injector is to the cylinder that it sits in now.
func (i injector) standing(cylinder int) (word string, from int) {
	switch {
	case i.home == cylinder:
		return i.word, 0
	case i.word == Replaced:
		return Replaced, i.home
	}
	return Swapped, i.home
}

// fitted are the injectors by the cylinder that they sit in.
type fitted map[int]injector

func (f fitted) at(cylinder int) injector {
	if i, known := f[cylinder]; known {
		return i
	}
	return injector{home: cylinder}
}

// follow moves the injectors as a work did. One that was swapped with nobody
// knows which is another's.
func (f fitted) follow(w *Work) {
	for _, p := range w.Positions {
		switch now := f.at(p.Cylinder); p.Injector {
		case "":
		case Replaced:
			f[p.Cylinder] = injector{p.Cylinder, Replaced}
		case Swapped:
			if !slices.ContainsFunc(w.Swaps(), func(s SwapPair) bool { return s.A == p.Cylinder || s.B == p.Cylinder }) {
				f[p.Cylinder] = injector{}
			}
		default:
			if now.word != Replaced {
				f[p.Cylinder] = injector{now.home, p.Injector}
			}
		}
	}
	for _, s := range w.Swaps() {
		f[s.A], f[s.B] = f.at(s.B), f.at(s.A)
	}
}

// everywhere are the positions of a work, with what was said of the engine's
// lines and seals at each cylinder that says nothing else of them.
func (w *Work) everywhere(cylinders []int) []Position {
	engine := w.At(wholeEngine)
	if engine.Lines == "" && engine.Seals == "" {
		return w.Positions
	}
	all := Work{Positions: slices.Clone(w.Positions)}
	for _, n := range cylinders {
		all.at(n)
	}
	for i := range all.Positions {
		p := &all.Positions[i]
		p.Lines, p.Seals = cmp.Or(p.Lines, engine.Lines), cmp.Or(p.Seals, engine.Seals)
	}
	return all.Positions
}

// take puts what was done later over what was done before, but for the injector.
func (s *Standing) take(p *Position) {
	if p.Injector == Replaced {
		s.CoreOpen = p.Core == ""
	}
	if p.Core != "" {
		s.CoreOpen = p.Core == Yes
	}
	s.FeedTube, s.Seals = cmp.Or(p.FeedTube, s.FeedTube), cmp.Or(p.Seals, s.Seals)
	if p.Lines != Tightened || s.Lines == "" {
		s.Lines = cmp.Or(p.Lines, s.Lines)
	}
	if s.ReliefValve != Replaced {
		s.ReliefValve = cmp.Or(p.ReliefValve, s.ReliefValve)
	}
	s.Declined = cmp.Or(p.Declined, s.Declined)
}

// StandingFaults is what is wrong with the last tightening of each cylinder by
// the sheet's steps. A later work that opened or tightened a cylinder stands in
// the place of an earlier one: done by all steps, it leaves no fault there. Steps
// of no cylinder (0) are put right by such steps alone.
func StandingFaults(works []Work, steps []limits.Step) []StepFault {
	if len(steps) == 0 {
		return nil
	}
	at := map[int][]StepFault{}
	for i := range works {
		faults := works[i].StepFaults(steps)
		for _, n := range works[i].cylinders() {
			if p := works[i].At(n); p.opened() || len(works[i].StepsAt(n)) > 0 {
				at[n] = slices.DeleteFunc(slices.Clone(faults), func(f StepFault) bool { return f.Cylinder != n })
			}
		}
	}
	var list []StepFault
	for _, n := range slices.Sorted(maps.Keys(at)) {
		list = append(list, at[n]...)
	}
	return list
}
