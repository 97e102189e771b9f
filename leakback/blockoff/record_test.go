package blockoff_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback/blockoff"
)

var six = world{shares: []float64{30, 25, 35, 28, 31, 70}}

// A spill of 60 mL in run 4 of the printed schedule: the run with the same
// cylinder blocked, run 11, lies as far off on the other side, and no
// arithmetic can tell which of the two is wrong.
func TestFarOutPair(t *testing.T) {
	runs := six.runs(plan(t, 6, 2).Blocked, nil)
	assert.Empty(t, solve(t, runs, options(6)).FarOut)
	runs[3].TotalMLMin -= 60
	s := solve(t, runs, options(6))
	assert.Equal(t, []int{4, 11}, s.FarOut)
	assert.InDelta(t, -s.Residuals[3].Studentised, s.Residuals[10].Studentised, 1e-9)

	// Read a third time, the one that is off stands alone.
	third := runs[3]
	third.Number, third.TotalMLMin = 15, 219-35
	s = solve(t, append(slices.Clone(runs), third), options(6))
	assert.Equal(t, []int{4}, s.FarOut)
}

func TestLeftOut(t *testing.T) {
	runs := six.runs(plan(t, 6, 2).Blocked, nil)
	runs[3].TotalMLMin -= 60
	runs[3].LeftOut = "hose came off"
	s := solve(t, runs, options(6))
	assert.InDeltaSlice(t, six.shares, shares(s), 1e-9)
	assert.Empty(t, s.FarOut)
	require.Len(t, s.Residuals, 14, "it stays in the record")
	assert.Equal(t, "hose came off", s.Residuals[3].Run.LeftOut)
	assert.InDelta(t, -60, s.Residuals[3].MLMin, 1e-9, "how far off it was")
	assert.InDelta(t, 219-35, s.Residuals[3].FittedMLMin, 1e-9)
	assert.True(t, math.IsNaN(s.Residuals[3].Studentised))
	assert.Equal(t, 5, s.DoF)
	assert.Greater(t, s.Shares[2].ContrastSDMLMin, s.Shares[1].ContrastSDMLMin)

	// Time passes during a run that is left out: the drift is still per run.
	w := six
	w.drift = 2
	runs = w.runs(plan(t, 6, 2).Blocked, nil)
	runs[5].LeftOut, runs[5].AtLeast = "overflowed", true
	s = solve(t, runs, options(6))
	assert.InDelta(t, 2, s.DriftMLMinPerRun, 1e-9)
	// The middle of runs 1 to 14 without 6 is 99/13; of all it is 7.5.
	assert.InDelta(t, 219+2*(99.0/13-7.5), s.Total.MLMin, 1e-9)
	_, err := blockoff.SolveMirrored(runs, numbered(6))
	var no *blockoff.NotMirroredError
	require.ErrorAs(t, err, &no)
}

func TestPressure(t *testing.T) {
	for _, c := range []struct {
		bars      []float64
		low, high float64
		notHeld   bool
	}{
		{[]float64{300, 315, 300}, 300, 315, false}, // 5 % is not more than 5 %
		{[]float64{300, 315.01, 300}, 300, 315.01, true},
		{[]float64{0, 400, math.NaN()}, 400, 400, false},
		{[]float64{math.NaN(), 380, 300}, 300, 380, true},
	} {
		runs := six.runs(plan(t, 6, 2).Blocked, nil)
		for k, bar := range c.bars {
			runs[k].RailPressureBar = bar
		}
		s := solve(t, runs, options(6))
		assert.Equal(t, blockoff.Pressure{LowBar: c.low, HighBar: c.high, NotHeld: c.notHeld}, s.Pressure)
	}
	runs := six.runs(plan(t, 6, 2).Blocked, nil)
	runs[0].RailPressureBar, runs[1].RailPressureBar = 300, 400
	runs[1].LeftOut = "pressure fell"
	assert.False(t, solve(t, runs, options(6)).Pressure.NotHeld)
}

