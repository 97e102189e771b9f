package limits_test

import (
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/limits"
)

const sheets = "../testdata/limits"

func figure(x float64) *float64 { return &x }

func TestLoadReadsEverything(t *testing.T) {
	path := filepath.Join(sheets, "good", "northmoor-six-90.toml")
	got, err := limits.Load(path)
	require.NoError(t, err)
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	const section3 = "invented service information, section 3, 2024-05-01"
	assert.Equal(t, &limits.Sheet{
		Name: "Bay sheet for the Northmoor Six-90", Path: path, Engine: "Northmoor Six-90", TOML: string(text),
		Cylinders: 6, FiringOrder: []int{1, 5, 3, 6, 2, 4},
		ReturnLines:     []limits.ReturnLine{{Name: "rear", Cylinders: []int{4, 5, 6}}, {Name: "front", Cylinders: []int{1, 2, 3}}},
		BackPressureBar: span(8, 12),
		Set: limits.Set{
			HealthyCV: 0.12, FalseAlarm: 0.02, FalseHint: 0.1, PracticalRatio: 1.25,
			WithinLimit: limits.WithinFail, Source: "24 engines of this shop, invented",
		},
		Measurement: limits.Measurement{
			RepeatabilityCV: 0.025, CommonCV: 0.015, TimingS: 0.2, MaxCrankS: 15, RestS: 60,
			Source: "ten runs on one engine, invented",
		},
		Limits: []limits.Limit{
			{
				Condition: "idle", Injectors: limits.Driven, MaxRateMLMin: figure(40), MinRateMLMin: figure(2),
				MaxTotalMLMin: figure(180), RailPressureBar: span(300, 400), FuelTempC: span(35, 60),
				Source: section3, Line: 25,
			},
			{
				Condition: "Idle", Injectors: limits.Driven, MaxRateMLMin: figure(55),
				RailPressureBar: span(401, 600), EngineRPM: span(1200, 1400), Source: section3, Line: 35,
			},
			{
				Condition: "cranking", Injectors: limits.Off, Cranks: 1, MaxVolumeML: figure(10), IntervalS: figure(15),
				MaxRatioToMedian: figure(2), MaxRatioToMean: figure(1.8), MaxRatioToLowest: figure(3),
				MaxDifferenceMLMin: figure(20), Source: "invented service information, section 4, 2024-05-01", Line: 43,
			},
		},
		Tightening: []limits.Step{
			{Step: 1, Part: "injector hold-down, both", TorqueNM: 44 * 1.3558179483314004, TorqueText: "44 lbf·ft", Source: "invented service information, section 9, 2024-05-01"},
			{Step: 2, Part: "feed tube nut", TorqueNM: 27 * 1.3558179483314004, TorqueText: "27 lbf.ft", AngleDeg: 60, NewFastener: true, Source: "invented service information, section 9, 2024-05-01"},
		},
	}, got)
}

func TestSetAloneIsASheet(t *testing.T) {
	got, err := limits.Load(filepath.Join(sheets, "good", "set-only.toml"))
	require.NoError(t, err)
	assert.Equal(t, "set-only.toml", got.Name)
	assert.Equal(t, 0.12, got.Set.HealthyCV)
	assert.Equal(t, []string{"false_alarm", "false_hint", "practical_ratio", "within_limit"}, got.Set.Defaulted)
	assert.Equal(t, 1.3, got.Set.PracticalRatio)
	assert.Equal(t, limits.WithinUndecided, got.Set.WithinLimit)
	assert.Equal(t, "assumed", got.Set.SourceOf("practical_ratio"))
	assert.Equal(t, limits.Builtin().Measurement, got.Measurement)
}

