package form

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/leakback/entry"
	"leakback/limits"
)

var banks = []limits.ReturnLine{{Name: "left", Cylinders: []int{1, 2}}, {Name: "right", Cylinders: []int{3, 4}}}

// sameReadings are readings as a form and as a readings file hold them.
var sameReadings = map[string]struct {
	o Options
	e entries
	// csv is the readings file, class its --tube-class.
	csv, class string
}{
	"individual": {
		six(),
		entries{
			"condition": "Idle", "injectors": "driven", "interval_s": "60", "graduation_ml": "0,5", "capacity_ml": "100",
			"fuel_temp_c": "45", "fuel_temp_at": "rail", "rail_pressure_bar": 350, "engine_rpm": 750.0, "back_pressure_bar": "0.5",
			"row 1 run 1": "21", "row 2 run 1": "22,5", "row 3 run 1": 23, "row 4 run 1": ">100", "row 5 run 1": "<2", "row 6 run 1": 22.25,
			"row 1 run 2": "20", "row 6 run 2": "22", "time 2": "30",
		},
		"run;cylinder;volume_ml;interval_s;condition;injectors;graduation_ml;capacity_ml;fuel_temp_c;fuel_temp_at;rail_pressure_bar;" +
			"back_pressure_bar;engine_rpm;engine\n" +
			"1;1;21;60;idle;driven;0,5;100;45;rail;350;0.5;750;Northmoor Six-90\n" +
			"1;2;22,5;;;;0,5;100;;;;;;\n1;3;23;;;;0,5;100;;;;;;\n1;4;>100;;;;0,5;100;;;;;;\n1;5;<2;;;;0,5;100;;;;;;\n" +
			"1;6;22.25;;;;0,5;100;;;;;;\n2;1;20;30;;;0,5;100;45;rail;350;0.5;750;\n2;2;;;;;0,5;100;;;;;;\n2;3;;;;;0,5;100;;;;;;\n" +
			"2;4;;;;;0,5;100;;;;;;\n2;5;;;;;0,5;100;;;;;;\n2;6;22;;;;0,5;100;;;;;;\n", "",
	},
	"units, class and no interval": {
		Options{Cylinders: 4},
		entries{
			"interval_s": "unknown", "fuel_temp_c": "113 F", "rail_pressure_bar": "35 MPa", "capacity_ml": "100", "tube_class": "a",
			"cranks": 3, "condition": "cranking", "injectors": "off",
			"row 1 run 1": "21", "row 2 run 1": "22", "row 3 run 1": "23", "row 4 run 1": "0",
		},
		"run,cylinder,volume_ml,interval_s,condition,injectors,cranks,capacity_ml,fuel_temp_c,rail_pressure_bar\n" +
			"1,1,21,unknown,cranking,off,3,100,45,350\n1,2,22,,,,,100,,\n1,3,23,,,,,100,,\n1,4,0,,,,,100,,\n", "A",
	},
	"return lines": {
		Options{Cylinders: 4, ReturnLines: banks, Runs: 1},
		entries{"interval_s": "1:30", "row 1 run 1": "21", "row 2 run 1": "22", "row 3 run 1": "23", "row 4 run 1": "24"},
		"cylinder,volume_ml,interval_s,return_line\n1,21,90,left\n2,22,,left\n3,23,,right\n4,24,,right\n", "",
	},
	"block-off": {
		Options{Cylinders: 3, Method: leakback.MethodBlockOff},
		entries{
			"condition": "idle", "interval_s": "60", "time 4": "61.5",
			"row 1 run 1": "90", "row 2 run 2": "62", "row 3 run 3": "60", "row 4 run 4": "61",
			"row 5 run 5": "60", "row 6 run 6": "61", "row 8 run 8": "91",
		},
		"run,blocked,volume_ml,interval_s,condition\n1,,90,60,idle\n2,1,62,60,\n3,2,60,60,\n4,3,61,61.5,\n5,3,60,60,\n6,2,61,60,\n8,,91,60,\n", "",
	},
	"block-off of two lines": {
		Options{Cylinders: 4, Method: leakback.MethodBlockOff, ReturnLines: banks},
		entries{"interval_s": "60", "row 1 run 1": "50", "row 2 run 2": "25", "row 7 run 7": "52", "row 8 run 8": "24"},
		"run,blocked,volume_ml,interval_s,return_line\n1,,50,60,left\n2,1,25,60,left\n7,,52,60,right\n8,3,24,60,right\n", "",
	},
	"total": {
		Options{Cylinders: 6, Method: leakback.MethodTotal},
		entries{"interval_s": "60", "row 1 run 1": "150", "row 1 run 3": "152"},
		"run,volume_ml,interval_s\n1,150,60\n3,152,60\n", "",
	},
	"total of two lines": {
		Options{Cylinders: 4, Method: leakback.MethodTotal, ReturnLines: banks},
		entries{"interval_s": "60", "row 1 run 1": "70", "row 2 run 1": ">100"},
		"run,volume_ml,interval_s,return_line\n1,70,60,left\n1,>100,60,right\n", "",
	},
}

