package stats_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leakback/stats"
)

// decimals draws a figure that people may have typed: so many whole steps.
func decimals(step float64, low, high int) *rapid.Generator[float64] {
	return rapid.Map(rapid.IntRange(low, high), func(n int) float64 { return float64(n) * step })
}

// sets draws a set of 3 to 12 logarithms, equal ones among them, with their
// standard deviations.
func sets(t *rapid.T) (y, tau []float64) {
	n := rapid.IntRange(3, 12).Draw(t, "n")
	y = rapid.SliceOfN(decimals(0.05, -30, 30), n, n).Draw(t, "y")
	tau = rapid.SliceOfN(rapid.SampledFrom([]float64{0.1, 0.12, 0.15, 0.2}), n, n).Draw(t, "tau")
	return y, tau
}

func moved(x []float64, by func(float64) float64) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = by(v)
	}
	return out
}

// Half away from zero on the decimal that a figure stands for (OpenDocument v1.2
// part 2, 6.17.5), worked in whole billionths: also where the arithmetic left the
// figure some last bits beside it.
func TestRound6IsTheDecimals(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		billionths := rapid.OneOf(rapid.Int64Range(-1e14, 1e14), rapid.Map(rapid.Int64Range(-1e15, 1e15), thousandfold), rapid.Int64Range(-1e10, 1e10),
			rapid.Map(rapid.Int64Range(-1e11, 1e11), func(n int64) int64 { return thousandfold(n) + 500 })).Draw(t, "billionths")
		want := halfAway(billionths) / 1e6
		x := float64(billionths) / 1e9
		if math.Abs(x) < 1e5 {
			for range rapid.IntRange(0, 8).Draw(t, "last bits") {
				x = math.Nextafter(x, 0)
			}
		}
		require.Equal(t, want, stats.Round6(x))
		require.Equal(t, want, stats.Round6(want), "rounded once is rounded")
		require.Equal(t, -want, stats.Round6(-x))
		require.LessOrEqual(t, want, stats.Round6(x+rapid.Float64Range(0, 1e-5).Draw(t, "more")), "order stays")
	})
}

func thousandfold(n int64) int64 { return 1000 * n }

// halfAway rounds billionths to whole millionths.
func halfAway(billionths int64) float64 {
	whole, rest := billionths/1000, billionths%1000
	switch {
	case rest >= 500:
		whole++
	case rest <= -500:
		whole--
	}
	return float64(whole)
}

// However small the figures, rounding decides nothing by itself: what is apart
// after it was so before, in the same order.
func TestRound6MakesNoOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(-1e7, 1e7).Draw(t, "a") * math.Pow10(rapid.IntRange(-14, 0).Draw(t, "of the size"))
		b := a + rapid.Float64Range(-3e-6, 3e-6).Draw(t, "beside")
		if stats.Round6(a) < stats.Round6(b) {
			require.Less(t, a, b)
		}
	})
}

// A guarded decision (JCGM 106:2012): a larger value is never less above, a
// larger limit never more, and more doubt decides nothing that was open.
func TestAgainstIsMonotone(t *testing.T) {
	side := map[stats.Decision]int{stats.Below: -1, stats.Open: 0, stats.Above: 1}
	rapid.Check(t, func(t *rapid.T) {
		value, limit := decimals(0.5, 0, 200).Draw(t, "value"), decimals(0.5, 0, 200).Draw(t, "limit")
		expanded := decimals(0.25, 0, 40).Draw(t, "U")
		more := decimals(0.25, 0, 40).Draw(t, "more")
		d := stats.Against(value, expanded, limit)
		require.GreaterOrEqual(t, side[stats.Against(value+more, expanded, limit)], side[d])
		require.LessOrEqual(t, side[stats.Against(value, expanded, limit+more)], side[d])
		if wider := stats.Against(value, expanded+more, limit); wider != stats.Open {
			require.Equal(t, d, wider)
		}
		require.Equal(t, d, stats.Against(-limit, expanded, -value), "the mirror image")
		p := stats.ProbabilityAbove(value, expanded, 8, limit)
		require.True(t, p >= 0 && p <= 1 && stats.ProbabilityAbove(value+more, expanded, 8, limit) >= p)
	})
}

