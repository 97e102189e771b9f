package simulate

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distmv"
)

// The log likelihood ratio with the level taken out is that of the differences
// to the first value, which are multivariate normal with a known covariance:
// gonum's density of them, with and without the leak.
func TestLikelihoodRatio(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	const n, spread, leak = 4, 0.12, 1.7
	sample := Sample{Y: make([]float64, n), OwnVariance: make([]float64, n)}
	for i := range sample.Y {
		sample.Y[i], sample.OwnVariance[i] = 3+0.2*random.NormFloat64(), 0.01*random.Float64()
	}
	differences := make([]float64, n-1)
	covariance := mat.NewSymDense(n-1, nil)
	first := spread*spread + sample.OwnVariance[0]
	for i := range differences {
		differences[i] = sample.Y[i+1] - sample.Y[0]
		for k := range i + 1 {
			covariance.SetSym(i, k, first)
		}
		covariance.SetSym(i, i, first+spread*spread+sample.OwnVariance[i+1])
	}
	density := func(leaks [n]float64) float64 {
		mean := make([]float64, n-1)
		for i := range mean {
			mean[i] = leaks[i+1] - leaks[0]
		}
		d, ok := distmv.NewNormal(mean, covariance, nil)
		require.True(t, ok)
		return d.LogProb(differences)
	}
	seen := 0
	for _, leaking := range []int{0, 1, 3} {
		l := Limit{Leaking: leaking, Ratio: leak}
		l.groups(&sample, spread, func(ratio float64, members []int) {
			var leaks [n]float64
			for _, i := range members {
				leaks[i] = math.Log(leak)
			}
			assert.InDelta(t, density(leaks)-density([n]float64{}), ratio, 1e-9, "%v", members)
			seen++
		})
	}
	assert.Equal(t, 4+6+4+4, seen)
}

func TestCombinations(t *testing.T) {
	var got [][]int
	combinations(4, 2, func(m []int) { got = append(got, append([]int(nil), m...)) })
	assert.Equal(t, [][]int{{0, 1}, {0, 2}, {0, 3}, {1, 2}, {1, 3}, {2, 3}}, got)
}

func TestUpperQuantile(t *testing.T) {
	x := []float64{5, 1, 4, 2, 3, 9, 8, 7, 6, 10}
	assert.Equal(t, 8.0, upperQuantile(x, 0.2), "two of ten exceed it")
	assert.Equal(t, math.Inf(-1), largestOf([]float64{math.NaN()}))
}

// The scores of sets in which one value stands out on either side.
func TestScores(t *testing.T) {
	high, low := []float64{20, 21, 22, 23, 60}, []float64{60, 61, 62, 63, 20}
	for _, u := range UsualRules() {
		scores := make([]float64, 5)
		u.Score(scores, high)
		for i := range 4 {
			assert.False(t, scores[i] >= scores[4], u.Name)
		}
		top := scores[4]
		u.Score(scores, low)
		assert.False(t, scores[4] > 0 && scores[4] >= top, "%s: low is not high", u.Name)
		u.Score(scores, []float64{7, 7, 7, 7, 7})
		for _, v := range scores {
			assert.False(t, v > u.Bar(5), "%s: equals", u.Name)
		}
	}
	scores := make([]float64, 5)
	scoreESD(scores, low)
	assert.True(t, math.IsNaN(scores[4]))
}
