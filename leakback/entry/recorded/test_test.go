package recorded

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/entry"
	"leakback/limits"
)

// events reads lines of "kind run.cylinder field=value", the cylinder perhaps a
// return line's name, and the value perhaps with a reason behind " because ".
func events(t testing.TB, text string) []leakback.Event {
	var list []leakback.Event
	for line := range strings.Lines(text) {
		if line = strings.TrimSpace(line); line == "" {
			continue
		}
		e, err := parseEvent(line)
		require.NoError(t, err, line)
		list = append(list, e)
	}
	return list
}

func record(t testing.TB, text string) *leakback.Record { return leakback.NewRecord(events(t, text)) }

// lines is the opposite of events.
func lines(list []leakback.Event) string {
	var b strings.Builder
	for _, e := range list {
		b.WriteString(eventLine(e) + "\n")
	}
	return b.String()
}

func demo(t testing.TB, name string) *leakback.Test {
	data, err := os.ReadFile("../../../testdata/demo/" + name)
	require.NoError(t, err)
	test, err := entry.NewReader(strings.NewReader(string(data)), name, "demo", entry.NoDefaults()).Next()
	require.NoError(t, err)
	return test
}

// What all share is said once, and nothing that is understood.
func TestEventsInTheirOrder(t *testing.T) {
	test := demo(t, "overflow.csv")
	test.Cylinders, test.FitDrift = 6, true
	assert.Equal(t, strings.TrimLeft(`
set 0.0 name=invented-idle-2
set 0.0 method=individual
set 0.0 engine=Northmoor Six-90
set 0.0 condition=idle
set 0.0 injectors=driven
set 0.0 cylinders=6
set 0.0 fit_drift=1
set 0.0 customer=Invented Haulage
set 0.0 limits=built-in
set 0.0 limits_origin=built in, as no sheet was found
set 0.0 interval_s=60
set 0.0 fuel_temp_c=48
set 0.0 fuel_temp_at=return
set 0.0 rail_pressure_bar=350
set 0.0 engine_rpm=700
set 0.0 capacity_ml=50
set 0.0 tolerance_ml=0.5
reading 1.1 volume_ml=28
reading 1.2 volume_ml=30
reading 1.3 volume_ml=>50
reading 1.4 volume_ml=29
reading 1.5 volume_ml=0
reading 1.6 volume_ml=27
`, "\n"), lines(Events(test, leakback.Job{Customer: "Invented Haulage"}, limits.Builtin())))
}

func TestEventsSayOnlyWhatDiffers(t *testing.T) {
	text := `run;blocked;return_line;volume_ml;interval_s;capacity_ml;over_range;start_ml
1;;;44;30;250;;
1;;left;40;30;;1;0
4;2+1;left;30;45;100;;`
	test := testsOf(t, text, "A.csv", entry.NoDefaults())[0]
	test.LeaveOut(4, "hose slipped")
	assert.Equal(t, strings.TrimLeft(`
set 0.0 name=A
set 0.0 method=block-off
set 1.0 interval_s=30
set 1.0 capacity_ml=250
reading 1.0 volume_ml=44
set 1.left capacity_ml=none
set 1.left start_ml=0
set 1.left over_range=1
reading 1.left volume_ml=40
set 4.0 interval_s=45
set 4.0 blocked=1+2
leave-out 4.0 =1 because hose slipped
set 4.0 capacity_ml=100
reading 4.left volume_ml=30
`, "\n"), lines(Events(test, leakback.Job{}, nil)))
	roundTrip(t, test)
}

func TestWeighed(t *testing.T) {
	text := "cylinder,mass_g,density_g_ml,capacity_ml,over_range\n1,20.75,0.84,100,\n2,,,100,1\n3,,,100,\n4,<0.83,0.84,100,\n"
	test := testsOf(t, text, "weighed.csv", flags())[0]
	said := roundTrip(t, test)
	assert.Contains(t, lines(said), "set 0.0 capacity_ml=100\nset 0.0 density_g_ml=0.84\nreading 1.1 mass_g=20.75\nreading 1.2 volume_ml=>100\n"+
		"reading 1.3 volume_ml=\nreading 1.4 mass_g=<0.83\n")
}

func made(t *testing.T, text string) *leakback.Test {
	t.Helper()
	test, err := Test(record(t, text))
	require.NoError(t, err)
	roundTrip(t, test)
	return test
}

const sixty = "set 0.0 name=A\nset 0.0 method=individual\nset 0.0 interval_s=60\n"

