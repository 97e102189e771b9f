package entry

import (
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/limits"
)

const readings = "../../testdata/readings"

var nan = math.NaN()

// minute are the flags of a technician who collected for 60 s.
func minute() Defaults {
	d := NoDefaults()
	d.IntervalS = 60
	return d
}

// readAll reads the tests and the error that ended them; nil for io.EOF.
func readAll(r io.Reader, name string, d Defaults) ([]*leakback.Test, error) {
	rd := NewReader(r, name, TestID(name), d)
	var tests []*leakback.Test
	for {
		test, err := rd.Next()
		if err == io.EOF {
			return tests, nil
		}
		if err != nil {
			return tests, err
		}
		tests = append(tests, test)
	}
}

func readString(text string, d Defaults) ([]*leakback.Test, error) {
	return readAll(strings.NewReader(text), "idle.csv", d)
}

// readFile reads a file of the testdata, which must be sound.
func readFile(t *testing.T, name string, d Defaults) []*leakback.Test {
	t.Helper()
	f, err := os.Open(filepath.Join(readings, name))
	require.NoError(t, err)
	defer f.Close()
	tests, err := readAll(f, name, d)
	require.NoError(t, err)
	for _, test := range tests {
		requireSound(t, test)
	}
	return tests
}

// plain is what a reading is in a tube of 1 mL marks of which nothing is known.
func plain(cylinder int, typed string, volume float64) leakback.Reading {
	return leakback.Reading{Cylinder: cylinder, Typed: typed, VolumeML: volume,
		Tube: leakback.Tube{GraduationML: 1, ToleranceML: 1}}
}

// equal compares values that may hold NaN.
func equal(t *testing.T, want, got any) {
	t.Helper()
	require.Equal(t, format(want), format(got))
}

func TestShortFile(t *testing.T) {
	tests := readFile(t, "short.csv", minute())
	equal(t, []*leakback.Test{{ID: "short", Method: leakback.MethodIndividual, Runs: []leakback.Run{{
		Number: 1, IntervalS: 60, State: leakback.UnknownState(), Readings: []leakback.Reading{
			plain(1, "21", 21), plain(2, "22.5", 22.5), plain(3, "23", 23),
			plain(4, "48", 48), plain(5, "21", 21), plain(6, "22", 22),
		}}}}}, tests)
}

func TestRunsAreSorted(t *testing.T) {
	tests := readFile(t, "runs.csv", NoDefaults())
	require.Len(t, tests, 1)
	require.Len(t, tests[0].Runs, 2)
	in100 := func(cylinder int, typed string, volume float64, bound leakback.Bound) leakback.Reading {
		rd := plain(cylinder, typed, volume)
		rd.Bound, rd.Tube.CapacityML = bound, 100
		return rd
	}
	equal(t, []leakback.Reading{in100(1, "21", 21, leakback.Exact), in100(2, ">100", 100, leakback.AtLeast),
		in100(3, "<2", 2, leakback.AtMost), in100(4, "21.5", 21.5, leakback.Exact)}, tests[0].Runs[0].Readings)
	equal(t, []leakback.Reading{in100(1, "20.5", 20.5, leakback.Exact), in100(2, ">100", 100, leakback.AtLeast),
		in100(3, "", nan, leakback.Exact), in100(4, "31", 31, leakback.Exact)}, tests[0].Runs[1].Readings)
	assert.Equal(t, 1, tests[0].Runs[0].Number)
	assert.Equal(t, 60.0, tests[0].Runs[0].IntervalS)
	assert.Equal(t, 2, tests[0].Runs[1].Number)
	assert.Equal(t, 90.0, tests[0].Runs[1].IntervalS)
	assert.False(t, tests[0].Runs[1].Readings[2].Read())
}

