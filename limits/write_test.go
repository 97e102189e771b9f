package limits_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/limits"
)

// asWritten writes a sheet, which must be possible.
func asWritten(t require.TestingT, s *limits.Sheet) string {
	var b strings.Builder
	require.NoError(t, limits.Write(&b, s))
	return b.String()
}

// leftToFile is a sheet without what a file alone decides: where it is and
// where its tables stand. Empty lists are as good as none.
func leftToFile(s *limits.Sheet) limits.Sheet {
	c := *s
	c.Path, c.Origin, c.TOML = "", "", ""
	if len(c.FiringOrder) == 0 {
		c.FiringOrder = nil
	}
	c.Limits = append([]limits.Limit(nil), s.Limits...)
	for i := range c.Limits {
		c.Limits[i].Line = 0
	}
	return c
}

// readsBackTheSame writes a sheet and requires that it reads back as it was.
func readsBackTheSame(t require.TestingT, s *limits.Sheet) {
	text := asWritten(t, s)
	back, err := limits.Parse([]byte(text), "other.toml")
	require.NoError(t, err, text)
	require.Equal(t, leftToFile(s), leftToFile(back), text)
}

func TestWriteGoodSheets(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(sheets, "good", "*.toml"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range append(files, "../testdata/demo/northmoor-six-90.toml") {
		s, err := limits.Load(file)
		require.NoError(t, err)
		readsBackTheSame(t, s)
	}
	readsBackTheSame(t, limits.Builtin())
}

func TestWriteSaysWhatIsWhat(t *testing.T) {
	s, err := limits.Parse([]byte(`name = 'A "sheet" \ of 5'
engine = 'Northmoor Six-90'
cylinders = 2
return_lines = { rear = [2], 'front, upper' = [1] }
back_pressure_bar = [8, 12.5]
[set]
healthy_cv = 0.12
within_limit = 'fail'
source = '24 engines, invented'
[measurement]
timing_s = 0.25
max_crank_s = 15
rest_s = 60
source = 'ten runs, invented'
[[limit]]
condition = 'idle'
max_rate_ml_min = 40.0
fuel_temp_c = [-0.0, 60.5]
source = 'section 3, invented'
[[limit]]
condition = 'cranking'
injectors = 'off'
cranks = 1
max_volume_ml = 10
interval_s = 15
source = 'section 4, invented'
[[tightening]]
step = 1
part = 'hold-down'
torque = '44 lbf·ft'
torque_tolerance_nm = 3
source = 'section 9, invented'
[[tightening]]
step = 3
part = 'tube nut'
angle_deg = 60
angle_tolerance_deg = 5
new_fastener = true
source = 'section 9, invented'
`), "bay.toml")
	require.NoError(t, err)
	assert.Equal(t, `# Limits sheet, written by leakback. The unit ends a key's name, and every table
# names the source of its figures. What each key means: leakback limits start ENGINE

name = "A \"sheet\" \\ of 5"
engine = "Northmoor Six-90"
cylinders = 2
return_lines = { rear = [2], "front, upper" = [1] }
# Where the return must be held up; without it recorded nothing is judged.
back_pressure_bar = [8, 12.5]

# Comparison of the cylinders with one another.
[set]
healthy_cv = 0.12  # spread of good injectors, one standard deviation, as a fraction
# What an injector is that stands out and yet meets the maker's maximum.
within_limit = "fail"
source = "24 engines, invented"

# How well the shop measures.
[measurement]
timing_s = 0.25  # standard uncertainty of the start, and of the stop
max_crank_s = 15  # the longest the starter may turn at a stretch
rest_s = 60  # its rest after that
source = "ten runs, invented"

# The maker's limits, one table for each running state.
[[limit]]
condition = "idle"
max_rate_ml_min = 40
fuel_temp_c = [0, 60.5]
source = "section 3, invented"

[[limit]]
condition = "cranking"
injectors = "off"
cranks = 1
max_volume_ml = 10
interval_s = 15
source = "section 4, invented"

# Refitting: the tightening steps in their order.
[[tightening]]
step = 1
part = "hold-down"
torque = "44 lbf·ft"
torque_tolerance_nm = 3  # the torque reached may lie so far from it
source = "section 9, invented"

[[tightening]]
step = 3
part = "tube nut"
angle_deg = 60  # turned further by so many degrees
angle_tolerance_deg = 5  # the angle reached may lie so far from it
new_fastener = true
source = "section 9, invented"
`, asWritten(t, s))
}

// draw makes sheets of every kind, the same for a seed.
type draw struct{ *rand.Rand }

func (d draw) some() bool { return d.IntN(2) == 0 }

// between is a figure of up to 17 digits.
func (d draw) between(low, high float64) float64 { return low + (high-low)*d.Float64() }

func (d draw) word() string {
	letters := []rune("aZ9 -_.#=\"'\\äß·µ…日𝛼")
	word := []rune{'x'} // begins and ends with something to see
	for range d.IntN(12) {
		word = append(word, letters[d.IntN(len(letters))])
	}
	return string(append(word, 'y'))
}

func (d draw) maybe(low, high float64) *float64 {
	if d.some() {
		return nil
	}
	x := d.between(low, high)
	return &x
}

func (d draw) span(low, high float64) *limits.Range {
	if d.some() {
		return nil
	}
	middle := d.between(low, high)
	return &limits.Range{Low: d.between(low, middle), High: d.between(middle, high)}
}

// left picks keys that the sheet leaves to the built-in figures.
func (d draw) left(keys ...string) (defaulted []string) {
	for _, key := range keys {
		if d.some() {
			defaulted = append(defaulted, key)
		}
	}
	return defaulted
}

func (d draw) sheet() *limits.Sheet {
	s := limits.Builtin()
	s.Name, s.Path = d.word(), "bay.toml"
	if d.some() {
		s.Engine, s.Cylinders = d.word(), 1+d.IntN(64)
	}
	if s.Cylinders > 1 && d.some() {
		for _, c := range d.Perm(s.Cylinders) {
			s.FiringOrder = append(s.FiringOrder, c+1)
		}
		half := s.Cylinders / 2
		s.ReturnLines = []limits.ReturnLine{{Name: d.word(), Cylinders: s.FiringOrder[half:]}, {Name: "a", Cylinders: s.FiringOrder[:half]}}
	}
	s.BackPressureBar = d.span(0, 4000)
	if d.some() {
		d.set(&s.Set)
		d.measurement(&s.Measurement)
	}
	for i := range d.IntN(4) {
		s.Limits = append(s.Limits, d.limit(i))
	}
	for i := range d.IntN(4) {
		s.Tightening = append(s.Tightening, d.step(1+3*i))
	}
	return s
}

func (d draw) set(s *limits.Set) {
	s.Source = d.word()
	s.Defaulted = d.left("healthy_cv", "false_alarm", "false_hint", "practical_ratio", "within_limit")
	left := strings.Join(s.Defaulted, " ")
	for _, f := range []struct {
		key       string
		to        *float64
		low, high float64
	}{
		{"healthy_cv", &s.HealthyCV, 0.01, 1}, {"false_alarm", &s.FalseAlarm, 1e-9, 0.05},
		{"false_hint", &s.FalseHint, 0.05, 0.4999}, {"practical_ratio", &s.PracticalRatio, 1, 10},
	} {
		if !strings.Contains(left, f.key) {
			*f.to = d.between(f.low, f.high)
		}
	}
	if !strings.Contains(left, "within") {
		s.WithinLimit = []limits.Within{limits.WithinFail, limits.WithinPass, limits.WithinUndecided}[d.IntN(3)]
	}
}

func (d draw) measurement(m *limits.Measurement) {
	m.Source = d.word()
	m.Defaulted = d.left("repeatability_cv", "common_cv", "timing_s")
	left := strings.Join(m.Defaulted, " ")
	for key, to := range map[string]*float64{
		"repeatability_cv": &m.RepeatabilityCV, "common_cv": &m.CommonCV, "timing_s": &m.TimingS,
	} {
		if !strings.Contains(left, key) {
			*to = 0.25 + float64(len(key))/64 // in any order of the map
		}
	}
	if d.some() {
		m.MaxCrankS, m.RestS = d.between(1, 60), d.between(1, 600)
	}
}

func (d draw) limit(i int) limits.Limit {
	l := limits.Limit{
		Condition: fmt.Sprint(d.word(), i), Cranks: d.IntN(100), Source: d.word(),
		MinRateMLMin: d.maybe(0, 1), MaxTotalMLMin: d.maybe(0, 1e5), MaxRatioToMedian: d.maybe(1, 100),
		MaxRatioToMean: d.maybe(1, 100), MaxRatioToLowest: d.maybe(1, 100), MaxDifferenceMLMin: d.maybe(0, 1e5),
		RailPressureBar: d.span(0, 4000), FuelTempC: d.span(-60, 200), EngineRPM: d.span(0, 1e4),
	}
	most, over := d.between(1, 900), d.between(1, 50)
	if d.some() {
		l.MaxRateMLMin = &most
	} else {
		l.MaxVolumeML, l.IntervalS = &most, &over
	}
	if d.some() {
		l.Injectors = limits.Off
	}
	return l
}

func (d draw) step(number int) limits.Step {
	s := limits.Step{Step: number, Part: d.word(), NewFastener: d.some(), Source: d.word(), AngleDeg: d.between(1, 1080)}
	if d.some() {
		s.AngleDeg, s.TorqueNM, s.TorqueText = 0, 60, " 60 N·m\t"
	}
	if d.some() && s.TorqueNM > 0 {
		s.TorqueToleranceNM = d.between(0.01, 59)
	}
	if d.some() && s.AngleDeg > 0 {
		s.AngleToleranceDeg = d.between(0.1, 0.9) * s.AngleDeg
	}
	return s
}

func TestWriteReadsBackTheSame(t *testing.T) {
	d := draw{rand.New(rand.NewPCG(3, 1))}
	for range 1000 {
		readsBackTheSame(t, d.sheet())
	}
}

// Whatever Parse takes, Write gives back.
func FuzzWrite(f *testing.F) {
	files, err := filepath.Glob(filepath.Join(sheets, "good", "*.toml"))
	require.NoError(f, err)
	for _, file := range files {
		data, err := os.ReadFile(file)
		require.NoError(f, err)
		f.Add(data)
	}
	for _, text := range []string{
		"firing_order = []", "name = '\x7f'", "[[tightening]]\nstep=1\npart='a'\nsource='b'\ntorque=\"6 N\\u00b7m\\n\"",
		"[[limit]]\ncondition='i'\nsource='s'\nfuel_temp_c=[-0.0,1e1]\nmax_rate_ml_min=+1e-9",
		"[set]\nfalse_alarm=1e-300\nsource='s'", "return_lines = { \"\u00a0\u2028\" = [1], ' ' = [2] }",
	} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		if s, err := limits.Parse(data, "bay.toml"); err == nil {
			readsBackTheSame(t, s)
		}
	})
}

