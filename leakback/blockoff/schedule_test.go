package blockoff_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback/blockoff"
)

func ExampleSchedule() {
	plan, _ := blockoff.Schedule([]int{1, 2, 3}, 2)
	for k, blocked := range plan.Blocked {
		fmt.Println(k+1, blocked)
	}
	// Output:
	// 1 []
	// 2 [1]
	// 3 [2]
	// 4 [3]
	// 5 [3]
	// 6 [2]
	// 7 [1]
	// 8 []
}

func TestSchedule(t *testing.T) {
	for _, passes := range []int{2, 4, 20} {
		p := plan(t, 5, passes)
		assert.Len(t, p.Blocked, 5*passes+passes/2+1)
		back := slices.Clone(p.Blocked)
		slices.Reverse(back)
		assert.Equal(t, p.Blocked, back, "its own mirror image")
		count := map[int]int{}
		for _, blocked := range p.Blocked {
			for _, c := range blocked {
				count[c]++
			}
		}
		assert.Equal(t, map[int]int{1: passes, 2: passes, 3: passes, 4: passes, 5: passes}, count)
	}
	// What was measured can be gone on with.
	assert.Equal(t, plan(t, 5, 2).Blocked, plan(t, 5, 4).Blocked[:12])
	bank, err := blockoff.Schedule([]int{2, 4, 6}, 2)
	require.NoError(t, err)
	assert.Equal(t, [][]int{nil, {2}, {4}, {6}, {6}, {4}, {2}, nil}, bank.Blocked)
}

func TestScheduleRefuses(t *testing.T) {
	for _, c := range []struct {
		cylinders []int
		passes    int
		text      string
	}{
		{[]int{1, 2, 3}, 3, "3 passes: expected an even number from 2 to 20"},
		{[]int{1, 2, 3}, 0, "0 passes: expected an even number from 2 to 20"},
		{[]int{1, 2, 3}, 22, "22 passes: expected an even number from 2 to 20"},
		{[]int{1}, 2, "blocking the only cylinder 1 measures nothing: expected two or more"},
		{nil, 2, "a return line without cylinders: expected at least one"},
		{[]int{1, 1}, 2, "cylinder 1: expected each of the engine's cylinders once, numbered from 1"},
	} {
		_, err := blockoff.Schedule(c.cylinders, c.passes)
		assert.EqualError(t, err, c.text)
	}
}

// The closed forms by another way: the inverse of J - I, whose rows are the
// single blockings, is J/(n-1) - I, so that the covariance of the shares is
// its square over p (a weighing design; H. Hotelling, Annals of Mathematical
// Statistics 15, 1944, 297).
func TestExpectByInverse(t *testing.T) {
	for n := 2; n <= 16; n++ {
		off := 1 / float64(n-1)
		var share, contrast, total float64
		for i := range n {
			own, mean := off, off*float64(n)/float64(n)-1/float64(n)
			if i == 0 {
				own--
			}
			share += own * own
			contrast += (own - mean) * (own - mean)
			total += math.Pow(off*float64(n)-1, 2)
		}
		got := blockoff.Expect(n, 2, 2)
		assert.InDelta(t, math.Sqrt(share/2), got.Share, 1e-12)
		assert.InDelta(t, math.Sqrt(contrast/2), got.Contrast, 1e-12)
		assert.InDelta(t, math.Sqrt(total/2), got.Total, 1e-12)
		assert.InDelta(t, math.Sqrt(total/2+0.5), got.NotAddingUp, 1e-12)
	}
}

// One baseline less one blocked run has sqrt(2) sigma; the mirrored schedule
// has about half of it on the common engines.
func TestHalfOfBaselineLessOne(t *testing.T) {
	for _, n := range []int{4, 5, 6, 8} {
		assert.InDelta(t, 0.46, blockoff.Expect(n, 2, 2).Share/math.Sqrt2, 0.02)
	}
}

