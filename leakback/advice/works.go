package advice

import (
	"maps"
	"slices"

	"leakback/leakback/repair"
)

// workNames are the facts of work that package repair does not know. retest: the
// result is that of a test after a repair. tube-in-doubt: the return there is
// high, and its tube was used again or did not come with the new injector.
var workNames = []string{"retest", "tube-in-doubt"}

// factsAfter are the facts of a repair: of its last test, of the comparison with
// the first, and of the work between. Next to no return in the last test, beside
// what came back in the first, is low or near zero as well.
func factsAfter(c *repair.Comparison) facts {
	f, compared := factsOf(c.Sides[c.Whole.To].Result), c.Facts()
	maps.Copy(f, compared)
	f.doubtTubes()
	f["retest"] = nil
	if compared.Has("next-to-nothing-from-most") {
		f["near-zero"] = nil
	}
	low := slices.Concat(f["low"], compared["next-to-nothing"])
	slices.Sort(low)
	f.hold("low", slices.Compact(low))
	return f
}

// doubtTubes notes where the tube is the first to suspect by what was done there.
// It is none where the engine is high as a whole.
func (f facts) doubtTubes() {
	if f.has("most-high") {
		return
	}
	f.hold("tube-in-doubt", slices.DeleteFunc(slices.Clone(f["high"]), func(cylinder int) bool {
		return !slices.Contains(f["has-old-tube"], cylinder) && !slices.Contains(f["new-injector-alone"], cylinder)
	}))
}

// hold notes a fact of cylinders, which holds where there are any.
func (f facts) hold(name string, cylinders []int) {
	if len(cylinders) > 0 {
		f[name] = cylinders
	}
}
