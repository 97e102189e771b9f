package classic_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"

	"leakback/stats"
	"leakback/stats/classic"
	"leakback/stats/reference"
)

// Grubbs & Beck, Technometrics 14 (1972), as in ASTM E178 Table 1: the printed
// values are rounded to 0.001 from hand-made tables, the computed column is
// the e-Handbook's formula.
func TestGrubbsCriticalValues(t *testing.T) {
	rows := reference.Rows(t, "grubbs_critical.csv")
	require.Len(t, rows, 42)
	for _, row := range rows {
		n, alpha := int(row.Float(t, "n")), row.Float(t, "alpha")
		got := classic.GrubbsCritical(n, alpha)
		assert.InDelta(t, row.Float(t, "computed"), got, 6e-7, "%v", row)
		assert.InDelta(t, row.Float(t, "published_3dec"), got, 1.1e-3, "%v", row)
		assert.InDelta(t, alpha, classic.GrubbsP(n, got), 1e-7, "the inverse, %v", row)
	}
}

// NIST/SEMATECH e-Handbook 1.3.5.17.1: uranium isotope measurements of
// Tietjen & Moore (1972). The printed G is truncated, not rounded.
func TestGrubbsUranium(t *testing.T) {
	data, param, expect := reference.Case(t, reference.Rows(t, "outlier_cases.csv"), "grubbs_uranium")
	x := data["x"]
	got := classic.Grubbs(x)
	value := func(name string) float64 { return expect[name].Float(t, "value") }
	assert.Equal(t, value("outlier_value"), x[got.Index])
	assert.InDelta(t, value("G"), got.Statistic, expect["G"].Float(t, "tol"))
	assert.InDelta(t, value("G_unrounded"), got.Statistic, 1e-8)
	critical := classic.GrubbsCritical(len(x), param["alpha"])
	assert.InDelta(t, value("critical"), critical, 5e-4)
	assert.InDelta(t, value("critical_unrounded"), critical, 1e-8)
	assert.InDelta(t, value("critical_two_sided_unrounded"), classic.GrubbsCritical(len(x), param["alpha"]/2), 1e-8)
	assert.Less(t, classic.GrubbsP(len(x), got.Statistic), 1e-6)
}

func TestNoExtremeWithoutSpread(t *testing.T) {
	for _, x := range [][]float64{nil, {1, 2}, {4, 4, 4}} {
		assert.Equal(t, -1, classic.Grubbs(x).Index, "%v", x)
		assert.Equal(t, -1, classic.Dixon(x).Index, "%v", x)
	}
	assert.Empty(t, classic.GeneralizedESD([]float64{4, 4, 4}, 2))
}

// G cannot exceed (n-1)/sqrt(n), and a value so far out has no chance at all.
func TestGrubbsAtItsBound(t *testing.T) {
	got := classic.Grubbs([]float64{1, 1, 1, 9})
	assert.InDelta(t, 3/math.Sqrt(4), got.Statistic, 1e-12)
	assert.InDelta(t, 0, classic.GrubbsP(4, got.Statistic), 1e-9)
	assert.Equal(t, 1.0, classic.GrubbsP(4, -1))
}

// NIST/SEMATECH e-Handbook 1.3.5.17.3: Rosner's 54 values. R1 and R2 stay
// below their critical values and R3 is above: three outliers. The printed
// figures are truncated to 3 decimals.
func TestGeneralizedESDRosner(t *testing.T) {
	rows := reference.Rows(t, "outlier_cases.csv")
	data, param, expect := reference.Case(t, rows, "gesd_rosner")
	alpha, most := param["alpha"], int(param["max_outliers"])
	steps := classic.GeneralizedESD(data["x"], most)
	require.Len(t, steps, most)
	checked := 0
	for _, row := range rows {
		if row["case"] != "gesd_rosner" || row["role"] != "expect" || row["index"] == "" {
			continue
		}
		step := steps[int(row.Float(t, "index"))-1]
		got := map[string]float64{"R": step.R, "lambda": step.Lambda(alpha), "R_unrounded": step.R, "lambda_unrounded": step.Lambda(alpha)}[row["name"]]
		assert.InDelta(t, row.Float(t, "value"), got, row.Float(t, "tol"), "%v", row)
		checked++
	}
	assert.Equal(t, 4*most, checked)
	assert.Equal(t, int(expect["n_outliers"].Float(t, "value")), classic.ESDOutliers(steps, alpha))
	assert.Greater(t, steps[0].P(), alpha, "one Grubbs test after another stops here")
	assert.Less(t, steps[2].P(), alpha)
	assert.True(t, steps[0].High)
}

// Dixon (1951) as corrected by Rorabacher, Anal. Chem. 63 (1991). The old
// tables were made by hand and are off by up to 0.006; the computed column is
// exact.
func TestDixonCriticalValues(t *testing.T) {
	rows := reference.Rows(t, "dixon_r10_critical.csv")
	require.Len(t, rows, 70)
	for _, row := range rows {
		n, alpha := int(row.Float(t, "n")), row.Float(t, "alpha_one_sided")
		assert.InDelta(t, alpha, classic.DixonP(n, row.Float(t, "computed")), 5e-5, "%v", row)
		if n%4 == 3 { // bisection is slow
			got := classic.DixonCritical(n, alpha)
			assert.InDelta(t, row.Float(t, "computed"), got, 1e-5, "%v", row)
			assert.InDelta(t, row.Float(t, "published"), got, 6e-3, "%v", row)
		}
	}
}

