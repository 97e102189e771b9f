package stats_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/stats"
	"leakback/stats/reference"
)

// NIST/ITL Statistical Reference Datasets, univariate summary statistics:
// certified means and standard deviations. The tolerances are the log relative
// errors that a two-pass algorithm reaches in float64 on these sets.
func TestCertifiedMeanAndStdDev(t *testing.T) {
	tolerance := map[string]float64{"NumAcc3": 1e-8, "Mavro": 1e-12, "Michelso": 1e-12}
	for _, row := range reference.Rows(t, "strd_univariate_certified.csv") {
		name := row["dataset"]
		t.Run(name, func(t *testing.T) {
			var x []float64
			for _, r := range reference.Rows(t, "strd/"+name+".csv") {
				x = append(x, r.Float(t, "y"))
			}
			require.Len(t, x, int(row.Float(t, "n")))
			assert.InEpsilon(t, row.Float(t, "mean"), stats.Mean(x), 1e-14)
			limit := tolerance[name]
			if limit == 0 {
				limit = 1e-14
			}
			assert.InEpsilon(t, row.Float(t, "sd"), stats.StdDev(x), limit)
		})
	}
}

func TestMeanAndStdDevOfTooFew(t *testing.T) {
	assert.True(t, math.IsNaN(stats.Mean(nil)))
	assert.True(t, math.IsNaN(stats.StdDev([]float64{3})))
}

// The median is the middle value or the mean of the two middle ones: the
// definition (ISO 3534-1). gonum's Quantile(0.5) gives 2 for the second case.
func TestMedian(t *testing.T) {
	for _, c := range []struct {
		x    []float64
		want float64
	}{
		{[]float64{3, 1, 2}, 2},
		{[]float64{4, 1, 3, 2}, 2.5},
		{[]float64{7}, 7},
		{[]float64{5, 5, 5, 1}, 5},
	} {
		assert.Equal(t, c.want, stats.Median(c.x), "%v", c.x)
	}
	assert.True(t, math.IsNaN(stats.Median(nil)))
	assert.True(t, math.IsNaN(stats.Median([]float64{1, math.NaN(), 2})))
}

// A spreadsheet's ROUND goes half away from zero on the decimal it shows
// (OpenDocument v1.2 part 2, 6.17.5).
func TestRound6(t *testing.T) {
	for _, c := range []struct{ x, want float64 }{
		{0.0000005, 0.000001}, {-0.0000005, -0.000001}, {0.0000004999, 0},
		{1.0000005, 1.000001}, {2.0000015, 2.000002}, {40.0000004, 40},
		{3.9 / 60 * 60, 3.9}, {123456.7890125, 123456.789013}, {1e300, 1e300},
		{125_000_000, 125_000_000}, {987_654_321, 987_654_321}, {-987_654_321.25, -987_654_321.25},
	} {
		assert.Equal(t, c.want, stats.Round6(c.x), "%v", c.x)
	}
	assert.True(t, math.IsNaN(stats.Round6(math.NaN())))
	assert.True(t, math.IsInf(stats.Round6(math.Inf(-1)), -1))
}

func TestAscendingIsStable(t *testing.T) {
	assert.Equal(t, []int{1, 0, 2, 3}, stats.Ascending([]float64{2, 1, 2, 3}))
}

// Student's t factors computed with scipy for the levels of JCGM 100:2008
// Table G.2, and its recalled spot values t_99(16) and t_95(19).
func TestStudentFactors(t *testing.T) {
	for _, row := range reference.Rows(t, "student_t.csv") {
		nu := row["nu"]
		if nu == "inf" {
			continue
		}
		n := row.Float(t, "nu")
		for column, p := range map[string]float64{"p90": 0.95, "p95": 0.975, "p99": 0.995, "p68.27": 0.84135, "p95.45": 0.97725, "p99.73": 0.99865} {
			assert.InEpsilon(t, row.Float(t, column), stats.StudentQuantile(p, n), 1e-6, "nu %s %s", nu, column)
		}
		if n == math.Floor(n) && n <= stats.MaxDoF {
			assert.InEpsilon(t, row.Float(t, "p90"), stats.T95(n), 1e-6)
			assert.Equal(t, stats.T95(n), stats.T95(n), "the kept value is the same")
			assert.InDelta(t, 0.95, stats.StudentCDF(stats.T95(n), n), 1e-9)
		}
	}
}