// Two banks, each with a return of its own, measured in the same runs: what is
// blocked in one bank is a baseline of the other.
func TestTwoLines(t *testing.T) {
	left, right := []int{1, 3, 5}, []int{2, 4, 6}
	blocked := plan(t, 6, 2).Blocked
	solutions := make([]*blockoff.Solution, 2)
	for l, line := range [][]int{left, right} {
		others := [][]int{right, left}[l]
		w := world{shares: slices.Clone(six.shares), level: -3 * float64(l)}
		for _, c := range others {
			w.shares[c-1] = 0
		}
		runs := w.runs(blocked, nil)
		for k := range runs { // a baseline of this line is one with the other bank's blocked
			if len(blocked[k]) == 1 && slices.Contains(others, blocked[k][0]) {
				runs[k].TotalMLMin += w.level
			}
		}
		opts := options(6)
		opts.Cylinders, opts.OtherLines = line, others
		s := solve(t, runs, opts)
		for i, c := range line {
			assert.Equal(t, c, s.Shares[i].Cylinder)
			assert.InDelta(t, six.shares[c-1], s.Shares[i].ShareMLMin, 1e-9)
		}
		assert.InDelta(t, w.level, s.NotAddingUp.MLMin, 1e-9)
		assert.Equal(t, 14-5, s.DoF)
		solutions[l] = s
	}
	assertContrasts(t, solutions)
}

// The contrast of each share with the mean of all: c'Sc written out, S the
// covariances side by side.
func assertContrasts(t *testing.T, lines []*blockoff.Solution) {
	t.Helper()
	got := blockoff.Contrasts(lines...)
	var n int
	for _, line := range lines {
		n += len(line.Shares)
	}
	for l, line := range lines {
		for i := range line.Shares {
			var variance float64
			for l2, other := range lines {
				weight := func(j int) float64 {
					if l2 == l && j == i {
						return 1 - 1/float64(n)
					}
					return -1 / float64(n)
				}
				for a, row := range other.Covariance {
					for b, c := range row {
						variance += weight(a) * weight(b) * c
					}
				}
			}
			assert.InDelta(t, math.Sqrt(variance), got[l][i], 1e-12)
		}
	}
}

func TestRefusals(t *testing.T) {
	mirrored := func(change func(runs []blockoff.Run)) []blockoff.Run {
		runs := six.runs(plan(t, 6, 2).Blocked, nil)
		change(runs)
		return runs
	}
	required := options(6)
	required.Drift = blockoff.DriftRequired
	only := func(blocked ...[]int) []blockoff.Run { return six.runs(blocked, nil) }
	for name, c := range map[string]struct {
		runs []blockoff.Run
		opts blockoff.Options
		as   any
		text string
	}{
		"unknown cylinder": {
			mirrored(func(r []blockoff.Run) { r[2].Blocked = []int{9} }), options(6), new(*blockoff.UnknownCylinderError),
			"run 3: blocked cylinder 9: expected cylinders the engine has (1, 2, 3, 4, 5, 6)"},
		"cylinder twice": {
			mirrored(func(r []blockoff.Run) { r[2].Blocked = []int{3, 3} }), options(6), new(*blockoff.RepeatedCylinderError),
			"run 3: blocked cylinder 3 comes twice: expected each cylinder once"},
		"run twice": {
			mirrored(func(r []blockoff.Run) { r[2].Number = 4 }), options(6), new(*blockoff.RepeatedRunError),
			"run 4 comes twice: expected a number of its own for each run"},
		"overflowed": {
			mirrored(func(r []blockoff.Run) { r[2].AtLeast = true }), options(6), new(*blockoff.BoundedTotalError),
			"run 3: the total overflowed: expected a total that was read; collect for a shorter time, or leave the run out"},
		"below the first mark": {
			mirrored(func(r []blockoff.Run) { r[2].AtMost = true }), options(6), new(*blockoff.BoundedTotalError),
			"run 3: the total stayed below the first mark: expected a total that was read; collect for a longer time, or leave the run out"},
		"negative total": {
			mirrored(func(r []blockoff.Run) { r[2].TotalMLMin = -1 }), options(6), new(*blockoff.FigureError),
			"run 3: total -1: expected a rate in mL/min that is not negative"},
		"total is no number": {
			mirrored(func(r []blockoff.Run) { r[2].TotalMLMin = math.NaN() }), options(6), new(*blockoff.FigureError),
			"run 3: total NaN: expected a rate in mL/min that is not negative"},
		"interval unknown": {
			mirrored(func(r []blockoff.Run) { r[0].IntervalS = math.NaN() }), options(6), new(*blockoff.FigureError),
			"run 1: interval NaN: expected a known time in s above zero"},
		"no graduation": {
			mirrored(func(r []blockoff.Run) { r[0].GraduationML = 0 }), options(6), new(*blockoff.FigureError),
			"run 1: graduation 0: expected a step in mL above zero"},
		"no levels": {
			mirrored(func(r []blockoff.Run) { r[0].Levels = 3 }), options(6), new(*blockoff.FigureError),
			"run 1: levels 3: expected 1 or 2 levels read"},
		"all blocked only": {
			only([]int{1, 2, 3, 4, 5, 6}), options(6), new(*blockoff.AllBlockedOnlyError),
			"every cylinder is blocked in each run (1): that measures what no injector returns; expected runs with cylinders open"},
		"drift of one pass": {
			only(singles(6)...), required, new(*blockoff.DriftError),
			"drift cannot be told from the cylinders in one pass: expected runs done again later; " +
				"repeat them in reverse order, at least the run with nothing blocked"},
		"one never blocked, no baseline": {
			only([]int{1}, []int{2}, []int{3}, []int{4}, []int{5}, []int{5}, []int{4}, []int{3}, []int{2}, []int{1}), options(6),
			new(*blockoff.UndeterminedError),
			"the runs do not determine cylinders 1, 2, 3, 4, 5, 6: add a run with cylinder 6 blocked"},
		"two never blocked": {
			only(nil, []int{1}, []int{2}, []int{3}, []int{4}, nil), options(6), new(*blockoff.UndeterminedError),
			"the runs do not determine cylinders 5, 6: add a run with cylinder 5 blocked"},
		"baselines alone": {
			only(nil, nil, []int{1, 2, 3, 4, 5, 6}), options(6), new(*blockoff.UndeterminedError),
			"the runs do not determine cylinders 1, 2, 3, 4, 5, 6: add a run with cylinder 1 blocked, a run with cylinder 2 blocked, " +
				"a run with cylinder 3 blocked, a run with cylinder 4 blocked, a run with cylinder 5 blocked"},
	} {
		t.Run(name, func(t *testing.T) {
			s, err := blockoff.Solve(c.runs, c.opts)
			require.ErrorAs(t, err, c.as)
			assert.EqualError(t, err, c.text)
			assert.Nil(t, s)
		})
	}
}

