package stats_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"leakback/stats"
)

// By hand: the grand mean is 3, the residuals are all 1/2 in size.
func TestTwoWaySquares(t *testing.T) {
	squares, dof := stats.TwoWaySquares([][]float64{{1, 2}, {3, 6}})
	assert.InDeltaSlice(t, []float64{0.5, 0.5}, squares, 1e-12)
	assert.Equal(t, 1.0, dof)
	squares, dof = stats.TwoWaySquares([][]float64{{1, 2, 4}, {11, 12, 14}, {5, 6, 8}})
	assert.InDeltaSlice(t, []float64{0, 0, 0}, squares, 1e-12, "rows and columns explain it all")
	assert.Equal(t, 4.0, dof)
	squares, dof = stats.TwoWaySquares(nil)
	assert.Empty(t, squares)
	assert.Zero(t, dof)
}

// JCGM 100:2008, G.4.2: a figure good to a quarter has 1/2 (1/4)^-2 = 8
// degrees of freedom.
func TestPoolVariance(t *testing.T) {
	assert.Equal(t, 0.5*16, float64(stats.AssumedDoF))
	assert.InDelta(t, 9e-4, stats.PoolVariance(9e-4, 0, 0), 1e-18)
	assert.InDelta(t, (8*9e-4+0.02)/12, stats.PoolVariance(9e-4, 0.02, 4), 1e-15)
}

// The coefficient of variation of a lognormal variable is sqrt(exp(s^2)-1)
// (e-Handbook 1.3.6.6.9).
func TestLogSpread(t *testing.T) {
	assert.InDelta(t, 0.149166, stats.LogSpread(0.15), 1e-6)
	for _, cv := range []float64{0.01, 0.15, 1} {
		assert.InEpsilon(t, cv, stats.RelativeSpread(stats.LogSpread(cv)), 1e-12)
	}
}

// By hand: marks of 1 mL at 25 mL are 1/(25 sqrt(12)) and average down, a
// scale good to 1 mL is 1/(25 sqrt(3)) and does not.
func TestScaleVariance(t *testing.T) {
	one := stats.ScaleReading{Amount: 25, Step: 1, Levels: 1, HalfWidth: 1}
	mark, scale := 1/(625.0*12), 1/(625.0*3)
	assert.InDelta(t, mark+scale, stats.ScaleVariance([]stats.ScaleReading{one}), 1e-15)
	assert.InDelta(t, mark/3+scale, stats.ScaleVariance([]stats.ScaleReading{one, one, one}), 1e-15)
	both := one
	both.Levels = 2
	assert.InDelta(t, 2*mark+scale, stats.ScaleVariance([]stats.ScaleReading{both}), 1e-15)
	short := stats.ScaleReading{Amount: 12.5, Step: 1, Levels: 1, HalfWidth: 1}
	assert.InDelta(t, (mark+4*mark)/4+scale*1.5*1.5, stats.ScaleVariance([]stats.ScaleReading{one, short}), 1e-15)
	assert.True(t, math.IsNaN(stats.ScaleVariance(nil)))
}