// Welch-Satterthwaite lies between the least and the sum of the degrees of
// freedom that go in (JCGM 100:2008, G.4.1, note 2), and knows no unit.
func TestEffectiveDoFIsBounded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		parts := make([]stats.Part, rapid.IntRange(1, 6).Draw(t, "parts"))
		least, sum, squares := math.Inf(1), 0.0, 0.0
		for i := range parts {
			parts[i] = stats.Part{U: rapid.Float64Range(0.001, 10).Draw(t, "u"), DoF: float64(rapid.IntRange(1, 60).Draw(t, "dof"))}
			least, sum = min(least, parts[i].DoF), sum+parts[i].DoF
			squares += parts[i].U * parts[i].U
		}
		u := math.Sqrt(squares)
		got := stats.EffectiveDoF(u, parts...)
		require.True(t, got >= least-1e-9 && got <= sum && got == math.Floor(got), "%v of %v", got, parts)
		// Not at a whole number, where a last bit truncates to one or the other.
		if frac := squares * squares / rest(parts); math.Abs(frac-math.Round(frac)) > 1e-5 {
			scaled := make([]stats.Part, len(parts))
			for i, p := range parts {
				scaled[i] = stats.Part{U: 29.57 * p.U, DoF: p.DoF}
			}
			require.Equal(t, got, stats.EffectiveDoF(29.57*u, scaled...))
		}
		require.GreaterOrEqual(t, stats.T95(got), stats.T95(got+1), "more freedom, a smaller factor")
	})
}

func rest(parts []stats.Part) (sum float64) {
	for _, p := range parts {
		sum += math.Pow(p.U, 4) / p.DoF
	}
	return sum
}

// What holds of a split of any set: at most half is set aside, in the order of
// the values, equal ones stay together, and the figures are those of the rule.
func TestConsensusIsASplit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		y, tau := sets(t)
		c := stats.SidakC(len(y), rapid.SampledFrom([]float64{0.01, 0.05}).Draw(t, "a"))
		k := stats.FindConsensus(y, tau, c)
		require.LessOrEqual(t, k.High+k.Low, len(y)/2)
		require.Equal(t, len(y)-k.High-k.Low, k.Size)
		var weights, sum, q float64
		for i := range y {
			for j := range y {
				if stats.Round6(y[i]-y[j]) == 0 {
					require.Equal(t, k.IsHigh(i), k.IsHigh(j), "equal ones stay together")
					require.Equal(t, k.IsLow(i), k.IsLow(j), "equal ones stay together")
				}
				require.False(t, k.IsHigh(i) && !k.IsHigh(j) && y[j] > y[i])
				require.False(t, k.IsLow(i) && !k.IsLow(j) && y[j] < y[i])
			}
			if !k.IsHigh(i) && !k.IsLow(i) {
				weights, sum = weights+1/(tau[i]*tau[i]), sum+y[i]/(tau[i]*tau[i])
			}
		}
		for i := range y {
			if !k.IsHigh(i) && !k.IsLow(i) {
				q += (y[i] - sum/weights) * (y[i] - sum/weights) / (tau[i] * tau[i])
			}
		}
		require.InDelta(t, sum/weights, k.Mean, 1e-12)
		require.InDelta(t, q, k.Q, 1e-9)
		require.InDelta(t, k.Q+c*c*float64(k.High+k.Low)+4*float64(k.Low), k.Cost, 1e-9)
	})
}

