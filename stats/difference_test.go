package stats_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"leakback/stats"
)

// The two-sample t-test of the NIST/SEMATECH e-Handbook of Statistical Methods,
// section 1.3.5.3 (data AUTO83B, miles per gallon): summary figures and answers
// as printed there, read in public copies of the page; the arithmetic agrees to
// the last place.
const (
	firstMean, firstSD, firstN    = 20.14458, 6.41470, 249.0
	secondMean, secondSD, secondN = 30.48101, 6.10771, 79.0
)

func TestDifferenceIsThePooledTest(t *testing.T) {
	const dof = firstN + secondN - 2
	pooled := math.Sqrt(((firstN-1)*firstSD*firstSD + (secondN-1)*secondSD*secondSD) / dof)
	assert.InDelta(t, 6.34260, pooled, 5e-6)
	d := stats.Estimate{Value: firstMean, U: pooled / math.Sqrt(firstN), DoF: dof}.
		Less(stats.Estimate{Value: secondMean, U: pooled / math.Sqrt(secondN), DoF: dof})
	assert.InDelta(t, -12.62059, d.T(), 1e-5)
	assert.Equal(t, 326.0, d.DoF)
	assert.InDelta(t, 1.9673, d.Expanded(0.95)/d.U, 5e-5)
	assert.True(t, d.Exceeds(0.99))
	assert.Less(t, d.P(), 1e-25)
}

// The same page's case of unequal variances: t = -12.94627 on 136.875 degrees of
// freedom by Welch, for estimates that have nothing in common. Ours may be
// called one estimate, so that they never count for more.
func TestDifferenceNeverCountsMoreThanWelch(t *testing.T) {
	d := stats.Estimate{Value: firstMean, U: firstSD / math.Sqrt(firstN), DoF: firstN - 1}.
		Less(stats.Estimate{Value: secondMean, U: secondSD / math.Sqrt(secondN), DoF: secondN - 1})
	assert.InDelta(t, -12.94627, d.T(), 1e-5)
	assert.Less(t, d.DoF, 136.875)
	assert.GreaterOrEqual(t, d.DoF, secondN-1)
}

// Student's t factors, two-sided (JCGM 100:2008, table G.2): 2.23 at 95 % and
// 3.17 at 99 % on 10 degrees of freedom.
func TestDifferenceAtTheEdge(t *testing.T) {
	of := func(value, u float64) stats.Difference { return stats.Difference{Value: value, U: u, DoF: 10} }
	assert.True(t, of(2.24, 1).Exceeds(0.95))
	assert.False(t, of(-2.22, 1).Exceeds(0.95))
	assert.True(t, of(-3.18, 1).Exceeds(0.99))
	assert.False(t, of(3.16, 1).Exceeds(0.99))
	assert.InDelta(t, 0.05, of(2.228, 1).P(), 1e-4)

	assert.Equal(t, math.Inf(-1), of(-1, 0).T(), "known exactly")
	assert.True(t, of(-1, 0).Exceeds(0.99))
	assert.Zero(t, of(-1, 0).P())
	assert.Zero(t, of(0, 0).T())
	assert.Equal(t, 1.0, of(0, 0).P())
	assert.False(t, of(0, 0).Exceeds(0.95))
	assert.False(t, of(math.NaN(), 1).Exceeds(0.95))
}

func estimates(t *rapid.T, label string) stats.Estimate {
	return stats.Estimate{
		Value: rapid.Float64Range(0, 200).Draw(t, label), U: rapid.Float64Range(0.01, 20).Draw(t, label+" u"),
		DoF: float64(rapid.IntRange(1, stats.MaxDoF).Draw(t, label+" dof")),
	}
}

func TestDifferenceProperties(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		a, b := estimates(r, "a"), estimates(r, "b")
		d, back := a.Less(b), b.Less(a)
		assert.Equal(r, d.Value, -back.Value)
		assert.Equal(r, d.U, back.U)
		assert.Equal(r, d.DoF, back.DoF)
		assert.InDelta(r, d.P(), back.P(), 1e-12)
		assert.GreaterOrEqual(r, d.DoF, math.Min(a.DoF, b.DoF)-1e-6)
		assert.LessOrEqual(r, d.DoF, math.Max(a.DoF, b.DoF))
		va, vb := a.U*a.U, b.U*b.U
		welch := (va + vb) * (va + vb) / (va*va/a.DoF + vb*vb/b.DoF)
		assert.LessOrEqual(r, d.DoF, math.Max(welch, math.Min(a.DoF, b.DoF))+1e-6)
		if d.Exceeds(0.99) {
			assert.True(r, d.Exceeds(0.95))
		}
	})
}
