package leakback_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/limits"
)

// at gives every run of a test a state.
func at(test *leakback.Test, change func(*leakback.State)) *leakback.Test {
	for i := range test.Runs {
		change(&test.Runs[i].State)
	}
	return test
}

func stated(change func(*limits.Limit)) *limits.Sheet {
	return withLimit(func(l *limits.Limit) {
		l.MaxRateMLMin = figure(40)
		change(l)
	})
}

// A rate rises with pressure, temperature and speed: below the limit's state a
// fail stands and a pass does not, above it the reverse; mirrored for a minimum.
func TestLimitState(t *testing.T) {
	bar := func(x float64) func(*leakback.State) {
		return func(s *leakback.State) { s.RailPressureBar = x }
	}
	pressure := stated(func(l *limits.Limit) { l.RailPressureBar = &limits.Range{Low: 300, High: 400} })
	least := withLimit(func(l *limits.Limit) {
		l.MinRateMLMin = figure(40)
		l.RailPressureBar = &limits.Range{Low: 300, High: 400}
	})
	fuel := stated(func(l *limits.Limit) { l.FuelTempC = &limits.Range{Low: 35, High: 60} })
	speed := stated(func(l *limits.Limit) { l.EngineRPM = &limits.Range{Low: 600, High: 800} })
	driven := stated(func(l *limits.Limit) { l.Injectors = limits.Driven })
	one := stated(func(l *limits.Limit) { l.Cranks = 1 })
	const (
		good = "25 26 24 25"
		bad  = "55 56 54 55"
	)
	nothing := func(*leakback.State) {}
	for _, c := range []struct {
		name    string
		volumes string
		sheet   *limits.Sheet
		state   func(*leakback.State)
		want    string
	}{
		{"inside, good", good, pressure, bar(300), "pass pass pass pass | pass"},
		{"inside, bad", bad, pressure, bar(400), "fail[over-limit] fail[over-limit] fail[over-limit] fail[over-limit] | fail[set-together-high]"},
		{"below, good", good, pressure, bar(299), "undecided undecided undecided undecided | undecided[outside-limit-state]"},
		{"below, bad", bad, pressure, bar(299), "fail[over-limit] fail[over-limit] fail[over-limit] fail[over-limit] | fail[outside-limit-state set-together-high]"},
		{"above, good", good, pressure, bar(401), "pass pass pass pass | pass[outside-limit-state]"},
		{"above, bad", bad, pressure, bar(401), "undecided undecided undecided undecided | undecided[outside-limit-state]"},
		{"not recorded, good", good, pressure, nothing, "undecided undecided undecided undecided | undecided[state-unknown]"},
		{"not recorded, bad", bad, pressure, nothing, "fail[over-limit] fail[over-limit] fail[over-limit] fail[over-limit] | fail[state-unknown set-together-high]"},
		{"minimum, above, met", bad, least, bar(500), "undecided undecided undecided undecided | undecided[outside-limit-state no-absolute-limit]"},
		{"minimum, above, missed", good, least, bar(500), "fail[under-limit] fail[under-limit] fail[under-limit] fail[under-limit] | fail[outside-limit-state no-absolute-limit]"},
		{"minimum, below, missed", good, least, bar(200), "undecided undecided undecided undecided | undecided[outside-limit-state no-absolute-limit]"},
		{"fuel not recorded", good, fuel, nothing, "pass pass pass pass | pass"},
		{"fuel too cold", good, fuel, func(s *leakback.State) { s.FuelTempC = 20 }, "undecided undecided undecided undecided | undecided[outside-limit-state]"},
		{"speed not recorded", good, speed, nothing, "pass pass pass pass | pass"},
		{"speed too high", bad, speed, func(s *leakback.State) { s.EngineRPM = 900 }, "undecided undecided undecided undecided | undecided[outside-limit-state]"},
		{"injectors not recorded", good, driven, nothing, "undecided undecided undecided undecided | undecided[state-unknown]"},
		{"one crank", good, one, func(s *leakback.State) { s.Cranks = 1 }, "pass pass pass pass | pass"},
		{"cranks not recorded are one", good, one, nothing, "pass pass pass pass | pass"},
		{"three cranks are not one", bad, one, func(s *leakback.State) { s.Cranks = 3 }, "undecided undecided undecided undecided | undecided[other-crank-pattern]"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := evaluate(t, at(minute(c.volumes), c.state), c.sheet)
			assert.Equal(t, c.want, codes(r))
			if r.Verdict == leakback.Undecided {
				require.NotNil(t, r.Settle)
				assert.Equal(t, leakback.RecordState, r.Settle.Action)
			}
		})
	}
}

// One run below and one above the state: neither a pass nor a fail stands.
func TestStateThatWandered(t *testing.T) {
	sheet := stated(func(l *limits.Limit) { l.RailPressureBar = &limits.Range{Low: 300, High: 400} })
	test := idle(run(1, 60, "55 25 26"), run(2, 60, "55 25 26"))
	test.Runs[0].State.RailPressureBar, test.Runs[1].State.RailPressureBar = 250, 450
	r := evaluate(t, test, sheet)
	assert.Equal(t, leakback.Undecided, r.Cylinders[1].Verdict)
	assert.False(t, r.Cylinders[0].Has(leakback.OverLimit))
}

