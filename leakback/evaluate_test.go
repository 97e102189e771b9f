package leakback_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/limits"
	"leakback/stats/reference"
)

// plainTube is a shop's 100 mL tube: 1 mL marks, good to one mark.
var plainTube = leakback.Tube{GraduationML: 1, CapacityML: 100, ToleranceML: 1}

// run reads volumes in the order of cylinder numbers: "24 >100 <2 0 -".
func run(number int, intervalS float64, volumes string) leakback.Run {
	r := leakback.Run{Number: number, IntervalS: intervalS, State: leakback.UnknownState()}
	for i, word := range strings.Fields(volumes) {
		reading := leakback.Reading{Cylinder: i + 1, Typed: word, Tube: plainTube}
		digits := strings.TrimLeft(word, "<>")
		switch {
		case word == "-":
			reading.VolumeML, reading.Typed = math.NaN(), ""
		case word[0] == '>':
			reading.Bound = leakback.AtLeast
		case word[0] == '<':
			reading.Bound = leakback.AtMost
		}
		if word != "-" {
			reading.VolumeML, _ = strconv.ParseFloat(digits, 64)
		}
		r.Readings = append(r.Readings, reading)
	}
	return r
}

func idle(runs ...leakback.Run) *leakback.Test {
	return &leakback.Test{ID: "t", Condition: "idle", Method: leakback.MethodIndividual, Runs: runs}
}

func minute(volumes string) *leakback.Test { return idle(run(1, 60, volumes)) }

func figure(x float64) *float64 { return &x }

// withLimit is the built-in sheet with one limit for idle.
func withLimit(change func(*limits.Limit)) *limits.Sheet {
	s := limits.Builtin()
	l := limits.Limit{Condition: "idle", Source: "a test's own"}
	change(&l)
	s.Limits = []limits.Limit{l}
	return s
}

func maximum(x float64) *limits.Sheet {
	return withLimit(func(l *limits.Limit) { l.MaxRateMLMin = figure(x) })
}

func evaluate(t *testing.T, test *leakback.Test, sheet *limits.Sheet) *leakback.Result {
	t.Helper()
	r, err := leakback.Evaluate(test, sheet)
	require.NoError(t, err)
	return r
}

// codes writes a result as "pass fail[over-limit] ... | fail[no-absolute-limit]".
func codes(r *leakback.Result) string {
	var words []string
	for i := range r.Cylinders {
		words = append(words, word(r.Cylinders[i].Verdict, r.Cylinders[i].Findings))
	}
	return strings.Join(words, " ") + " | " + word(r.Verdict, r.Findings)
}

func word(v leakback.Verdict, findings []leakback.Finding) string {
	var list []string
	for _, f := range findings {
		list = append(list, string(f.Code))
	}
	if len(list) == 0 {
		return v.String()
	}
	return v.String() + "[" + strings.Join(list, " ") + "]"
}

// First-order propagation for a rate q = 60 V/t (JCGM 100:2008, 5.1.2), worked
// in testdata/reference/uncertainty_cases.csv: a reading known to 0.1 mL and an
// interval known to 0.2 s, and nothing else.
func TestRateUncertaintyByPropagation(t *testing.T) {
	_, param, expect := reference.Case(t, reference.Rows(t, "uncertainty_cases.csv"), "ratio_rate_example")
	sheet := limits.Builtin()
	sheet.Measurement.RepeatabilityCV, sheet.Measurement.CommonCV = 0, 0
	sheet.Measurement.TimingS = param["u_t"] / math.Sqrt2
	test := idle(run(1, param["t"], "25 25 25"))
	for i := range test.Runs[0].Readings {
		test.Runs[0].Readings[i].Tube = leakback.Tube{GraduationML: param["u_V"] * math.Sqrt(12)}
	}
	c := evaluate(t, test, sheet).Cylinders[0]
	assert.InDelta(t, expect["q"].Float(t, "value"), c.RateMLMin, 1e-9)
	assert.InDelta(t, expect["u_q"].Float(t, "value"), c.Budget.StandardMLMin, 1e-11)
}

