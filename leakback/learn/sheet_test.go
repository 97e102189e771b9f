package learn_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/learn"
	"leakback/limits"
	"leakback/stats/simulate"
)

var basis = learn.Basis{Date: "2026-03-02", Files: []string{"ten.csv"}}

// tenEngines are drawn sixes, half of them with repeated runs.
func tenEngines() []*leakback.Test {
	r := rand.New(rand.NewPCG(9, 9))
	once, twice := simulate.Bench(6), simulate.Bench(6)
	twice.Runs = append(twice.Runs, twice.Runs[0])
	return append(workshop(r, once, 5), workshop(r, twice, 5)...)
}

func parsed(t *testing.T, text string) *limits.Sheet {
	s, err := limits.Parse([]byte(text), "bay.toml")
	require.NoError(t, err)
	return s
}

// written is a learned sheet as it comes back from a file.
func written(t *testing.T, s *limits.Sheet) *limits.Sheet {
	var b strings.Builder
	require.NoError(t, limits.Write(&b, s))
	back, err := limits.Parse([]byte(b.String()), "learned.toml")
	require.NoError(t, err)
	return back
}

func TestSheetOfTheBuiltInOne(t *testing.T) {
	l := learned(t, limits.Builtin(), tenEngines()...)
	s := written(t, l.Sheet(limits.Builtin(), "Northmoor Six-90", basis))
	assert.Equal(t, "learned for Northmoor Six-90", s.Name)
	assert.Equal(t, "Northmoor Six-90", s.Engine)
	assert.Zero(t, s.Cylinders)
	assert.Empty(t, s.Limits)
	assert.Equal(t, l.Healthy.CV, s.Set.HealthyCV)
	assert.Equal(t, fmt.Sprintf("learned 2026-03-02 from 10 tests (idle) with 60 cylinders, %d of them set aside in %d tests, "+
		"in ten.csv; pooled with the assumed 0.15", l.Aside, l.AsideTests), s.Set.Source)
	assert.Equal(t, []string{"false_alarm", "false_hint", "practical_ratio", "within_limit"}, s.Set.Defaulted)
	assert.Equal(t, "assumed", s.Set.SourceOf("false_alarm"))
	assert.False(t, limits.Assumed(s.Set.SourceOf("healthy_cv")))
	assert.Equal(t, l.Repeatability.CV, s.Measurement.RepeatabilityCV)
	assert.Equal(t, l.Common.CV, s.Measurement.CommonCV)
	assert.Equal(t, "learned 2026-03-02 from repeated runs of 5 tests, 0 cylinders left out as unsteady, "+
		"in ten.csv; pooled with the assumed 0.03 and the assumed 0.02", s.Measurement.Source)
	assert.Equal(t, []string{"timing_s"}, s.Measurement.Defaulted)
}

const baySheet = `name = "Bay sheet"
engine = "Northmoor Six-90"
cylinders = 6
[set]
healthy_cv = 0.14
false_alarm = 0.02
practical_ratio = 1.3
source = "24 engines, invented"
[measurement]
timing_s = 0.25
max_crank_s = 15
rest_s = 60
source = "assumed by the shop"
[[limit]]
condition = "idle"
max_rate_ml_min = 40.25
source = "section 3, invented"
[[tightening]]
step = 1
part = "hold-down"
torque = "44 lbf·ft"
source = "section 9, invented"
`

func TestSheetKeepsWhatWasThere(t *testing.T) {
	old := parsed(t, baySheet)
	l := learned(t, old, tenEngines()...)
	assert.Equal(t, 0.14, l.Healthy.AssumedCV)
	s := written(t, l.Sheet(old, "", basis))
	assert.Equal(t, old.Name, s.Name)
	assert.Equal(t, old.Engine, s.Engine)
	assert.Equal(t, old.Cylinders, s.Cylinders)
	s.Limits[0].Line = old.Limits[0].Line
	assert.Equal(t, old.Limits, s.Limits)
	assert.Equal(t, old.Tightening, s.Tightening)
	assert.Equal(t, 0.02, s.Set.FalseAlarm)
	assert.Equal(t, []string{"false_hint", "within_limit"}, s.Set.Defaulted)
	assert.True(t, strings.HasSuffix(s.Set.Source, "; pooled with 0.14 of the sheet before; the rest: 24 engines, invented"), s.Set.Source)
	assert.Equal(t, 0.25, s.Measurement.TimingS)
	assert.Equal(t, 15.0, s.Measurement.MaxCrankS)
	assert.Empty(t, s.Measurement.Defaulted)
	assert.True(t, strings.HasSuffix(s.Measurement.Source, "; the rest: assumed by the shop"), s.Measurement.Source)
	assert.Equal(t, parsed(t, baySheet), old, "untouched")
}

// Learning once more from the same tests changes nothing: what was learned
// from them before does not count twice.
func TestSheetLearnedAgainIsTheSame(t *testing.T) {
	for _, first := range []*limits.Sheet{limits.Builtin(), parsed(t, strings.Replace(baySheet, "healthy_cv = 0.14\n", "", 1))} {
		once := written(t, learned(t, first, tenEngines()...).Sheet(first, "Northmoor Six-90", basis))
		again := learned(t, once, tenEngines()...)
		assert.Equal(t, 0.15, again.Healthy.AssumedCV)
		twice := written(t, again.Sheet(once, "Northmoor Six-90", basis))
		assert.Equal(t, once, twice)
	}
}

func TestSheetWithoutRepeatsKeepsTheMeasurement(t *testing.T) {
	old := parsed(t, baySheet)
	l := learned(t, old, tenEngines()[:5]...)
	assert.Zero(t, l.Repeated)
	assert.Equal(t, old.Measurement, written(t, l.Sheet(old, "", basis)).Measurement)
	assert.Equal(t, old.Measurement.RepeatabilityCV, l.Repeatability.CV)
}

func TestSheetNamesFewFiles(t *testing.T) {
	l := learned(t, limits.Builtin(), tenEngines()...)
	source := func(files ...string) string {
		return l.Sheet(limits.Builtin(), "", learn.Basis{Date: "2026-03-02", Files: files}).Set.Source
	}
	assert.Contains(t, source("a", "b", "c", "d"), ", in a, b, c, d; pooled")
	assert.Contains(t, source("a", "b", "c", "d", "e"), ", in a, b, c and 2 more files; pooled")
	assert.Equal(t, "learned", l.Sheet(limits.Builtin(), "", basis).Name)
}

func TestFromTests(t *testing.T) {
	for source, want := range map[string]bool{
		"learned 2026-03-02 from": true, " Learned": true, "learnedly": false, "assumed": false, "": false,
	} {
		assert.Equal(t, want, learn.FromTests(source), source)
	}
}

func TestSheetKeepsTheSourceOfTheCranks(t *testing.T) {
	old := parsed(t, "[measurement]\nmax_crank_s = 15\nrest_s = 60\nsource = 'section 4, invented'\n")
	m := written(t, learned(t, old, tenEngines()...).Sheet(old, "", basis)).Measurement
	assert.True(t, strings.HasSuffix(m.Source, "; the rest: section 4, invented"), m.Source)
	assert.Equal(t, []string{"timing_s"}, m.Defaulted)
}
