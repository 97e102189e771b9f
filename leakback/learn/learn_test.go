package learn_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/learn"
	"leakback/limits"
	"leakback/stats"
	"leakback/stats/simulate"
)

// tube is finely marked and true, so that readings hardly add to the spread.
var tube = leakback.Tube{GraduationML: 0.001}

// test is a test of one engine by its rates, a row a run of a minute; NaN is
// not read.
func test(id string, rows ...[]float64) *leakback.Test {
	t := &leakback.Test{ID: id, Engine: "Northmoor Six-90", Condition: "idle", Method: leakback.MethodIndividual}
	for k, row := range rows {
		run := leakback.Run{Number: k + 1, IntervalS: 60, State: leakback.UnknownState()}
		for i, rate := range row {
			run.Readings = append(run.Readings, leakback.Reading{Cylinder: i + 1, VolumeML: rate, Tube: tube})
		}
		t.Runs = append(t.Runs, run)
	}
	return t
}

// drawn makes a test of an engine of the scene, as the model of package
// simulate reads it.
func drawn(r *rand.Rand, scene simulate.Scene, id string) *leakback.Test {
	var e simulate.Engine
	scene.Draw(r, &e)
	t := &leakback.Test{ID: id, Condition: "idle", Method: leakback.MethodIndividual}
	for k, run := range scene.Runs {
		one := leakback.Run{Number: k + 1, IntervalS: run.IntervalS, State: leakback.UnknownState()}
		for i := range e.VolumeML {
			one.Readings = append(one.Readings, leakback.Reading{Cylinder: i + 1, VolumeML: e.VolumeML[i][k],
				Tube: leakback.Tube{GraduationML: scene.Tubes[0].GraduationML, ToleranceML: scene.Tubes[0].ToleranceML}})
		}
		t.Runs = append(t.Runs, one)
	}
	return t
}

// workshop draws tests of which every third holds a bad injector.
func workshop(r *rand.Rand, scene simulate.Scene, tests int) (list []*leakback.Test) {
	for i := range tests {
		one := scene
		if i%3 == 0 {
			one = scene.With(2)
		}
		list = append(list, drawn(r, one, fmt.Sprint("t", i)))
	}
	return list
}

func samples(t require.TestingT, sheet *limits.Sheet, tests ...*leakback.Test) []leakback.Sample {
	list := make([]leakback.Sample, len(tests))
	for i := range tests {
		var err error
		list[i], err = leakback.SampleOf(tests[i], sheet)
		require.NoError(t, err)
	}
	return list
}

// exact is the built-in sheet without the repeatability that is assumed, so
// that a spread can be worked out by hand.
func exact() *limits.Sheet {
	s := limits.Builtin()
	s.Measurement.RepeatabilityCV = 0
	return s
}

func learned(t require.TestingT, sheet *limits.Sheet, tests ...*leakback.Test) *learn.Learned {
	l, err := learn.Learn(samples(t, sheet, tests...), sheet)
	require.NoError(t, err)
	return l
}

// By hand: the logarithms of five engines of four are -h, 0, 0, h around any
// level, 10 h^2 on 15 degrees of freedom with h = 0.15, and a leak of 3 times in
// one of them, a fifth cylinder, is set aside.
func TestLearnHealthySpreadByHand(t *testing.T) {
	const h = 0.15
	var tests []*leakback.Test
	for i, level := range []float64{20, 25, 30, 35, 40} {
		tests = append(tests, test(fmt.Sprint("t", i), []float64{
			level * math.Exp(-h), level, level, level * math.Exp(h)}))
	}
	last := tests[4].Runs[0].Readings
	tests[4].Runs[0].Readings = append(last, leakback.Reading{Cylinder: 5, VolumeML: 120, Tube: tube})
	l := learned(t, exact(), tests...)

	assert.Equal(t, 5, l.Used)
	assert.Equal(t, 21, l.Cylinders)
	assert.Equal(t, 1, l.Aside)
	assert.Equal(t, 1, l.AsideTests)
	assert.Equal(t, 15.0, l.Healthy.DoF)
	variance := 10 * h * h / 15
	assert.InDelta(t, math.Sqrt(math.Expm1(variance)), l.Healthy.TestsCV, 1e-6)
	pooled := (8*math.Log1p(0.15*0.15) + 15*variance) / 23
	assert.InDelta(t, math.Ceil(1000*math.Sqrt(math.Expm1(pooled)))/1000, l.Healthy.CV, 1e-12)
	assert.Equal(t, 4, l.Size)
	assert.True(t, l.Tests[4].Consensus.IsHigh(4))
	assert.InDelta(t, 40, l.Tests[4].CentreMLMin(), 1e-6)

	require.Len(t, l.Conditions, 1)
	assert.Equal(t, "idle", l.Conditions[0].Name)
	assert.InDelta(t, 20, l.Conditions[0].LowestMLMin, 1e-6)
	assert.InDelta(t, 40, l.Conditions[0].HighestMLMin, 1e-6)
	levels := []float64{math.Log(20), math.Log(25), math.Log(30), math.Log(35), math.Log(40)}
	assert.InDelta(t, stats.RelativeSpread(stats.StdDev(levels)), l.Conditions[0].BetweenCV, 1e-6)
	assert.False(t, l.Repeatability.Learned())
	assert.Zero(t, l.Repeatability.CV)
	assert.Equal(t, 0.02, l.Common.CV)
}