func TestBatch(t *testing.T) {
	tests := readFile(t, "batch.csv", NoDefaults())
	require.Len(t, tests, 3)
	var ids, engines, conditions, injectors []string
	for _, test := range tests {
		ids = append(ids, test.ID)
		engines = append(engines, test.Engine)
		conditions = append(conditions, test.Condition)
		injectors = append(injectors, test.Injectors)
	}
	assert.Equal(t, []string{"NM-1", "NM-2", "7, second bay"}, ids)
	assert.Equal(t, []string{"Northmoor Six-90", "Northmoor Six-90", "Northmoor Four-30"}, engines)
	assert.Equal(t, []string{"idle", "cranking", "raised-idle"}, conditions)
	assert.Equal(t, []string{limits.Driven, limits.Off, limits.Driven}, injectors)
	equal(t, []leakback.Reading{plain(1, "21", 21), plain(2, "45", 45), plain(3, "22", 22)}, tests[0].Runs[0].Readings)
}

// A cell that only the first row of a run fills in holds for the run.
func TestStateStatedOnce(t *testing.T) {
	d := minute()
	d.RailPressureBar, d.EngineRPM, d.IntervalS = 300, 750, 30
	run := readFile(t, "workshop.csv", d)[0].Runs[0]
	want := leakback.UnknownState()
	want.RailPressureBar, want.EngineRPM = 350, 750
	equal(t, want, run.State)
	assert.Equal(t, 60.0, run.IntervalS)
	assert.Equal(t, 22.5, run.Readings[0].VolumeML)
	assert.Equal(t, "22,5", run.Readings[0].Typed)
	assert.Equal(t, 21.75, run.Readings[2].VolumeML)
	assert.Equal(t, leakback.AtLeast, run.Readings[3].Bound)
	assert.Equal(t, "right", run.Readings[3].ReturnLine)
}

func TestState(t *testing.T) {
	run := readFile(t, "state.tsv", NoDefaults())[0].Runs[0]
	equal(t, leakback.State{Cranks: 3, FuelTempC: 41.5, FuelTempAt: "return",
		RailPressureBar: 380, BackPressureBar: 0, EngineRPM: 210}, run.State)
	var starts []float64
	for _, rd := range run.Readings {
		assert.True(t, rd.StartRead)
		starts = append(starts, rd.StartML)
	}
	assert.Equal(t, []float64{10, 0, 12}, starts)
}

// 1 US fl oz is 29.5735295625 mL: NIST SP 811 (2008), appendix B.
func TestUnits(t *testing.T) {
	run := readFile(t, "units.csv", NoDefaults())[0].Runs[0]
	assert.Equal(t, 90.0, run.IntervalS)
	assert.InDelta(t, 0.75*29.5735295625, run.Readings[0].VolumeML, 1e-12)
	assert.InDelta(t, 29.5735295625, run.Readings[1].VolumeML, 1e-12)
	assert.Equal(t, "0.75 fl oz", run.Readings[0].Typed)
	cc, err := readString("volume_cc,cylinder\n21,1\n", minute())
	require.NoError(t, err)
	assert.Equal(t, 21.0, cc[0].Runs[0].Readings[0].VolumeML)
}

// A full tube is full in every unit: 8.45350567546075 fl oz is 250 mL but for the
// last bits of the figure, and 4.074589735572081 fl oz are 120.5 mL.
func TestFullTubeInOunces(t *testing.T) {
	for ounces, capacity := range map[string]string{">8.45350567546075": "250", "4.074589735572081": "120.5"} {
		tests, err := readString("cylinder,volume_floz,capacity_ml\n1,"+ounces+","+capacity+"\n", minute())
		require.NoError(t, err)
		assert.True(t, tests[0].Runs[0].Readings[0].Read())
	}
	_, err := readString("cylinder,volume_floz,capacity_ml\n1,8.45351,250\n", minute())
	requireFaults(t, err, []string{`idle.csv: row 2, column volume_floz: "8.45351": expected at most the tube's capacity, 250 mL; ` +
		`where it overflowed write > and its highest mark`})
}