// The level of a set, and the unit of its values with that of their standard
// deviations, do not matter.
func TestConsensusHasNoUnit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		y, tau := sets(t)
		c := stats.SidakC(len(y), 0.01)
		shift, scale := decimals(0.125, -80, 80).Draw(t, "shift"), rapid.SampledFrom([]float64{0.5, 2, 8}).Draw(t, "scale")
		k := stats.FindConsensus(y, tau, c)
		other := stats.FindConsensus(moved(y, func(v float64) float64 { return scale*v + shift }),
			moved(tau, func(v float64) float64 { return scale * v }), c)
		require.InDelta(t, k.Cost, other.Cost, 1e-6)
		for i := range y {
			require.Equal(t, k.IsHigh(i), other.IsHigh(i))
			require.Equal(t, k.IsLow(i), other.IsLow(i))
		}
	})
}

// As long as the others stay as they are, a value that is high and grows stays
// high, and one that grows into the high ones was not low before.
func TestConsensusIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		y, tau := sets(t)
		i := rapid.IntRange(0, len(y)-1).Draw(t, "which")
		rule := stats.SetRule{FalseAlarm: 0.01, FalseHint: 0.05, PracticalRatio: rapid.SampledFrom([]float64{1, 1.3, 2}).Draw(t, "practical")}
		before := stats.CompareSet(y, tau, rule)
		grown := slices.Clone(y)
		grown[i] += decimals(0.05, 1, 40).Draw(t, "more")
		after := stats.CompareSet(grown, tau, rule)
		for j := range y {
			same := before.Consensus.IsHigh(j) == after.Consensus.IsHigh(j) && before.Consensus.IsLow(j) == after.Consensus.IsLow(j)
			if j != i && !same {
				return
			}
		}
		if before.Consensus.IsHigh(i) {
			require.True(t, after.Consensus.IsHigh(i), "%v", y)
		}
		if before.Places[i] == stats.PlaceHigh {
			require.Equal(t, stats.PlaceHigh, after.Places[i], "%v", y)
		}
		if after.Consensus.IsLow(i) {
			require.True(t, before.Consensus.IsLow(i), "%v", y)
		}
	})
}

// Where nothing or one high value is set aside, the rule is that of one value
// with known spread: z > c.
func TestConsensusOfOneIsZ(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		y, tau := sets(t)
		c := stats.SidakC(len(y), 0.01)
		k := stats.FindConsensus(y, tau, c)
		top := k.Order[len(y)-1]
		alone := stats.Round6(y[top]-y[k.Order[len(y)-2]]) != 0
		switch z := k.Z(top); {
		case k.Low > 0 || k.High > 1 || !alone:
		case k.High == 1:
			require.Greater(t, z, c-1e-6)
		default:
			require.LessOrEqual(t, z, c+1e-6)
		}
	})
}

// Rows and columns have their means taken out: what is added to a whole row or
// column is nothing, and a constant factor is its square.
func TestTwoWaySquaresAreOfTheInteraction(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows, columns := rapid.IntRange(1, 6).Draw(t, "rows"), rapid.IntRange(1, 5).Draw(t, "columns")
		table, other := make([][]float64, rows), make([][]float64, rows)
		byColumn := rapid.SliceOfN(rapid.Float64Range(-3, 3), columns, columns).Draw(t, "by column")
		for i := range table {
			table[i] = rapid.SliceOfN(rapid.Float64Range(-3, 3), columns, columns).Draw(t, "row")
			byRow := rapid.Float64Range(-3, 3).Draw(t, "by row")
			for k, v := range table[i] {
				other[i] = append(other[i], 2*(v+byRow+byColumn[k]))
			}
		}
		squares, dof := stats.TwoWaySquares(table)
		scaled, same := stats.TwoWaySquares(other)
		require.Equal(t, float64((rows-1)*(columns-1)), dof)
		require.Equal(t, dof, same)
		for i := range squares {
			require.GreaterOrEqual(t, squares[i], 0.0)
			require.InDelta(t, 4*squares[i], scaled[i], 1e-9)
		}
		if rows == 1 || columns == 1 {
			require.InDelta(t, 0, squares[0], 1e-12, "nothing is left to scatter")
		}
		assumed, measured := 0.03*0.03, 0.0
		for _, s := range squares {
			measured += s
		}
		if dof > 0 {
			pooled := stats.PoolVariance(assumed, measured, dof)
			require.True(t, pooled >= min(assumed, measured/dof)-1e-12 && pooled <= max(assumed, measured/dof)+1e-12)
		}
	})
}