// A filled form gives the test that a readings file with the same readings gives.
func TestFormAndReadingsFileAreOne(t *testing.T) {
	for name, c := range sameReadings {
		t.Run(name, func(t *testing.T) {
			form, err := readBytes(filledIn(t, c.o, c.e), "bay/idle.xlsx")
			require.NoError(t, err)
			d := entry.NoDefaults()
			d.Cylinders, d.TubeClass = c.o.Cylinders, c.class
			same(t, fromCSV(t, "idle", c.csv, d), form.Test)
		})
	}
}

// The work order comes back, dates as text or as a spreadsheet's number for them.
func TestJobComesBack(t *testing.T) {
	e := entries{
		"interval_s": "60", "row 1 run 1": "21", "technician": "A. Invented", "customer": "_x0041_ & <Sons>", "work_order": "00123",
		"vehicle": "loader 4", "vin": "INVENTED000000001", "odometer": "184 300 km", "tested": "2026-03-04 14:30 +01:00",
		"engine_serial": 4711.0, "complaint": "rough idle", "note": "first line\nsecond line", "battery_v": "24,6", "primed": "x",
	}
	form, err := readBytes(filledIn(t, six(), e), "idle.xlsx")
	require.NoError(t, err)
	assert.Equal(t, leakback.Job{
		Workshop: "Bay 2, invented", Technician: "A. Invented", Customer: "A & <Sons>", WorkOrder: "00123", Vehicle: "loader 4",
		VIN: "INVENTED000000001", Odometer: "184 300 km", Tested: "2026-03-04 14:30 +01:00", EngineSerial: "4711",
		Complaint: "rough idle", Note: "first line\nsecond line",
	}, form.Job)
	assert.Equal(t, "24.6", form.BatteryV)
	assert.True(t, form.Primed)
	assert.Equal(t, "Northmoor Six-90", form.Test.Engine)
}

// Serial numbers of days: ISO/IEC 29500-1, 18.17.4.1, has 2008-02-29 as 39507
// in the system that begins in 1900, which is 1462 days before the other.
func TestDatesOfSpreadsheets(t *testing.T) {
	for number, want := range map[float64]string{39507: "2008-02-29", 39507.5: "2008-02-29 12:00", 39507 + 30.0/86400: "2008-02-29 00:00:30",
		2026: "2026"} {
		form, err := readBytes(filledIn(t, six(), entries{"interval_s": 60, "row 1 run 1": 21, "tested": number}), "idle.xlsx")
		require.NoError(t, err)
		assert.Equal(t, want, form.Job.Tested)
	}
	book := edited(t, filledIn(t, six(), entries{"interval_s": 60, "row 1 run 1": 21, "tested": 39507 - 1462}), func(f *excelize.File) {
		require.NoError(t, f.SetWorkbookProps(&excelize.WorkbookPropsOptions{Date1904: new(true)}))
	})
	form, err := readBytes(book, "idle.xlsx")
	require.NoError(t, err)
	assert.Equal(t, "2008-02-29", form.Job.Tested)
}

