package blockoff_test

import (
	"errors"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leakback/leakback/blockoff"
	"leakback/stats"
)

// drawBlocked draws what the runs of n cylinders block: a mirrored schedule, or
// anything.
func drawBlocked(t *rapid.T, n int) [][]int {
	if rapid.Bool().Draw(t, "mirrored") {
		return mirrored(t, n, 2*rapid.IntRange(1, 3).Draw(t, "pairs of passes"))
	}
	var blocked [][]int
	for range rapid.IntRange(1, 3*n).Draw(t, "runs") {
		most := rapid.SampledFrom([]int{1, 1, 1, 2, n}).Draw(t, "most")
		blocked = append(blocked, rapid.SliceOfNDistinct(rapid.IntRange(1, n), 0, most, rapid.ID[int]).Draw(t, "blocked"))
	}
	return blocked
}

func mirrored(t *rapid.T, n, passes int) [][]int {
	p, err := blockoff.Schedule(numbered(n), passes)
	require.NoError(t, err)
	return p.Blocked
}

// drawRuns draws an engine and what was measured of it, totals read to a mark,
// with leaks, drift, a valve and runs of different lengths among it.
func drawRuns(t *rapid.T) ([]blockoff.Run, blockoff.Options) {
	n := rapid.IntRange(2, 8).Draw(t, "cylinders")
	shares := rapid.SliceOfN(rapid.SampledFrom([]float64{0, 1, 20, 25, 30, 34, 70}), n, n).Draw(t, "shares")
	constant := rapid.SampledFrom([]float64{0, 0, 40}).Draw(t, "valve")
	mark := rapid.SampledFrom([]float64{0.5, 1, 5}).Draw(t, "mark")
	seconds := []float64{30, 60, rapid.SampledFrom([]float64{15, 90, 600}).Draw(t, "s")}
	var runs []blockoff.Run
	for k, blocked := range drawBlocked(t, n) {
		total := constant
		for c, share := range shares {
			if !slices.Contains(blocked, c+1) {
				total += share
			}
		}
		interval := seconds[rapid.SampledFrom([]int{0, 0, 0, 1, 2}).Draw(t, "length")]
		marks := math.Round(total*interval/60/mark) + float64(rapid.IntRange(-2, 2).Draw(t, "off by"))
		run := blockoff.Run{
			Number: 2*k + 1, Blocked: blocked, TotalMLMin: 60 * mark * max(marks, 0) / interval, IntervalS: interval,
			GraduationML: mark, Levels: rapid.IntRange(1, 2).Draw(t, "levels"),
			RailPressureBar: rapid.SampledFrom([]float64{math.NaN(), 350, 351, 400}).Draw(t, "bar"),
		}
		switch rapid.IntRange(0, 19).Draw(t, "sort") {
		case 19:
			run.LeftOut = "stumbled"
		case 18:
			run.AtMost = len(blocked) == n
		}
		runs = append(runs, run)
	}
	opts := options(n)
	opts.RepeatabilityCV = rapid.SampledFrom([]float64{0.03, 0.01, 0, 0.5}).Draw(t, "r")
	return runs, opts
}

// A solution holds a number wherever its type promises one, and the bounds are
// what they say; a refusal is one of the types that say what is missing.
func TestSolutionsKeepTheirPromise(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		runs, opts := drawRuns(t)
		s, err := blockoff.Solve(runs, opts)
		if err != nil {
			requireRefusal(t, err)
			return
		}
		requireShares(t, s)
		numbers := []float64{s.SigmaMLMin, s.SigmaDoF, s.MedianMLMin, s.Contrast, s.Total.MLMin, s.Total.SDMLMin}
		if s.Model.Drift {
			numbers = append(numbers, s.DriftMLMinPerRun, s.DriftSDMLMinPerRun)
		}
		if s.NotAddingUp.Meaning != blockoff.NotTested {
			numbers = append(numbers, s.NotAddingUp.MLMin, s.NotAddingUp.SDMLMin, s.NotAddingUp.CriticalMLMin)
		}
		if s.Constant.Origin != blockoff.NotFitted {
			numbers = append(numbers, s.Constant.MLMin, s.Constant.SDMLMin)
		}
		requireFinite(t, numbers...)
		require.True(t, s.SigmaMLMin > 0 && s.MedianMLMin > 0 && s.Constant.LargestMLMin >= 0 && s.DoF >= 0)
		require.Equal(t, stats.Round6(s.Contrast) < blockoff.TargetContrast, s.Enough)
		require.Len(t, s.Residuals, len(runs))
		for i, r := range s.Residuals {
			require.True(t, i == 0 || r.Run.Number > s.Residuals[i-1].Run.Number, "in the order of time")
			requireFinite(t, r.FittedMLMin, r.MLMin)
		}
	})
}

