package blockoff_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"leakback/leakback/blockoff"
	"leakback/stats"
)

// beyond is a chance so small that a seeded simulation outside its bounds
// shows a fault of the method and not of the dice.
const beyond = 1e-4

// countBounds are what a count of n trials of chance p stays within, by the
// normal approximation of the binomial (n p is 50 or more here).
func countBounds(n int, p float64) (low, high float64) {
	z := stats.NormalQuantile(1 - beyond/2)
	half := z * math.Sqrt(float64(n)*p*(1-p))
	return float64(n)*p - half, float64(n)*p + half
}

// assertSpread wants errors around zero with the standard deviation sd: their
// mean square n/sd^2 is chi-square with n degrees of freedom, their mean is
// normal with sd/sqrt(n).
func assertSpread(t *testing.T, errors []float64, sd float64, what string) {
	t.Helper()
	n := float64(len(errors))
	var squares float64
	for _, e := range errors {
		squares += e * e / (sd * sd)
	}
	assert.Greater(t, squares, stats.ChiSquareQuantile(beyond/2, n), "%s: spread", what)
	assert.Less(t, squares, stats.ChiSquareQuantile(1-beyond/2, n), "%s: spread", what)
	assert.Less(t, math.Abs(stats.Mean(errors)), stats.NormalQuantile(1-beyond/2)*sd/math.Sqrt(n), "%s: centre", what)
	t.Logf("%s: %.4f of the closed form, mean %.4f of its SD", what, math.Sqrt(squares/n), stats.Mean(errors)/sd)
}

// The standard deviations of the closed form against 3000 schedules measured
// with drift: shares, contrasts, T, D and the drift itself. The sheet's figure
// is so large that D never means anything: no schedule is fitted twice.
func TestSimulatedSpread(t *testing.T) {
	random := rand.New(rand.NewPCG(2024, 6))
	w := six
	w.sigma, w.drift = 3, 0.8
	p := plan(t, 6, 2)
	opts := options(6)
	opts.RepeatabilityCV = 1
	var share, contrast, total, level, drift []float64
	for range 3000 {
		s := solve(t, w.runs(p.Blocked, random), opts)
		share = append(share, s.Shares[5].ShareMLMin-70)
		contrast = append(contrast, s.Shares[0].ShareMLMin-stats.Mean(shares(s))-(30-219.0/6))
		total = append(total, s.Total.MLMin-s.NotAddingUp.MLMin-219)
		level = append(level, s.NotAddingUp.MLMin)
		drift = append(drift, s.DriftMLMinPerRun-0.8)
	}
	assertSpread(t, share, 3*p.Expected.Share, "share")
	assertSpread(t, contrast, 3*p.Expected.Contrast, "contrast")
	assertSpread(t, total, 3*p.Expected.Total, "total of the blocked runs")
	assertSpread(t, level, 3*p.Expected.NotAddingUp, "D")
	assertSpread(t, drift, 3*p.Expected.DriftPerRun, "drift")
}

// tested counts, over n mirrored schedules of an engine that adds up, what the
// 99 % tests call significant.
type tested struct{ level, share, farOut float64 }

// simulateTests draws the sheet's figure for each schedule as an estimate with
// 8 degrees of freedom (sigma^2 chi-square(8)/8), which is what the pooling
// takes it for; known says that the sheet has the true one instead.
func simulateTests(t *testing.T, cylinders, n int, known bool, seed uint64) (count tested) {
	t.Helper()
	random := rand.New(rand.NewPCG(seed, uint64(cylinders)))
	p := plan(t, cylinders, 2)
	w := world{shares: pattern(cylinders, random), drift: 0.5, sigma: 3, graduate: 1e-3}
	var mean float64
	for _, run := range w.runs(p.Blocked, random) {
		mean += run.TotalMLMin / float64(len(p.Blocked))
	}
	opts := options(cylinders)
	for range n {
		var square float64
		for range 8 {
			z := random.NormFloat64()
			square += z * z / 8
		}
		if known {
			square = 1
		}
		opts.RepeatabilityCV = w.sigma * math.Sqrt(square) / mean
		s := solve(t, w.runs(p.Blocked, random), opts)
		if s.NotAddingUp.Meaning != blockoff.AddsUp {
			count.level++
		} else if quantile := stats.StudentQuantile(0.995, s.SigmaDoF); math.Abs(s.Shares[1].ShareMLMin-w.shares[1]) > quantile*s.Shares[1].SDMLMin {
			count.share++
		}
		if len(s.FarOut) > 0 {
			count.farOut++
		}
	}
	return count
}

