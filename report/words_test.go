package report

import (
	"math"
	"math/big"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/limits"
)

func TestAnswer(t *testing.T) {
	const undecided, fail = leakback.Undecided, leakback.Fail
	agreeing := func(r *leakback.Result, n int) *leakback.Result { r.Agreeing = n; return r }
	finding := func(r *leakback.Result, v leakback.Verdict, codes ...leakback.Code) *leakback.Result {
		for _, code := range codes {
			r.Findings = append(r.Findings, leakback.Finding{Code: code})
		}
		r.Verdict = max(r.Verdict, v)
		return r
	}
	for _, test := range []struct {
		name string
		r    *leakback.Result
		want string
	}{
		{"agree, with a limit", agreeing(sampleResult(maximum(40), good(21), good(22), good(23)), 3),
			"All 3 cylinders are within the limit and agree with one another."},
		{"agree, without a limit", agreeing(sampleResult(nil, good(21), good(22), good(23)), 3),
			"All 3 cylinders agree with one another; no maker's limit was applied."},
		{"pass without agreeing", agreeing(sampleResult(maximum(40), good(21), good(22), good(33)), 2),
			"All 3 cylinders pass."},
		{"two within the limit", finding(sampleResult(maximum(40), good(21), good(22)), leakback.Pass, leakback.FewCylinders),
			"Both cylinders are within the limit, too few to hold against one another."},
		{"no consensus", finding(sampleResult(nil, bad(21, undecided), bad(42, undecided), bad(63, undecided)), undecided,
			leakback.NoConsensus), "All 3 cylinders are undecided, because the set does not agree with itself."},
		{"one over", sampleResult(maximum(40), good(21), good(22), bad(58, fail, leakback.OverLimit, leakback.HighInSet)),
			"The return at cylinder 3 is over the limit. The other 2 pass."},
		{"one apart, no limit", sampleResult(nil, good(21), good(22), bad(58, fail, leakback.HighInSet)),
			"The return at cylinder 3 is too high for its set (no maker's limit was applied). The other 2 pass."},
		{"one apart, limit met", sampleResult(maximum(90), good(21), good(22), bad(58, fail, leakback.HighInSet)),
			"The return at cylinder 3 is too high for its set. The other 2 pass."},
		{"over, apart, under and open", sampleResult(maximum(40), bad(58, fail, leakback.OverLimit),
			bad(60, fail, leakback.OverRatio), bad(1, fail, leakback.UnderLimit), bad(39, undecided, leakback.CloseToLimit),
			unread(), good(22)),
			"The return at cylinders 1 and 2 is over the limit; the return at cylinder 3 is under the minimum. " +
				"Cylinder 4 is undecided; cylinder 5 was not read; the other one passes."},
		{"one open", sampleResult(maximum(40), good(21), bad(39, undecided, leakback.CloseToLimit), good(22)),
			"Cylinder 2 is undecided; the other 2 pass."},
		{"high in the set, undecided", sampleResult(maximum(90), good(21), bad(58, undecided, leakback.HighInSet), good(22)),
			"Cylinder 2 is undecided; the other 2 pass."},
		{"all open", finding(sampleResult(nil, bad(21, undecided), bad(22, undecided), unread()), undecided, leakback.FewCylinders),
			"Cylinders 1 and 2 are undecided, because too few were read to compare; cylinder 3 was not read."},
		{"back-pressure", finding(sampleResult(nil, bad(21, undecided), bad(22, undecided)), undecided, leakback.BackPressure),
			"Both cylinders are undecided, because the return was not held up as this engine needs it."},
		{"total over", finding(sampleResult(maximum(40), good(21), good(22)), fail, leakback.OverTotal),
			"The total return is over its limit. Each of the 2 cylinders by itself passes."},
		{"difference over", finding(sampleResult(maximum(40), good(1), good(38)), fail, leakback.OverDifference),
			"Highest and lowest are further apart than the limit allows. Each of the 2 cylinders by itself passes."},
		{"total close", finding(sampleResult(maximum(40), good(21), good(22)), undecided, leakback.CloseToTotal),
			"The test as a whole is undecided, because the total is too close to its limit; " +
				"each of the 2 cylinders by itself passes."},
		{"all fail", sampleResult(maximum(40), bad(58, fail, leakback.OverLimit), bad(60, fail, leakback.OverLimit)),
			"The return at both cylinders is over the limit."},
		{"nothing read", sampleResult(nil, unread(), unread()), "No cylinder was read."},
	} {
		t.Run(test.name, func(t *testing.T) { assert.Equal(t, test.want, Answer(test.r)) })
	}
}