// Reading a larger amount from the same scale never makes it less sure, one run
// more of the same neither, and the unit does not matter.
func TestScaleVarianceFalls(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		readings := make([]stats.ScaleReading, rapid.IntRange(1, 5).Draw(t, "runs"))
		larger, inOunces := make([]stats.ScaleReading, len(readings)), make([]stats.ScaleReading, len(readings))
		by := rapid.Float64Range(1, 20).Draw(t, "larger")
		for i := range readings {
			r := stats.ScaleReading{
				Amount: rapid.Float64Range(0.5, 200).Draw(t, "amount"), Step: rapid.Float64Range(0.1, 5).Draw(t, "step"),
				Levels: float64(rapid.IntRange(1, 2).Draw(t, "levels")), HalfWidth: rapid.Float64Range(0, 5).Draw(t, "scale"),
			}
			readings[i], larger[i], inOunces[i] = r, r, r
			larger[i].Amount *= by
			inOunces[i].Amount, inOunces[i].Step, inOunces[i].HalfWidth = r.Amount/29.57, r.Step/29.57, r.HalfWidth/29.57
		}
		v := stats.ScaleVariance(readings)
		require.Greater(t, v, 0.0)
		require.InEpsilon(t, v/(by*by), stats.ScaleVariance(larger), 1e-9)
		require.InEpsilon(t, v, stats.ScaleVariance(inOunces), 1e-9)
		twice := stats.ScaleVariance(slices.Concat(readings, readings))
		require.LessOrEqual(t, twice, v*(1+1e-12))
	})
}

// A line through each thing's values is found whatever its level is, and taken
// out of them whole.
func TestDriftIsFoundAndTakenOut(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		perStep := rapid.Float64Range(-0.3, 0.3).Draw(t, "per step")
		places, values := make([][]float64, rapid.IntRange(1, 5).Draw(t, "things")), [][]float64{}
		for i := range places {
			places[i] = rapid.SliceOfNDistinct(decimals(1, 1, 12), 0, 4, rapid.ID[float64]).Draw(t, "at")
			level := rapid.Float64Range(-5, 5).Draw(t, "level")
			values = append(values, moved(places[i], func(at float64) float64 { return level + perStep*at }))
		}
		d, ok := stats.FitDrift(places, values)
		shows := slices.ContainsFunc(places, func(at []float64) bool { return len(at) > 1 })
		require.Equal(t, shows, ok)
		if !ok {
			return
		}
		require.InDelta(t, perStep, d.PerStep, 1e-9)
		for i, at := range places {
			for k := range at {
				require.InDelta(t, d.Correct(at[0], values[i][0]), d.Correct(at[k], values[i][k]), 1e-9, "alike, once taken out")
			}
			if len(at) > 0 {
				require.GreaterOrEqual(t, d.Extra(len(at), stats.Mean(at)), 0.0)
			}
		}
	})
}