func TestIntervalOfARun(t *testing.T) {
	for name, c := range map[string]struct {
		events string
		wantS  float64
		cranks int
	}{
		"of the test":        {"", 60, 0},
		"timed":              {"start 1.0 collection=\ntime 1.0 collection=61.284", 61.284, 0},
		"timed again":        {"time 1.0 collection=12\ntime 1.0 collection=30.5", 30.5, 0},
		"time taken back":    {"time 1.0 collection=12\ntime 1.0 collection=", 60, 0},
		"set":                {"set 1.0 interval_s=45", 45, 0},
		"set later":          {"time 1.0 collection=30\nset 1.0 interval_s=45", 45, 0},
		"set earlier":        {"set 1.0 interval_s=45\ntime 1.0 collection=30", 30, 0},
		"set and taken back": {"time 1.0 collection=30\nset 1.0 interval_s=45\nset 1.0 interval_s=", 30, 0},
		// 5.1 + 4.9 + 5.013 is 15.012999999999998 in binary.
		"cranks":                   {"time 1.0 crank 1=5.1\ntime 1.0 crank 2=4.9\ntime 1.0 crank 3=5.013", 15.013, 3},
		"a crank taken back":       {"time 1.0 crank 1=5.1\ntime 1.0 crank 2=4.9\ntime 1.0 crank 2=", 5.1, 1},
		"fewer cranks than meant":  {"set 0.0 cranks=3\ntime 1.0 crank 1=5\ntime 1.0 crank 2=5", 10, 2},
		"cranks set":               {"set 1.0 cranks=2\nset 0.0 cranks=3", 60, 2},
		"cranks set later":         {"time 1.0 crank 1=10\nset 1.0 cranks=2", 10, 2},
		"cranks of the test":       {"set 0.0 cranks=3", 60, 3},
		"no cranks in this run":    {"set 0.0 cranks=3\nset 1.0 cranks=none", 60, 0},
		"another run's":            {"time 2.0 collection=30\nset 2.0 interval_s=20", 60, 0},
		"another clock's":          {"time 1.0 rest 1=30", 60, 0},
		"a cylinder's is no run's": {"time 1.0 collection=30\nset 1.1 interval_s=20", 30, 0},
	} {
		t.Run(name, func(t *testing.T) {
			run := made(t, sixty+c.events+"\nreading 1.1 volume_ml=20").Runs[0]
			assert.Equal(t, c.wantS, run.IntervalS)
			assert.Equal(t, c.cranks, run.State.Cranks)
		})
	}
}

func TestNearerFieldsStand(t *testing.T) {
	readings := "\nreading 1.1 volume_ml=20\nreading 1.2 volume_ml=21\nreading 2.1 volume_ml=20"
	test := made(t, sixty+`
set 0.0 capacity_ml=100
set 0.0 tolerance_ml=0.7
set 0.0 rail_pressure_bar=300
set 1.0 tube_class=A
set 1.2 capacity_ml=250
set 1.2 tolerance_ml=0.2
set 2.0 rail_pressure_bar=none
set 2.0 return_line=left`+readings)
	first, second := test.Runs[0], test.Runs[1]
	// ASTM E1272-02 Table 1: class A, 100 mL, 0.5 mL.
	assert.Equal(t, leakback.Tube{GraduationML: 1, CapacityML: 100, ToleranceML: 0.5, Class: "A"}, first.Readings[0].Tube)
	assert.Equal(t, leakback.Tube{GraduationML: 1, CapacityML: 250, ToleranceML: 0.2}, first.Readings[1].Tube)
	assert.Equal(t, leakback.Tube{GraduationML: 1, CapacityML: 100, ToleranceML: 0.7}, second.Readings[0].Tube)
	assert.Equal(t, 300.0, first.State.RailPressureBar)
	assert.NotEqual(t, second.State.RailPressureBar, second.State.RailPressureBar, "NaN")
	assert.Equal(t, "left", second.Readings[0].ReturnLine)
	test = made(t, sixty+"set 0.0 capacity_ml=100\nset 0.0 tube_class=a\nset 0.0 tolerance_ml=0.7"+readings)
	assert.Equal(t, 0.7, test.Runs[0].Readings[0].Tube.ToleranceML, "said at one place the tolerance stands")
}

