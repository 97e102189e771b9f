package leakback_test

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leakback/leakback"
	"leakback/leakback/entry"
	"leakback/limits"
	"leakback/limits/quantity"
)

// style is how somebody else writes the same test down.
type style struct {
	volume  string // the readings' column
	perML   float64
	density float64 // where they are weighed, else 0
	time    string
	perS    float64
}

const mLPerFluidOunce = 231 * 2.54 * 2.54 * 2.54 / 128

// drawStyle draws units for volume and time.
func drawStyle(t *rapid.T) style {
	s := rapid.SampledFrom([]style{
		{volume: "volume_ml", perML: 1}, {volume: "volume_cc", perML: 1},
		{volume: "volume_floz", perML: 1 / mLPerFluidOunce},
		{volume: "mass_g", perML: 0.83, density: 0.83}, {volume: "mass_g", perML: 0.8312, density: 0.8312},
	}).Draw(t, "volume in")
	s.time, s.perS = "interval_s", 1
	if rapid.Bool().Draw(t, "minutes") {
		s.time, s.perS = "interval_min", 1.0/60
	}
	return s
}

// typedFigure is a figure of a cell; "" where there is none.
func typedFigure(x float64) string {
	if math.IsNaN(x) {
		return ""
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

// rows writes a test as the rows of a readings file, in the order of its record.
func (s style) rows(test *leakback.Test) (header string, rows []string) {
	header = "run,cylinder,blocked,return_line,graduation_ml,capacity_ml,tolerance_ml,start_ml,density_g_ml," +
		"condition,injectors,cranks,fuel_temp_c,rail_pressure_bar,back_pressure_bar,engine_rpm," + s.volume + "," + s.time
	for k := range test.Runs {
		run := &test.Runs[k]
		for i := range run.Readings {
			rows = append(rows, s.row(test, run, &run.Readings[i]))
		}
	}
	return header, rows
}

func (s style) row(test *leakback.Test, run *leakback.Run, r *leakback.Reading) string {
	optional := func(x float64, is bool) string {
		if !is {
			return ""
		}
		return typedFigure(x)
	}
	st, whole := &run.State, float64(run.State.Cranks)
	interval := typedFigure(run.IntervalS * s.perS)
	if math.IsNaN(run.IntervalS) {
		interval = entry.Unknown
	}
	level := typedFigure(r.VolumeML * s.perML)
	switch {
	case math.IsNaN(r.VolumeML):
	case r.Bound == leakback.AtLeast:
		level = ">" + level
	case r.Bound == leakback.AtMost:
		level = "<" + level
	}
	var blocked []string
	for _, c := range run.Blocked {
		blocked = append(blocked, strconv.Itoa(c))
	}
	return strings.Join([]string{
		strconv.Itoa(run.Number), optional(float64(r.Cylinder), r.Cylinder > 0), strings.Join(blocked, "+"), r.ReturnLine,
		typedFigure(r.Tube.GraduationML), optional(r.Tube.CapacityML, r.Tube.CapacityML > 0), typedFigure(r.Tube.ToleranceML),
		optional(r.StartML, r.StartRead), optional(s.density, s.density > 0 && !math.IsNaN(r.VolumeML)),
		test.Condition, test.Injectors, optional(whole, whole > 0), typedFigure(st.FuelTempC),
		typedFigure(st.RailPressureBar), typedFigure(st.BackPressureBar), typedFigure(st.EngineRPM), level, interval,
	}, ",")
}

// file is a readings file in which the rows stand in any order, without the
// columns that its method does not have.
func (s style) file(t *rapid.T, test *leakback.Test) string {
	header, rows := s.rows(test)
	rows = append([]string{header}, rapid.Permutation(rows).Draw(t, "rows")...)
	without := map[leakback.Method][]int{
		leakback.MethodIndividual: {2}, leakback.MethodBlockOff: {1}, leakback.MethodTotal: {1, 2},
	}[test.Method]
	if s.density == 0 {
		without = append(without, 8)
	} else {
		without = append(without, 7) // what was weighed was added alone
	}
	slices.Sort(without)
	for i, row := range rows {
		cells := strings.Split(row, ",")
		for _, at := range slices.Backward(without) {
			cells = slices.Delete(cells, at, at+1)
		}
		rows[i] = strings.Join(cells, ",")
	}
	return strings.Join(rows, "\n") + "\n"
}

// emptied is a test whose tubes were emptied before each run.
func emptied(test *leakback.Test) *leakback.Test {
	other := *test
	other.Runs = slices.Clone(test.Runs)
	for k := range other.Runs {
		run := &other.Runs[k]
		run.Readings = slices.Clone(run.Readings)
		for i := range run.Readings {
			r := &run.Readings[i]
			r.VolumeML, r.StartML, r.StartRead = r.VolumeML-r.StartML, 0, false
		}
	}
	return &other
}

// A test is the same test in whatever units its file has it, and in whatever
// order its rows stand: the same verdicts and findings as of the record itself.
func TestFilesInAnyUnitAndOrderSayTheSame(t *testing.T) {
	drawn(t, maker.test, func(t *rapid.T, _ maker, test *leakback.Test, sheet *limits.Sheet) {
		s := drawStyle(t)
		if s.density > 0 {
			test = emptied(test)
		}
		r := judged(t, test, sheet)
		text := s.file(t, test)
		read, err := entry.NewReader(strings.NewReader(text), "drawn.csv", "drawn", entry.NoDefaults()).Next()
		require.NoError(t, err, text)
		read.Cylinders = test.Cylinders // a flag's
		for k := range read.Runs {
			read.Runs[k].LeftOut = test.Runs[k].LeftOut // an option's
		}
		other := judged(t, read, sheet)
		require.Equal(t, r == nil, other == nil)
		if r == nil {
			return
		}
		require.Equal(t, codes(r), codes(other), text)
		for i := range r.Cylinders {
			requireScaled(t, 1, r.Cylinders[i].RateMLMin, other.Cylinders[i].RateMLMin)
			requireScaled(t, 1, r.Cylinders[i].Budget.ExpandedMLMin, other.Cylinders[i].Budget.ExpandedMLMin)
		}
	})
}

// What flags take in other units of pressure and temperature lies to the
// limit's state as it does in the inside unit, also right at its ends.
func TestStatesInAnyUnitSayTheSame(t *testing.T) {
	pressures := map[string]float64{" psi": 0.45359237 * 9.80665 / (0.0254 * 0.0254) / 1e5, " MPa": 10, " kPa": 0.01}
	drawn(t, maker.individual, func(t *rapid.T, m maker, test *leakback.Test, sheet *limits.Sheet) {
		l, half := m.limit(), func(label string, low, high int) float64 { return float64(m.whole(label, low, high)) / 2 }
		l.RailPressureBar = &limits.Range{Low: half("low bar", 200, 700), High: half("high bar", 700, 1000)}
		l.FuelTempC = &limits.Range{Low: half("low degC", 20, 80), High: half("high degC", 80, 140)}
		sheet.Limits, test.Condition = []limits.Limit{l}, "idle"
		name := rapid.SampledFrom([]string{" psi", " MPa", " kPa"}).Draw(t, "pressure in")
		other := *test
		other.Runs = slices.Clone(test.Runs)
		for k := range test.Runs {
			beside := m.one("beside it", 0, 0, 0.00001, -0.00001)
			bar := m.one("bar", l.RailPressureBar.Low, l.RailPressureBar.High) + beside
			degC := m.one("degC", l.FuelTempC.Low, l.FuelTempC.High) + beside
			test.Runs[k].State.RailPressureBar, test.Runs[k].State.FuelTempC = bar, degC
			st := &other.Runs[k].State
			st.RailPressureBar = parsed(t, quantity.Pressure, typedFigure(bar/pressures[name])+name)
			st.FuelTempC = parsed(t, quantity.Temperature, typedFigure(degC*1.8+32)+" °F")
		}
		r, again := judged(t, test, sheet), judged(t, &other, sheet)
		require.Equal(t, r == nil, again == nil)
		if r != nil {
			require.Equal(t, codes(r), codes(again))
		}
	})
}

func parsed(t *rapid.T, k quantity.Kind, text string) float64 {
	t.Helper()
	x, err := quantity.Parse(k, text)
	require.NoError(t, err)
	return x
}

// A tightening step in pounds is the step in newtons: the same torque to the 6
// decimals by which everything is decided.
func TestStepsInAnyUnitAreTheSame(t *testing.T) {
	sizes := map[string]float64{"N·m": 1, "lbf·ft": 0.45359237 * 9.80665 * 12 * 0.0254, "lbf·in": 0.45359237 * 9.80665 * 0.0254, "kgf·m": 9.80665}
	rapid.Check(t, func(t *rapid.T) {
		nm := float64(rapid.IntRange(1, 4000).Draw(t, "half N·m")) / 2
		unit := rapid.SampledFrom([]string{"N·m", "lbf·ft", "lbf·in", "kgf·m"}).Draw(t, "unit")
		text := fmt.Sprintf("[[tightening]]\nstep = 1\npart = 'tube nut'\ntorque = '%s %s'\nsource = 'drawn'\n", typedFigure(nm/sizes[unit]), unit)
		sheet, err := limits.Parse([]byte(text), "drawn.toml")
		if nm > 1999.99 && err != nil { // the last bit at the bound
			return
		}
		require.NoError(t, err)
		require.InDelta(t, nm, sheet.Tightening[0].TorqueNM, 1e-9)
	})
}
