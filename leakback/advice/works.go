package advice

import (
	"cmp"
	"maps"
	"slices"

	"leakback/leakback"
	"leakback/leakback/repair"
)

// workKinds are the facts of one cylinder that the works on it leave behind.
// Unlike those of package repair, which say what was done at all, they say how
// it stands now: a tube that was new and went back in later is a used one.
var workKinds = map[string]func(*repair.Position) bool{
	"has-new-tube":          hasNewTube,
	"has-old-tube":          func(p *repair.Position) bool { return p.FeedTube == repair.Reused || p.FeedTube == repair.Reseated },
	"new-injector-alone":    func(p *repair.Position) bool { return hasNewInjector(p) && !hasNewTube(p) },
	"new-injector-and-tube": func(p *repair.Position) bool { return hasNewInjector(p) && hasNewTube(p) },
	"new-tube-alone":        func(p *repair.Position) bool { return !hasNewInjector(p) && hasNewTube(p) },
	"core-open":             coreIsOpen,
	"declined":              func(p *repair.Position) bool { return p.Declined != "" },
}

// workNames are the facts of work that are about no cylinder, or take more than
// what was done at it. retest: the result is that of a test after a repair.
// worked-before: work was done there before a test that is held against no
// earlier one. tightening-open: what was tightened last there does not follow
// the steps of the test's sheet; tightening-unplaced: nor does what was written
// down for no cylinder. set-new: the injectors of all cylinders are new.
var workNames = []string{"retest", "worked-before", "tightening-open", "tightening-unplaced", "set-new"}

func hasNewTube(p *repair.Position) bool { return p.FeedTube == repair.New }

func hasNewInjector(p *repair.Position) bool { return p.Injector == repair.Replaced }

// coreIsOpen holds where an old injector may have to go back yet.
func coreIsOpen(p *repair.Position) bool {
	return p.Core == repair.Yes || p.Core == "" && hasNewInjector(p)
}

// factsWith are the facts of a test of an engine that was worked on before.
func factsWith(r *leakback.Result, works []repair.Work) facts {
	f := factsOf(r)
	f.hold("worked-before", repair.WorkedOn(works))
	f.addWorks(r, works)
	return f
}

// factsAfter are the facts of a repair: of its last test, of the comparison with
// the first, and of the work between.
func factsAfter(c *repair.Comparison) facts {
	r := c.Sides[c.Whole.To].Result
	f := factsOf(r)
	maps.Copy(f, c.Facts())
	f["retest"] = nil
	f.addWorks(r, c.Whole.Work)
	return f
}

// hold notes a fact of cylinders, which holds where there are any.
func (f facts) hold(name string, cylinders []int) {
	if len(cylinders) > 0 {
		f[name] = cylinders
	}
}

// addWorks notes what the works left behind.
func (f facts) addWorks(r *leakback.Result, works []repair.Work) {
	fresh := 0
	for _, p := range standing(works) {
		for name, holds := range workKinds {
			if holds(&p) {
				f[name] = append(f[name], p.Cylinder)
			}
		}
		if hasNewInjector(&p) {
			fresh++
		}
	}
	if fresh > 0 && fresh == len(r.Cylinders) {
		f["set-new"] = nil
	}
	f.addTightening(r, works)
}

// standing is what the works left at each cylinder, and at the engine as a whole
// (0), in their order: of each part the last word. That an injector was cleaned
// or refitted leaves it the injector it was.
func standing(works []repair.Work) []repair.Position {
	at := map[int]repair.Position{}
	for i := range works {
		for _, p := range works[i].Positions {
			at[p.Cylinder] = later(at[p.Cylinder], p)
		}
	}
	var list []repair.Position
	for _, cylinder := range slices.Sorted(maps.Keys(at)) {
		list = append(list, at[cylinder])
	}
	return list
}

// later puts what was done later over what was done before.
func later(before, p repair.Position) repair.Position {
	all := repair.Position{Cylinder: p.Cylinder, Injector: before.Injector}
	if p.Injector == repair.Replaced || p.Injector == repair.Swapped {
		all.Injector = p.Injector
	}
	all.FeedTube = cmp.Or(p.FeedTube, before.FeedTube)
	all.Core = cmp.Or(p.Core, before.Core)
	all.Declined = cmp.Or(p.Declined, before.Declined)
	return all
}

// addTightening notes where the last tightening does not follow the steps of the
// test's sheet.
func (f facts) addTightening(r *leakback.Result, works []repair.Work) {
	if r.Sheet == nil {
		return
	}
	open := map[int]bool{}
	for i := range works {
		maps.Copy(open, tightened(&works[i]))
		for _, fault := range works[i].StepFaults(r.Sheet.Tightening) {
			open[fault.Cylinder] = true
		}
	}
	maps.DeleteFunc(open, func(_ int, fault bool) bool { return !fault })
	if open[0] {
		f["tightening-unplaced"] = nil
		delete(open, 0)
	}
	f.hold("tightening-open", slices.Sorted(maps.Keys(open)))
}

// tightened are the places that a work opened or tightened, each false.
func tightened(w *repair.Work) map[int]bool {
	places := map[int]bool{}
	for _, p := range w.Positions {
		if p.Injector != "" || p.FeedTube != "" {
			places[p.Cylinder] = false
		}
	}
	for _, s := range w.Steps {
		places[s.Cylinder] = false
	}
	return places
}