// The row for infinitely many degrees of freedom is the normal distribution.
func TestNormal(t *testing.T) {
	for _, row := range reference.Rows(t, "student_t.csv") {
		if row["nu"] != "inf" {
			continue
		}
		for column, p := range map[string]float64{"p90": 0.95, "p95": 0.975, "p99": 0.995} {
			assert.InDelta(t, p, stats.NormalCDF(row.Float(t, column)), 1e-6)
			assert.InDelta(t, 1-p, stats.NormalCDF(-row.Float(t, column)), 1e-6)
			assert.InDelta(t, row.Float(t, column), stats.NormalQuantile(p), 1e-6)
		}
		return
	}
	t.Fatal("no row for the normal distribution")
}

// JCGM 100:2008 H.1 (end gauge) and G.4.1 (product), EURACHEM/CITAC QUAM A1.
func TestWelchSatterthwaite(t *testing.T) {
	rows := reference.Rows(t, "uncertainty_cases.csv")
	parts := func(u, nu []float64) (float64, []stats.Part) {
		var p []stats.Part
		for i := range u {
			p = append(p, stats.Part{U: u[i], DoF: nu[i]})
		}
		return stats.Quadrature(u...), p
	}
	data, _, expect := reference.Case(t, rows, "gum_h1_end_gauge")
	u, p := parts(data["u_component"], data["nu"])
	assert.InDelta(t, expect["u_c_unrounded"].Float(t, "value"), u, 1e-5)
	dof := stats.EffectiveDoF(u, p...)
	assert.Equal(t, expect["nu_eff_truncated"].Float(t, "value"), dof)
	assert.InDelta(t, expect["t99"].Float(t, "value"), stats.StudentQuantile(0.995, dof), 0.005)
	assert.InDelta(t, expect["U99"].Float(t, "value"), stats.StudentQuantile(0.995, dof)*u, 0.6)

	data, _, expect = reference.Case(t, rows, "gum_g4_product")
	u, p = parts(data["u_rel_percent"], data["nu"])
	assert.InDelta(t, expect["u_c_rel_percent"].Float(t, "value"), u, 0.005)
	assert.Equal(t, math.Floor(expect["nu_eff_unrounded"].Float(t, "value")), stats.EffectiveDoF(u, p...))

	_, param, expect := reference.Case(t, rows, "quam_a1_flask100")
	tolerance := param["tolerance_half_width"] / math.Sqrt(6) // triangular, as the guide has it
	temperature := stats.RectangularU(param["temperature_half_width"])
	assert.InDelta(t, expect["u_temperature_unrounded"].Float(t, "value"), temperature, 1e-8)
	u = stats.Quadrature(tolerance, temperature, param["repeatability_sd"])
	assert.InDelta(t, expect["u_V_unrounded"].Float(t, "value"), u, 1e-12)
	dof = stats.EffectiveDoF(u, stats.Part{U: tolerance, DoF: math.Inf(1)},
		stats.Part{U: param["repeatability_sd"], DoF: 9})
	assert.InDelta(t, expect["nu_eff"].Float(t, "value"), dof, 1, "truncated where the guide rounds")
}

