package limits_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"leakback/limits"
)

func span(low, high float64) *limits.Range { return &limits.Range{Low: low, High: high} }

func TestForFindsTheLimitOfTheState(t *testing.T) {
	sheet := &limits.Sheet{Name: "bay", Limits: []limits.Limit{
		{Condition: "idle", Injectors: limits.Driven, RailPressureBar: span(300, 400)},
		{Condition: "Idle", Injectors: limits.Driven, RailPressureBar: span(500, 600)},
		{Condition: "cranking", Injectors: limits.Off, Cranks: 1},
		{Condition: "raised-idle", RailPressureBar: span(500, 600), FuelTempC: span(20, 40)},
		{Condition: "raised-idle", RailPressureBar: span(700, 800), FuelTempC: span(50, 60)},
		{Condition: "stall", Injectors: limits.Driven, FuelTempC: span(20, 40)},
		{Condition: "stall", Injectors: limits.Off, FuelTempC: span(20, 40)},
		{Condition: "stall bay", Cranks: 1},
		{Condition: "stall bay", Cranks: 3},
	}}
	rail := func(bar ...float64) limits.State { return limits.State{RailPressureBar: bar} }
	tests := []struct {
		name, condition, injectors string
		state                      limits.State
		limit                      int // in the sheet; -1 for none
		reason                     string
	}{
		{"one of two by pressure", "idle", limits.Driven, rail(350), 0, ""},
		{"the other, at its end", "IDLE ", limits.Driven, rail(600), 1, ""},
		{"every run must be in it", "idle", limits.Driven, rail(350, 450), -1,
			"There are 2 limits for idle, told apart by the rail pressure, and the test's lies in none of them: none applies."},
		{"the state that tells was not recorded", "idle", "", limits.State{}, -1,
			"There are 2 limits for idle, told apart by the rail pressure, which the test does not record: none applies."},
		{"injectors not recorded do not matter where they tell nothing", "idle", "", rail(550), 1, ""},
		{"for the other injector state", "idle", limits.Off, rail(350), -1,
			"The limit for idle is given for injectors driven, and they were off."},
		{"alone: applies whatever was recorded", "cranking", "", limits.State{Cranks: 3}, 2, ""},
		{"one dimension in, the other out", "raised-idle", "", limits.State{RailPressureBar: []float64{550}, FuelTempC: []float64{55}}, -1,
			"There are 2 limits for raised-idle, told apart by the rail pressure and the fuel temperature, and the test's lies in none of them: none applies."},
		{"one dimension in, the other not recorded", "raised-idle", "", rail(550), 3, ""},
		{"both recorded", "raised-idle", "", limits.State{RailPressureBar: []float64{750}, FuelTempC: []float64{50}}, 4, ""},
		{"injectors tell", "stall", limits.Off, limits.State{FuelTempC: []float64{90}}, 6, ""},
		{"injectors would tell", "stall", "", limits.State{FuelTempC: []float64{30}}, -1,
			"There are 2 limits for stall, told apart by the state of the injectors, which the test does not record: none applies."},
		{"cranks tell", "stall  bay", "", limits.State{Cranks: 3}, 8, ""},
		{"other cranks", "stall bay", "", limits.State{Cranks: 2}, -1,
			"There are 2 limits for stall bay, told apart by the number of cranks, and the test's lies in none of them: none applies."},
		{"no condition", " ", "", limits.State{}, -1, "No condition was recorded, so no absolute limit applies."},
		{"another condition", "coasting", "", limits.State{}, -1,
			`The limits sheet bay has no limit for "coasting"; it has limits for idle, cranking, raised-idle, stall, stall bay.`},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			got := sheet.For(test.condition, test.injectors, test.state)
			assert.Equal(t, test.reason, got.Reason)
			if test.limit < 0 {
				assert.Nil(t, got.Limit)
			} else {
				assert.Same(t, &sheet.Limits[test.limit], got.Limit)
			}
		})
	}
}

func TestForOfTheBuiltinSheet(t *testing.T) {
	got := limits.Builtin().For("idle", "", limits.State{})
	assert.Nil(t, got.Limit)
	assert.Equal(t, "The limits sheet built-in holds no absolute limit.", got.Reason)
}

func TestSideOfARange(t *testing.T) {
	r := span(300, 400)
	tests := []struct {
		values       []float64
		below, above bool
	}{
		{nil, false, false},
		{[]float64{300, 350, 400}, false, false},
		{[]float64{299.9999999, 400.0000001}, false, false}, // equal to 6 decimals
		{[]float64{350, 299.99999}, true, false},
		{[]float64{400.00001}, false, true},
		{[]float64{299, 401}, true, true},
	}
	for _, test := range tests {
		below, above := r.Side(test.values)
		assert.Equal(t, test.below, below, "%v", test.values)
		assert.Equal(t, test.above, above, "%v", test.values)
	}
}

// The figures are those of the design of the decision rule.
func TestBuiltinIsAssumedAndHasNoAbsoluteLimit(t *testing.T) {
	s := limits.Builtin()
	assert.Equal(t, limits.Set{
		HealthyCV: 0.15, FalseAlarm: 0.01, FalseHint: 0.05, PracticalRatio: 1.3,
		WithinLimit: limits.WithinUndecided, Source: "assumed",
	}, s.Set)
	assert.Equal(t, limits.Measurement{RepeatabilityCV: 0.03, CommonCV: 0.02, TimingS: 0.3, Source: "assumed"}, s.Measurement)
	assert.Empty(t, s.Limits)
	assert.Equal(t, "built-in", s.Name)
}

func TestSourceOfAFigure(t *testing.T) {
	set := limits.Set{Source: "12 engines of this shop", Defaulted: []string{"false_hint"}}
	assert.Equal(t, "12 engines of this shop", set.SourceOf("healthy_cv"))
	assert.Equal(t, "assumed", set.SourceOf("false_hint"))
	m := limits.Measurement{Source: "ten runs on one engine", Defaulted: []string{"common_cv", "timing_s"}}
	assert.Equal(t, "ten runs on one engine", m.SourceOf("repeatability_cv"))
	assert.Equal(t, "assumed", m.SourceOf("timing_s"))
}

func TestAssumed(t *testing.T) {
	for source, want := range map[string]bool{
		"assumed": true, " Assumed; replace": true, "ASSUMED": true, "assume": false, "": false, "the book, assumed": false,
	} {
		assert.Equal(t, want, limits.Assumed(source), source)
	}
}

func TestFiguresAreThoseGiven(t *testing.T) {
	figure := func(x float64) *float64 { return &x }
	l := &limits.Limit{
		MaxVolumeML: figure(10), IntervalS: figure(15), MaxRatioToMedian: figure(2), MaxDifferenceMLMin: figure(20),
	}
	assert.Equal(t, []limits.Figure{
		{Key: "max_volume_ml", Value: 10, Unit: "mL"}, {Key: "interval_s", Value: 15, Unit: "s"},
		{Key: "max_ratio_to_median", Value: 2}, {Key: "max_difference_ml_min", Value: 20, Unit: "mL/min"},
	}, l.Figures())
	rate, ok := l.MaxMLMin()
	assert.True(t, ok)
	assert.Equal(t, 40.0, rate)
	assert.Empty(t, (&limits.Limit{}).Figures())
}