func TestVerdictWord(t *testing.T) {
	assert.Equal(t, "pass", VerdictWord(leakback.Pass))
	assert.Equal(t, "not read", VerdictWord(leakback.Unread))
	assert.Equal(t, "undecided", VerdictWord(leakback.Undecided))
	assert.Equal(t, "FAIL", VerdictWord(leakback.Fail))
}

func TestRateText(t *testing.T) {
	for _, test := range []struct {
		sample   sample
		decimals int
		want     string
	}{
		{sample{rate: 26.14, expanded: 1.94}, 1, "26.1 ± 1.9"},
		{sample{rate: 26.14, expanded: 1.94}, 0, "26 ± 2"},
		{sample{rate: 100, bound: leakback.AtLeast}, 0, ">= 100"},
		{sample{rate: 1, bound: leakback.AtMost}, 1, "<= 1.0"},
		{unread(), 1, "not read"},
	} {
		r := sampleResult(nil, test.sample)
		assert.Equal(t, test.want, RateText(&r.Cylinders[0], test.decimals))
	}
}

func TestDecimals(t *testing.T) {
	for _, test := range []struct {
		name    string
		limit   *limits.Limit
		samples []sample
		want    int
	}{
		{"two digits of the uncertainty", nil, []sample{{rate: 26.14, expanded: 1.94}}, 1},
		{"one digit of the smallest", nil, []sample{{rate: 26, expanded: 12}, {rate: 3, expanded: 0.4}}, 1},
		{"a wide one", nil, []sample{{rate: 260, expanded: 14}}, 0},
		{"bounds alone", nil, []sample{{rate: 100, bound: leakback.AtLeast}}, 1},
		{"over by a hair", maximum(40), []sample{{rate: 42.03, expanded: 2.02, verdict: leakback.Fail}}, 2},
		{"not over by a hair", maximum(40), []sample{{rate: 42.06, expanded: 2.14, verdict: leakback.Undecided}}, 1},
		{"within by a hair", maximum(40), []sample{{rate: 37.996, expanded: 2.003}}, 3},
		{"a bound over by a hair", maximum(40), []sample{{rate: 40.004, bound: leakback.AtLeast}}, 3},
		{"as close as it gets", maximum(40), []sample{{rate: 42.000001, expanded: 2, verdict: leakback.Fail}}, 6},
	} {
		t.Run(test.name, func(t *testing.T) {
			assert.Equal(t, test.want, Decimals(sampleResult(test.limit, test.samples...)))
		})
	}
}

// Whoever works with the printed figures in exact arithmetic comes to the
// verdict that exact figures gave. The figures are whole millionths, so both
// sides of the comparison are free of rounding.
func TestPrintedFiguresGiveTheVerdict(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	for range 20000 {
		limit := (1 + random.Int64N(60)) * 500_000
		expanded := 1 + random.Int64N(8_000_000)
		if random.IntN(2) == 0 {
			expanded = 1 + expanded/1000
		}
		distance := random.Int64N(200_000) - 100_000
		if random.IntN(3) == 0 {
			distance = random.Int64N(5) - 2
		}
		side := []int64{-1, 1}[random.IntN(2)]
		rate := limit + side*expanded + distance
		if rate < 0 {
			continue
		}
		r := sampleResult(maximum(float64(limit)/1e6),
			sample{rate: float64(rate) / 1e6, expanded: float64(expanded) / 1e6}, good(float64(limit)/2e6))
		text, _, ok := strings.Cut(RateText(&r.Cylinders[0], Decimals(r)), " ± ")
		require.True(t, ok)
		_, u, _ := strings.Cut(RateText(&r.Cylinders[0], Decimals(r)), " ± ")
		l := limitFigure(float64(limit)/1e6, Decimals(r))
		want := verdictOf(big.NewRat(rate, 1e6), big.NewRat(expanded, 1e6), big.NewRat(limit, 1e6))
		require.Equal(t, want, verdictOf(rat(t, text), rat(t, u), rat(t, l)), "%s ± %s against %s", text, u, l)
	}
}

// verdictOf is the guarded decision of JCGM 106:2012 for a maximum.
func verdictOf(rate, expanded, limit *big.Rat) leakback.Verdict {
	if new(big.Rat).Sub(rate, expanded).Cmp(limit) > 0 {
		return leakback.Fail
	}
	if new(big.Rat).Add(rate, expanded).Cmp(limit) < 0 {
		return leakback.Pass
	}
	return leakback.Undecided
}