// JCGM 100:2008 4.3.7, F.2.2.1 and the difference of two resolutions.
func TestTypeBDivisors(t *testing.T) {
	_, _, expect := reference.Case(t, reference.Rows(t, "uncertainty_cases.csv"), "type_b_divisors")
	assert.InDelta(t, 1/expect["rectangular_half_width_divisor"].Float(t, "value"), stats.RectangularU(1), 1e-11)
	assert.InDelta(t, 1/expect["resolution_divisor"].Float(t, "value"), stats.ResolutionU(1), 1e-11)
	assert.InDelta(t, expect["difference_of_two_resolutions_g_1"].Float(t, "value"),
		stats.Quadrature(stats.ResolutionU(1), stats.ResolutionU(1)), 1e-11)
}

func TestEffectiveDoFBounds(t *testing.T) {
	assert.Equal(t, float64(stats.MaxDoF), stats.EffectiveDoF(1, stats.Part{U: 0, DoF: 8}))
	assert.Equal(t, float64(stats.MaxDoF), stats.EffectiveDoF(0))
	assert.Equal(t, 8.0, stats.EffectiveDoF(1, stats.Part{U: 1, DoF: 8}), "a hair below 8 in binary is 8")
	// sqrt(2)^4/(1/8 + 1/8) = 16, which binary arithmetic misses by a hair.
	assert.Equal(t, 16.0, stats.EffectiveDoF(math.Sqrt2, stats.Part{U: 1, DoF: 8}, stats.Part{U: 1, DoF: 8}))
}

// JCGM 106:2012: Table 1 of 7.3 and the oil viscosity of 7.4, with the normal
// distribution that Student's t becomes at 10,000 degrees of freedom.
func TestConformanceProbability(t *testing.T) {
	rows := reference.Rows(t, "conformity_cases.csv")
	_, _, table := reference.Case(t, rows, "jcgm106_table1")
	for name, p := range map[string]float64{"z_for_pc_0.8": 0.8, "z_for_pc_0.9": 0.9, "z_for_pc_0.95": 0.95, "z_for_pc_0.99": 0.99, "z_for_pc_0.999": 0.999} {
		z := table[name].Float(t, "value")
		assert.InDelta(t, z, stats.NormalQuantile(p), 0.006, name)
		assert.InDelta(t, 1-p, stats.ProbabilityAbove(10-z, 1, stats.MaxDoF, 10), 0.003, name)
	}
	_, p, expect := reference.Case(t, rows, "jcgm106_oil_viscosity")
	conforms := 1 - stats.ProbabilityAbove(p["y"], p["u"], stats.MaxDoF, p["T_U"]) -
		(1 - stats.ProbabilityAbove(p["y"], p["u"], stats.MaxDoF, p["T_L"]))
	assert.InDelta(t, expect["p_c_unrounded"].Float(t, "value"), conforms, 5e-5) // t at 10,000 is not quite normal

	_, _, expect = reference.Case(t, rows, "guard_band_2u")
	assert.InDelta(t, expect["max_specific_false_accept"].Float(t, "value"),
		stats.ProbabilityAbove(8, 1, stats.MaxDoF, 10), 2e-5)
	assert.InDelta(t, expect["z_for_w_giving_5pct"].Float(t, "value"), stats.T95(stats.MaxDoF), 2e-4)
}

// JCGM 106:2012, 8.3: inside the guard band nothing is decided.
func TestAgainst(t *testing.T) {
	for _, c := range []struct {
		value, expanded, limit float64
		want                   stats.Decision
	}{
		{48, 5, 40, stats.Above}, {30, 5, 40, stats.Below}, {42, 5, 40, stats.Open},
		{45, 5, 40, stats.Open}, {35, 5, 40, stats.Open}, // on the edge is open
		{3.9 / 60 * 60, 0, 3.9, stats.Open}, {45.0000004, 5, 40, stats.Open}, {45.000001, 5, 40, stats.Above},
		{math.NaN(), 1, 40, stats.Open}, {40, math.NaN(), 40, stats.Open},
	} {
		assert.Equal(t, c.want, stats.Against(c.value, c.expanded, c.limit), "%+v", c)
	}
	assert.Equal(t, 1.0, stats.ProbabilityAbove(5, 0, 8, 4))
	assert.Equal(t, 0.0, stats.ProbabilityAbove(3, 0, 8, 4))
	assert.Equal(t, 0.5, stats.ProbabilityAbove(4, 0, 8, 4))
}