func TestWriteRefusesWhatNoFileHolds(t *testing.T) {
	for name, test := range map[string]struct {
		spoil func(*limits.Sheet)
		want  string
	}{
		"figure":    {func(s *limits.Sheet) { s.Set.HealthyCV = 2 }, "bay.toml:8:1: healthy_cv: 2: expected a relative spread from 0.01 to 1"},
		"no number": {func(s *limits.Sheet) { s.Measurement.TimingS = math.NaN() }, "expected "},
		"no source": {func(s *limits.Sheet) { s.Set.HealthyCV, s.Set.Source = 0.2, "" }, "[set]: no source: expected where the figures come from"},
		"two lines": {func(s *limits.Sheet) { s.Engine = "a\nb" }, `engine: "a\nb": expected one line of text`},
		"no name":   {func(s *limits.Sheet) { s.Name = "" }, "bay.toml:1:1: empty: expected at least one of"},
		"spaces":    {func(s *limits.Sheet) { s.Name = " a" }, "it would not read back as it is"},
	} {
		s := limits.Builtin()
		s.Path = "bay.toml"
		test.spoil(s)
		var b strings.Builder
		err := limits.Write(&b, s)
		assert.ErrorContains(t, err, "the limits sheet cannot be written: ", name)
		assert.ErrorContains(t, err, test.want, name)
		assert.Empty(t, b.String(), name)
	}
}

func TestWriteReports(t *testing.T) {
	assert.EqualError(t, limits.Write(full{}, limits.Builtin()), "no space left")
}
