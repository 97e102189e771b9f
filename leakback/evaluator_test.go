package leakback_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/limits"
)

// strange is a test of any size whose readings may be anything.
func strange(rng *rand.Rand) *leakback.Test {
	words := make([]string, 1+rng.IntN(9))
	test := idle()
	for r := range 1 + rng.IntN(3) {
		for i := range words {
			words[i] = fmt.Sprint(20 + rng.IntN(12))
			if rng.IntN(5) == 0 {
				words[i] = []string{"-", ">100", "<1", "0", "50", "75", "4"}[rng.IntN(7)]
			}
		}
		test.Runs = append(test.Runs, run(r+1, []float64{30, 60}[rng.IntN(2)], strings.Join(words, " ")))
	}
	if rng.IntN(2) == 0 {
		test.Runs[0].State.RailPressureBar = 200 + 300*rng.Float64()
	}
	switch rng.IntN(6) {
	case 0:
		return strangeGallery(rng)
	case 1: // the merged return alone
		test.Method = leakback.MethodTotal
		for k := range test.Runs {
			test.Runs[k].Readings = test.Runs[k].Readings[:1]
			test.Runs[k].Readings[0].Cylinder = 0
		}
	case 2: // one tube
		oneTube(rng, test)
	case 3:
		test.Runs[rng.IntN(len(test.Runs))].LeftOut = "stumbled"
		test.Runs = append(test.Runs, run(9, 60, strings.Join(words, " ")))
	}
	return test
}

// strangeGallery is a block-off test in which nearly anything may be the matter.
func strangeGallery(rng *rand.Rand) *leakback.Test {
	g := gallery{shares: make([]float64, 2+rng.IntN(6)), sigma: 4 * rng.Float64(), seconds: 60}
	for i := range g.shares {
		g.shares[i] = []float64{0, 20, 25, 30, 35, 60}[rng.IntN(6)]
	}
	g.constant, g.lowered = []float64{0, 0, 90}[rng.IntN(3)], []float64{0, 0, 0.15}[rng.IntN(3)]
	blocked := [][]int{nil}
	for pass := range 1 + rng.IntN(3) {
		for c := range g.shares {
			if pass%2 == 1 {
				c = len(g.shares) - 1 - c
			}
			blocked = append(blocked, []int{c + 1})
		}
		blocked = append(blocked, nil)
	}
	test := g.test(blocked, rng)
	for k := range test.Runs {
		test.Runs[k].State.RailPressureBar = 350 + []float64{0, 5, 40}[rng.IntN(3)]
	}
	if rng.IntN(3) == 0 {
		test.Runs[0].LeftOut = "stumbled"
	}
	return test
}

// oneTube leaves each run one of its cylinders, and mostly the first one again.
func oneTube(rng *rand.Rand, test *leakback.Test) {
	all := test.Runs[0]
	test.Runs = nil
	for i := range all.Readings {
		one := all
		one.Number, one.Readings = i+1, all.Readings[i:i+1:i+1]
		test.Runs = append(test.Runs, one)
	}
	if rng.IntN(3) > 0 {
		again := test.Runs[0]
		again.Number = len(test.Runs) + 1
		test.Runs = append(test.Runs, again)
	}
}

// strangeSheets hold every kind of limit.
func strangeSheets() []*limits.Sheet {
	held := maximum(40)
	held.BackPressureBar = &limits.Range{Low: 8, High: 12}
	return []*limits.Sheet{
		limits.Builtin(), maximum(40), held,
		withLimit(func(l *limits.Limit) {
			l.MaxVolumeML, l.IntervalS, l.MaxTotalMLMin = figure(30), figure(60), figure(180)
			l.MinRateMLMin, l.RailPressureBar = figure(5), &limits.Range{Low: 300, High: 400}
		}),
		withLimit(func(l *limits.Limit) {
			l.MaxRatioToMedian, l.MaxRatioToMean, l.MaxRatioToLowest = figure(1.6), figure(1.5), figure(2)
			l.MaxDifferenceMLMin, l.Cranks, l.Injectors = figure(20), 1, limits.Driven
		}),
	}
}

// What an evaluator kept of earlier tests must not show in later ones.
func TestEvaluatorForgets(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 1))
	sheets := strangeSheets()
	kept := leakback.NewEvaluator(leakback.Full)
	for range 3000 {
		test, sheet := strange(rng), sheets[rng.IntN(len(sheets))]
		got, err := kept.Evaluate(test, sheet)
		if err != nil { // the runs do not determine the shares
			_, again := leakback.Evaluate(test, sheet)
			require.EqualError(t, again, err.Error())
			continue
		}
		require.Equal(t, fmt.Sprintf("%+v", shown(evaluate(t, test, sheet))), fmt.Sprintf("%+v", shown(got)))
	}
}

// shown is a result with what its pointers point to, in which NaN equals NaN.
func shown(r *leakback.Result) any {
	settles := []leakback.Settle{}
	plain := *r
	plain.Cylinders = nil
	for _, c := range r.Cylinders {
		if c.Settle != nil {
			settles = append(settles, *c.Settle)
		}
		c.Settle = nil
		plain.Cylinders = append(plain.Cylinders, c)
	}
	if r.Settle != nil {
		settles = append(settles, *r.Settle)
	}
	plain.Settle = nil
	var lines []any
	if plain.Limit != nil { // the part that counts is another's memory, with the same figures
		lines = append(lines, *plain.Limit)
		plain.Limit = nil
	}
	if plain.BlockOff != nil {
		for _, line := range plain.BlockOff.Lines {
			lines = append(lines, line.Name, line.Shares, line.Covariance, line.NotAddingUp, line.Constant, line.FarOut)
		}
		whole := *plain.BlockOff
		whole.Lines, plain.BlockOff = nil, nil
		lines = append(lines, whole)
	}
	return []any{plain, settles, lines}
}

// Verdicts leaves out, and changes nothing of what it gives.
func TestVerdictsAreThoseOfTheFullResult(t *testing.T) {
	rng := rand.New(rand.NewPCG(12, 1))
	sheets := strangeSheets()
	brief := leakback.NewEvaluator(leakback.Verdicts)
	seen := map[leakback.Code]bool{}
	for range 3000 {
		test, sheet := strange(rng), sheets[rng.IntN(len(sheets))]
		full, refused := leakback.Evaluate(test, sheet)
		got, err := brief.Evaluate(test, sheet)
		require.Equal(t, refused == nil, err == nil)
		if err != nil {
			continue
		}
		require.Equal(t, codes(full), codes(got))
		require.Equal(t, fmt.Sprint(full.MedianMLMin, full.Agreeing), fmt.Sprint(got.MedianMLMin, got.Agreeing))
		for i := range full.Cylinders {
			want, have := &full.Cylinders[i], &got.Cylinders[i]
			require.Equal(t, fmt.Sprintf("%+v", want.Budget), fmt.Sprintf("%+v", have.Budget))
			require.Equal(t, fmt.Sprint(want.Cylinder, want.RateMLMin, want.Bound, want.RatioToMedian),
				fmt.Sprint(have.Cylinder, have.RateMLMin, have.Bound, have.RatioToMedian))
			for _, f := range want.Findings {
				seen[f.Code] = true
			}
		}
		for _, f := range full.Findings {
			seen[f.Code] = true
		}
	}
	require.GreaterOrEqual(t, len(seen), 25, "nearly every finding takes part: %v", seen)
}