// One reading worked by hand with the formulas of JCGM 100:2008: 24 mL in 60 s
// from a 1 mL scale good to 1 mL, r 3 %, c 2 %, 0.3 s at each end.
func TestBudgetByHand(t *testing.T) {
	b := evaluate(t, minute("24 24 24"), limits.Builtin()).Cylinders[0].Budget
	assert.InDelta(t, 0.288675, b.ReadingMLMin, 1e-6)    // 1/sqrt(12)
	assert.InDelta(t, 0.577350, b.TubeMLMin, 1e-6)       // 1/sqrt(3)
	assert.InDelta(t, 0.72, b.RepeatabilityMLMin, 1e-12) // 24 * 0.03
	assert.InDelta(t, 0.169706, b.TimingMLMin, 1e-6)     // 24 * 0.3 sqrt(2)/60
	assert.InDelta(t, 0.48, b.CommonMLMin, 1e-12)        // 24 * 0.02
	assert.InDelta(t, 1.092826, b.StandardMLMin, 1e-6)
	assert.Equal(t, 35.0, b.DoF)                      // 1.426276/((0.72^4 + 0.48^4)/8) = 35.4
	assert.InDelta(t, 1.84643, b.ExpandedMLMin, 1e-4) // t_0.95(35) = 1.68957
}

// Start levels read count twice (the difference of two readings to a mark).
func TestStartLevelIsASecondReading(t *testing.T) {
	test := minute("26 26 26")
	for i := range test.Runs[0].Readings {
		test.Runs[0].Readings[i].StartML, test.Runs[0].Readings[i].StartRead = 2, true
	}
	c := evaluate(t, test, limits.Builtin()).Cylinders[0]
	assert.InDelta(t, 24, c.RateMLMin, 1e-12)
	_, _, expect := reference.Case(t, reference.Rows(t, "uncertainty_cases.csv"), "type_b_divisors")
	assert.InDelta(t, expect["difference_of_two_resolutions_g_1"].Float(t, "value"), c.Budget.ReadingMLMin, 1e-9)
}

// Three cranks have three starts and three stops: sqrt(2 * 3) ends.
func TestTimingOfCranks(t *testing.T) {
	test := idle(run(1, 15, "12 12 12"))
	test.Runs[0].State.Cranks = 3
	b := evaluate(t, test, limits.Builtin()).Cylinders[0].Budget
	assert.InDelta(t, 48*0.3*math.Sqrt(6)/15, b.TimingMLMin, 1e-12)
}

// The scatter of repeats by hand: two cylinders over two runs, 20 24 / 25 25.
// ln q: the interaction is (ln 20 - ln 24 - ln 25 + ln 25)/4 = -0.0455804 in
// each of four cells; with one degree of freedom s^2 = 4 * 0.0455804^2.
func TestRepeatabilityIsPooled(t *testing.T) {
	test := idle(run(1, 60, "20 25"), run(2, 60, "24 25"))
	c := evaluate(t, test, limits.Builtin()).Cylinders[1]
	s2 := 4 * math.Pow(math.Log(20.0/24)/4, 2)
	r := math.Sqrt((8*0.03*0.03 + s2) / 9)
	assert.InDelta(t, 25*r/math.Sqrt2, c.Budget.RepeatabilityMLMin, 1e-12)
	assert.InDelta(t, 1/math.Sqrt(24), c.Budget.ReadingMLMin, 1e-12) // averages down
	assert.InDelta(t, 1/math.Sqrt(3), c.Budget.TubeMLMin, 1e-12)     // does not
}

// Own parts add in quadrature, common parts linearly.
func TestTotalUncertainty(t *testing.T) {
	r := evaluate(t, minute("20 20 20 20"), limits.Builtin())
	assert.InDelta(t, 80, r.TotalMLMin, 1e-12)
	assert.InDelta(t, 2*20*0.03, r.Total.RepeatabilityMLMin, 1e-12) // sqrt(4)
	assert.InDelta(t, 80*0.02, r.Total.CommonMLMin, 1e-12)
	assert.InDelta(t, 80*0.3*math.Sqrt2/60, r.Total.TimingMLMin, 1e-12)
	assert.InDelta(t, 2/math.Sqrt(12), r.Total.ReadingMLMin, 1e-12)
}

