package leakback_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leakback/leakback"
	"leakback/limits"
)

// A reading known only as a bound may stand anywhere within it: amid the others it
// is not cleared by half of it, and no other cylinder's verdict rests on where it
// stands. Below everything else it counts with half of it, as ever.
func TestBoundsAmidTheSet(t *testing.T) {
	for _, c := range []struct{ name, volumes, want string }{
		{"far above the set", "50 51 <100 50 49 50", "pass pass undecided[close-in-set below-first-mark] pass pass pass | undecided[no-absolute-limit]"},
		{"amid it", "50 51 <80 50 49 50", "pass pass undecided[close-in-set below-first-mark] pass pass pass | undecided[no-absolute-limit]"},
		{"below everything else", "3 3 <2 3 2 3", "pass pass pass[below-first-mark] pass pass pass | pass[no-absolute-limit]"},
		{"far below the set", "25 26 <1 25 24", "pass pass undecided[low-in-set below-first-mark] pass pass | undecided[no-absolute-limit]"},
		{"overflowed far above", "25 26 >90 25 24", "pass pass fail[high-in-set over-range] pass pass | fail[no-absolute-limit]"},
	} {
		assert.Equal(t, c.want, codes(evaluate(t, minute(c.volumes), limits.Builtin())), c.name)
	}
	r := evaluate(t, minute("50 51 <100 50 49 50"), limits.Builtin())
	assert.Equal(t, "at most 100 mL/min is known only as a bound, which does not settle how it stands to the 6 that agree",
		r.Cylinders[2].Findings[0].Text)
	assert.False(t, r.BoundsSway)
}

// The bound decides for others where they are judged otherwise at its ends.
func TestBoundsSwayTheOthers(t *testing.T) {
	for _, c := range []struct{ name, volumes, high, low string }{
		{"an upper bound", "20 21 <60 31 20", "20 21 60 31 20", "20 21 25 31 20"},
		{"most overflowed", "25 25 >30 >30 >30", "25 25 30 30 30", "25 25 300 300 300"},
	} {
		r, at, other := evaluate(t, minute(c.volumes), limits.Builtin()), evaluate(t, minute(c.high), limits.Builtin()), evaluate(t, minute(c.low), limits.Builtin())
		parted := false
		for i := range r.Cylinders {
			if r.Cylinders[i].Bound == leakback.Exact && at.Cylinders[i].Verdict != other.Cylinders[i].Verdict {
				parted = true
				assert.Equal(t, leakback.Undecided, r.Cylinders[i].Verdict, "%s, %d: %s", c.name, i+1, codes(r))
			}
		}
		assert.True(t, parted, "%s: %s, %s", c.name, codes(at), codes(other))
	}
}

// What the bounds of a set allow never turns a verdict that the comparison gave
// into the opposite one.
func TestComparisonHoldsForEveryTruth(t *testing.T) {
	drawn(t, maker.individual, func(t *rapid.T, m maker, test *leakback.Test, sheet *limits.Sheet) {
		sheet.Limits, sheet.BackPressureBar = nil, nil
		if m.often("bounds") {
			m.bound(test)
		}
		r := judged(t, test, sheet)
		if r == nil || !math.IsNaN(r.DriftPerRun) || r.Has(leakback.Sequential) || anyUnread(r) {
			return
		}
		before := verdictsOf(r)
		for range 5 {
			r = judged(t, m.truth(test), sheet)
			if !math.IsNaN(r.DriftPerRun) || r.Has(leakback.Sequential) {
				return
			}
			for i, after := range verdictsOf(r) {
				opposite := before[i] == leakback.Fail && after == leakback.Pass || before[i] == leakback.Pass && after == leakback.Fail
				require.False(t, opposite, "cylinder %d: %s, and of a truth %s: %s", i+1, before[i], after, codes(r))
			}
		}
	})
}

func verdictsOf(r *leakback.Result) []leakback.Verdict {
	list := make([]leakback.Verdict, len(r.Cylinders))
	for i := range list {
		list[i] = r.Cylinders[i].Verdict
	}
	return list
}