func TestEqualOptionsGiveEqualBytes(t *testing.T) {
	first := blank(t, six())
	for range 5 {
		require.Equal(t, first, blank(t, six()))
	}
}

// What the sheet says is taken over: names, cylinders and conditions, no figure.
func TestFormOfASheet(t *testing.T) {
	sheet := limits.Builtin()
	most := 41.5
	sheet.Name, sheet.Engine, sheet.Cylinders, sheet.FiringOrder = "Northmoor Four (invented)", "Northmoor Four-20", 4, []int{1, 3, 4, 2}
	sheet.ReturnLines = banks
	sheet.Limits = []limits.Limit{{Condition: "hot idle", MaxRateMLMin: &most}, {Condition: "cranking"}, {Condition: "hot idle"}}
	book := blank(t, Options{Sheet: sheet})
	f, err := excelize.OpenReader(bytes.NewReader(book))
	require.NoError(t, err)
	defer f.Close()
	l := newLayout(shape{leakback.MethodIndividual, 4, 3, 2})
	value := func(cell string) string {
		text, err := f.GetCellValue(sheetName, cell)
		require.NoError(t, err)
		return text
	}
	assert.Equal(t, l.shape.marker(), value(l.marker.cell()))
	assert.Equal(t, "Northmoor Four-20", value(cellOf(t, l, "engine")))
	assert.Equal(t, "right", value(l.lines[3].cell()))
	rules, err := f.GetDataValidations(sheetName)
	require.NoError(t, err)
	var offered []string
	for _, r := range rules {
		if r.Sqref == cellOf(t, l, "condition") {
			offered = append(offered, r.Formula1)
		}
	}
	assert.Equal(t, []string{`"hot idle,cranking"`}, offered)
	rows, err := f.GetRows(sheetName)
	require.NoError(t, err)
	assert.NotContains(t, fmt.Sprint(rows), "41.5")
	assert.Contains(t, fmt.Sprint(rows), "firing order 1-3-4-2")
	assert.Contains(t, fmt.Sprint(rows), "Northmoor Four (invented)")
}

func TestRefusedOptions(t *testing.T) {
	for want, o := range map[string]Options{
		"cylinders: 65: expected 1 to 64":                                               {Cylinders: 65},
		"cylinders: -1: expected 1 to 64":                                               {Cylinders: -1},
		"runs: 6: expected 1 to 5":                                                      {Runs: 6},
		`method: "half": expected individual, block-off or total`:                       {Method: "half"},
		"firing order: [1 2 2]: expected each cylinder from 1 to 3 once":                {Cylinders: 3, FiringOrder: []int{1, 2, 2}},
		`return lines: "": expected a name for each`:                                    {ReturnLines: []limits.ReturnLine{{}}},
		`engine: "a\nb": expected at most 100 printable characters`:                     {Engine: "a\nb"},
		"block-off: 1 cylinders on a return line: expected two or more, as blocking th": {Cylinders: 1, Method: leakback.MethodBlockOff},
		"return line b: cylinder 1: expected each cylinder from 1 to 2 in one line; it is in a as well": {Cylinders: 2,
			ReturnLines: []limits.ReturnLine{{Name: "a", Cylinders: []int{1}}, {Name: "b", Cylinders: []int{1}}}},
	} {
		err := Write(new(bytes.Buffer), o)
		require.Error(t, err)
		assert.True(t, strings.HasPrefix(err.Error(), want), err)
	}
}