// The size of the D test: 1 % of schedules that add up, within binomial bounds
// at 6,000 schedules (30.0 to 90.0), on four and on six cylinders. The bound
// on what is far out is Bonferroni's: at most 1 %. Where the sheet knows sigma,
// pooling only makes the tests more careful.
func TestSimulatedSize(t *testing.T) {
	const n = 6000
	low, high := countBounds(n, 0.01)
	for _, cylinders := range []int{4, 6} {
		count := simulateTests(t, cylinders, n, false, 99)
		t.Logf("%d cylinders: D %.2f %%, share outside its 99 %% interval %.2f %%, far out %.2f %%",
			cylinders, count.level/n*100, count.share/n*100, count.farOut/n*100)
		assert.Greater(t, count.level, low)
		assert.Less(t, count.level, high)
		assert.Less(t, count.share, high)
		assert.Less(t, count.farOut, high)
	}
	count := simulateTests(t, 6, n, true, 98)
	t.Logf("sigma known to the sheet: D %.2f %%, far out %.2f %%", count.level/n*100, count.farOut/n*100)
	assert.Less(t, count.level, high)
	assert.Less(t, count.farOut, high)
	assert.Greater(t, count.level, 0.0)
}

// Drift cancels: with the totals creeping up by 2 mL/min a run, six equal
// cylinders are told apart no more often than without; the highest contrast of
// a schedule stays the same cylinder as often as any other (chi-square on 5
// degrees of freedom at 1e-4: 25.7).
func TestSimulatedDriftPointsAtNobody(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 5))
	w := world{shares: []float64{30, 30, 30, 30, 30, 30}, drift: 2, sigma: 3}
	p := plan(t, 6, 2)
	const n = 3000
	highest := make([]float64, 6)
	for range n {
		x := shares(solve(t, w.runs(p.Blocked, random), options(6)))
		most := 0
		for i := range x {
			if x[i] > x[most] {
				most = i
			}
		}
		highest[most]++
	}
	var square float64
	for _, count := range highest {
		square += (count - n/6.0) * (count - n/6.0) / (n / 6.0)
	}
	t.Logf("highest: %v, chi-square %.2f", highest, square)
	assert.Less(t, square, stats.ChiSquareQuantile(1-beyond, 5))
}

// How often a spill of 15 % of a total (9 sigma) is found, and who is named:
// figures for the record, with bounds that a broken search would miss. With two
// passes the pair is named; with four the run itself.
func TestSimulatedSpill(t *testing.T) {
	random := rand.New(rand.NewPCG(8, 8))
	w := six
	w.sigma = 3
	opts := options(6)
	opts.RepeatabilityCV = 0.02
	const n = 1000
	for _, c := range []struct {
		passes int
		want   []int
	}{{2, []int{4, 11}}, {4, []int{4}}} {
		var right, others float64
		for range n {
			runs := w.runs(plan(t, 6, c.passes).Blocked, random)
			runs[3].TotalMLMin *= 0.85
			switch s := solve(t, runs, opts); {
			case slices.Equal(s.FarOut, c.want):
				right++
			case len(s.FarOut) > 0:
				others++
			}
		}
		t.Logf("%d passes: found %.1f %%, another named %.1f %%", c.passes, right/n*100, others/n*100)
		assert.Greater(t, right, 0.75*n)
		assert.Less(t, others, 0.01*n)
	}
}
