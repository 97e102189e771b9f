package leakback_test

import (
	"io"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leakback/leakback"
	"leakback/leakback/blockoff"
	"leakback/limits"
)

// maker draws tests and sheets such as entry and the limits sheet can give:
// mostly a plain engine with a leak, now and then anything that is allowed.
type maker struct{ *rapid.T }

func (m maker) whole(label string, low, high int) int {
	return rapid.IntRange(low, high).Draw(m.T, label)
}

// rarely is true once in ten; what is drawn gets simpler without it.
func (m maker) rarely(label string) bool { return m.whole(label, 0, 9) == 9 }

func (m maker) often(label string) bool { return m.whole(label, 0, 1) == 1 }

func (m maker) one(label string, from ...float64) float64 {
	return rapid.SampledFrom(from).Draw(m.T, label)
}

// tubes are those of shops and laboratories: one without a capacity, and one
// without an error of its scale among them.
var tubes = []leakback.Tube{
	plainTube,
	{GraduationML: 0.5, CapacityML: 50, ToleranceML: 0.25},
	{GraduationML: 2, CapacityML: 250, ToleranceML: 2, Class: "B"},
	{GraduationML: 1, ToleranceML: 1},
	{GraduationML: 5, CapacityML: 500},
	{GraduationML: 0.1, CapacityML: 10, ToleranceML: 0.1},
}

// reading draws one reading of so many mL, to half a mark.
func (m maker) reading(cylinder int, ml float64, tube leakback.Tube) leakback.Reading {
	r := leakback.Reading{Cylinder: cylinder, Tube: tube, Typed: "typed"}
	half := tube.GraduationML / 2
	r.VolumeML = half * math.Max(0, math.Round(ml/half)+float64(m.whole("off by", -3, 3)))
	if m.rarely("start") {
		r.StartML, r.StartRead = tube.GraduationML*float64(m.whole("start", 0, 2)), true
		r.VolumeML += r.StartML
	}
	switch m.whole("sort", 0, 24) {
	case 24:
		r.VolumeML, r.Typed = math.NaN(), ""
	case 23:
		r.Bound, r.VolumeML = leakback.AtMost, math.Max(r.VolumeML, tube.GraduationML)
	case 22:
		r.Bound, r.VolumeML = leakback.AtLeast, r.StartML+math.Max(r.VolumeML, tube.GraduationML)
	}
	if full := tube.CapacityML; full > 0 && r.VolumeML >= full {
		r.Bound, r.VolumeML = leakback.AtLeast, full
	}
	if r.Bound == leakback.AtMost {
		r.StartML, r.StartRead = 0, false
	}
	return r
}

// levels draws what the cylinders return, as parts of one level.
func (m maker) levels(n int) []float64 {
	level := m.one("level", 22, 22, 22, 38, 60, 4, 0.5)
	list := make([]float64, n)
	for i := range list {
		list[i] = level * m.one("part", 1, 1, 1, 1, 1.1, 0.9, 1.2, 1.4, 2, 3, 0.3, 0)
	}
	return list
}

// state draws what was recorded beside a run.
func (m maker) state() leakback.State {
	s := leakback.UnknownState()
	if m.often("state") {
		s.RailPressureBar = m.one("bar", math.NaN(), 350, 300, 400, 250, 450)
		s.FuelTempC = m.one("degC", math.NaN(), 41, 20, 70)
		s.EngineRPM = m.one("rpm", math.NaN(), 700, 900)
		s.BackPressureBar = m.one("back bar", math.NaN(), 10, 0)
		s.Cranks = m.whole("cranks", 0, 2)
	}
	return s
}

// begin draws what a test says of itself.
func (m maker) begin(method leakback.Method) *leakback.Test {
	return &leakback.Test{
		ID: "drawn", Method: method,
		Condition: rapid.SampledFrom([]string{"idle", "idle", "cranking", ""}).Draw(m.T, "condition"),
		Injectors: rapid.SampledFrom([]string{"", limits.Driven, limits.Off}).Draw(m.T, "injectors"),
	}
}