// The normal equations hold, X'W(y - Xb) = 0 (Golub and Van Loan, Matrix
// Computations, 5.3), the order of the rows and the unit of a column do not
// matter, and the leverages add up to the rank.
func TestLeastSquaresHoldsItsEquations(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, columns := rapid.IntRange(1, 9).Draw(t, "rows"), rapid.IntRange(1, 4).Draw(t, "columns")
		var rows [][]float64
		for range n {
			rows = append(rows, rapid.SliceOfN(decimals(1, -3, 3), columns, columns).Draw(t, "row"))
		}
		y := rapid.SliceOfN(decimals(0.25, -80, 80), n, n).Draw(t, "y")
		weights := rapid.SliceOfN(rapid.Float64Range(0.1, 10), n, n).Draw(t, "weights")
		f, err := stats.LeastSquares(rows, y, weights)
		if err != nil {
			var dependent *stats.DependentError
			require.ErrorAs(t, err, &dependent)
			require.Less(t, dependent.Rank, columns)
			require.Equal(t, dependent.Rank, stats.Rank(rows))
			return
		}
		leverage := 0.0
		for j := range columns {
			var normal float64
			for k := range rows {
				normal += rows[k][j] * weights[k] * f.Residuals[k]
			}
			require.InDelta(t, 0, normal, 1e-6)
			require.Greater(t, f.Cofactor[j][j], 0.0)
		}
		for k := range rows {
			leverage += f.Leverages[k]
			require.True(t, f.Leverages[k] >= 0 && f.Leverages[k] <= 1+1e-9)
		}
		require.InDelta(t, columns, leverage, 1e-7)
		require.Equal(t, n-columns, f.DoF)

		order := rapid.Permutation(stats.Ascending(make([]float64, n))).Draw(t, "order")
		var rows2 [][]float64
		var y2, w2 []float64
		for _, k := range order {
			row := moved(rows[k], func(v float64) float64 { return v * 16.387 })
			rows2, y2, w2 = append(rows2, row), append(y2, y[k]), append(w2, weights[k])
		}
		other, err := stats.LeastSquares(rows2, y2, w2)
		require.NoError(t, err)
		for j := range columns {
			assert.InDelta(t, f.Coefficients[j], 16.387*other.Coefficients[j], 1e-6*(1+math.Abs(f.Coefficients[j])))
		}
		require.InDelta(t, f.SumSquares, other.SumSquares, 1e-6*(1+f.SumSquares))
	})
}

// What is learned does not depend on the order of the tests or on their levels,
// and lies between what was assumed and what the tests show.
func TestLearnedSpreadHasNoOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tests := make([]stats.SetSample, rapid.IntRange(0, 8).Draw(t, "tests"))
		shifted := make([]stats.SetSample, len(tests))
		for i := range tests {
			y, tau := sets(t)
			own := moved(tau, func(v float64) float64 { return v * v / 9 })
			level := decimals(0.5, -8, 8).Draw(t, "level")
			tests[i] = stats.SetSample{Y: y, OwnVariance: own}
			shifted[i] = stats.SetSample{Y: moved(y, func(v float64) float64 { return v + level }), OwnVariance: own}
		}
		assumed := stats.LogSpread(0.15)
		l := stats.LearnSpread(tests, assumed)
		other := stats.LearnSpread(rapid.Permutation(shifted).Draw(t, "order"), assumed)
		require.InDelta(t, l.Spread, other.Spread, 1e-6)
		require.Equal(t, l.DoF, other.DoF)
		require.LessOrEqual(t, l.Rounds, stats.LearnRounds)
		if l.DoF == 0 {
			require.Equal(t, assumed, l.Spread)
			return
		}
		require.GreaterOrEqual(t, l.FromTests, stats.LeastSpread)
		require.True(t, l.Spread >= min(assumed, l.FromTests)-1e-12 && l.Spread <= max(assumed, l.FromTests)+1e-12)
		require.InDelta(t, 0.15, stats.RelativeSpread(stats.LogSpread(0.15)), 1e-12)
	})
}

// The median is one of the values or between two, as many lie on each side, and
// their order says nothing.
func TestMedianIsInTheMiddle(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(decimals(0.5, 0, 40), 1, 20).Draw(t, "x")
		m := stats.Median(x)
		below, above := 0, 0
		for _, v := range x {
			if v < m {
				below++
			}
			if v > m {
				above++
			}
		}
		require.True(t, 2*below <= len(x) && 2*above <= len(x))
		require.Equal(t, m, stats.Median(rapid.Permutation(x).Draw(t, "order")))
		require.Equal(t, -m, stats.Median(moved(x, func(v float64) float64 { return -v })), "from either end")
	})
}
