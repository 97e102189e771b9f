package leakback_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/limits"
)

func sample(t *testing.T, test *leakback.Test, sheet *limits.Sheet) leakback.Sample {
	t.Helper()
	s, err := leakback.SampleOf(test, sheet)
	require.NoError(t, err)
	return s
}

// By hand: 20, 24 and 30 mL in a minute, tubes of 1 mL marks good to 1 mL, one
// run: r^2 + g^2/12/V^2 + T^2/3/V^2 at the median of 24 mL.
func TestSampleByHand(t *testing.T) {
	test := minute("20 24 - 30")
	test.Engine, test.Injectors = "Northmoor Six-90", limits.Driven
	s := sample(t, test, limits.Builtin())
	assert.Equal(t, "t", s.ID)
	assert.Equal(t, "Northmoor Six-90", s.Engine)
	assert.Equal(t, "idle", s.Condition)
	assert.Equal(t, limits.Driven, s.Injectors)
	assert.Empty(t, s.Without)
	assert.Equal(t, []int{1, 2, 4}, s.Cylinders)
	assert.InDeltaSlice(t, []float64{math.Log(20), math.Log(24), math.Log(30)}, s.LogRates, 1e-12)
	assert.InDelta(t, 24, s.LevelMLMin, 1e-12)
	assert.Empty(t, s.Repeats.Cylinders)

	m := limits.Builtin().Measurement
	own := func(r float64) float64 { return r*r + (1.0/12+1.0/3)/(24*24) }
	set := s.Set(m)
	assert.Equal(t, s.LogRates, set.Y)
	assert.InDeltaSlice(t, []float64{own(0.03), own(0.03), own(0.03)}, set.OwnVariance, 1e-12)
	m.RepeatabilityCV = 0.05
	assert.InDeltaSlice(t, []float64{own(0.05), own(0.05), own(0.05)}, s.Set(m).OwnVariance, 1e-12)
}

// Bounds that stand apart belong to the test and not to the set; others leave
// it without a set, because how far they are apart is not known.
func TestSampleOfBounds(t *testing.T) {
	s := sample(t, minute("24 >90 25 26 <1 27"), limits.Builtin())
	assert.Empty(t, s.Without)
	assert.Equal(t, []int{1, 3, 4, 6}, s.Cylinders)
	assert.Equal(t, []leakback.Beyond{
		{Cylinder: 2, Bound: leakback.AtLeast, RateMLMin: 90}, {Cylinder: 5, Bound: leakback.AtMost, RateMLMin: 1}}, s.Beyond)
	assert.InDelta(t, 25.5, s.LevelMLMin, 1e-12, "with the bounds")
}

func TestSampleWithoutASet(t *testing.T) {
	held := limits.Builtin()
	held.BackPressureBar = &limits.Range{Low: 8, High: 12}
	for _, c := range []struct {
		volumes string
		sheet   *limits.Sheet
		want    leakback.Code
	}{
		{"24 25", limits.Builtin(), leakback.FewCylinders},
		{"24 25 >90 26 - -", limits.Builtin(), ""},
		{"24 25 >90", limits.Builtin(), leakback.FewCylinders},
		{"0 0 <1 0 1", limits.Builtin(), leakback.TooLittleReturn},
		{"24 >26 25 26", limits.Builtin(), leakback.OverRange},
		{"11 12 13 <20", limits.Builtin(), leakback.BelowFirstMark},
		{"9 9.5 10 9.8", limits.Builtin(), leakback.TooLittleReturn},
		{"24 25 26", held, leakback.BackPressure},
	} {
		s := sample(t, minute(c.volumes), c.sheet)
		assert.Equal(t, c.want, s.Without, c.volumes)
		if c.want == "" {
			continue
		}
		assert.Empty(t, s.Cylinders, c.volumes)
		assert.Empty(t, s.LogRates, c.volumes)
		assert.Empty(t, s.Beyond, c.volumes)
		assert.True(t, math.IsNaN(s.LevelMLMin), c.volumes)
		assert.Empty(t, s.Set(limits.Builtin().Measurement).Y, c.volumes)
	}
}

// Three runs: cylinder 2 once over range, cylinder 4 once below ten marks.
func TestSampleOfRepeats(t *testing.T) {
	test := idle(run(1, 60, "20 24 30 10"), run(2, 60, "21 >24 31 10"), run(3, 90, "30 36 45 9.5"))
	test.Runs[1].State.Cranks = 2
	s := sample(t, test, limits.Builtin())
	r := s.Repeats
	assert.Equal(t, []int{1, 3}, r.Cylinders)
	require.Len(t, r.LogRates, 2)
	assert.InDeltaSlice(t, []float64{math.Log(20), math.Log(21), math.Log(20)}, r.LogRates[0], 1e-12)
	assert.InDeltaSlice(t, []float64{1. / 12 / 900, 1. / 12 / 961, 1. / 12 / 2025}, r.ReadingVariance[1], 1e-15)
	u := 0.3 * math.Sqrt2 / 60
	assert.InDeltaSlice(t, []float64{u * u, 2 * u * u, 4 * u * u / 9}, r.TimingVariance, 1e-15)

	assert.Empty(t, sample(t, idle(run(1, 60, "20 - -"), run(2, 60, "20 24 30")), limits.Builtin()).Repeats)
	assert.Empty(t, sample(t, idle(run(1, 60, "20 5 5"), run(2, 60, "20 5 5")), limits.Builtin()).Repeats)
	held := limits.Builtin()
	held.BackPressureBar = &limits.Range{Low: 8, High: 12}
	assert.Empty(t, sample(t, test, held).Repeats)
}

func TestSampleRefusesWhatDoesNotFitTheSheet(t *testing.T) {
	sheet := limits.Builtin()
	sheet.Cylinders = 4
	_, err := leakback.SampleOf(minute("20 21 22 23 24"), sheet)
	assert.EqualError(t, err, "cylinder 5: expected a number from 1 to 4, as the engine has")
}