// Each sheet of the folder has its faults, word for word, in a file beside it.
func TestBadSheetsPointAtEveryFault(t *testing.T) {
	files, err := filepath.Glob(filepath.Join(sheets, "bad", "*.toml"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		want, err := os.ReadFile(strings.TrimSuffix(file, ".toml") + ".txt")
		require.NoError(t, err)
		_, err = limits.Load(file)
		var faults *limits.FaultError
		require.ErrorAs(t, err, &faults)
		got := strings.ReplaceAll(err.Error(), filepath.Dir(file)+string(filepath.Separator), "")
		assert.Equal(t, strings.TrimSpace(string(want)), got, file)
	}
}

func TestParseRefuses(t *testing.T) {
	const idle = "[[limit]]\ncondition='idle'\nsource='x'\n"
	tests := []struct{ name, text, want string }{
		{"nothing", "", "1:1: empty: expected at least one of [set], [measurement], [[limit]] and [[tightening]]"},
		{"comments only", "# later\n", "1:1: empty: expected at least one of [set], [measurement], [[limit]] and [[tightening]]"},
		{"decimal comma", "[set]\nhealthy_cv = 0,12", "2:15: expected the line to end here: a number has a decimal point and no unit, text stands in quotes, a list in brackets"},
		{"unit", "[set]\nhealthy_cv = 12%", "2:16: expected the line to end here: a number has a decimal point and no unit, text stands in quotes, a list in brackets"},
		{"unit at the number", "interval_s = 15s", "1:16: expected the number to end here: a number has a decimal point and no unit, text stands in quotes, a list in brackets"},
		{"no value", "name = # later", "1:8: expected a value here: a number has a decimal point and no unit, text stands in quotes, a list in brackets"},
		{"column in characters", "name = \"Prüfblatt\" Süd", "1:20: expected the line to end here: a number has a decimal point and no unit, text stands in quotes, a list in brackets"},
		{"huge number", "cylinders = 1e400", "1:13: number too large: expected one that fits a figure of this sheet"},
		{"huge whole number", "cylinders = 99999999999999999999", "1:13: number too large: expected one that fits a figure of this sheet"},
		{"two lines of text", "name = 'a'\nengine = \"a\\nb\"", `2:1: engine: "a\nb": expected one line of text`},
		{"strange key", "\"a\\nb\" = 1", `1:1: "a\nb": unknown key: a sheet takes name, engine, cylinders, firing_order, return_lines, back_pressure_bar, set, measurement, limit, tightening`},

		{"cylinders", "cylinders = 65", "1:1: cylinders: 65: expected a whole number from 1 to 64"},
		{"half a cylinder", "cylinders = 6.5", "1:1: cylinders: 6.5: expected a whole number from 1 to 64"},
		{"cylinders in words", "cylinders = 'six'", `1:1: cylinders: "six": expected a whole number from 1 to 64, without quotes`},
		{"cylinder fires twice", "cylinders = 4\nfiring_order = [1, 2, 2, 4]", "2:1: firing_order: [1, 2, 2, 4]: expected each cylinder from 1 to 4 once"},
		{"cylinder never fires", "cylinders = 4\nfiring_order = [1, 2, 4]", "2:1: firing_order: [1, 2, 4]: expected each cylinder from 1 to 4 once"},
		{"no such cylinder fires", "cylinders = 4\nfiring_order = [1, 3, 5, 4]", "2:23: firing_order: 5: expected cylinders from 1 to 4"},
		{"order without a count", "firing_order = [1, 3]", "1:1: firing_order: [1, 3]: expected each cylinder from 1 to 2 once"},
		{"endless order", "firing_order = [" + strings.Repeat("1,", 1000) + "]", "1:1: firing_order: expected cylinder numbers in brackets"},
		{"order is no list", "firing_order = 1342", "1:1: firing_order: 1342: expected cylinder numbers in brackets"},
		{"cylinder in two lines", "cylinders = 4\nreturn_lines = { a = [1, 2], b = [2, 3, 4] }", "2:30: return_lines.b: cylinder 2 is in a as well: expected each cylinder once"},
		{"cylinder in no line", "cylinders = 4\nreturn_lines = { a = [1, 2], b = [3] }", "2:1: return_lines: cylinder 4 is in no line: expected each cylinder from 1 to 4 once"},
		{"no such cylinder in a line", "cylinders = 4\n[return_lines]\na = [1, 2]\nb = [3, 4, 5]", "4:12: return_lines.b: 5: expected cylinders from 1 to 4"},
		{"line without cylinders", "return_lines = { a = [] }", "1:18: return_lines.a: expected at least one cylinder"},
		{"line without a name", "return_lines = { '' = [1] }", `1:18: return_lines."": expected a short name on one line`},
		{"no lines", "return_lines = {}", "1:1: return_lines: expected at least one line with its cylinders"},
		{"lines are no table", "return_lines = [1]", "1:1: return_lines: expected one table, [return_lines]"},
		{"one end", "back_pressure_bar = [8]", "1:1: back_pressure_bar: [8]: expected two numbers in brackets, the lower one first"},
		{"no range", "back_pressure_bar = 8", "1:1: back_pressure_bar: 8: expected two numbers in brackets, the lower one first"},
		{"end in quotes", "back_pressure_bar = [8, '9']", `1:25: back_pressure_bar: "9": expected a pressure from 0 to 4,000 bar, without quotes`},

		{"set is no table", "set = 1", "1:1: set: expected one table, [set]"},
		{"set is many", "[[set]]\nsource = 'x'", "1:1: set: expected one table, [set]"},
		{"limit is one", "[limit]\n" + idle[len("[[limit]]\n"):], "1:1: limit: expected the header in double brackets, [[limit]]"},
		{"limit is a list", "limit = [1]", "1:1: limit: expected tables, each under a header [[limit]]"},
		{"dotted keys", "set.source = 'x'\nset.healthy_cv = 2", "2:1: healthy_cv: 2: expected a relative spread from 0.01 to 1"},
		{"hint below alarm", "[set]\nfalse_hint = 0.005\nsource = 'x'", "2:1: false_hint: 0.005: expected at least false_alarm, which is 0.01"},
		{"alarm above the usual hint", "[set]\nfalse_alarm = 0.2\nsource = 'x'", "2:1: false_alarm: 0.2: expected at most false_hint, which is 0.05 where not given"},
		{"no chance", "[set]\nfalse_alarm = 0\nsource = 'x'", "2:1: false_alarm: 0: expected a chance above 0 and below 0.5"},
		{"even chance", "[set]\nfalse_hint = 0.5\nsource = 'x'", "2:1: false_hint: 0.5: expected a chance above 0 and below 0.5"},
		{"within", "[set]\nwithin_limit = 'perhaps'\nsource = 'x'", `2:1: within_limit: "perhaps": expected undecided, fail or pass`},
		{"within empty", "[set]\nwithin_limit = ''\nsource = 'x'", `2:1: within_limit: "": expected undecided, fail or pass`},
		{"practical ratio", "[set]\npractical_ratio = 11\nsource = 'x'", "2:1: practical_ratio: 11: expected a ratio from 1 to 10"},
		{"crank without rest", "[measurement]\nmax_crank_s = 15\nsource = 'x'", "2:1: max_crank_s: expected rest_s beside it"},
		{"rest without crank", "[measurement]\nrest_s = 15\nsource = 'x'", "2:1: rest_s: expected max_crank_s beside it"},
		{"no crank", "[measurement]\nmax_crank_s = 0\nrest_s = 60\nsource = 'x'", "2:1: max_crank_s: 0: expected an interval from 1 to 86,400 s"},
		{"timing", "[measurement]\ntiming_s = 11\nsource = 'x'", "2:1: timing_s: 11: expected an uncertainty from 0 to 10 s"},
		{"spread", "[measurement]\ncommon_cv = 1.5\nsource = 'x'", "2:1: common_cv: 1.5: expected a relative spread from 0 to 1"},

		{"limit without figure", idle, "1:1: [[limit]]: no figure: expected at least one of max_rate_ml_min, min_rate_ml_min, max_volume_ml, interval_s, max_total_ml_min, max_ratio_to_median, max_ratio_to_mean, max_ratio_to_lowest, max_difference_ml_min"},
		{"limit without condition", "[[limit]]\nmax_rate_ml_min = 4\nsource = 'x'", "1:1: [[limit]]: no condition: expected cranking, idle or another running state"},
		{"empty condition", "[[limit]]\ncondition = ' '\nmax_rate_ml_min = 4\nsource = 'x'", "2:1: condition: empty: expected cranking, idle or another running state"},
		{"injectors", idle + "max_rate_ml_min = 4\ninjectors = 'on'", `5:1: injectors: "on": expected driven or off`},
		{"cranks", idle + "max_rate_ml_min = 4\ncranks = 0", "5:1: cranks: 0: expected a whole number from 1 to 100"},
		{"volume without time", idle + "max_volume_ml = 4", "4:1: max_volume_ml: expected interval_s beside it"},
		{"time without volume", idle + "interval_s = 4", "4:1: interval_s: expected max_volume_ml beside it"},
		{"two maxima", idle + "max_volume_ml = 4\ninterval_s = 15\nmax_rate_ml_min = 40", "4:1: max_volume_ml: expected it or max_rate_ml_min, not both"},
		{"absurd rate", idle + "max_volume_ml = 9999\ninterval_s = 3", "4:1: max_volume_ml: over interval_s it makes 199980: expected a rate from 0 to 100,000 mL/min"},
		{"ratio below one", idle + "max_ratio_to_mean = 0.9", "4:1: max_ratio_to_mean: 0.9: expected a ratio from 1 to 100"},
		{"speed", idle + "max_rate_ml_min = 4\nengine_rpm = [800, 12000]", "5:20: engine_rpm: 12000: expected a speed from 0 to 10,000 rpm"},
		{"one long value", idle + "max_rate_ml_min = true\n", "4:1: max_rate_ml_min: true: expected a rate from 0 to 100,000 mL/min"},
		{"inline", "limit = [{ condition = 'idle',\n  max_rate_ml_min = -1, source = 'x' }]", "2:3: max_rate_ml_min: -1: expected a rate from 0 to 100,000 mL/min"},

		{"torque without unit", "[[tightening]]\nstep = 1\npart = 'nut'\ntorque = 60\nsource = 'x'", `4:1: torque: "60": expected a torque with its unit: N·m, lbf·ft, lbf·in or kgf·m`},
		{"torque of nothing", "[[tightening]]\nstep = 1\npart = 'nut'\ntorque = '0 N·m'\nsource = 'x'", `4:1: torque: "0 N·m": expected a torque above 0`},
		{"neither torque nor angle", "[[tightening]]\nstep = 1\npart = 'nut'\nsource = 'x'", "1:1: [[tightening]]: no torque and no angle_deg: expected one of them or both"},
		{"angle", "[[tightening]]\nstep = 1\npart = 'nut'\nangle_deg = 0\nsource = 'x'", "4:1: angle_deg: 0: expected an angle from 1 to 1,080 degrees"},
		{"torque tolerance", "[[tightening]]\nstep = 1\npart = 'nut'\ntorque = '60 N·m'\ntorque_tolerance_nm = 60\nsource = 'x'", "5:1: torque_tolerance_nm: 60: expected a tolerance above 0 and below the step's 60 N·m"},
		{"torque tolerance of nothing", "[[tightening]]\nstep = 1\npart = 'nut'\ntorque = '60 N·m'\ntorque_tolerance_nm = 0\nsource = 'x'", "5:1: torque_tolerance_nm: 0: expected a tolerance above 0 and below the step's 60 N·m"},
		{"angle tolerance alone", "[[tightening]]\nstep = 1\npart = 'nut'\ntorque = '60 N·m'\nangle_tolerance_deg = 5\nsource = 'x'", "5:1: angle_tolerance_deg: expected angle_deg beside it"},
		{"angle tolerance", "[[tightening]]\nstep = 1\npart = 'nut'\nangle_deg = 60\nangle_tolerance_deg = 75\nsource = 'x'", "5:1: angle_tolerance_deg: 75: expected a tolerance above 0 and below the step's 60 degrees"},
		{"no step", "[[tightening]]\npart = 'nut'\nangle_deg = 60\nsource = 'x'", "1:1: [[tightening]]: no step: expected its number, from 1"},
		{"no part", "[[tightening]]\nstep = 1\nangle_deg = 60\nsource = 'x'", "1:1: [[tightening]]: no part: expected what is tightened"},
		{"new fastener", "[[tightening]]\nstep = 1\npart = 'nut'\nangle_deg = 60\nnew_fastener = 'yes'\nsource = 'x'", "5:1: new_fastener: 'yes': expected true or false"},
		{"same step again", "[[tightening]]\nstep = 2\npart = 'nut'\nangle_deg = 60\nsource = 'x'\n[[tightening]]\nstep = 2\npart = 'nut'\nangle_deg = 60\nsource = 'x'", "7:1: step: 2 after 2: expected the steps in rising order"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			s, err := limits.Parse([]byte(test.text), "bay.toml")
			assert.Nil(t, s)
			assert.EqualError(t, err, "bay.toml:"+test.want)
		})
	}
}