func requireRefusal(t *rapid.T, err error) {
	t.Helper()
	require.True(t, errors.Is(err, blockoff.ErrNoRuns) || errors.As(err, new(*blockoff.UndeterminedError)) ||
		errors.As(err, new(*blockoff.AllBlockedOnlyError)), "%v", err)
}

func requireShares(t *rapid.T, s *blockoff.Solution) {
	t.Helper()
	for i, share := range s.Shares {
		requireFinite(t, share.ShareMLMin, share.SDMLMin, share.ContrastSDMLMin, share.RateMLMin, share.NumberMLMin)
		require.Greater(t, share.SDMLMin, 0.0)
		require.InDelta(t, share.SDMLMin*share.SDMLMin, s.Covariance[i][i], 1e-9*s.Covariance[i][i])
		require.Greater(t, share.NumberMLMin, 0.0, "a logarithm is taken of it")
		if share.AtMost {
			require.GreaterOrEqual(t, share.RateMLMin, share.ShareMLMin)
			require.Equal(t, share.RateMLMin, share.LeastMLMin())
			require.Equal(t, share.RateMLMin/2, share.NumberMLMin)
		} else {
			require.Equal(t, []float64{share.ShareMLMin, share.ShareMLMin}, []float64{share.RateMLMin, share.NumberMLMin})
		}
		for j := range s.Shares {
			require.InDelta(t, s.Covariance[i][j], s.Covariance[j][i], 1e-12)
			require.LessOrEqual(t, math.Abs(s.Covariance[i][j]), share.SDMLMin*s.Shares[j].SDMLMin*(1+1e-9))
		}
	}
}

func requireFinite(t *rapid.T, numbers ...float64) {
	t.Helper()
	for _, x := range numbers {
		require.False(t, math.IsNaN(x) || math.IsInf(x, 0), "%v", numbers)
	}
}

// Numbers of cylinders are names: other numbers, in another order, are the same
// engine; and rows in another order are the same runs.
func TestNumbersOfCylindersAreNames(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		runs, opts := drawRuns(t)
		n := len(opts.Cylinders)
		name := rapid.Permutation(numbered(n)).Draw(t, "names")
		other := opts
		other.Cylinders = rapid.Permutation(numbered(n)).Draw(t, "order")
		renamed := make([]blockoff.Run, len(runs))
		for k, at := range rapid.Permutation(places(len(runs))).Draw(t, "rows") {
			renamed[k] = runs[at]
			renamed[k].Blocked = nil
			for _, c := range runs[at].Blocked {
				renamed[k].Blocked = append(renamed[k].Blocked, name[c-1])
			}
		}
		s, err := blockoff.Solve(runs, opts)
		again, err2 := blockoff.Solve(renamed, other)
		require.Equal(t, err == nil, err2 == nil)
		if err != nil {
			return
		}
		for i, share := range s.Shares {
			at := slices.Index(other.Cylinders, name[i])
			requireClose(t, 1, share.ShareMLMin, again.Shares[at].ShareMLMin)
			requireClose(t, 1, share.SDMLMin, again.Shares[at].SDMLMin)
			requireClose(t, 1, share.ContrastSDMLMin, again.Shares[at].ContrastSDMLMin)
			require.Equal(t, share.AtMost, again.Shares[at].AtMost)
		}
		requireAlike(t, s, again)
	})
}

func places(n int) []int {
	list := make([]int, n)
	for i := range list {
		list[i] = i
	}
	return list
}