func TestVerdicts(t *testing.T) {
	within := func(w limits.Within) *limits.Sheet {
		s := maximum(60)
		s.Set.WithinLimit = w
		return s
	}
	for _, c := range []struct {
		name  string
		test  *leakback.Test
		sheet *limits.Sheet
		want  string
	}{
		{"alike", minute("24 25 23 24"), limits.Builtin(),
			"pass pass pass pass | pass[no-absolute-limit]"},
		{"one high, no limit", minute("25 27 48 24"), limits.Builtin(),
			"pass pass fail[high-in-set] pass | fail[no-absolute-limit]"},
		{"a doubt", minute("25 27 38 24"), limits.Builtin(),
			"pass pass undecided[close-in-set] pass | undecided[no-absolute-limit]"},
		{"one low", minute("25 27 7 24"), limits.Builtin(),
			"pass pass undecided[low-in-set] pass | undecided[no-absolute-limit]"},
		{"nothing from one", minute("25 27 0 24"), limits.Builtin(),
			"pass pass undecided[low-in-set no-return] pass | undecided[no-absolute-limit]"},
		{"below the first mark", minute("25 27 <2 24"), limits.Builtin(),
			"pass pass undecided[low-in-set below-first-mark] pass | undecided[no-absolute-limit]"},
		{"overflow that stands apart", minute("25 27 >100 24"), limits.Builtin(),
			"pass pass fail[high-in-set over-range] pass | fail[no-absolute-limit]"},
		{"overflow that proves nothing", minute("25 27 >28 24"), limits.Builtin(),
			"pass pass undecided[over-range] pass | undecided[no-absolute-limit]"},
		{"half of the set", minute("25 52 48 24"), limits.Builtin(),
			"pass fail[high-in-set] fail[high-in-set] pass | fail[half-set no-absolute-limit]"},
		{"two are too few", minute("25 48"), limits.Builtin(),
			"undecided undecided | undecided[few-cylinders no-absolute-limit]"},
		{"one not read", minute("25 - 24 26"), limits.Builtin(),
			"pass unread pass pass | unread[no-absolute-limit]"},
		{"limit met and exceeded", minute("25 27 48 24"), maximum(40),
			"pass pass fail[over-limit high-in-set] pass | fail"},
		{"too close to the limit", minute("39 38 36 37"), maximum(40),
			"undecided[close-to-limit] undecided[close-to-limit] pass pass | undecided"},
		{"all over it", minute("55 56 54 57"), maximum(40),
			"fail[over-limit] fail[over-limit] fail[over-limit] fail[over-limit] | fail[set-together-high]"},
		{"high in the set, within the limit", minute("25 27 48 24"), within(limits.WithinUndecided),
			"pass pass undecided[high-in-set] pass | undecided"},
		{"the same, sheet says fail", minute("25 27 48 24"), within(limits.WithinFail),
			"pass pass fail[high-in-set] pass | fail"},
		{"the same, sheet says pass", minute("25 27 48 24"), within(limits.WithinPass),
			"pass pass pass[high-in-set] pass | pass"},
		{"doubt within the limit, sheet says pass", minute("25 27 38 24"), within(limits.WithinPass),
			"pass pass pass[close-in-set] pass | pass"},
		{"doubt within the limit, sheet says fail", minute("25 27 38 24"), within(limits.WithinFail),
			"pass pass undecided[close-in-set] pass | undecided"},
		{"high in the set, limit itself open", minute("25 27 59 24"), maximum(60),
			"pass pass undecided[close-to-limit high-in-set] pass | undecided"},
		{"overflow over the limit", minute("25 27 >50 24"), maximum(40),
			"pass pass fail[over-limit high-in-set over-range] pass | fail"},
		{"overflow under the limit", minute("25 27 >30 24"), maximum(40),
			"pass pass undecided[over-range] pass | undecided"},
		{"overflow at the limit", minute("25 27 >40 24"), withLimit(func(l *limits.Limit) { l.MaxRateMLMin = figure(40) }),
			"pass pass undecided[close-in-set over-range] pass | undecided"},
		{"two, with a limit", minute("25 48"), maximum(40),
			"pass fail[over-limit] | fail[few-cylinders]"},
		{"a minimum", minute("25 27 5 24"), withLimit(func(l *limits.Limit) { l.MinRateMLMin = figure(10) }),
			"pass pass fail[under-limit low-in-set] pass | fail[no-absolute-limit]"},
		{"zero under a minimum", minute("25 27 0 24"), withLimit(func(l *limits.Limit) { l.MinRateMLMin = figure(2) }),
			"pass pass fail[under-limit low-in-set no-return] pass | fail[no-absolute-limit]"},
		{"a book's volume", idle(run(1, 15, "12 6 6 6")), withLimit(func(l *limits.Limit) {
			l.MaxVolumeML, l.IntervalS = figure(9), figure(15)
		}), "fail[over-limit high-in-set] pass pass pass | fail"},
		{"ratio to the median", minute("25 27 60 24"), withLimit(func(l *limits.Limit) { l.MaxRatioToMedian = figure(2) }),
			"pass pass fail[over-ratio high-in-set] pass | fail[no-absolute-limit]"},
		{"ratio to the mean", minute("25 27 60 24"), withLimit(func(l *limits.Limit) { l.MaxRatioToMean = figure(1.5) }),
			"pass pass fail[over-ratio high-in-set] pass | fail[no-absolute-limit]"},
		{"ratio to the lowest", minute("25 27 60 24"), withLimit(func(l *limits.Limit) { l.MaxRatioToLowest = figure(2) }),
			"pass pass fail[over-ratio high-in-set] pass | fail[no-absolute-limit]"},
		{"ratio to a lowest that is nothing", minute("25 27 26 0"), withLimit(func(l *limits.Limit) { l.MaxRatioToLowest = figure(2) }),
			"undecided[close-to-limit] undecided[close-to-limit] undecided[close-to-limit] " +
				"undecided[low-in-set no-return] | undecided[no-absolute-limit]"},
		{"total over", minute("30 30 30 30"), withLimit(func(l *limits.Limit) { l.MaxTotalMLMin = figure(100) }),
			"pass pass pass pass | fail[over-total no-absolute-limit]"},
		{"total close", minute("25 25 25 25"), withLimit(func(l *limits.Limit) { l.MaxTotalMLMin = figure(101) }),
			"pass pass pass pass | undecided[close-to-total no-absolute-limit]"},
		{"total of what was read is over already", minute("36 36 - 38"), withLimit(func(l *limits.Limit) { l.MaxTotalMLMin = figure(100) }),
			"pass pass unread pass | fail[over-total no-absolute-limit]"},
		{"difference over", minute("22 30 37 31"), withLimit(func(l *limits.Limit) { l.MaxDifferenceMLMin = figure(10) }),
			"pass pass pass pass | fail[over-difference no-absolute-limit]"},
		{"difference close", minute("20 25 29 24"), withLimit(func(l *limits.Limit) { l.MaxDifferenceMLMin = figure(10) }),
			"pass pass pass pass | undecided[close-to-difference no-absolute-limit]"},
		{"no two agree", minute("10 18 32 56 99"), limits.Builtin(),
			"undecided undecided undecided fail[high-in-set] fail[high-in-set] | fail[no-consensus " +
				"no-absolute-limit]"},
		{"no two agree, limit met", minute("10 18 32 56 99"), maximum(120),
			"pass pass pass undecided[high-in-set] undecided[high-in-set] | undecided[no-consensus]"},
		{"too little, one run", idle(run(1, 60, "0 0 1 0 20 0")), limits.Builtin(),
			"undecided[no-return] undecided[no-return] undecided undecided[no-return] " +
				"undecided[high-in-set] undecided[no-return] | undecided[too-little-return no-absolute-limit]"},
		{"too little, two runs", idle(run(1, 60, "0 0 1 0 20 0"), run(2, 60, "0 0 0 0 22 <1")), limits.Builtin(),
			"undecided[no-return] undecided[no-return] undecided[no-return] undecided[no-return] " +
				"fail[high-in-set] undecided[no-return below-first-mark] | fail[too-little-return no-absolute-limit]"},
		{"too little, limit met", idle(run(1, 60, "0 0 1 0 4 0")), maximum(40),
			"pass[no-return] pass[no-return] pass pass[no-return] pass pass[no-return] | pass[too-little-return]"},
		{"both kinds of bound", idle(run(1, 60, "25 >50 24 26"), run(2, 60, "25 0 24 26")), limits.Builtin(),
			"pass unread pass pass | unread[no-absolute-limit]"},
	} {
		t.Run(c.name, func(t *testing.T) {
			assert.Equal(t, c.want, codes(evaluate(t, c.test, c.sheet)))
		})
	}
}