func TestParseRefusesWhatIsNoText(t *testing.T) {
	for text, want := range map[string]string{
		"\xff\xfe[\x00s\x00":                       "bay.toml: text in UTF-16: expected UTF-8, save it so",
		"\xfe\xff\x00[\x00s":                       "bay.toml: text in UTF-16: expected UTF-8, save it so",
		"PK\x03\x04\x00":                           "bay.toml: not a text file: expected a limits sheet in TOML, saved as UTF-8",
		"set = {" + strings.Repeat("a=1,", 10_001): "bay.toml: too many keys: expected a limits sheet",
		strings.Repeat("[[limit]]\n", 5_001):       "bay.toml: too many tables and lists: expected a limits sheet",
		"a = " + strings.Repeat("[", 100_000):      "bay.toml: too many tables and lists: expected a limits sheet",
		strings.Repeat("#", 1<<20) + "#":           "bay.toml: longer than 1 MiB: expected a limits sheet",
	} {
		_, err := limits.Parse([]byte(text), "bay.toml")
		var faults *limits.FaultError
		assert.ErrorAs(t, err, &faults)
		assert.EqualError(t, err, want)
	}
}

func TestByteOrderMarkIsAccepted(t *testing.T) {
	s, err := limits.Parse([]byte("\ufeff[set]\r\nhealthy_cv = 0.2\r\nsource = 'x'\r\n"), "")
	require.NoError(t, err)
	assert.Equal(t, 0.2, s.Set.HealthyCV)
	assert.Equal(t, "limits sheet", s.Name)
	_, err = limits.Parse([]byte("\ufeffcylinders = 0"), "bay.toml")
	assert.EqualError(t, err, "bay.toml:1:1: cylinders: 0: expected a whole number from 1 to 64")
}