// By hand: in one of three tests two runs of three cylinders. The logarithms of
// the second run are those of the first plus 0.06 + (d, 0, -d): two-way
// residuals (d, 0, -d)/2 and their opposites, d^2 on 2 degrees of freedom; the
// runs' means are 0.06 apart, 0.0018 on 1 degree, of which timing makes
// 0.3^2*2/60^2 and the repeatability a third.
func TestLearnRepeatsByHand(t *testing.T) {
	const d = 0.05
	level := func(y ...float64) (rates []float64) {
		for _, y := range y {
			rates = append(rates, 25*math.Exp(y))
		}
		return rates
	}
	repeated := test("repeated", level(-0.1, 0, 0.1), level(-0.04+d, 0.06, 0.16-d))
	l := learned(t, limits.Builtin(), repeated, test("b", level(0, 0.1, -0.1)), test("c", level(0, 0.2, -0.2)),
		test("d", level(0, 0.2, -0.2)))
	assert.Equal(t, 1, l.Repeated)
	assert.Empty(t, l.Unsteady)
	assert.Equal(t, 2.0, l.Repeatability.DoF)
	assert.InDelta(t, math.Sqrt(d*d/2), l.Repeatability.TestsCV, 1e-6)
	r := math.Sqrt((8*0.0009 + d*d) / 10)
	assert.Equal(t, math.Ceil(1000*r)/1000, l.Repeatability.CV)
	assert.Equal(t, 1.0, l.Common.DoF)
	variance := 0.0018 - 2*0.09/3600 - l.Repeatability.CV*l.Repeatability.CV/3
	assert.InDelta(t, math.Sqrt(variance), l.Common.TestsCV, 1e-5)
	assert.Equal(t, math.Ceil(1000*math.Sqrt((8*0.0004+variance)/9))/1000, l.Common.CV)
}

// The truth of the model comes back, whatever the level, though every third
// engine leaks, and the injector with air in its hose does not spoil it.
func TestLearnFindsTheTruthOfTheModel(t *testing.T) {
	scene := simulate.Bench(6)
	scene.Runs = []simulate.Run{{IntervalS: 120}, {IntervalS: 120}, {IntervalS: 120}}
	scene.RepeatabilityCV, scene.CommonCV, scene.HealthyCV = 0.045, 0.05, 0.10
	r := rand.New(rand.NewPCG(7, 11))
	tests := workshop(r, scene, 60)
	for _, one := range tests[:3] { // air in a hose
		one.Runs[1].Readings[0].VolumeML = math.Round(1.5 * one.Runs[1].Readings[0].VolumeML)
	}
	l := learned(t, limits.Builtin(), tests...)
	assert.InDelta(t, 0.045, l.Repeatability.TestsCV, 0.004)
	assert.InDelta(t, 0.05, l.Common.TestsCV, 0.01)
	assert.InDelta(t, 0.10, l.Healthy.TestsCV, 0.01)
	var named []string
	for _, u := range l.Unsteady {
		if u.Cylinder == 1 {
			named = append(named, u.ID)
		}
	}
	assert.Subset(t, named, []string{"t0", "t1", "t2"})
	assert.Less(t, len(l.Unsteady), 12)
	assert.GreaterOrEqual(t, l.AsideTests, 18)
}