// individual draws a test of every cylinder's own return: all in each run, or
// some of them, or one after the other.
func (m maker) individual() *leakback.Test {
	test := m.begin(leakback.MethodIndividual)
	n := m.whole("cylinders", 1, 8)
	levels, tube := m.levels(n), rapid.SampledFrom(tubes).Draw(m.T, "tube")
	seconds, state := m.one("s", 60, 60, 30, 15, 90), m.state()
	if m.rarely("unknown interval") {
		seconds = math.NaN()
	}
	way := m.whole("way", 0, 5) // one after the other 5, some missing 4
	runs := m.whole("runs", 1, 3)
	if way == 5 {
		runs = n + m.whole("again", 0, 2)
	}
	for k := range runs {
		r := leakback.Run{Number: k + 1, IntervalS: seconds, State: state}
		if m.rarely("another length") && !math.IsNaN(seconds) {
			r.IntervalS = 45
		}
		if m.rarely("another state") {
			r.State = m.state()
		}
		if m.rarely("another tube") {
			tube = rapid.SampledFrom(tubes).Draw(m.T, "tube")
		}
		for i, level := range levels {
			if way == 5 && i != k%n || way == 4 && m.rarely("not there") {
				continue
			}
			ml := level
			if !math.IsNaN(r.IntervalS) {
				ml = level * r.IntervalS / 60
			}
			r.Readings = append(r.Readings, m.reading(i+1, ml, tube))
		}
		if len(r.Readings) > 0 {
			test.Runs = append(test.Runs, r)
		}
	}
	if len(test.Runs) == 0 {
		return m.individual()
	}
	if m.rarely("named") {
		test.Cylinders = n
	}
	m.leaveOut(test)
	return test
}

// leaveOut leaves one run out, now and then.
func (m maker) leaveOut(test *leakback.Test) {
	if m.rarely("leave out") {
		test.Runs[m.whole("which", 0, len(test.Runs)-1)].LeftOut = "stumbled"
	}
}

// merged draws a test of the merged return, of one line or of two.
func (m maker) merged(method leakback.Method) *leakback.Test {
	test := m.begin(method)
	n := m.whole("cylinders", 2, 8)
	levels := m.levels(n)
	tube := leakback.Tube{GraduationML: m.one("mark", 1, 5, 0.1), CapacityML: 2000, ToleranceML: m.one("tolerance", 1, 0)}
	seconds, state, valve := m.one("s", 60, 30, 90), m.state(), m.one("valve", 0, 0, 30)
	lines := [][]string{{""}, {""}, {""}, {"left", "right"}}[m.whole("lines", 0, 3)]
	blocked := make([][]int, m.whole("runs", 1, 4))
	if method == leakback.MethodBlockOff {
		blocked = m.schedule(n)
	}
	for k, set := range blocked {
		r := leakback.Run{Number: k + 1, IntervalS: seconds, State: state, Blocked: set}
		for l, line := range lines {
			total := valve
			for i, level := range levels {
				if len(lines) == 1 || i%2 == l {
					if !slices.Contains(set, i+1) {
						total += level
					}
				}
			}
			r.Readings = append(r.Readings, m.total(total*seconds/60, tube, line))
		}
		test.Runs = append(test.Runs, r)
	}
	m.leaveOut(test)
	return test
}

// total draws one reading of a merged return.
func (m maker) total(ml float64, tube leakback.Tube, line string) leakback.Reading {
	r := leakback.Reading{Typed: "typed", Tube: tube, ReturnLine: line}
	r.VolumeML = tube.GraduationML * math.Max(0, math.Round(ml/tube.GraduationML)+float64(m.whole("off by", -2, 2)))
	switch m.whole("sort", 0, 49) {
	case 49:
		r.VolumeML, r.Typed = math.NaN(), ""
	case 48:
		r.Bound, r.VolumeML = leakback.AtLeast, math.Max(r.VolumeML, tube.GraduationML)
	}
	return r
}

// schedule draws what the runs of n cylinders block.
func (m maker) schedule(n int) [][]int {
	if !m.rarely("another schedule") {
		p, err := blockoff.Schedule(numbers(n), 2*m.whole("pairs of passes", 1, 2))
		require.NoError(m.T, err)
		return p.Blocked
	}
	var blocked [][]int
	for range m.whole("runs", 1, 3*n) {
		blocked = append(blocked, rapid.SliceOfNDistinct(rapid.IntRange(1, n), 0, 2, rapid.ID[int]).Draw(m.T, "blocked"))
	}
	return blocked
}

func numbers(n int) []int {
	list := make([]int, n)
	for i := range list {
		list[i] = i + 1
	}
	return list
}

// test draws a test of any method.
func (m maker) test() *leakback.Test {
	switch m.whole("method", 0, 5) {
	case 5:
		return m.merged(leakback.MethodTotal)
	case 3, 4:
		return m.merged(leakback.MethodBlockOff)
	}
	return m.individual()
}

