package leakback_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leakback/leakback"
	"leakback/limits"
)

// kinds of limits, each alone in a sheet, with what says that one is exceeded
// and what says that it is open.
var limitKinds = []struct {
	name       string
	limit      func(m maker) limits.Limit
	over, open leakback.Code
}{
	{"maximum", func(m maker) limits.Limit { return limits.Limit{MaxRateMLMin: figure(m.one("max", 22, 26.5, 40, 60))} },
		leakback.OverLimit, leakback.CloseToLimit},
	{"minimum", func(m maker) limits.Limit { return limits.Limit{MinRateMLMin: figure(m.one("min", 5, 18, 22))} },
		leakback.UnderLimit, leakback.CloseToLimit},
	{"median", func(m maker) limits.Limit {
		return limits.Limit{MaxRatioToMedian: figure(m.one("ratio", 1.1, 1.3, 1.6, 2))}
	},
		leakback.OverRatio, leakback.CloseToLimit},
	{"mean", func(m maker) limits.Limit { return limits.Limit{MaxRatioToMean: figure(m.one("ratio", 1.1, 1.3, 1.6))} },
		leakback.OverRatio, leakback.CloseToLimit},
	{"lowest", func(m maker) limits.Limit { return limits.Limit{MaxRatioToLowest: figure(m.one("ratio", 1.3, 2, 4))} },
		leakback.OverRatio, leakback.CloseToLimit},
	{"difference", func(m maker) limits.Limit { return limits.Limit{MaxDifferenceMLMin: figure(m.one("apart", 8, 20, 40))} },
		leakback.OverDifference, leakback.CloseToDifference},
	{"total", func(m maker) limits.Limit { return limits.Limit{MaxTotalMLMin: figure(m.one("total", 100, 180, 250))} },
		leakback.OverTotal, leakback.CloseToTotal},
}

// truth is a test in which every reading known only as a bound is one of those
// that the bound allows.
func (m maker) truth(test *leakback.Test) *leakback.Test {
	other := *test
	other.Runs = slices.Clone(test.Runs)
	for k := range other.Runs {
		run := &other.Runs[k]
		run.Readings = slices.Clone(run.Readings)
		for i := range run.Readings {
			r := &run.Readings[i]
			r.Tube.CapacityML = 0
			net := r.VolumeML - r.StartML
			switch {
			case !r.Read():
			case r.Bound == leakback.AtMost || r.Bound == leakback.Exact && net == 0:
				net = math.Max(net, r.Tube.GraduationML) // nothing may be a mark
				r.Bound, r.VolumeML = leakback.Exact, r.StartML+net*m.one("of the upper bound", 0.001, 0.3, 0.5, 0.9, 1)
			case r.Bound == leakback.AtLeast:
				r.Bound, r.VolumeML = leakback.Exact, r.StartML+net*m.one("of the lower bound", 1, 1.001, 1.3, 3, 50)
			}
		}
	}
	return &other
}

// standings are what is said against one limit, of the test and of each cylinder.
func standings(r *leakback.Result, over, open leakback.Code) []string {
	of := func(has func(leakback.Code) bool) string {
		switch {
		case has(over):
			return "over"
		case has(open):
			return "open"
		}
		return "within"
	}
	list := []string{of(r.Has)}
	for i := range r.Cylinders {
		if c := &r.Cylinders[i]; c.Verdict == leakback.Unread || c.Bound == leakback.AtLeast && !c.Has(over) {
			list = append(list, "open") // a lower bound is never within
		} else {
			list = append(list, of(c.Has))
		}
	}
	return list
}

// A reading of which only a bound is known never decides more than every
// reading would that the bound allows: over a limit no such truth is within,
// and within a limit none is over.
func TestBoundsDecideNoMoreThanTheTruth(t *testing.T) {
	for _, kind := range limitKinds {
		t.Run(kind.name, func(t *testing.T) {
			drawn(t, maker.individual, func(t *rapid.T, m maker, test *leakback.Test, sheet *limits.Sheet) {
				l := kind.limit(m)
				l.Condition, l.Source = "idle", "drawn"
				sheet.Limits, sheet.BackPressureBar, test.Condition = []limits.Limit{l}, nil, "idle"
				if m.often("bounds") {
					m.bound(test)
				}
				r := judged(t, test, sheet)
				if r == nil || r.Has(leakback.NoInterval) || !math.IsNaN(r.DriftPerRun) || r.Has(leakback.Sequential) || anyUnread(r) {
					return // drift is fitted to what is plain; limits compare those that were read
				}
				before := standings(r, kind.over, kind.open)
				for range 5 {
					r = judged(t, m.truth(test), sheet)
					if !math.IsNaN(r.DriftPerRun) || r.Has(leakback.Sequential) {
						return
					}
					for i, after := range standings(r, kind.over, kind.open) {
						opposite := before[i] == "over" && after == "within" || before[i] == "within" && after == "over"
						require.False(t, opposite, "%d (0 is the test): %s, and of a truth %s: %s", i, before[i], after, codes(r))
					}
				}
			})
		})
	}
}

// bound makes bounds of some readings, also such as lie amid the others.
func (m maker) bound(test *leakback.Test) {
	for k := range test.Runs {
		for i := range test.Runs[k].Readings {
			r := &test.Runs[k].Readings[i]
			if r.Read() && r.VolumeML > r.StartML && r.Bound == leakback.Exact {
				r.Bound = []leakback.Bound{leakback.Exact, leakback.Exact, leakback.Exact, leakback.AtMost, leakback.AtLeast}[m.whole("bound", 0, 4)]
			}
		}
	}
}

func anyUnread(r *leakback.Result) bool {
	return slices.ContainsFunc(r.Cylinders, func(c leakback.Cylinder) bool { return c.Verdict == leakback.Unread })
}
