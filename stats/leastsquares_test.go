package stats_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/stats"
	"leakback/stats/reference"
)

// polynomial is the design 1, x, x^2 ... of a certified dataset.
func polynomial(t *testing.T, name string, degree int) (rows [][]float64, y []float64) {
	t.Helper()
	for _, r := range reference.Rows(t, "strd/"+name+".csv") {
		row := []float64{1}
		for range degree {
			row = append(row, row[len(row)-1]*r.Float(t, "x"))
		}
		rows, y = append(rows, row), append(y, r.Float(t, "y"))
	}
	return rows, y
}

// NIST/ITL Statistical Reference Datasets, linear regression: certified
// coefficients, their standard deviations and the residual standard deviation.
// The tolerances are relative, 10 digits for Norris (lower difficulty); the
// Wamplers (higher difficulty) are polynomials of degree 5 whose columns are
// nearly dependent and keep 9. Wampler1 is met exactly, its certified residual
// standard deviation is 0: 1e-8 of values up to 3e6.
func TestCertifiedRegressions(t *testing.T) {
	for _, c := range []struct {
		name     string
		degree   int
		relative float64
		exact    float64
	}{
		{"Norris", 1, 1e-10, 0},
		{"Wampler1", 5, 1e-9, 1e-8},
		{"Wampler3", 5, 1e-9, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, y := polynomial(t, c.name, c.degree)
			fit, err := stats.LeastSquares(rows, y, nil)
			require.NoError(t, err)
			assert.Equal(t, len(y)-c.degree-1, fit.DoF)
			close := func(want, got float64, what string) {
				if want == 0 {
					assert.InDelta(t, 0, got, c.exact, what)
					return
				}
				assert.InEpsilon(t, want, got, c.relative, what)
			}
			checked := 0
			for _, row := range reference.Rows(t, "strd_linear_certified.csv") {
				if row["dataset"] != c.name || row["parameter"] == "r_squared" {
					continue
				}
				checked++
				want := row.Float(t, "estimate")
				if row["parameter"] == "residual_sd" {
					close(want, fit.StdDev(), "residual sd")
					continue
				}
				j, err := strconv.Atoi(row["parameter"][1:])
				require.NoError(t, err)
				close(want, fit.Coefficients[j], row["parameter"])
				close(row.Float(t, "sd_of_estimate"), fit.SD(j, fit.StdDev()), "sd of "+row["parameter"])
			}
			assert.Equal(t, c.degree+2, checked)
		})
	}
}

// The published outlier test of Duncan's regression (the file names it): the
// largest externally studentised residual, its degrees of freedom and p.
func TestPublishedStudentisedResidual(t *testing.T) {
	var rows [][]float64
	var y []float64
	var names []string
	for _, r := range reference.Rows(t, "duncan.csv") {
		rows = append(rows, []float64{1, r.Float(t, "income"), r.Float(t, "education")})
		y = append(y, r.Float(t, "prestige"))
		names = append(names, r["occupation"])
	}
	fit, err := stats.LeastSquares(rows, y, nil)
	require.NoError(t, err)
	studentised, dof := fit.Studentised(0)
	most := 0
	for k := range studentised {
		if math.Abs(studentised[k]) > math.Abs(studentised[most]) {
			most = k
		}
	}
	assert.Equal(t, "minister", names[most])
	assert.InDelta(t, 3.134519, studentised[most], 5e-7)
	assert.Equal(t, 41.0, dof)
	p := 2 * (1 - stats.StudentCDF(studentised[most], dof))
	assert.InDelta(t, 0.003177202, p, 5e-10)
	assert.InDelta(t, 0.1429741, p*float64(len(y)), 5e-8)
}

// An observation of weight m is m observations of weight 1: the definition of
// a weight, and no use of the solver's own weighting on the other side.
func TestWeightsAreRepeats(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 1))
	var rows, repeated [][]float64
	var y, yRepeated, weights []float64
	for k := range 9 {
		row := []float64{1, float64(k), random.NormFloat64()}
		value, times := random.NormFloat64(), 1+random.IntN(4)
		rows, y, weights = append(rows, row), append(y, value), append(weights, float64(times))
		for range times {
			repeated, yRepeated = append(repeated, row), append(yRepeated, value)
		}
	}
	a, err := stats.LeastSquares(rows, y, weights)
	require.NoError(t, err)
	b, err := stats.LeastSquares(repeated, yRepeated, nil)
	require.NoError(t, err)
	assert.InDeltaSlice(t, b.Coefficients, a.Coefficients, 1e-12)
	assert.InDelta(t, b.SumSquares, a.SumSquares, 1e-12)
	for j := range a.Cofactor {
		assert.InDeltaSlice(t, b.Cofactor[j], a.Cofactor[j], 1e-12)
	}
	assert.Equal(t, 6, a.DoF)
}