// requireClose holds a figure against another that is so many times as large.
func requireClose(t *rapid.T, scale, want, got float64) {
	t.Helper()
	require.InDelta(t, scale*want, got, 1e-7*(1+scale*math.Abs(want)))
}

func requireAlike(t *rapid.T, a, b *blockoff.Solution) {
	t.Helper()
	require.Equal(t, a.Model, b.Model)
	require.Equal(t, a.NotAddingUp.Meaning, b.NotAddingUp.Meaning)
	require.Equal(t, a.Constant.Origin, b.Constant.Origin)
	require.Equal(t, a.FarOut, b.FarOut)
	require.Equal(t, a.Pressure.NotHeld, b.Pressure.NotHeld)
	require.Equal(t, a.DoF, b.DoF)
}

// Another unit of volume is the same engine.
func TestTotalsHaveNoUnit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		runs, opts := drawRuns(t)
		scale := rapid.SampledFrom([]float64{0.5, 3, 29.5735, 0.25}).Draw(t, "scale")
		scaled := slices.Clone(runs)
		for k := range scaled {
			scaled[k].TotalMLMin *= scale
			scaled[k].GraduationML *= scale
		}
		s, err := blockoff.Solve(runs, opts)
		again, err2 := blockoff.Solve(scaled, opts)
		require.Equal(t, err == nil, err2 == nil)
		if err != nil {
			return
		}
		for i, share := range s.Shares {
			requireClose(t, scale, share.ShareMLMin, again.Shares[i].ShareMLMin)
			requireClose(t, scale, share.SDMLMin, again.Shares[i].SDMLMin)
		}
		requireClose(t, scale, s.SigmaMLMin, again.SigmaMLMin)
		requireAlike(t, s, again)
	})
}

// Whatever was blocked, runs that add up without scatter give back what the
// cylinders return, and of what else returns all the time the single blocking
// of every cylinder puts 1/(n-1) into each share, as its algebra has it.
func TestSharesAreWhatReturns(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 8).Draw(t, "cylinders")
		w := world{shares: rapid.SliceOfN(rapid.Float64Range(1, 80), n, n).Draw(t, "shares"), graduate: 1e-6}
		blocked := drawBlocked(t, n)
		s, err := blockoff.Solve(w.runs(blocked, nil), options(n))
		if err != nil {
			requireRefusal(t, err)
		} else {
			require.InDeltaSlice(t, w.shares, shares(s), 1e-6)
		}
		w.constant = rapid.Float64Range(1, 100).Draw(t, "valve")
		s, err = blockoff.Solve(w.runs(mirrored(t, n, 2)[1:2*n+1], nil), options(n))
		require.NoError(t, err)
		for i := range s.Shares {
			require.InDelta(t, w.shares[i]+w.constant/float64(n-1), s.Shares[i].ShareMLMin, 1e-6)
			require.InDelta(t, s.Constant.LargestMLMin/float64(n-1), s.Constant.AddsMLMin[i], 1e-6)
		}
		require.GreaterOrEqual(t, s.Constant.LargestMLMin, w.constant-1e-6, "what was there is not ruled out")
	})
}

// Longer runs of the same totals never make a run, or a share, less sure, as long
// as the same is fitted to them.
func TestLongerRunsAreNoLessSure(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		runs, opts := drawRuns(t)
		times := rapid.SampledFrom([]float64{1, 1.5, 4, 20}).Draw(t, "times")
		longer := slices.Clone(runs)
		for k := range runs { // of one length, so that their weights stay alike
			runs[k].IntervalS, runs[k].Levels = 60, 1
			longer[k].IntervalS, longer[k].Levels = 60*times, 1
		}
		s, err := blockoff.Solve(runs, opts)
		if err != nil {
			return
		}
		again, err := blockoff.Solve(longer, opts)
		require.NoError(t, err)
		if again.Model != s.Model { // they show something now that was hidden before
			return
		}
		require.LessOrEqual(t, again.SigmaMLMin, s.SigmaMLMin*(1+1e-9))
		for i := range s.Shares {
			require.LessOrEqual(t, again.Shares[i].SDMLMin, s.Shares[i].SDMLMin*(1+1e-9))
		}
	})
}