// A figure typed with its unit is the same level, and stays as it was typed.
func TestUnitsOfReadings(t *testing.T) {
	readings := made(t, sixty+`
reading 1.1 volume_ml=22,5 cc
reading 1.2 volume_cc=22,5
reading 1.3 volume_ml=>1 US fl oz
reading 1.4 volume_floz=1
reading 1.5 mass_g=16.6
reading 1.6 mass_g=18
reading 1.6 volume_ml=20
reading 1.7 volume_ml=20
reading 1.7 mass_g=
set 1.5 density_g_ml=0.83`).Runs[0].Readings
	want := []struct {
		typed   string
		ml      float64
		density float64
	}{{"22,5 cc", 22.5, 0}, {"22,5 cc", 22.5, 0}, {">1 US fl oz", 29.5735295625, 0}, {"1 fl oz", 29.5735295625, 0},
		{"16.6 g", 20, 0.83}, {"20", 20, 0}} // NIST SP 811 App. B: 1 US fl oz is 29.57353 mL
	require.Len(t, readings, 7)
	for i, w := range want {
		assert.Equal(t, w.typed, readings[i].Typed)
		assert.InDelta(t, w.ml, readings[i].VolumeML, 1e-9)
		assert.Equal(t, w.density, readings[i].DensityGML)
	}
	assert.False(t, readings[6].Read(), "the latest reading was taken back")
}

func TestPartlyEntered(t *testing.T) {
	for _, text := range []string{"", sixty, "set 0.0 method=total\nset 1.0 interval_s=30\ntime 2.0 collection=30\nset 1.1 start_ml=2",
		sixty + "leave-out 1.0 =1 because spilled", sixty + "reading 1.0 volume_ml="} {
		_, err := Test(record(t, text))
		require.ErrorIs(t, err, ErrNoReadings, text)
	}
	test := made(t, sixty+"set 0.0 cylinders=6\nset 2.0 interval_s=30\nleave-out 2.0 =1\nreading 1.3 volume_ml=20\nreading 1.5 volume_ml=")
	require.Len(t, test.Runs, 1, "a run without a reading is absent")
	require.Len(t, test.Runs[0].Readings, 2, "cylinders not read yet are absent, skipped ones are not")
	assert.Equal(t, 6, test.Cylinders)
	result, err := leakback.Evaluate(test, limits.Builtin())
	require.NoError(t, err)
	require.Len(t, result.Cylinders, 6)
	assert.Equal(t, leakback.Unread, result.Cylinders[4].Verdict)
}

func TestLeftOut(t *testing.T) {
	readings := "reading 1.1 volume_ml=20\nreading 2.1 volume_ml=20\nreading 3.1 volume_ml=20\n"
	test := made(t, sixty+readings+"leave-out 1.0 =1 because spilled\nleave-out 2.0 =1\nleave-out 3.0 =1 because spilled\nleave-out 3.0 = because it was not")
	assert.Equal(t, "spilled", test.Runs[0].LeftOut)
	assert.Equal(t, "no reason given", test.Runs[1].LeftOut)
	assert.Empty(t, test.Runs[2].LeftOut)
}

func TestMethodAndNameWhereNobodySaid(t *testing.T) {
	for text, want := range map[string]leakback.Method{
		"reading 1.2 volume_ml=2":                          leakback.MethodIndividual,
		"reading 1.0 volume_ml=2":                          leakback.MethodTotal,
		"reading 1.left volume_ml=2\nset 1.0 blocked=1":    leakback.MethodBlockOff,
		"set 0.0 method=total\nreading 1.right volume_ml=": leakback.MethodTotal,
	} {
		r := record(t, "set 0.0 interval_s=60\n"+text)
		test, err := Test(r)
		require.NoError(t, err)
		assert.Equal(t, want, test.Method)
		assert.Equal(t, "recorded", test.ID)
		r.Events[0].TestID = "0190a1b2-0000-7000-8000-000000000000"
		test, err = Test(r)
		require.NoError(t, err)
		assert.Equal(t, r.Events[0].TestID, test.ID)
	}
}