// The definition: the gap over the range.
func TestDixon(t *testing.T) {
	got := classic.Dixon([]float64{10, 16, 12, 11})
	assert.Equal(t, 1, got.Index)
	assert.InDelta(t, 4.0/6, got.Statistic, 1e-12)
}

// NIST/SEMATECH e-Handbook 7.2.6.2: twelve wafers by three rules.
func TestQuantileRules(t *testing.T) {
	data, param, expect := reference.Case(t, reference.Rows(t, "outlier_cases.csv"), "percentile_wafers")
	for name, c := range map[string]struct {
		p    float64
		rule classic.QuantileRule
	}{
		"q90_R6": {param["p"], classic.R6}, "q90_R7": {param["p"], classic.R7}, "q90_R8": {param["p"], classic.R8},
		"q25_R6": {0.25, classic.R6}, "q75_R6": {0.75, classic.R6},
		"q25_R7": {0.25, classic.R7}, "q75_R7": {0.75, classic.R7},
	} {
		row := expect[name]
		assert.InDelta(t, row.Float(t, "value"), classic.Quantile(data["x"], c.p, c.rule), row.Float(t, "tol")*1.001, name)
	}
	lower, upper := classic.Fences(data["x"], 1.5, classic.R7)
	first, third := expect["q25_R7"].Float(t, "value"), expect["q75_R7"].Float(t, "value")
	assert.InDelta(t, first-1.5*(third-first), lower, 1e-6)
	assert.InDelta(t, third+1.5*(third-first), upper, 1e-6)
	assert.Equal(t, 3.0, classic.Quantile([]float64{3, 1}, 1, classic.R6), "never beyond the largest")
	assert.True(t, math.IsNaN(classic.Quantile(nil, 0.5, classic.R7)))
}

// Akinshin, arXiv:2207.12005, and Croux & Rousseeuw (1992), whose factors are
// rounded simulations 0.016 apart from them at most.
func TestMADFactors(t *testing.T) {
	rows := reference.Rows(t, "mad_factors.csv")
	require.Len(t, rows, 29)
	for _, row := range rows {
		n := int(row.Float(t, "n"))
		assert.InDelta(t, row.Float(t, "C_n_akinshin"), classic.MADFactor(n), 5.1e-6, "%v", row)
		assert.InDelta(t, row.Float(t, "C_n_from_croux_rousseeuw"), classic.MADFactor(n), 0.017, "%v", row)
	}
	assert.InDelta(t, classic.MADFactor(30), classic.MADFactor(31), 0.002, "the two join")
	assert.InDelta(t, 1.482602218505602, classic.MADFactor(1e9), 1e-8)
	assert.True(t, math.IsNaN(classic.MADFactor(1)))
}

// The raw deviations of three published samples (e-Handbook).
func TestMAD(t *testing.T) {
	rows := reference.Rows(t, "outlier_cases.csv")
	for _, name := range []string{"grubbs_uranium", "gesd_rosner", "percentile_wafers"} {
		data, _, expect := reference.Case(t, rows, name)
		assert.InDelta(t, expect["mad_raw"].Float(t, "value"), classic.MAD(data["x"]), 1e-9, name)
		assert.InDelta(t, expect["median"].Float(t, "value"), stats.Median(data["x"]), 1e-9, name)
		scores := make([]float64, len(data["x"]))
		classic.MADScores(scores, data["x"])
		want := (data["x"][0] - stats.Median(data["x"])) / (classic.MADFactor(len(scores)) * classic.MAD(data["x"]))
		assert.InDelta(t, want, scores[0], 1e-12)
	}
}

func TestMADScoresWithoutDeviation(t *testing.T) {
	scores := make([]float64, 4)
	classic.MADScores(scores, []float64{5, 5, 5, 50})
	for _, s := range scores {
		assert.True(t, math.IsNaN(s))
		assert.False(t, s > 3.5)
	}
}

// The two-sigma rule can never fire on five: (n-1)/sqrt(n) = 1.79.
func TestTwoSigmaIsBlindOnFive(t *testing.T) {
	assert.Less(t, 1e6, classic.MeanPlusSD([]float64{1, 1, 1, 1, 1e6}, 2))
	assert.Greater(t, 1e6, classic.MeanPlusSD([]float64{1, 1, 1, 1, 1, 1e6}, 2))
	ratios := make([]float64, 3)
	classic.Ratios(ratios, []float64{2, 3, 6}, 3)
	assert.InDeltaSlice(t, []float64{2.0 / 3, 1, 2}, ratios, 1e-12)
}

// Montgomery & Runger, Applied Statistics and Probability for Engineers (7th
// ed., 2018), Table XII: one-sided tolerance factors are quantiles of the
// noncentral t over sqrt(n). A check on the library at the sizes of a set.
func TestNoncentralT(t *testing.T) {
	checked := 0
	for _, row := range reference.Rows(t, "tolerance_one_sided.csv") {
		n := row.Float(t, "n")
		if n < 3 || n > 30 {
			continue
		}
		d := distuv.NoncentralT{Nu: n - 1, Mu: stats.NormalQuantile(row.Float(t, "coverage")) * math.Sqrt(n)}
		k := d.Quantile(row.Float(t, "confidence")) / math.Sqrt(n)
		assert.InDelta(t, row.Float(t, "k_published"), k, 1.1e-3, "%v", row)
		assert.InEpsilon(t, row.Float(t, "k_exact_computed"), k, 1e-6, "%v", row)
		checked++
	}
	assert.Equal(t, 72, checked)
}