func TestFileNamesStayOnTheirLine(t *testing.T) {
	_, err := limits.Parse([]byte("cylinders = 0"), "a\nb\x1b.toml")
	assert.EqualError(t, err, `"a\nb\x1b.toml":1:1: cylinders: 0: expected a whole number from 1 to 64`)
}

func TestTwentyFaultsAreEnough(t *testing.T) {
	var b strings.Builder
	b.WriteString("[set]\nsource = 'x'\n")
	for i := range 25 {
		fmt.Fprintf(&b, "k%d = 1\n", i)
	}
	_, err := limits.Parse([]byte(b.String()), "bay.toml")
	var faults *limits.FaultError
	require.ErrorAs(t, err, &faults)
	assert.Len(t, faults.Faults, 20)
	assert.Equal(t, 5, faults.More)
	lines := strings.Split(err.Error(), "\n")
	assert.Len(t, lines, 21)
	assert.Equal(t, "bay.toml: and 5 more", lines[20])
	assert.True(t, strings.HasPrefix(lines[19], "bay.toml:22:1: k19: "))
}

func TestLimitsThatDoNotOverlapMayRepeatACondition(t *testing.T) {
	limit := func(state string) string {
		return "[[limit]]\ncondition = 'idle'\nmax_rate_ml_min = 4\nsource = 'x'\n" + state + "\n"
	}
	for _, states := range [][2]string{
		{"injectors = 'driven'", "injectors = 'off'"},
		{"cranks = 1", "cranks = 3"},
		{"rail_pressure_bar = [300, 400]", "rail_pressure_bar = [401, 500]"},
		{"fuel_temp_c = [-10, 20]", "fuel_temp_c = [20.5, 50]"},
		{"engine_rpm = [600, 800]", "engine_rpm = [1000, 1200]\nfuel_temp_c = [20, 30]"},
	} {
		_, err := limits.Parse([]byte(limit(states[0])+limit(states[1])), "bay.toml")
		assert.NoError(t, err, states)
		_, err = limits.Parse([]byte(limit(states[0])+limit("")), "bay.toml")
		assert.ErrorContains(t, err, "bay.toml:6:1: [[limit]]: \"idle\" again, as in line 1", states)
	}
}