func TestRefusesOptions(t *testing.T) {
	runs := six.runs(plan(t, 6, 2).Blocked, nil)
	for name, change := range map[string]func(o *blockoff.Options){
		"no cylinders":       func(o *blockoff.Options) { o.Cylinders = nil },
		"cylinder zero":      func(o *blockoff.Options) { o.Cylinders = []int{0, 1, 2} },
		"cylinder twice":     func(o *blockoff.Options) { o.OtherLines = []int{6} },
		"repeatability":      func(o *blockoff.Options) { o.RepeatabilityCV = math.NaN() },
		"negative":           func(o *blockoff.Options) { o.RepeatabilityCV = -0.01 },
		"degrees of freedom": func(o *blockoff.Options) { o.SheetDoF = 0 },
		"infinite":           func(o *blockoff.Options) { o.SheetDoF = math.Inf(1) },
	} {
		t.Run(name, func(t *testing.T) {
			opts := options(6)
			change(&opts)
			_, err := blockoff.Solve(runs, opts)
			require.Error(t, err)
		})
	}
	for k := range runs {
		runs[k].LeftOut = "all of it"
	}
	_, err := blockoff.Solve(runs, options(6))
	require.ErrorIs(t, err, blockoff.ErrNoRuns)
	_, err = blockoff.Solve(nil, options(6))
	require.ErrorIs(t, err, blockoff.ErrNoRuns)
}

// The runs that a refusal names make the same runs soluble.
func TestNamedRunsSuffice(t *testing.T) {
	random := rand.New(rand.NewPCG(9, 9))
	refused := 0
	for range 300 {
		n := 2 + random.IntN(7)
		w := world{shares: pattern(n, random)}
		var blocked [][]int
		for range 1 + random.IntN(n) {
			set := numbered(n)[:random.IntN(n+1)]
			random.Shuffle(len(set), func(i, j int) { set[i], set[j] = set[j], set[i] })
			blocked = append(blocked, slices.Clone(set))
		}
		_, err := blockoff.Solve(w.runs(blocked, nil), options(n))
		var e *blockoff.UndeterminedError
		switch any(err).(type) {
		case nil, *blockoff.AllBlockedOnlyError:
			continue
		}
		require.ErrorAs(t, err, &e)
		refused++
		require.NotEmpty(t, e.Add)
		for i := range e.Add {
			_, err := blockoff.Solve(w.runs(append(slices.Clone(blocked), e.Add[:i]...), nil), options(n))
			require.ErrorAs(t, err, new(*blockoff.UndeterminedError), "no fewer do")
		}
		s := solve(t, w.runs(append(slices.Clone(blocked), e.Add...), nil), options(n))
		require.InDeltaSlice(t, w.shares, shares(s), 1e-8)
	}
	assert.Greater(t, refused, 100)
}
