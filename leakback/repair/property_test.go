package repair_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leakback/leakback/repair"
	"leakback/limits"
)

func volumes(r *rapid.T, label string) string {
	n := make([]string, 6)
	for i := range n {
		n[i] = fmt.Sprint(rapid.IntRange(5, 90).Draw(r, fmt.Sprint(label, i)))
	}
	return strings.Join(n, " ")
}

func pairOf(t require.TestingT, sheet *limits.Sheet, tests ...bench) *repair.Pair {
	var sides []repair.Side
	for i, b := range tests {
		result, err := evaluate(b, sheet)
		require.NoError(t, err)
		sides = append(sides, repair.Side{Result: result, Label: fmt.Sprint("test ", i+1)})
	}
	c, err := repair.Compare(sides, repair.AssumedFuel())
	require.NoError(t, err)
	return c.Whole
}

// Held the other way round, every change has the other sign and is as sure.
func TestChangesTurnAround(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		b, a := bench{volumes: volumes(r, "b")}, bench{volumes: volumes(r, "a")}
		there, back := pairOf(r, limits.Builtin(), b, a), pairOf(r, limits.Builtin(), a, b)
		for i := range there.Cylinders {
			for _, s := range [][2]repair.Shift{{there.Cylinders[i].Rate, back.Cylinders[i].Rate}, {there.Cylinders[i].Ratio, back.Cylinders[i].Ratio}} {
				if math.IsNaN(s[0].Value) {
					assert.True(r, math.IsNaN(s[1].Value))
					continue
				}
				assert.Equal(r, s[0].Value, -s[1].Value)
				assert.Equal(r, s[0].Direction(), -s[1].Direction())
				assert.Equal(r, s[0].Level, s[1].Level)
				assert.Equal(r, s[0].U, s[1].U)
			}
		}
	})
}

// Which cylinder has which number changes no answer.
func TestAnswerDoesNotDependOnNumbers(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		order := rapid.Permutation([]int{0, 1, 2, 3, 4, 5}).Draw(r, "order")
		b, a := volumes(r, "b"), volumes(r, "a")
		cold := float64(rapid.IntRange(10, 60).Draw(r, "cold"))
		shuffled := func(v string) string {
			words, out := strings.Fields(v), make([]string, 6)
			for i, at := range order {
				out[at] = words[i]
			}
			return strings.Join(out, " ")
		}
		of := func(b, a string) *repair.Pair {
			return pairOf(r, maximum(60), bench{volumes: b, tempC: 55, at: "return"}, bench{volumes: a, tempC: cold, at: "return"})
		}
		p, q := of(b, a), of(shuffled(b), shuffled(a))
		assert.Equal(r, p.Answer, q.Answer)
		for i, at := range order {
			assert.Equal(r, p.Cylinders[i].Rate, q.Cylinders[at].Rate)
			if p.Cylinders[i].Range != nil {
				assert.Len(r, q.Cylinders[at].Range.Pieces, len(p.Cylinders[i].Range.Pieces))
			}
		}
	})
}

// The pieces of a range cover the exponents from 0 to 1 without a gap, no two
// neighbours decide alike, each decision is monotone along them, and the figure
// as measured is one of the ends.
func TestRangesCoverTheExponent(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		b, a := bench{volumes: volumes(r, "b"), tempC: 40, at: "return"}, bench{volumes: volumes(r, "a"), at: "return"}
		a.tempC = rapid.SampledFrom([]float64{10, 20, 30, 50, 60, 70}).Draw(r, "temperature")
		warmer := a.tempC > b.tempC
		for _, c := range pairOf(r, maximum(40), b, a).Cylinders {
			require.NotNil(r, c.Range)
			assert.Equal(r, c.After.RateMLMin, c.Range.Zero.RateMLMin)
			assert.Equal(r, warmer, c.Range.One.RateMLMin < c.Range.Zero.RateMLMin)
			if !math.IsNaN(c.Range.One.RatioToConsensus) {
				assert.Equal(r, c.After.RatioToConsensus, c.Range.One.RatioToConsensus)
				assert.Equal(r, warmer, c.Range.Zero.RatioToConsensus > c.Range.One.RatioToConsensus)
			}
			pieces := c.Range.Pieces
			assert.Zero(r, pieces[0].FromM)
			assert.Equal(r, 1.0, pieces[len(pieces)-1].ToM)
			assert.Equal(r, len(pieces) == 1, c.Range.Holds())
			for i := 1; i < len(pieces); i++ {
				assert.Equal(r, pieces[i-1].ToM, pieces[i].FromM)
				assert.NotEqual(r, pieces[i-1].Decisions, pieces[i].Decisions)
				if warmer {
					assert.LessOrEqual(r, pieces[i].Rate, pieces[i-1].Rate)
					assert.LessOrEqual(r, pieces[i].Ratio, pieces[i-1].Ratio)
				} else {
					assert.GreaterOrEqual(r, pieces[i].Rate, pieces[i-1].Rate)
					assert.GreaterOrEqual(r, pieces[i].Ratio, pieces[i-1].Ratio)
				}
			}
		}
	})
}

// A test that fails is never called normal, whatever was before, and one that is
// called normal passes as a whole.
func TestNormalMeansPassed(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		sheet := rapid.SampledFrom([]*limits.Sheet{limits.Builtin(), maximum(40), maximum(40, 20, 50)}).Draw(r, "sheet")
		b := bench{volumes: volumes(r, "b"), tempC: 40, at: "return"}
		a := bench{volumes: volumes(r, "a"), tempC: rapid.SampledFrom([]float64{0, 20, 38, 60}).Draw(r, "temperature"), at: "return"}
		p := pairOf(r, sheet, b, a)
		result, err := evaluate(a, sheet)
		require.NoError(r, err)
		switch p.Answer {
		case repair.BackToNormal:
			assert.Equal(r, "pass", result.Verdict.String())
			assert.Nil(r, p.Settle)
		case repair.NotBackToNormal:
			assert.Equal(r, "fail", result.Verdict.String())
			assert.Nil(r, p.Settle)
		default:
			assert.NotEmpty(r, p.Reasons)
			assert.NotNil(r, p.Settle, told(p))
		}
	})
}