// Deleting an observation and predicting it must give its studentised residual
// (Cook and Weisberg 1982, 2.2): t = (y - prediction)/SD of that difference,
// here with weights and with a prior of 8 degrees of freedom as well.
func TestStudentisedByDeletion(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 2))
	const m = 10
	rows, y, weights := make([][]float64, m), make([]float64, m), make([]float64, m)
	for k := range m {
		rows[k] = []float64{1, float64(k), float64(k % 3)}
		y[k], weights[k] = random.NormFloat64()*2, 0.5+random.Float64()
	}
	fit, err := stats.LeastSquares(rows, y, weights)
	require.NoError(t, err)
	for _, prior := range []float64{0, 8} {
		got, dof := fit.Studentised(prior)
		assert.Equal(t, prior+m-3-1, dof)
		for k := range m {
			rest, err := stats.LeastSquares(without(rows, k), without(y, k), without(weights, k))
			require.NoError(t, err)
			variance := 1 / weights[k]
			difference := y[k]
			for i, a := range rows[k] {
				difference -= a * rest.Coefficients[i]
				for j, b := range rows[k] {
					variance += a * b * rest.Cofactor[i][j]
				}
			}
			scale := (prior + rest.SumSquares) / dof
			assert.InDelta(t, difference/math.Sqrt(scale*variance), got[k], 1e-9)
		}
	}
}

func without[T any](x []T, k int) []T {
	return append(append([]T{}, x[:k]...), x[k+1:]...)
}

func TestStudentisedAlone(t *testing.T) {
	fit, err := stats.LeastSquares([][]float64{{1, 0}, {1, 0}, {0, 1}}, []float64{1, 3, 5}, nil)
	require.NoError(t, err)
	assert.InDeltaSlice(t, []float64{2, 5}, fit.Coefficients, 1e-12)
	assert.InDeltaSlice(t, []float64{0.5, 0.5, 1}, fit.Leverages, 1e-12)
	got, _ := fit.Studentised(8)
	assert.True(t, math.IsNaN(got[2]), "nothing else speaks about it")
	assert.False(t, math.IsNaN(got[0]))
	got, dof := fit.Studentised(0)
	assert.Zero(t, dof)
	assert.True(t, math.IsNaN(got[0]))
}

func TestNothingLeftToScatter(t *testing.T) {
	fit, err := stats.LeastSquares([][]float64{{2}}, []float64{6}, nil)
	require.NoError(t, err)
	assert.InDelta(t, 3, fit.Coefficients[0], 1e-15)
	assert.Zero(t, fit.DoF)
	assert.True(t, math.IsNaN(fit.StdDev()))
	assert.InDelta(t, 3.5, fit.Apply([]float64{7})[0], 1e-15)
}

func TestDependentColumns(t *testing.T) {
	for name, c := range map[string]struct {
		rows          [][]float64
		rank, columns int
	}{
		"too few rows":   {[][]float64{{1, 2, 3}, {1, 0, 1}}, 2, 3},
		"twins":          {[][]float64{{1, 2, 2}, {1, 0, 0}, {1, 5, 5}, {1, 1, 1}}, 2, 3},
		"sum of others":  {[][]float64{{1, 0, 1}, {0, 1, 1}, {1, 1, 2}, {2, 1, 3}}, 2, 3},
		"column of zero": {[][]float64{{1, 0}, {2, 0}}, 1, 2},
		"nearly twins":   {[][]float64{{1, 1}, {1, 1 + 1e-12}, {1, 1}}, 1, 2},
		"nothing at all": {[][]float64{{0, 0}, {0, 0}}, 0, 2},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := stats.LeastSquares(c.rows, make([]float64, len(c.rows)), nil)
			var dependent *stats.DependentError
			require.ErrorAs(t, err, &dependent)
			assert.Equal(t, c.rank, dependent.Rank)
			assert.Equal(t, c.columns, dependent.Columns)
			assert.Equal(t, c.rank, stats.Rank(c.rows))
		})
	}
	assert.Zero(t, stats.Rank(nil))
	// The scale of a column is no dependence: a rank by raw figures would say 1.
	assert.Equal(t, 2, stats.Rank([][]float64{{1, 1e-13}, {1, 0}, {1, 2e-13}}))
}

func TestLeastSquaresRefuses(t *testing.T) {
	good := [][]float64{{1, 0}, {0, 1}, {1, 1}}
	for name, c := range map[string]struct {
		rows       [][]float64
		y, weights []float64
	}{
		"nothing":          {nil, nil, nil},
		"no column":        {[][]float64{{}, {}}, []float64{1, 2}, nil},
		"too few values":   {good, []float64{1, 2}, nil},
		"too few weights":  {good, []float64{1, 2, 3}, []float64{1}},
		"ragged":           {[][]float64{{1, 0}, {1}, {1, 1}}, []float64{1, 2, 3}, nil},
		"nan":              {good, []float64{1, math.NaN(), 3}, nil},
		"infinite figure":  {[][]float64{{1, 0}, {0, math.Inf(1)}, {1, 1}}, []float64{1, 2, 3}, nil},
		"weight of zero":   {good, []float64{1, 2, 3}, []float64{1, 0, 1}},
		"negative weight":  {good, []float64{1, 2, 3}, []float64{1, -1, 1}},
		"infinite weight":  {good, []float64{1, 2, 3}, []float64{1, math.Inf(1), 1}},
		"nan for a weight": {good, []float64{1, 2, 3}, []float64{1, math.NaN(), 1}},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := stats.LeastSquares(c.rows, c.y, c.weights)
			require.Error(t, err)
			var dependent *stats.DependentError
			assert.False(t, errors.As(err, &dependent))
		})
	}
}