func TestTubes(t *testing.T) {
	d := minute()
	d.GraduationML, d.ToleranceML = 2, 1.5
	rd := readFile(t, "tubes.csv", d)[0].Runs[0].Readings
	assert.Equal(t, leakback.Tube{GraduationML: 1, CapacityML: 100, ToleranceML: 0.5}, rd[0].Tube)
	assert.Equal(t, leakback.Tube{GraduationML: 0.2, CapacityML: 10, ToleranceML: 1.5}, rd[1].Tube)
	assert.Equal(t, leakback.Tube{GraduationML: 2}, rd[4].Tube)

	assert.Equal(t, leakback.Exact, rd[0].Bound)
	assert.Equal(t, leakback.AtLeast, rd[2].Bound, "overflowed at the capacity")
	assert.Equal(t, 25.0, rd[2].VolumeML)
	assert.Equal(t, ">25", rd[2].Typed)
	assert.Equal(t, leakback.AtLeast, rd[3].Bound, "overflowed at the level given")
	assert.Equal(t, 24.0, rd[3].VolumeML)
	assert.Equal(t, "24", rd[3].Typed)

	one := readFile(t, "tubes.csv", minute())[0].Runs[0].Readings
	assert.Equal(t, 0.2, one[1].Tube.ToleranceML, "one mark")
}

// Class A tolerances: ASTM E1272-02(2012), table 1: 0.50 mL at 100 mL, 0.17 mL
// at 25 mL.
func TestTubeClass(t *testing.T) {
	d := minute()
	d.TubeClass, d.CapacityML = "a", 100
	tests, err := readString("cylinder,volume_ml,capacity_ml,tolerance_ml\n1,21,,\n2,21,25,\n3,21,,0.7\n", d)
	require.NoError(t, err)
	rd := tests[0].Runs[0].Readings
	assert.Equal(t, leakback.Tube{GraduationML: 1, CapacityML: 100, ToleranceML: 0.5, Class: "A"}, rd[0].Tube)
	assert.Equal(t, leakback.Tube{GraduationML: 1, CapacityML: 25, ToleranceML: 0.17, Class: "A"}, rd[1].Tube)
	assert.Equal(t, leakback.Tube{GraduationML: 1, CapacityML: 100, ToleranceML: 0.7}, rd[2].Tube)
}

func TestFlagsFillIn(t *testing.T) {
	d := Defaults{IntervalS: 15, GraduationML: 0.5, CapacityML: 50, ToleranceML: 0.25, DensityGML: 0.84, FitDrift: true, Condition: "Cranking",
		Injectors: "OFF", Cranks: 2, FuelTempC: 20, FuelTempAt: "Rail", RailPressureBar: 250, BackPressureBar: 10,
		EngineRPM: 200, ReturnLine: "left", Engine: " Northmoor Six-90", Cylinders: 6}
	tests, err := readString("cylinder,volume_ml,condition,rail_pressure_bar\n1,5,,\n2,6,hot start,260\n", d)
	require.NoError(t, err)
	test := tests[0]
	assert.Equal(t, "hot start", test.Condition)
	assert.Equal(t, limits.Off, test.Injectors)
	assert.Equal(t, "Northmoor Six-90", test.Engine)
	assert.Equal(t, 6, test.Cylinders)
	assert.True(t, test.FitDrift)
	assert.Equal(t, 15.0, test.Runs[0].IntervalS)
	assert.Equal(t, leakback.State{Cranks: 2, FuelTempC: 20, FuelTempAt: "rail", RailPressureBar: 260,
		BackPressureBar: 10, EngineRPM: 200}, test.Runs[0].State)
	assert.Equal(t, "left", test.Runs[0].Readings[0].ReturnLine)
	assert.Equal(t, leakback.Tube{GraduationML: 0.5, CapacityML: 50, ToleranceML: 0.25}, test.Runs[0].Readings[0].Tube)
}