// By hand, six cylinders of 30 mL/min at 3 %, 60 s, marks of 1 mL: two passes
// total 14 runs of 12 x 150 and 2 x 180, on average 154.29; sigma is
// sqrt(4.629^2 + 1/12) = 4.638; times sqrt(5/12) it is 2.994, 10 % of a share.
// Four passes have 27 runs, 153.33, 4.609, times sqrt(5/24) 2.104: 7 %.
func TestReach(t *testing.T) {
	goal := blockoff.Goal{Cylinders: 6, ShareMLMin: 30, IntervalS: 60, GraduationML: 1, Levels: 1, RepeatabilityCV: 0.03}
	two := goal.After(2)
	assert.InDelta(t, 4.638, two.SigmaMLMin, 0.0005)
	assert.InDelta(t, 2.994, two.ContrastSDMLMin, 0.0005)
	assert.InDelta(t, 0.0998, two.Contrast, 0.00005)
	assert.False(t, two.Enough)
	got := goal.Reach()
	assert.Equal(t, 4, got.Passes)
	assert.InDelta(t, 2.104, got.ContrastSDMLMin, 0.0005)
	assert.True(t, got.Enough)

	goal.RepeatabilityCV = 0.015
	assert.Equal(t, 2, goal.Reach().Passes)
	goal.GraduationML = 10 // 2.887 mL of reading alone: sqrt(2.314^2 + 2.887^2) sqrt(5/12) = 2.388
	assert.Equal(t, 2, goal.Reach().Passes)
	assert.InDelta(t, 2.388, goal.Reach().ContrastSDMLMin, 0.0005)
	goal.GraduationML, goal.Levels = 20, 2 // sqrt(2) 5.774 and 2.31: 8.49 sqrt(5/(6 p)) < 2.4 from p = 10.4
	assert.Equal(t, 12, goal.Reach().Passes)

	goal.RepeatabilityCV = 0.2
	assert.Equal(t, 20, goal.Reach().Passes, "as far as is ever planned")
	assert.False(t, goal.Reach().Enough)
}

// What was planned is what is measured: a schedule of that many passes at that
// repeatability comes out with the planned standard deviation.
func TestReachIsWhatSolveFinds(t *testing.T) {
	goal := blockoff.Goal{Cylinders: 4, ShareMLMin: 25, IntervalS: 90, GraduationML: 2, Levels: 1, RepeatabilityCV: 0.03}
	reach := goal.Reach()
	w := world{shares: []float64{25, 25, 25, 25}, intervalS: 90, graduate: 2}
	s := solve(t, w.runs(plan(t, 4, reach.Passes).Blocked, nil), options(4))
	scale := math.Sqrt(8 / s.SigmaDoF) // exact totals leave no residual
	assert.InDelta(t, reach.SigmaMLMin*scale, s.SigmaMLMin, 1e-9)
	assert.InDelta(t, reach.ContrastSDMLMin*scale, s.Shares[0].ContrastSDMLMin, 1e-9)
	assert.True(t, s.Enough)
}

func TestNotMirrored(t *testing.T) {
	good := plan(t, 4, 2).Blocked
	w := world{shares: []float64{30, 25, 35, 28}}
	for name, c := range map[string]struct {
		blocked [][]int
		text    string
	}{
		"one pass":      {singles(4), "not a mirrored schedule: run 2 and those like it do not lie around the middle of the time"},
		"same order":    {append(singles(4), singles(4)[1:]...), "not a mirrored schedule: run 2 and those like it do not lie around the middle of the time"},
		"a pair":        {[][]int{nil, {1, 2}, nil}, "not a mirrored schedule: run 2 does not block one cylinder of several"},
		"all":           {[][]int{nil, {1, 2, 3, 4}, nil}, "not a mirrored schedule: run 2 does not block one cylinder of several"},
		"one missing":   {slices.Delete(slices.Clone(good), 4, 6), "not a mirrored schedule: cylinder 4 is blocked alone in 0 runs, cylinder 1 in 2"},
		"baseline only": {[][]int{nil, nil}, "not a mirrored schedule: cylinder 1 is blocked alone in 0 runs, cylinder 1 in 0"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := blockoff.SolveMirrored(w.runs(c.blocked, nil), numbered(4))
			require.ErrorAs(t, err, new(*blockoff.NotMirroredError))
			assert.EqualError(t, err, c.text)
		})
	}
	runs := w.runs(good, nil)
	runs[3].IntervalS = 59
	_, err := blockoff.SolveMirrored(runs, numbered(4))
	assert.EqualError(t, err, "not a mirrored schedule: run 4 was not measured like run 1")
	runs[3].IntervalS = 0
	_, err = blockoff.SolveMirrored(runs, numbered(4))
	require.ErrorAs(t, err, new(*blockoff.FigureError))
}