// Chi-square quantiles of the NIST/SEMATECH e-Handbook, table 1.3.6.7.4,
// upper critical values at 0.01 (from memory).
func TestChiSquareQuantile(t *testing.T) {
	for nu, want := range map[float64]float64{1: 6.635, 2: 9.210, 3: 11.345, 5: 15.086, 10: 23.209} {
		assert.InDelta(t, want, stats.ChiSquareQuantile(0.99, nu), 0.0006)
		assert.InDelta(t, want, stats.ChiSquareQuantile(0.99, nu), 0.0006, "kept")
	}
}

// The critical values that one-sided Sidak gives for the common engines: the
// normal quantile of (1-a)^(1/n), checked by putting them back.
func TestSidakC(t *testing.T) {
	for n, want := range map[int]float64{3: 2.71, 4: 2.81, 5: 2.88, 6: 2.93, 8: 3.02} {
		c := stats.SidakC(n, 0.01)
		assert.InDelta(t, want, c, 0.005)
		alone := 0.5 * math.Erfc(-c/math.Sqrt2)
		assert.InDelta(t, 0.99, math.Pow(alone, float64(n)), 1e-9)
	}
}

func TestConsensusOrderDoesNotMatter(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		n := 3 + random.IntN(14)
		y, tau := make([]float64, n), make([]float64, n)
		for i := range y {
			y[i], tau[i] = random.NormFloat64()*0.4, 0.1+0.1*random.Float64()
		}
		first := stats.FindConsensus(y, tau, stats.SidakC(n, 0.01))
		perm := random.Perm(n)
		y2, tau2 := make([]float64, n), make([]float64, n)
		for i, p := range perm {
			y2[i], tau2[i] = y[p], tau[p]
		}
		second := stats.FindConsensus(y2, tau2, stats.SidakC(n, 0.01))
		for i, p := range perm {
			require.Equal(t, first.IsHigh(p), second.IsHigh(i))
			require.Equal(t, first.IsLow(p), second.IsLow(i))
		}
		require.InDelta(t, first.Mean, second.Mean, 1e-12)
		require.InDelta(t, first.Q, second.Q, 1e-9)
	}
}

// Every candidate enumerated anew, with sums of squares taken directly, in
// the words of the rule: a check on the running sums.
func TestConsensusAgainstEnumeration(t *testing.T) {
	random := rand.New(rand.NewPCG(3, 4))
	for range 300 {
		n := 3 + random.IntN(8)
		y, tau := make([]float64, n), make([]float64, n)
		for i := range y {
			y[i], tau[i] = 3+math.Round(random.NormFloat64()*10)/20, 0.15
		}
		c := stats.SidakC(n, 0.05)
		got := stats.FindConsensus(y, tau, c)
		cost, high, low := enumerate(y, tau[0], c)
		require.InDelta(t, cost, got.Cost, 1e-9)
		require.Equal(t, high, got.High, "%v", y)
		require.Equal(t, low, got.Low, "%v", y)
	}
}

func enumerate(y []float64, tau, c float64) (best float64, bestHigh, bestLow int) {
	sorted := slices.Sorted(slices.Values(y))
	best = math.Inf(1)
	for total := 0; total <= len(y)/2; total++ {
		for low := 0; low <= total; low++ {
			rest := sorted[low : len(y)-total+low]
			if low > 0 && sorted[low-1] == sorted[low] || total > low && rest[len(rest)-1] == sorted[len(y)-total+low] {
				continue
			}
			mean := stats.Mean(rest)
			cost := c*c*float64(total) + 4*float64(low)
			for _, v := range rest {
				cost += (v - mean) * (v - mean) / (tau * tau)
			}
			if cost < best-1e-7 {
				best, bestHigh, bestLow = cost, total-low, low
			}
		}
	}
	return best, bestHigh, bestLow
}