func TestCylinderNames(t *testing.T) {
	assert.Equal(t, "cylinder 4", leakback.CylinderNames([]int{4}))
	assert.Equal(t, "cylinders 2 and 5", leakback.CylinderNames([]int{2, 5}))
	assert.Equal(t, "cylinders 1, 2 and 16", leakback.CylinderNames([]int{1, 2, 16}))
}

// An overflow at its start level is a bound of nothing: not read.
func TestOverflowAtItsStart(t *testing.T) {
	test := minute("25 >20 24 26")
	r := &test.Runs[0].Readings[1]
	r.StartML, r.StartRead = 20, true
	assert.Equal(t, "pass unread pass pass | unread[no-absolute-limit]", codes(evaluate(t, test, limits.Builtin())))
}

// Rates that part only in their last bits count as equal, whichever the
// arithmetic put lower: neither is the lowest, or the median, by itself.
func TestEqualsAreTreatedAlike(t *testing.T) {
	lowest := withLimit(func(l *limits.Limit) { l.MaxRatioToLowest = figure(1.05) })
	for _, hair := range []float64{-1e-9, 0, 1e-9} {
		test := minute("25 25 25.5 25.5")
		test.Runs[0].Readings[1].VolumeML += hair
		assert.Equal(t, "undecided[close-to-limit] undecided[close-to-limit] undecided[close-to-limit] undecided[close-to-limit] | "+
			"undecided[no-absolute-limit]", codes(evaluate(t, test, lowest)))
	}
	assert.Equal(t, "pass undecided[close-to-limit] undecided[close-to-limit] | undecided[no-absolute-limit]",
		codes(evaluate(t, minute("25 25.5 25.5"), lowest)), "alone the lowest: a ratio of 1 without doubt")
}

