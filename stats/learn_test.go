package stats_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/stats"
)

// One sound test of three by hand: the squares about the mean are 0.02, less
// twice the own variance of 0.001 on 2 degrees of freedom is 0.009.
func TestLearnSpreadOfOneTest(t *testing.T) {
	test := stats.SetSample{Y: []float64{3, 3.1, 3.2}, OwnVariance: []float64{0.001, 0.001, 0.001}}
	got := stats.LearnSpread([]stats.SetSample{test}, 0.15)
	assert.InDelta(t, math.Sqrt(0.009), got.FromTests, 1e-9)
	assert.InDelta(t, math.Sqrt((8*0.0225+2*0.009)/10), got.Spread, 1e-9)
	assert.Equal(t, 2.0, got.DoF)
	assert.True(t, got.Settled)
	assert.Equal(t, 2, got.Rounds)
}

// The level of a test does not matter, nor does a leak that stands far apart.
func TestLearnSpreadSetsLeaksAside(t *testing.T) {
	own := []float64{0.001, 0.001, 0.001, 0.001}
	sound := stats.SetSample{Y: []float64{1, 1.1, 1.2, 1.1}, OwnVariance: own}
	leaking := stats.SetSample{Y: []float64{5, 5.1, 5.2, 6.5}, OwnVariance: own}
	got := stats.LearnSpread([]stats.SetSample{sound, leaking}, 0.15)
	assert.InDelta(t, math.Sqrt((0.02-3*0.001+0.02-2*0.001)/5), got.FromTests, 1e-9)
	assert.Equal(t, 5.0, got.DoF)
	assert.Equal(t, 0, got.Consensus[0].High)
	assert.Equal(t, 1, got.Consensus[1].High)
	assert.True(t, got.Consensus[1].IsHigh(3))
}

func TestLearnSpreadWithoutTests(t *testing.T) {
	small := stats.SetSample{Y: []float64{1, 2}, OwnVariance: []float64{0, 0}}
	for _, tests := range [][]stats.SetSample{nil, {small}} {
		got := stats.LearnSpread(tests, 0.15)
		assert.Equal(t, 0.15, got.Spread)
		assert.True(t, math.IsNaN(got.FromTests))
		assert.Zero(t, got.DoF)
		assert.True(t, got.Settled)
		require.Len(t, got.Consensus, len(tests))
	}
}

func TestLearnSpreadHasAFloor(t *testing.T) {
	equal := stats.SetSample{Y: []float64{2, 2, 2}, OwnVariance: []float64{0.001, 0.001, 0.001}}
	assert.Equal(t, stats.LeastSpread, stats.LearnSpread([]stats.SetSample{equal}, 0.15).FromTests)
}

// randomTests are tests near the edge of the rule, so that what is set aside
// changes with the spread.
func randomTests(random *rand.Rand) []stats.SetSample {
	tests := make([]stats.SetSample, 1+random.IntN(6))
	for k := range tests {
		n := 3 + random.IntN(4)
		for range n {
			tests[k].Y = append(tests[k].Y, 0.13*random.NormFloat64())
			tests[k].OwnVariance = append(tests[k].OwnVariance, 0.0016)
		}
		tests[k].Y[0] += 0.4
	}
	return tests
}

// The rounds written out: they come to rest well within the bound, and the
// answer is where.
func TestLearnSpreadRounds(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	moved := 0
	for range 2000 {
		tests := randomTests(random)
		got := stats.LearnSpread(tests, 0.15)
		require.Less(t, got.Rounds, 12)
		require.True(t, got.Settled)
		first := pooled(tests, 0.15)
		spread := first
		for range stats.LearnRounds {
			spread = pooled(tests, spread)
		}
		require.InDelta(t, spread, pooled(tests, spread), 1e-9, "at rest")
		require.InDelta(t, spread, got.Spread, 1e-6)
		require.InDelta(t, math.Sqrt((8*0.0225+got.DoF*got.FromTests*got.FromTests)/(8+got.DoF)), got.Spread, 1e-12)
		if math.Abs(first-spread) > 0.001 {
			moved++
		}
	}
	assert.Greater(t, moved, 100, "one round is not enough")
}

// pooled is one round, written out by the formulas.
func pooled(tests []stats.SetSample, spread float64) float64 {
	var squares, dof float64
	for _, s := range tests {
		var tau []float64
		for _, own := range s.OwnVariance {
			tau = append(tau, math.Sqrt(spread*spread+own))
		}
		k := stats.FindConsensus(s.Y, tau, stats.SidakC(len(s.Y), 0.01))
		for i, y := range s.Y {
			if !k.IsHigh(i) && !k.IsLow(i) {
				squares += (y - k.Mean) * (y - k.Mean)
			}
		}
		squares -= float64(k.Size-1) * s.OwnVariance[0]
		dof += float64(k.Size - 1)
	}
	variance := math.Max(squares/dof, 0.04*0.04)
	return math.Sqrt((8*0.15*0.15 + dof*variance) / (8 + dof))
}
