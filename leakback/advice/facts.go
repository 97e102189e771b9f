package advice

import (
	"maps"
	"slices"
	"sync"

	"leakback/leakback"
	"leakback/leakback/repair"
)

// facts are what the table's conditions name: each fact that holds, with the
// cylinders of which it holds (none where it is about the test as a whole).
type facts map[string][]int

func (f facts) has(name string) bool {
	_, ok := f[name]
	return ok
}

func (f facts) lacks(name string) bool { return !f.has(name) }

// names are all facts that there can be: those of a test, of the work that was
// done, and of the comparison of two tests.
var names = sync.OnceValue(func() []string {
	list := slices.Concat(repair.FactNames(), workNames)
	for _, code := range codes {
		list = append(list, string(code))
	}
	list = slices.AppendSeq(list, maps.Keys(kinds))
	return slices.AppendSeq(list, maps.Keys(patterns))
})

// codes are the findings, each a fact under its own code.
var codes = []leakback.Code{
	leakback.OverLimit, leakback.UnderLimit, leakback.OverRatio,
	leakback.HighInSet, leakback.CloseToLimit, leakback.CloseInSet,
	leakback.LowInSet, leakback.Unsteady, leakback.OverRange,
	leakback.NoReturn, leakback.BelowFirstMark,
	leakback.OverTotal, leakback.OverDifference, leakback.CloseToTotal,
	leakback.CloseToDifference, leakback.NoConsensus, leakback.TooLittleReturn,
	leakback.OtherReturn, leakback.PressureNotHeld,
	leakback.BackPressure, leakback.OutsideLimitState, leakback.StateUnknown,
	leakback.OtherCrankPattern, leakback.Sequential,
	leakback.SetTogetherHigh, leakback.HalfSet,
	leakback.FewCylinders, leakback.NoAbsoluteLimit, leakback.NoInterval,
}

// kinds are the facts of one cylinder that take more than a code to tell.
var kinds = map[string]func(*leakback.Cylinder) bool{
	"high":       repair.High,
	"low":        isLow,
	"doubtful":   func(c *leakback.Cylinder) bool { return c.Verdict == leakback.Undecided && !isLow(c) },
	"unread":     func(c *leakback.Cylinder) bool { return c.Verdict == leakback.Unread },
	"overflowed": func(c *leakback.Cylinder) bool { return c.Bound == leakback.AtLeast },
}

// patterns are the facts that hold of the engine, from what is known of its
// cylinders.
var patterns = map[string]func(*leakback.Result, facts) bool{
	"one-high":     func(_ *leakback.Result, f facts) bool { return len(f["high"]) == 1 },
	"several-high": func(_ *leakback.Result, f facts) bool { return len(f["high"]) > 1 },
	"most-high":    isHighAsAWhole,
	"near-zero":    isNearZero,
	"all-pass":     func(r *leakback.Result, _ facts) bool { return r.Verdict == leakback.Pass },
	"shares":       measuredBy(leakback.MethodBlockOff),
	"total-alone":  measuredBy(leakback.MethodTotal),
}

func measuredBy(m leakback.Method) func(*leakback.Result, facts) bool {
	return func(r *leakback.Result, _ facts) bool { return r.Test != nil && r.Test.Method == m }
}

func isLow(c *leakback.Cylinder) bool {
	return c.Has(leakback.LowInSet) || c.Has(leakback.UnderLimit) || c.Has(leakback.NoReturn)
}

// isHighAsAWhole also holds where the total is over its limit and no cylinder
// stands out.
func isHighAsAWhole(r *leakback.Result, f facts) bool {
	return r.Has(leakback.SetTogetherHigh) ||
		r.Has(leakback.OverTotal) && !f.has("high")
}

// isNearZero holds where the set is below its first mark, or no cylinder that
// was read returned anything to speak of.
func isNearZero(r *leakback.Result, _ facts) bool {
	if r.Has(leakback.TooLittleReturn) {
		return true
	}
	read := 0
	for i := range r.Cylinders {
		c := &r.Cylinders[i]
		if c.Verdict == leakback.Unread {
			continue
		}
		if !isLow(c) && !c.Has(leakback.BelowFirstMark) {
			return false
		}
		read++
	}
	return read > 0
}

// factsOf gathers every fact that holds of a result.
func factsOf(r *leakback.Result) facts {
	f := facts{}
	for i := range r.Cylinders {
		f.addCylinder(&r.Cylinders[i])
	}
	for _, code := range codes {
		if r.Has(code) && !f.has(string(code)) {
			f[string(code)] = nil
		}
	}
	for name, holds := range patterns {
		if holds(r, f) {
			f[name] = nil
		}
	}
	return f
}

func (f facts) addCylinder(c *leakback.Cylinder) {
	for _, code := range codes {
		if c.Has(code) {
			f[string(code)] = append(f[string(code)], c.Cylinder)
		}
	}
	for name, holds := range kinds {
		if holds(c) {
			f[name] = append(f[name], c.Cylinder)
		}
	}
}