// Faults name the cell, what it is, what stands there and what was expected.
func TestFaultsNameTheCell(t *testing.T) {
	l := newLayout(shapeFor(t, six()))
	at := func(name string) string { return cellOf(t, l, name) }
	for name, c := range map[string]struct {
		e    entries
		want []string
	}{
		"nothing": {entries{"interval_s": "60"},
			[]string{at("row 1 run 1") + ", cylinder 1, run 1: expected at least one reading; the form has none"}},
		"no time": {entries{"row 1 run 1": "21", "row 1 run 2": 21},
			[]string{at("interval_s") + ", time of each run: expected the length of the collection, here or with --interval"}},
		"readings": {
			entries{"interval_s": "60", "capacity_ml": "100", "row 1 run 1": "2l", "row 2 run 1": "12 drops", "row 3 run 1": "120", "row 4 run 1": "-3",
				"row 1 run 2": "a\nb"},
			[]string{
				at("row 1 run 1") + `, cylinder 1, run 1: "2l": expected a number such as 22.5, >100 or <2, or nothing where it was not read`,
				at("row 1 run 2") + `, cylinder 1, run 2: "a\nb": expected at most 100 printable characters`,
				at("row 2 run 1") + `, cylinder 2, run 1: "12 drops": expected a volume, and a drop is none: collect to the first mark, or weigh`,
				at("row 3 run 1") + `, cylinder 3, run 1: "120": expected at most the tube's capacity, 100 mL; where it overflowed write >100`,
				at("row 4 run 1") + `, cylinder 4, run 1: "-3": expected a volume from 0 to 10,000 mL`,
			},
		},
		"once": {
			entries{"interval_s": "0.5", "injectors": "on", "cranks": "2.5", "fuel_temp_c": "500", "fuel_temp_at": "tank", "rail_pressure_bar": "5000",
				"back_pressure_bar": "2 parsec", "engine_rpm": "fast", "battery_v": "70", "graduation_ml": "0", "tube_class": "C", "primed": "maybe",
				"row 1 run 1": "21", "row 2 run 1": "x", "time 2": "soon"},
			[]string{
				at("injectors") + `, injectors: "on": expected driven or off`,
				at("cranks") + `, cranks in a run: "2.5": expected the number of cranks, whole, from 1 to 99`,
				at("fuel_temp_c") + `, fuel temperature: "500": expected a temperature from -60 to 200 °C`,
				at("fuel_temp_at") + `, taken at: "tank": expected supply, rail, return or tube`,
				at("rail_pressure_bar") + `, rail pressure: "5000": expected a pressure from 0 to 4,000 bar`,
				at("back_pressure_bar") + `, return held up at: "2 parsec": expected a pressure in bar, psi, kPa or MPa (a plain number is in bar)`,
				at("engine_rpm") + `, engine speed: "fast": expected a speed from 0 to 10,000 rpm`,
				at("battery_v") + `, battery: "70": expected a number from 0 to 60 V`,
				at("graduation_ml") + `, tube's mark step: "0": expected the step between two marks, above 0 to 10,000 mL`,
				at("tube_class") + `, tube's class: "C": expected A or B`,
				at("primed") + `, hoses primed: "maybe": expected yes, no or nothing`,
				at("interval_s") + `, time of each run: "0.5": expected the length of the collection, from 1 to 86,400 s`,
				at("time 2") + `, time, run 2: "soon": expected an interval in s, min or h, also as 1m30s or 1:30 (a plain number is in s)`,
				at("row 2 run 1") + `, cylinder 2, run 1: "x": expected a number such as 22.5, >100 or <2, or nothing where it was not read`,
			},
		},
		"class without capacity": {entries{"interval_s": "60", "tube_class": "A", "row 1 run 1": "21"},
			[]string{at("capacity_ml") + `, tube's highest mark: expected the tube's highest mark, which its class needs`}},
		"capacity below a mark": {entries{"interval_s": "60", "capacity_ml": "0.5", "row 1 run 1": "0.2"},
			[]string{at("capacity_ml") + `, tube's highest mark: "0.5": expected at least one mark of 1 mL`}},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := readBytes(filledIn(t, six(), c.e), "idle.xlsx")
			var fault *entry.FaultError
			require.ErrorAs(t, err, &fault)
			var want []string
			for _, line := range c.want {
				want = append(want, "idle.xlsx: cell "+line)
			}
			assert.Equal(t, strings.Join(want, "\n"), err.Error())
		})
	}
}

