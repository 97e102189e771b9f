package stats_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/stats"
)

// By hand: one thing read at 1 and 5 rises by 2, another read between does not
// matter for the slope: 0.5 a step, around the middle 3.
func TestDriftByHand(t *testing.T) {
	d, ok := stats.FitDrift([][]float64{{1, 5}, {2}, {4}}, [][]float64{{10, 12}, {7}, {9}})
	require.True(t, ok)
	assert.InDelta(t, 0.5, d.PerStep, 1e-12)
	assert.InDelta(t, 3, d.Middle, 1e-12)
	assert.InDelta(t, 8, d.Squares, 1e-12)
	assert.InDelta(t, 11, d.Correct(1, 10), 1e-12)
	assert.InDelta(t, 11, d.Correct(5, 12), 1e-12)
	assert.InDelta(t, 8.5, d.Correct(4, 9), 1e-12)
	assert.Equal(t, 0.0, d.Extra(2, 3))
	assert.InDelta(t, 0.125, d.Extra(1, 4), 1e-12)
}

func TestDriftThatDoesNotShow(t *testing.T) {
	_, ok := stats.FitDrift([][]float64{{1}, {2}, {}}, [][]float64{{10}, {7}, {}})
	assert.False(t, ok)
	_, ok = stats.FitDrift([][]float64{{1, 1}}, [][]float64{{10, 11}})
	assert.False(t, ok, "twice at one place")
	_, ok = stats.FitDrift(nil, nil)
	assert.False(t, ok)
}

// Against the general least squares, which is checked against certified values:
// a column for each thing and one for time. The corrected means are its
// coefficients, and (1 + Extra)/n their cofactors.
func TestDriftIsLeastSquares(t *testing.T) {
	random := rand.New(rand.NewPCG(31, 1))
	for range 200 {
		things := 2 + random.IntN(6)
		at, y := make([][]float64, things), make([][]float64, things)
		for range things + 2 + random.IntN(8) {
			i := random.IntN(things)
			at[i], y[i] = append(at[i], float64(1+random.IntN(20))), append(y[i], random.NormFloat64())
		}
		for i := range at {
			if len(at[i]) == 0 {
				at[i], y[i] = []float64{3}, []float64{1}
			}
		}
		d, ok := stats.FitDrift(at, y)
		if !ok {
			continue
		}
		var rows [][]float64
		var all []float64
		for i := range at {
			for k := range at[i] {
				row := make([]float64, things+1)
				row[i], row[things] = 1, at[i][k]-d.Middle
				rows, all = append(rows, row), append(all, y[i][k])
			}
		}
		fit, err := stats.LeastSquares(rows, all, nil)
		require.NoError(t, err)
		assert.InDelta(t, fit.Coefficients[things], d.PerStep, 1e-9)
		assert.InDelta(t, fit.Cofactor[things][things], 1/d.Squares, 1e-9)
		for i := range at {
			corrected := make([]float64, len(at[i]))
			for k := range at[i] {
				corrected[k] = d.Correct(at[i][k], y[i][k])
			}
			n := len(at[i])
			assert.InDelta(t, fit.Coefficients[i], stats.Mean(corrected), 1e-9)
			assert.InDelta(t, fit.Cofactor[i][i], (1+d.Extra(n, stats.Mean(at[i])))/float64(n), 1e-9)
		}
	}
}

// The spread that is claimed: corrected means of simulated readings with drift,
// one thing read first and last, within the chi-square bounds at 1e-4.
func TestDriftSpread(t *testing.T) {
	random := rand.New(rand.NewPCG(31, 2))
	at := [][]float64{{1, 7}, {2}, {3}, {4}, {5}, {6}}
	const trials, sigma, perStep = 4000, 0.05, 0.03
	squares := make([]float64, len(at))
	var extra []float64
	for range trials {
		y := make([][]float64, len(at))
		for i := range at {
			for _, place := range at[i] {
				y[i] = append(y[i], float64(i)+perStep*place+sigma*random.NormFloat64())
			}
		}
		d, ok := stats.FitDrift(at, y)
		require.True(t, ok)
		extra = extra[:0]
		for i := range at {
			var mean float64
			for k, place := range at[i] {
				mean += d.Correct(place, y[i][k]) / float64(len(at[i]))
			}
			e := mean - float64(i) - perStep*d.Middle
			extra = append(extra, d.Extra(len(at[i]), stats.Mean(at[i])))
			squares[i] += e * e
		}
	}
	for i := range at {
		variance := sigma * sigma * (1 + extra[i]) / float64(len(at[i]))
		assert.Greater(t, squares[i]/variance, stats.ChiSquareQuantile(5e-5, trials), "%d", i)
		assert.Less(t, squares[i]/variance, stats.ChiSquareQuantile(1-5e-5, trials), "%d", i)
		t.Logf("%d: %.3f of what is claimed", i, math.Sqrt(squares[i]/variance/trials))
	}
}