// Ten engines, a third of them bad, recover most of what can be gained, and at
// the least that is learned from the chance of a false alarm stays near the
// nominal 1 %, whether healthy injectors differ as assumed or less.
func TestLearnFromFewTests(t *testing.T) {
	for _, c := range []struct {
		cv            float64
		tests, trials int
		low, high     float64 // bounds of the mean spread learned
		falseAlarm    float64 // at most
	}{
		{0.12, 10, 150, 0.115, 0.132, 0.02},
		{0.12, learn.FewestTests, 300, 0.12, 0.142, 0.02},
		{0.15, learn.FewestTests, 300, 0.135, 0.16, 0.03},
	} {
		scene := simulate.Bench(6)
		scene.HealthyCV = c.cv
		r := rand.New(rand.NewPCG(21, uint64(c.tests)))
		var mean, alarms float64
		for range c.trials {
			l := learned(t, limits.Builtin(), workshop(r, scene, c.tests)...)
			mean += l.Healthy.CV / float64(c.trials)
			alarms += falseAlarms(r, scene, l) / float64(c.trials)
		}
		assert.Greater(t, mean, c.low, c)
		assert.Less(t, mean, c.high, c)
		assert.Less(t, alarms, c.falseAlarm, c)
	}
}

// falseAlarms is how often a healthy engine of the scene has one called high by
// the learned figures.
func falseAlarms(r *rand.Rand, scene simulate.Scene, l *learn.Learned) float64 {
	const engines = 100
	sheet := l.Sheet(limits.Builtin(), "", learn.Basis{Date: "2026-01-01", Files: []string{"a.csv"}})
	alarms := 0.0
	for range engines {
		result, err := leakback.Evaluate(drawn(r, scene, "healthy"), sheet)
		if err == nil && result.Verdict == leakback.Fail {
			alarms++
		}
	}
	return alarms / engines
}

func TestLearnRefuses(t *testing.T) {
	set := func(id string) *leakback.Test { return test(id, []float64{20, 22, 24}) }
	for _, c := range []struct {
		name  string
		tests []*leakback.Test
		want  string
	}{
		{"none", nil, "0 tests to learn from: expected at least 4 more, each of another engine of the kind"},
		{"three small ones", []*leakback.Test{set("a"), set("b"), set("c")}, "3 tests to learn from: expected at least 1 more, each of another engine of the kind"},
		{"two large ones", []*leakback.Test{
			test("a", []float64{20, 21, 22, 23, 24, 25, 24, 23}), test("b", []float64{20, 21, 22, 23, 24, 25, 24, 23})},
			"2 tests to learn from: expected at least 1 more, each of another engine of the kind"},
		{"unusable", []*leakback.Test{set("a"), test("b", []float64{20, 22})}, "1 test to learn from: expected at least 3 more, each of another engine of the kind"},
		{"engines", []*leakback.Test{set("a"), {ID: "b", Runs: set("b").Runs}}, "tests of 2 engines: Northmoor Six-90, (no name): expected one"},
		{"no set of injectors", []*leakback.Test{
			test("a", []float64{5, 50, 500, 5000}), test("b", []float64{5, 50, 500, 5000}), test("c", []float64{5, 50, 500, 5000}),
			test("d", []float64{5, 50, 500, 5000}), test("e", []float64{5, 50, 500, 5000})}, "% between injectors that agree: expected at most 100 %; look at the tests, this is no set of sound injectors"},
	} {
		l, err := learn.Learn(samples(t, limits.Builtin(), c.tests...), limits.Builtin())
		assert.Nil(t, l, c.name)
		assert.ErrorContains(t, err, c.want, c.name)
	}
	var few *learn.TooFewError
	_, err := learn.Learn(samples(t, limits.Builtin(), set("a"), test("b", []float64{20, 22})), limits.Builtin())
	require.ErrorAs(t, err, &few)
	assert.Equal(t, leakback.FewCylinders, few.Tests[1].Without)
}

// An engine most of which leaks does not agree with itself once the others have
// said how far healthy injectors are apart, and is left out as a whole.
func TestLearnLeavesOutATestThatDisagrees(t *testing.T) {
	scene := simulate.Bench(6)
	scene.HealthyCV = 0.08
	tests := workshop(rand.New(rand.NewPCG(1, 2)), scene, 12)
	without := learned(t, limits.Builtin(), tests...)
	tests = append(tests, test("worn", []float64{20, 26, 34, 44, 57, 74}))
	tests[len(tests)-1].Engine = ""
	with := learned(t, limits.Builtin(), tests...)
	assert.Equal(t, without.Healthy, with.Healthy)
	worn := with.Tests[len(tests)-1]
	assert.True(t, worn.Disagrees)
	assert.False(t, worn.Used())
	assert.Equal(t, 12, with.Used)
}