// Where the return must be held up nothing is judged without it.
func TestBackPressure(t *testing.T) {
	sheet := maximum(40)
	sheet.BackPressureBar = &limits.Range{Low: 8, High: 12}
	none := evaluate(t, minute("25 60 - 25"), sheet)
	assert.Equal(t, "undecided undecided unread undecided | undecided[back-pressure]", codes(none))
	assert.Equal(t, leakback.RecordState, none.Settle.Action)
	wrong := evaluate(t, at(minute("25 60 24 25"), func(s *leakback.State) { s.BackPressureBar = 3 }), sheet)
	assert.Equal(t, "undecided undecided undecided undecided | undecided[back-pressure]", codes(wrong))
	held := evaluate(t, at(minute("25 60 24 25"), func(s *leakback.State) { s.BackPressureBar = 10 }), sheet)
	assert.Equal(t, "pass fail[over-limit high-in-set] pass pass | fail", codes(held))
}

func TestNoLimitSaysWhy(t *testing.T) {
	test := minute("24 25 26")
	test.Condition = ""
	r := evaluate(t, test, maximum(40))
	assert.Equal(t, "pass pass pass | pass[no-absolute-limit]", codes(r))
	assert.Contains(t, r.Findings[0].Text, "condition")
	assert.Nil(t, r.Limit)

	test = minute("24 25 26")
	test.Injectors = limits.Off
	r = evaluate(t, test, stated(func(l *limits.Limit) { l.Injectors = limits.Driven }))
	assert.Equal(t, "pass pass pass | pass[no-absolute-limit]", codes(r))
}

// Repeats of one cylinder that leap about while the others hold.
func TestUnsteady(t *testing.T) {
	test := idle(run(1, 60, "24 25 27 26"), run(2, 60, "24 25 20 26"), run(3, 60, "24 25 26 26"))
	r := evaluate(t, test, limits.Builtin())
	assert.Equal(t, "pass pass undecided[unsteady] pass | undecided[no-absolute-limit]", codes(r))
	assert.Equal(t, leakback.Repeat, r.Cylinders[2].Settle.Action)
}

// The probability of being over is Student's (JCGM 106:2012, 7.2): half at the
// limit itself, and the two sides of it add up to one.
func TestProbabilityOver(t *testing.T) {
	r := evaluate(t, minute("40 38 25 26"), maximum(40))
	assert.InDelta(t, 0.5, r.Cylinders[0].ProbabilityOver, 1e-12)
	assert.Greater(t, r.Cylinders[1].ProbabilityOver, 0.05)
	assert.Less(t, r.Cylinders[1].ProbabilityOver, 0.5)
	assert.Less(t, r.Cylinders[2].ProbabilityOver, 1e-5)
	assert.True(t, math.IsNaN(evaluate(t, minute("40 38 25"), limits.Builtin()).Cylinders[0].ProbabilityOver))
}

func TestCylindersOfTheEngine(t *testing.T) {
	sheet := limits.Builtin()
	sheet.Cylinders = 4
	r := evaluate(t, minute("24 25 26"), sheet)
	assert.Equal(t, "pass pass pass unread | unread[no-absolute-limit]", codes(r))
	assert.True(t, math.IsNaN(r.TotalMLMin))
	assert.Equal(t, leakback.ReadAll, r.Settle.Action)

	_, err := leakback.Evaluate(minute("24 25 26 27 28"), sheet)
	assert.EqualError(t, err, "cylinder 5: expected a number from 1 to 4, as the engine has")

	six := minute("24 25 26")
	six.Cylinders = 6
	_, err = leakback.Evaluate(six, sheet)
	assert.EqualError(t, err, "6 cylinders were named, the limits sheet built-in is for 4")
}

// A bound of an odd interval is printed with no more digits than it is known to.
func TestBoundsArePrintedShort(t *testing.T) {
	test := &leakback.Test{ID: "odd", Method: leakback.MethodIndividual, Runs: []leakback.Run{{Number: 1, IntervalS: 30.1,
		State: leakback.UnknownState()}}}
	for c, volume := range []float64{14, 15, 14, 50} {
		test.Runs[0].Readings = append(test.Runs[0].Readings, leakback.Reading{Cylinder: c + 1, Typed: "x", VolumeML: volume,
			Tube: leakback.Tube{GraduationML: 1, ToleranceML: 1}})
	}
	test.Runs[0].Readings[3].Bound = leakback.AtLeast
	r, err := leakback.Evaluate(test, limits.Builtin())
	require.NoError(t, err)
	assert.Contains(t, r.Cylinders[3].Findings[0].Text, "99.7 mL/min is ")
	assert.NotContains(t, r.Cylinders[3].Findings[0].Text, "99.66")
}