// Cylinders that all read the same may still differ by more than a limit allows.
func TestEqualReadingsAreNoEqualReturns(t *testing.T) {
	for limit, want := range map[float64]string{
		0.5: "pass pass pass pass | undecided[close-to-difference no-absolute-limit]",
		8:   "pass pass pass pass | pass[no-absolute-limit]",
	} {
		apart := withLimit(func(l *limits.Limit) { l.MaxDifferenceMLMin = figure(limit) })
		assert.Equal(t, want, codes(evaluate(t, minute("25 25 25 25"), apart)), "%v", limit)
	}
}

// Where 6 decimals no longer part rates that differ tenfold, no ratio to them is
// judged.
func TestTinyReferences(t *testing.T) {
	lowest := withLimit(func(l *limits.Limit) { l.MaxRatioToLowest = figure(3) })
	test := idle(run(1, 86_400, "0.0001 0.0005 0.0006 0.0006"))
	for i := range test.Runs[0].Readings {
		test.Runs[0].Readings[i].Tube = leakback.Tube{GraduationML: 0.00001, CapacityML: 1}
	}
	r := evaluate(t, test, lowest)
	assert.True(t, r.Cylinders[3].Has(leakback.CloseToLimit), codes(r))
	assert.Equal(t, "the lowest is too small to take a ratio to: its limit of 3 cannot be judged", r.Cylinders[3].Findings[0].Text)
}

// A bound beside a plain reading may be the lowest, or the highest, though half
// of it, or its figure, is not: here the true ratio may be 10 / 0.1 and the true
// difference anything.
func TestBoundsMayBeOutermost(t *testing.T) {
	ratio := withLimit(func(l *limits.Limit) { l.MaxRatioToLowest = figure(5) })
	r := evaluate(t, minute("10 <14 3 11"), ratio)
	assert.True(t, r.Cylinders[0].Has(leakback.CloseToLimit), codes(r))
	assert.True(t, evaluate(t, minute("40 <14 3 41"), ratio).Cylinders[0].Has(leakback.OverRatio), "whichever is the lowest")
	apart := withLimit(func(l *limits.Limit) { l.MaxDifferenceMLMin = figure(20) })
	assert.True(t, evaluate(t, minute("25 25 31 >28"), apart).Has(leakback.CloseToDifference))
	assert.True(t, evaluate(t, minute("21 22 4 <7"), apart).Has(leakback.CloseToDifference), "22 less nothing")
}

// Where six decimals do not part a ratio from where the rule bites (1.1368233
// against 1.1368232 here), no two figures that look alike are set side by side.
func TestBiteIsSaidWhereItShows(t *testing.T) {
	sheet := limits.Builtin()
	sheet.Set.HealthyCV, sheet.Set.PracticalRatio, sheet.Measurement.RepeatabilityCV = 0.01, 1, 0
	r := evaluate(t, idle(run(1, 45, "16.5 17 17.5 20 15.5 15 18.5")), sheet)
	require.True(t, r.Cylinders[6].Has(leakback.HighInSet))
	assert.Contains(t, r.Cylinders[6].Findings[0].Text, "24.7 mL/min is 1.14 times the 5 that agree; it stands apart")
	assert.Contains(t, r.Cylinders[3].Findings[0].Text, "the rule bites at 1.14")
}