func TestLoadGivesTheSystemsError(t *testing.T) {
	_, err := limits.Load(filepath.Join(t.TempDir(), "none.toml"))
	assert.ErrorIs(t, err, fs.ErrNotExist)
	_, err = limits.Load(t.TempDir())
	var path *fs.PathError
	assert.ErrorAs(t, err, &path)
}

// An error means no sheet; a sheet means that what the rest relies on holds.
func FuzzParse(f *testing.F) {
	files, err := filepath.Glob(filepath.Join(sheets, "*", "*.toml"))
	require.NoError(f, err)
	for _, file := range files {
		data, err := os.ReadFile(file)
		require.NoError(f, err)
		f.Add(data)
	}
	for _, text := range []string{
		"return_lines.a.b = [1]", "limit = [{condition='idle', x={y=[[1]]}}]", "[[limit.x]]\n[limit.x.y]\n",
		"\"limit[0]\" = 1\n[[limit]]", "a.a.a.a.a.a = 1", "set = [[[[[[1]]]]]]", "\"\"\"a\"\"\" = 1",
	} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := limits.Parse(data, "bay.toml")
		if err != nil {
			require.Nil(t, s)
			var faults *limits.FaultError
			require.ErrorAs(t, err, &faults)
			require.NotEmpty(t, faults.Faults)
			require.LessOrEqual(t, strings.Count(err.Error(), "\n"), 20)
			return
		}
		require.NotEmpty(t, s.Set.Source)
		require.NotEmpty(t, s.Measurement.Source)
		require.True(t, s.Set.HealthyCV >= 0.01 && s.Set.FalseHint >= s.Set.FalseAlarm && s.Set.FalseAlarm > 0)
		for i := range s.Limits {
			l := &s.Limits[i]
			require.NotEmpty(t, l.Figures())
			require.NotEmpty(t, l.Source)
			require.Positive(t, l.Line)
			require.NotEmpty(t, s.For(l.Condition, l.Injectors, limits.State{Cranks: l.Cranks}))
		}
	})
}

// A key that would break the line, or play with a terminal, is quoted in what the
// decoder says as well.
func TestKeysAreShownOnOneLine(t *testing.T) {
	_, err := limits.Parse([]byte(`"a\u001b[31m\nleakback: wrote b" = 1`+"\n"+`"a\u001b[31m\nleakback: wrote b" = 2`), "bay.toml")
	var faults *limits.FaultError
	require.ErrorAs(t, err, &faults)
	assert.NotContains(t, err.Error(), "\n")
	assert.NotContains(t, err.Error(), "\x1b")
	assert.Contains(t, err.Error(), `leakback: wrote b`)
}

// What a sheet is started with is written so that it can be looked at, and read back.
func TestStartShowsWhatIsObeyed(t *testing.T) {
	const engine = "a\u202eb\u2028\U000e0041"
	var text strings.Builder
	require.NoError(t, limits.Start(&text, engine))
	assert.Contains(t, text.String(), `engine = "a\u202eb\u2028\U000e0041"`)
}