// maybe draws a figure of a limit, mostly none.
func (m maker) maybe(label string, from ...float64) *float64 {
	if !m.often(label) {
		return nil
	}
	return figure(m.one(label, from...))
}

func (m maker) span(label string, low, high float64) *limits.Range {
	if !m.rarely(label) {
		return nil
	}
	return &limits.Range{Low: low, High: high}
}

// sheet draws a sheet that fits a test: figures that its file may hold, and
// perhaps a limit for its condition.
func (m maker) sheet(test *leakback.Test) *limits.Sheet {
	s := limits.Builtin()
	s.Name, s.Set.Source, s.Measurement.Source = "drawn", "drawn", "drawn"
	if m.often("own figures") {
		s.Set.HealthyCV, s.Set.PracticalRatio = m.one("healthy", 0.15, 0.08, 0.01, 1), m.one("practical", 1.3, 1, 2)
		s.Set.FalseAlarm, s.Set.FalseHint = m.one("alarm", 0.01, 0.001), m.one("hint", 0.05, 0.2)
		s.Set.WithinLimit = rapid.SampledFrom([]limits.Within{limits.WithinUndecided, limits.WithinFail, limits.WithinPass}).Draw(m.T, "within")
		s.Measurement.RepeatabilityCV, s.Measurement.CommonCV = m.one("r", 0.03, 0.01, 0), m.one("c", 0.02, 0)
		s.Measurement.TimingS = m.one("timing", 0.3, 0, 2)
		if m.often("starter") {
			s.Measurement.MaxCrankS, s.Measurement.RestS = 15, 60
		}
	}
	s.BackPressureBar = m.span("back-pressure", 8, 12)
	m.lines(test, s)
	if m.often("limit") {
		s.Limits = []limits.Limit{m.limit()}
	}
	require.NoError(m.T, limits.Write(io.Discard, s), "a sheet that a file can hold")
	return s
}

// lines shares the cylinders out where the test was collected in two lines.
func (m maker) lines(test *leakback.Test, s *limits.Sheet) {
	if test.Method == leakback.MethodIndividual || len(test.Runs[0].Readings) == 1 {
		return
	}
	highest := 2
	for _, r := range test.Runs {
		for _, c := range r.Blocked {
			highest = max(highest, c)
		}
	}
	s.ReturnLines = []limits.ReturnLine{{Name: "left"}, {Name: "right"}}
	for c := 1; c <= highest; c++ {
		line := &s.ReturnLines[(c-1)%2]
		line.Cylinders = append(line.Cylinders, c)
	}
}

// limit draws a limit for idle with at least one figure.
func (m maker) limit() limits.Limit {
	l := limits.Limit{
		Condition: "idle", Source: "drawn", Cranks: m.whole("limit's cranks", 0, 9) / 9,
		MaxTotalMLMin:    m.maybe("total", 180, 100, 250),
		MaxRatioToMedian: m.maybe("to median", 1.6, 2, 1.1), MaxRatioToMean: m.maybe("to mean", 1.5, 1.2),
		MaxRatioToLowest: m.maybe("to lowest", 2, 1.3), MaxDifferenceMLMin: m.maybe("difference", 20, 8),
		RailPressureBar: m.span("limit's bar", 300, 400), FuelTempC: m.span("limit's degC", 35, 60),
		EngineRPM: m.span("limit's rpm", 650, 800),
	}
	switch m.whole("maximum", 0, 3) {
	case 0:
		l.MaxRateMLMin = figure(m.one("max", 40, 25, 60, 26.5))
	case 1:
		l.MaxVolumeML, l.IntervalS = figure(m.one("max", 10, 6.5)), figure(15)
	}
	if m.rarely("limit's injectors") {
		l.Injectors = limits.Driven
	}
	if l.MaxTotalMLMin == nil && l.MaxRateMLMin == nil && l.MaxVolumeML == nil {
		l.MinRateMLMin = figure(m.one("min", 5, 22))
	}
	return l
}

// drawn runs a property on drawn tests, each with a sheet that it fits.
func drawn(t *testing.T, draw func(m maker) *leakback.Test, holds func(t *rapid.T, m maker, test *leakback.Test, sheet *limits.Sheet)) {
	t.Helper()
	rapid.Check(t, func(t *rapid.T) {
		m := maker{t}
		test := draw(m)
		holds(t, m, test, m.sheet(test))
	})
}