func TestConsensusOfEqualsIsWhole(t *testing.T) {
	k := stats.FindConsensus([]float64{2, 2, 2, 2}, []float64{1, 1, 1, 1}, 2)
	assert.Equal(t, 4, k.Size)
	assert.Zero(t, k.Q)
	assert.InDelta(t, 0, k.Z(1), 1e-12)
	assert.False(t, k.Disagrees(0.99))
}

func TestConsensusThatDisagrees(t *testing.T) {
	// Evenly spread far beyond tau: no half of it agrees.
	y := []float64{0, 1, 2, 3, 4, 5}
	tau := []float64{0.2, 0.2, 0.2, 0.2, 0.2, 0.2}
	k := stats.FindConsensus(y, tau, 2.9)
	assert.True(t, k.Disagrees(0.99))
}

func BenchmarkFindConsensusOfSix(b *testing.B) {
	y := []float64{3.2, 3.3, 3.1, 3.9, 3.25, 3.3}
	tau := []float64{.15, .15, .15, .15, .15, .15}
	c := stats.SidakC(6, 0.01)
	for b.Loop() {
		stats.FindConsensus(y, tau, c)
	}
}

// Worked cases of the consensus rule, computed by an independent
// implementation (testdata/reference/consensus_cases.csv; not published). The
// standard deviation tau is taken from the file, a zero as half a mark.
func TestConsensusCases(t *testing.T) {
	for _, row := range reference.Rows(t, "consensus_cases.csv") {
		t.Run(row["healthy_cv_pct"]+"/"+row["volumes_ml"], func(t *testing.T) {
			var y, tau []float64
			for _, v := range numbers(t, row["volumes_ml"]) {
				y = append(y, math.Log(max(v, 0.5)))
				tau = append(tau, row.Float(t, "tau"))
			}
			c1, c5 := stats.SidakC(len(y), 0.01), stats.SidakC(len(y), 0.05)
			assert.InDelta(t, row.Float(t, "c_1pct"), c1, 0.0006)
			assert.InDelta(t, row.Float(t, "c_5pct"), c5, 0.0006)
			k := stats.FindConsensus(y, tau, c1)
			loose := stats.FindConsensus(y, tau, c5)
			assert.Equal(t, row.Float(t, "high_count"), float64(k.High))
			assert.Equal(t, row.Float(t, "low_count"), float64(k.Low))
			// tau has four figures: the cost of a printed case moves with it.
			assert.InEpsilon(t, row.Float(t, "cost"), k.Cost, 0.002)
			assert.Equal(t, numbers(t, row["high_at_1pct"]), aside(y, k.IsHigh))
			assert.Equal(t, numbers(t, row["low_at_1pct"]), aside(y, k.IsLow))
			assert.Equal(t, numbers(t, row["high_at_5pct"]), aside(y, loose.IsHigh))
			for i, z := range numbers(t, row["z"]) {
				assert.InDelta(t, z, k.Z(i), 0.0051+0.002*math.Abs(z), "z of %d", i+1)
			}
			for i, ratio := range numbers(t, row["ratio_to_consensus"]) {
				assert.InDelta(t, ratio, math.Exp(y[i]-k.Mean), 0.0051, "ratio of %d", i+1)
			}
		})
	}
}

// aside lists, counting from 1, the values that were set aside.
func aside(y []float64, is func(int) bool) []float64 {
	var list []float64
	for i := range y {
		if is(i) {
			list = append(list, float64(i+1))
		}
	}
	return list
}

func numbers(t *testing.T, text string) []float64 {
	var list []float64
	for _, word := range strings.Fields(text) {
		x, err := strconv.ParseFloat(word, 64)
		require.NoError(t, err)
		list = append(list, x)
	}
	return list
}