func TestLearnSaysWhatEachConditionShows(t *testing.T) {
	narrow, wide := []float64{24, 25, 26, 25}, []float64{44, 50, 56, 50}
	cold := test("d", wide)
	cold.Condition, cold.Injectors = "cranking", "off"
	unknown := test("e", narrow)
	unknown.Condition = ""
	l := learned(t, limits.Builtin(), test("a", narrow), test("b", narrow), test("c", narrow), cold, unknown)
	require.Len(t, l.Conditions, 3)
	assert.Equal(t, "idle", l.Conditions[0].Name)
	assert.Equal(t, 3, l.Conditions[0].Tests)
	assert.Equal(t, 9.0, l.Conditions[0].DoF)
	assert.Equal(t, "cranking, injectors off", l.Conditions[1].Name)
	assert.Greater(t, l.Conditions[1].HealthyCV, 1.5*l.Conditions[0].HealthyCV)
	assert.True(t, math.IsNaN(l.Conditions[1].BetweenCV))
	assert.Equal(t, "condition not recorded", l.Conditions[2].Name)
}

// Repeats that fall on the same marks were luck: they show the least there is.
func TestLearnRepeatsHaveAFloor(t *testing.T) {
	row := []float64{20, 22, 24, 23}
	l := learned(t, limits.Builtin(), test("a", row, row), test("b", row, row), test("c", row, row))
	assert.Equal(t, learn.LeastRepeatabilityCV, l.Repeatability.TestsCV)
	assert.Equal(t, learn.LeastCommonCV, l.Common.TestsCV)
	assert.Equal(t, math.Ceil(1000*math.Sqrt((8*0.0009+9*0.0001)/17))/1000, l.Repeatability.CV)
}

// A sheet that assumes next to nothing does not take the figures below that.
func TestLearnNothingBelowTheFloors(t *testing.T) {
	sheet := limits.Builtin()
	sheet.Set.HealthyCV, sheet.Measurement.RepeatabilityCV, sheet.Measurement.CommonCV = 0.01, 0, 0
	row := []float64{20, 20, 20, 20}
	l := learned(t, sheet, test("a", row, row), test("b", row, row), test("c", row, row))
	assert.Equal(t, 0.041, l.Healthy.CV) // of a log standard deviation of 0.04
	assert.Equal(t, learn.LeastRepeatabilityCV, l.Repeatability.CV)
	assert.Equal(t, learn.LeastCommonCV, l.Common.CV)
}

// Of two cylinders that do not repeat alike nobody can tell which it is.
func TestLearnLeavesOutTwoThatDoNotRepeat(t *testing.T) {
	row := []float64{20, 22, 24, 23}
	two := test("two", []float64{20, 22, 24, 23}, []float64{20, 33, math.NaN(), math.NaN()})
	l := learned(t, limits.Builtin(), test("a", row), test("b", row), test("c", row), two)
	assert.Equal(t, []learn.Unsteady{{ID: "two", Cylinder: 1}, {ID: "two", Cylinder: 2}}, l.Unsteady)
	assert.False(t, l.Repeatability.Learned())
	assert.False(t, l.Common.Learned())
	assert.Equal(t, 0.03, l.Repeatability.CV)
}

// Without the sheet's word the engine has as many cylinders as most tests.
func TestLearnForAnEngineOfThatSize(t *testing.T) {
	three, four, five := []float64{20, 22, 24}, []float64{20, 22, 24, 23}, []float64{20, 22, 24, 23, 21}
	tests := []*leakback.Test{test("a", four), test("b", three), test("c", three), test("d", four), test("e", five)}
	assert.Equal(t, 4, learned(t, limits.Builtin(), tests...).Size)
	slices.Reverse(tests)
	assert.Equal(t, 4, learned(t, limits.Builtin(), tests...).Size)
	sheet := limits.Builtin()
	sheet.Cylinders = 8
	assert.Equal(t, 8, learned(t, sheet, tests...).Size)
}