func rat(t *testing.T, text string) *big.Rat {
	x, ok := new(big.Rat).SetString(text)
	require.True(t, ok, text)
	return x
}

func TestRatioDecimals(t *testing.T) {
	ratio := 2.0
	r := sampleResult(&limits.Limit{MaxRatioToMedian: &ratio}, good(22), bad(22*2.003, leakback.Fail, leakback.OverRatio))
	assert.Equal(t, 3, RatioDecimals(r))
	assert.Equal(t, "2.003", RatioText(&r.Cylinders[1], 3))
	r.Cylinders[1].Verdict = leakback.Undecided
	assert.Equal(t, 2, RatioDecimals(r))
	assert.Equal(t, 2, RatioDecimals(sampleResult(nil, good(22))))
}

func TestTotalDecimals(t *testing.T) {
	total := 180.0
	r := sampleResult(&limits.Limit{MaxTotalMLMin: &total}, good(22))
	assert.Equal(t, 0, TotalDecimals(r), "no total")
	r.TotalMLMin, r.Total.ExpandedMLMin = 186.04, 6.01
	assert.Equal(t, 2, TotalDecimals(r))
	r.TotalMLMin = 190
	assert.Equal(t, 1, TotalDecimals(r))
}

func TestLimitText(t *testing.T) {
	volume, interval := 10.0, 18.0
	r := sampleResult(&limits.Limit{MaxVolumeML: &volume, IntervalS: &interval}, good(22))
	assert.Equal(t, "limit 33.333 mL/min (10 mL in 18 s)", LimitText(r, 1))
	assert.Equal(t, "limit 37.25 mL/min", LimitText(sampleResult(maximum(37.25), good(22)), 1))
	assert.Equal(t, "limit 40 mL/min", LimitText(sampleResult(maximum(40), good(22)), 1))
	assert.Empty(t, LimitText(sampleResult(nil, good(22)), 1))
}

func TestLimitsLine(t *testing.T) {
	r := sampleResult(maximum(40), good(22))
	assert.Equal(t, "Limits: Bay sheet; no figure of it was applied.", LimitsLine(r))
	r.Applied = []leakback.Applied{
		{What: "max_rate_ml_min", Value: 40, Source: "service information, section 3"},
		{What: "min_rate_ml_min", Value: 2, Source: "service information, section 3"},
		{What: "healthy_cv", Value: 0.15, Source: "assumed"},
	}
	r.Assumed = []string{"healthy_cv 0.15"}
	assert.Equal(t, "Limits: Bay sheet (source: service information, section 3). Assumed: healthy_cv 0.15.", LimitsLine(r))
}

func TestStateLine(t *testing.T) {
	r := sampleResult(nil, good(22))
	assert.Equal(t, "idle, 1 run of 60 s", StateLine(r))
	nan := math.NaN()
	r.Test.Injectors = limits.Driven
	r.Test.Runs = []leakback.Run{
		{IntervalS: 60, State: leakback.State{Cranks: 3, RailPressureBar: 345, FuelTempC: 41, FuelTempAt: "return", BackPressureBar: nan, EngineRPM: 800}},
		{IntervalS: 30, State: leakback.State{Cranks: 3, RailPressureBar: 355, FuelTempC: nan, BackPressureBar: 10, EngineRPM: 820}},
	}
	assert.Equal(t, "idle, injectors driven, 2 runs of 60 s and 30 s, 3 cranks, rail pressure 345 to 355 bar, "+
		"back-pressure 10 bar, fuel 41 °C (return), 800 to 820 rpm", StateLine(r))
}

func TestSentence(t *testing.T) {
	assert.Equal(t, "Read it.", Sentence("read it"))
	assert.Equal(t, "Is it?", Sentence("is it?"))
	assert.Equal(t, "Über 40.", Sentence("über 40"))
	assert.Empty(t, Sentence(""))
}

// A stopwatch's thousandths are not read out: starts and stops are not that good.
func TestRunsAreToldToATenth(t *testing.T) {
	test := &leakback.Test{Runs: []leakback.Run{{IntervalS: 31.412}, {IntervalS: 31.4}, {IntervalS: 60}}}
	assert.Equal(t, "3 runs of 31.4 s and 60 s", RunsText(test))
}