func TestFaultsNameTheirPlace(t *testing.T) {
	one := "\nreading 1.1 volume_ml=20"
	for text, want := range map[string]string{
		"set 0.0 method=each" + one:                     `method: "each": expected individual, block-off or total`,
		"set 0.0 cylinders=0" + one:                     `cylinders: "0": expected a number of cylinders, whole, from 1 to 64`,
		"set 0.0 cylinders=2.5" + one:                   `cylinders: "2.5": expected a number of cylinders, whole, from 1 to 64`,
		"set 0.0 fit_drift=yes" + one:                   `fit_drift: "yes": expected 1 or nothing`,
		"set 0.0 name=-" + one:                          `name: "-": expected an id that begins with a letter or a digit, at most 100 printable characters`,
		"set 0.0 injectors=on" + one:                    `injectors: "on": expected driven or off`,
		"set 0.0 rail_pressure_bar=-1" + one:            `rail_pressure_bar: "-1": expected a pressure from 0 to 4,000 bar`,
		"set 1.0 fuel_temp_at=tank" + one:               `run 1, fuel_temp_at: "tank": expected supply, rail, return or tube`,
		"set 0.0 interval_s=" + one:                     `run 1, interval_s: expected the length of the collection, timed or set`,
		"set 1.0 interval_s=soon" + one:                 `run 1, interval_s: "soon": expected the length of the collection, from 1 to 86,400 s`,
		"time 1.0 collection=x" + one:                   `run 1, collection: "x": expected how long it ran, in s`,
		"time 1.0 collection=0.2" + one:                 `run 1, interval_s: "0.2": expected the length of the collection, from 1 to 86,400 s`,
		"leave-out 1.0 =2" + one:                        `run 1, leave-out: "2": expected 1 or nothing`,
		"reading 1.4 volume_ml=ten":                     `run 1, cylinder 4, volume_ml: "ten": expected a volume in mL, cc, cm3, L or US fl oz (a plain number is in mL)`,
		"reading 1.4 volume_ml=3 drops":                 `run 1, cylinder 4, volume_ml: "3 drops": expected a volume, and a drop is none: collect to the first mark, or weigh`,
		"reading 1.4 volume_ml=20 L":                    `run 1, cylinder 4, volume_ml: "20 L": expected a volume from 0 to 10,000 mL`,
		"reading 1.4 volume_cc=2 L":                     `run 1, cylinder 4, volume_cc: "2 L": expected a number such as 22.5, >100 or <2, or nothing where it was not read`,
		"reading 1.4 volume_l=2":                        `run 1, cylinder 4, volume_l: "2": expected one of volume_ml, volume_cc, volume_floz, mass_g`,
		"reading 1.65 volume_ml=2":                      `run 1, cylinder 65: "65": expected a cylinder's number, whole, from 1 to 64`,
		"reading 0.1 volume_ml=2":                       `cylinder 1, run: "0": expected a run's number, whole, from 1 to 999`,
		"set 0.0 graduation_ml=0" + one:                 `graduation_ml: "0": expected the step between two marks, above 0 to 10,000 mL`,
		"set 1.1 capacity_ml=10" + one:                  `run 1, cylinder 1, volume_ml: "20": expected at most the tube's capacity, 10 mL; where it overflowed write >10`,
		"set 1.0 tube_class=C" + one:                    `run 1, tube_class: "C": expected A or B`,
		"reading 1.0 volume_ml=90":                      `run 1, volume_ml: "90": expected a cylinder's own return, since the method is individual`,
		"set 0.0 method=total\nreading 1.3 volume_ml=9": `run 1, cylinder 3, volume_ml: "9": expected the merged return, since the method is total`,
		"set 1.0 blocked=1" + one:                       `run 1, blocked: "1": expected nothing, since the method is individual`,
		"set 0.0 method=block-off\nset 1.0 blocked=one\nreading 1.left volume_ml=9":                           `run 1, blocked: "one": expected the blocked cylinders joined by +, such as 1+2, or nothing where none was`,
		"set 0.0 method=total\nset 0.0 return_line=left\nreading 1.left volume_ml=9\nreading 1.0 volume_ml=9": `run 1, return_line: "left": expected another one: it was read by its name as well`,
		"set 0.0 cylinders=4\nreading 1.6 volume_ml=9":                                                        `run 1, cylinder 6: "6": expected a cylinder from 1 to 4, as --cylinders or the limits sheet says`,
	} {
		_, err := Test(record(t, sixty+text))
		assert.EqualError(t, err, want, text)
	}
}

func TestEachFaultOnceAndNotTooMany(t *testing.T) {
	text := sixty + "set 0.0 graduation_ml=x\n"
	for _, c := range []string{"1", "2", "3"} {
		text += "reading 1." + c + " volume_ml=2\n"
	}
	_, err := Test(record(t, text))
	assert.EqualError(t, err, `graduation_ml: "x": expected the step between two marks, above 0 to 10,000 mL`)
	list := events(t, sixty)
	for c := 1; c <= 30; c++ {
		list = append(list, leakback.Event{Key: leakback.Key{Kind: leakback.KindReading, Run: 1, Cylinder: c, Field: FieldVolumeML}, Value: "x"})
	}
	_, err = Test(leakback.NewRecord(list))
	var faults *FaultError
	require.ErrorAs(t, err, &faults)
	assert.Len(t, faults.Faults, 20)
	assert.True(t, faults.More)
	assert.True(t, strings.HasSuffix(err.Error(), "\nand more"))
}