// No more than twenty faults are listed, and the error says so.
func TestManyFaults(t *testing.T) {
	e := entries{"interval_s": "60"}
	for c := 1; c <= 16; c++ {
		e[fmt.Sprintf("row %d run 1", c)], e[fmt.Sprintf("row %d run 2", c)] = "x", "a\nb"
	}
	_, err := readBytes(filledIn(t, Options{Cylinders: 16}, e), "idle.xlsx")
	require.Error(t, err)
	assert.Equal(t, 21, len(strings.Split(err.Error(), "\n")))
	assert.True(t, strings.HasSuffix(err.Error(), "\nand more"))
}

// A form does not take "unknown" where the return is merged.
func TestMergedNeedsItsTime(t *testing.T) {
	o := Options{Cylinders: 3, Method: leakback.MethodBlockOff}
	_, err := readBytes(filledIn(t, o, entries{"interval_s": "unknown", "row 1 run 1": "90", "row 2 run 2": "60"}), "idle.xlsx")
	require.Error(t, err)
	cell := cellOf(t, newLayout(shapeFor(t, o)), "interval_s")
	assert.Equal(t, "idle.xlsx: cell "+cell+`, time of each run: "unknown": expected an interval in s, min or h, also as 1m30s or 1:30 (a plain number is in s)`,
		err.Error())
}

// A formula is refused wherever something is entered, whatever it gave.
func TestFormulasAreRefused(t *testing.T) {
	l := newLayout(shapeFor(t, six()))
	for _, name := range []string{"row 1 run 1", "customer", "interval_s", "time 1", "tested"} {
		cell := cellOf(t, l, name)
		book := edited(t, filledIn(t, six(), entries{"interval_s": "60", "row 1 run 1": "21"}), func(f *excelize.File) {
			require.NoError(t, f.SetCellFormula(sheetName, cell, "20+1"))
		})
		_, err := readBytes(book, "idle.xlsx")
		require.Error(t, err, name)
		assert.Contains(t, err.Error(), "idle.xlsx: cell "+cell+", ")
		assert.Contains(t, err.Error(), `"=20+1": expected what was read, typed into the cell, and no formula`)
	}
}

// A logical value is stored as 1 or 0 (ECMA-376 part 1, 18.18.11) and is no reading.
func TestLogicalValuesAreRefused(t *testing.T) {
	l := newLayout(shapeFor(t, six()))
	for _, name := range []string{"row 1 run 1", "customer", "interval_s"} {
		for value, shown := range map[bool]string{true: "TRUE", false: "FALSE"} {
			cell := cellOf(t, l, name)
			book := edited(t, filledIn(t, six(), entries{"interval_s": "60", "row 2 run 1": "21"}), func(f *excelize.File) {
				require.NoError(t, f.SetCellBool(sheetName, cell, value))
			})
			_, err := readBytes(book, "idle.xlsx")
			require.Error(t, err, name)
			assert.Contains(t, err.Error(), "idle.xlsx: cell "+cell+", ")
			assert.Contains(t, err.Error(), `"`+shown+`": expected a number or words, and not the logical value`)
		}
	}
}

// Text that looks like a formula is text.
func TestTextThatLooksLikeAFormula(t *testing.T) {
	form, err := readBytes(filledIn(t, six(), entries{"interval_s": "60", "row 1 run 1": "21", "customer": `=cmd|'/c calc'!A0`}), "idle.xlsx")
	require.NoError(t, err)
	assert.Equal(t, `=cmd|'/c calc'!A0`, form.Job.Customer)
}