// The same readings, written in every way that a file may be.
func TestShapes(t *testing.T) {
	want := []leakback.Reading{plain(1, "21", 21), plain(2, "22", 22)}
	for name, text := range map[string]string{
		"plain":               "cylinder,volume_ml\n1,21\n2,22\n",
		"no last line end":    "cylinder,volume_ml\n1,21\n2,22",
		"CR LF":               "cylinder,volume_ml\r\n1,21\r\n2,22\r\n",
		"CR":                  "cylinder,volume_ml\r1,21\r2,22\r",
		"CR, no last":         "cylinder,volume_ml\r1,21\r2,22",
		"CR CR LF":            "cylinder,volume_ml\r\r\n1,21\r\r\n2,22\r\r\n",
		"line ends mixed":     "cylinder,volume_ml\n1,21\r2,22\r\n",
		"BOM":                 "\ufeffcylinder,volume_ml\n1,21\n2,22\n",
		"BOM and quotes":      "\ufeff\"cylinder\",\"volume_ml\"\n\"1\",\"21\"\n2,22\n",
		"case and spaces":     " Cylinder , VOLUME_ML \n 1 , 21 \n\t2,22\u00a0\n",
		"other order":         "volume_ml,cylinder\n22,2\n21,1\n",
		"semicolons":          "cylinder;volume_ml\n1;21\n2;22\n",
		"tabs":                "cylinder\tvolume_ml\n1\t21\n2\t22\n",
		"blank lines":         "\n\n  \n;;;\ncylinder;volume_ml\n\n1;21\n   \n2;22\n\n\n",
		"empty rows":          "cylinder;volume_ml;\n;;\n1;21;\n;;;;;\n2;22;\n\"\";;\n",
		"empty columns":       "cylinder,volume_ml,run,start_ml,over_range,interval_s\n1,21,,,,\n2,22,1,,0,\n",
		"unnamed":             "cylinder,,volume_ml,\n1,,21,\n2,,22,\n",
		"one cell not quoted": "cylinder,volume_ml,engine\n1,21,\"Six \"\"90\"\"\"\n2,22,\n",
	} {
		t.Run(name, func(t *testing.T) {
			tests, err := readString(text, minute())
			require.NoError(t, err)
			require.Len(t, tests, 1)
			equal(t, want, tests[0].Runs[0].Readings)
		})
	}
}

func TestTypedIsKept(t *testing.T) {
	for cell, want := range map[string]leakback.Reading{
		" >100 ": {Typed: ">100", VolumeML: 100, Bound: leakback.AtLeast},
		"> 100":  {Typed: "> 100", VolumeML: 100, Bound: leakback.AtLeast},
		"<0,5":   {Typed: "<0,5", VolumeML: 0.5, Bound: leakback.AtMost},
		"022.50": {Typed: "022.50", VolumeML: 22.5},
		"0":      {Typed: "0", VolumeML: 0},
		"-":      {},
		"":       {VolumeML: nan},
	} {
		tests, err := readString("cylinder;volume_ml\n1;"+cell+"\n", minute())
		if cell == "-" {
			require.Error(t, err)
			continue
		}
		require.NoError(t, err, cell)
		want.Cylinder, want.Tube = 1, leakback.Tube{GraduationML: 1, ToleranceML: 1}
		equal(t, want, tests[0].Runs[0].Readings[0])
	}
}

// However many names a batch has, few of them are kept.
func TestNamesKept(t *testing.T) {
	var text strings.Builder
	text.WriteString("test_id,engine,cylinder,volume_ml\n")
	for i := range 5 * mostWords {
		fmt.Fprintf(&text, "t%d,engine %d,1,21\n", i, i)
	}
	rd := NewReader(strings.NewReader(text.String()), "batch.csv", "batch", minute())
	for i := range 5 * mostWords {
		test, err := rd.Next()
		require.NoError(t, err)
		require.Equal(t, fmt.Sprintf("engine %d", i), test.Engine)
		require.LessOrEqual(t, len(rd.words[colEngine]), mostWords)
	}
}

func TestTestID(t *testing.T) {
	for name, want := range map[string]string{
		"-":                                   "stdin",
		"idle.csv":                            "idle",
		filepath.Join("a", "b.c", "Idle.TXT"): "Idle",
		"x.y.tsv":                             "x.y",
		"readings.dat":                        "readings.dat",
		"__7 hot.csv":                         "7 hot",
		".csv":                                "readings",
		"...":                                 "readings",
		"Übung\x1b[2J\u202e.csv":              "Übung[2J",
		"a\xff.csv":                           "a",
		strings.Repeat("ü", 150):              strings.Repeat("ü", 100),
		"":                                    "readings",
	} {
		got := TestID(name)
		assert.Equal(t, want, got)
		_, ok := usualID(got)
		assert.True(t, ok, "%q", got)
	}
}