// Flags fill in what the form leaves empty; what it says comes first.
func TestDefaultsFillIn(t *testing.T) {
	d := entry.NoDefaults()
	d.IntervalS, d.Condition, d.TubeClass, d.CapacityML, d.EngineRPM = 60, "idle", "B", 100, 700
	book := filledIn(t, six(), entries{"row 1 run 1": "21", "engine_rpm": "750", "tube_class": "A"})
	form, err := Read(bytes.NewReader(book), int64(len(book)), "idle.xlsx", d)
	require.NoError(t, err)
	run := form.Test.Runs[0]
	assert.Equal(t, 60.0, run.IntervalS)
	assert.Equal(t, "idle", form.Test.Condition)
	assert.Equal(t, 750.0, run.State.EngineRPM)
	assert.Equal(t, "A", run.Readings[0].Tube.Class)
	assert.True(t, math.IsNaN(run.Readings[1].VolumeML))

	d.IntervalS = -1
	_, err = Read(bytes.NewReader(book), int64(len(book)), "idle.xlsx", d)
	assert.EqualError(t, err, `idle.xlsx: --interval: "-1": expected the length of the collection, from 1 to 86,400 s`)
}

// A cylinder that was not read may say so, as in a line of volumes.
func TestSkippedReadings(t *testing.T) {
	e := entries{"interval_s": "60", "row 1 run 1": "21", "row 2 run 1": "skip", "row 3 run 1": "-", "row 1 run 2": "Skip"}
	form, err := readBytes(filledIn(t, six(), e), "idle.xlsx")
	require.NoError(t, err)
	without := entries{"interval_s": "60", "row 1 run 1": "21"}
	want, err := readBytes(filledIn(t, six(), without), "idle.xlsx")
	require.NoError(t, err)
	same(t, want.Test, form.Test)
}

// The bounds that programs check while a cell is filled in are the reader's.
func TestBoundsAreTheReaders(t *testing.T) {
	for name, s := range map[string]*span{"cranks": cranksSpan, "engine_rpm": speedSpan, "graduation_ml": markSpan, "capacity_ml": markSpan,
		"row 1 run 1": readingSpan, "interval_s": intervalSpan(leakback.MethodTotal), "fuel_temp_c": stateField("fuel_temp_c").takes.number,
		"rail_pressure_bar": stateField("rail_pressure_bar").takes.number} {
		try := func(x float64) error {
			e := entries{"interval_s": "60", "row 1 run 1": "1", "graduation_ml": "1"}
			if name == "graduation_ml" {
				delete(e, "capacity_ml")
			}
			if name == "capacity_ml" {
				e["graduation_ml"] = "0.001"
				e["row 1 run 1"] = "0"
			}
			e[name] = fmt.Sprintf("%.3f", x)
			if s.whole {
				e[name] = fmt.Sprint(x)
			}
			_, err := readBytes(filledIn(t, six(), e), "idle.xlsx")
			return err
		}
		step := 0.001
		if s.whole {
			step = 1
		}
		low := s.low
		if s.above {
			low += step
		}
		assert.NoError(t, try(low), name)
		assert.NoError(t, try(s.high), name)
		assert.Error(t, try(s.high+step), name)
		if name == "engine_rpm" || name == "row 1 run 1" || s.low > 0 || s.above {
			assert.Error(t, try(low-step), name)
		}
	}
}

func stateField(name string) field {
	for _, f := range stateFields(leakback.MethodIndividual) {
		if f.name == name {
			return f
		}
	}
	return field{}
}

// What the form takes is what every other entry takes of the same field.
func TestFormTakesWhatOthersTake(t *testing.T) {
	for _, f := range append(jobFields(), noteField) {
		assert.Equal(t, leakback.Longest(f.name), f.takes.text, f.name)
	}
	assert.Equal(t, float64(leakback.MostBatteryV), batterySpan.high)
}

// A list takes 255 characters, counted as UTF-16 has them ("Excel specifications and
// limits", Microsoft): the words that fit are offered, whatever their signs.
func TestOfferedWordsFitAList(t *testing.T) {
	long := strings.Repeat("🙂", 40)
	rule := taker{own: true, words: []string{"idle", long + "a", long + "b", long + "c", long + "d"}}.rule("A1")
	assert.Equal(t, "list", rule.Type)
	assert.Equal(t, `"idle,`+long+"a,"+long+`b"`, rule.Formula1)
}
