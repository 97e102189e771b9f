package recorded

import (
	"errors"
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
)

// draw is a readings file that is being drawn.
type draw struct {
	*rapid.T
	mark   string
	volume string // the readings' column
}

func (d *draw) chance(label string) bool { return rapid.Bool().Draw(d.T, label) }

func (d *draw) one(label string, from ...string) string {
	return rapid.SampledFrom(from).Draw(d.T, label)
}

func (d *draw) whole(label string, low, high int) int {
	return rapid.IntRange(low, high).Draw(d.T, label)
}

// number is a figure with some decimals, with a decimal comma where the file
// allows one.
func (d *draw) number(label string, low, high int) string {
	x := float64(d.whole(label, low*1000, high*1000)) / 1000
	text := strconv.FormatFloat(x, 'f', d.whole("decimals", -1, 3), 64)
	if d.mark != "," && d.chance("comma") {
		text = strings.Replace(text, ".", ",", 1)
	}
	return text
}

// level is a reading's cell, within a capacity of 100 mL in every unit.
func (d *draw) level() string {
	x := d.number("level", 1, 80)
	if d.volume == FieldVolumeFlOz {
		x = d.number("level", 1, 3)
	}
	return d.one("bound", "", "", "", ">", "<", "> ", "skip") + x
}

// cell is a cell of a column that belongs to a reading, a run or a test.
func (d *draw) cell(column string) string {
	switch column {
	case FieldStartML:
		return d.one("start", "", "0", "0.5", "1")
	case FieldOverRange:
		return d.one("over", "", "0", "0", "1")
	case FieldGraduationML:
		return d.one("marks", "", "1", "0.5", "2", "0.1")
	case FieldCapacityML:
		return d.one("capacity", "", "100", "250", "100.0")
	case FieldToleranceML:
		return d.one("tolerance", "", "0", "0.5", "1", "0.37")
	case FieldDensityGML:
		return d.one("density", "", "0.84", "0.83", "0.8312")
	case FieldIntervalS:
		return d.one("interval", "60", "15", "29.7", d.number("s", 1, 600))
	case "interval_min":
		return d.one("minutes", "1", "1.5", "0.7333")
	case FieldCranks:
		return d.one("cranks", "", "1", "3")
	case FieldFuelTempC:
		return d.one("temperature", "", "-12.5", "41.5")
	case FieldFuelTempAt:
		return d.one("where", "", "Return", "tube")
	case FieldRailPressureBar, FieldBackPressureBar:
		return d.one("pressure", "", "350", "10.25", "0")
	case FieldEngineRPM:
		return d.one("speed", "", "700", "212.5")
	case leakback.FieldEngine:
		return d.one("engine", "", "Northmoor Six-90", `the "big" one`, "süd; 2\\3")
	case FieldCondition:
		return d.one("condition", "", "Idle", "cranking", "hot, our own")
	}
	return d.one("injectors", "", "off", "Driven")
}

// quoted is a cell as RFC 4180 has it.
func (d *draw) quoted(cell string) string {
	if strings.ContainsAny(cell, d.mark+`"`) {
		return `"` + strings.ReplaceAll(cell, `"`, `""`) + `"`
	}
	return cell
}

var ofReading = []string{FieldStartML, FieldOverRange, FieldGraduationML, FieldCapacityML, FieldToleranceML}

var ofRuns = []string{FieldCranks, FieldFuelTempC, FieldFuelTempAt, FieldRailPressureBar, FieldBackPressureBar, FieldEngineRPM}

// file draws a readings file of one test.
func (d *draw) file(method leakback.Method) string {
	d.mark = d.one("mark", ",", ";", "\t")
	d.volume = d.one("volume", FieldVolumeML, FieldVolumeML, FieldVolumeCC, FieldVolumeFlOz, FieldMassG)
	readings, runs := []string{}, []string{d.one("unit", FieldIntervalS, "interval_min")}
	for _, c := range ofReading {
		if (c != FieldStartML || d.volume != FieldMassG) && d.chance(c) {
			readings = append(readings, c)
		}
	}
	if d.volume == FieldMassG && d.chance("density") {
		readings = append(readings, FieldDensityGML)
	}
	for _, c := range ofRuns {
		if d.chance(c) {
			runs = append(runs, c)
		}
	}
	var b strings.Builder
	whole := append([]string{leakback.FieldEngine, FieldCondition, FieldInjectors}, runs...)
	head := append(append([]string{"run", "cylinder", "blocked", FieldReturnLine, d.volume}, readings...), whole...)
	said := d.cells(whole[:3])
	unknown := method == leakback.MethodIndividual && d.chance("unknown interval")
	for _, number := range d.numbers() {
		state := append(append([]string{}, said...), d.cells(runs)...)
		if unknown {
			state[3] = entry.Unknown
		}
		for _, spot := range d.spots(method, number) {
			level := d.level()
			if strings.HasPrefix(level, "skip") {
				level = ""
			}
			cells := append(append(spot, level), d.cells(readings)...)
			d.row(&b, append(cells, state...), method)
		}
	}
	var header strings.Builder
	d.row(&header, head, method)
	return header.String() + b.String()
}

func (d *draw) cells(columns []string) []string {
	cells := make([]string, len(columns))
	for i, c := range columns {
		cells[i] = d.cell(c)
	}
	return cells
}

// numbers are the numbers of runs, which may be any, in any order.
func (d *draw) numbers() []int {
	return rapid.SliceOfNDistinct(rapid.IntRange(1, 12), 1, 4, rapid.ID[int]).Draw(d.T, "runs")
}

// spots are run, cylinder, blocked and return line of a run's readings.
func (d *draw) spots(method leakback.Method, run int) [][]string {
	var spots [][]string
	number := strconv.Itoa(run)
	if method == leakback.MethodIndividual {
		for c := range d.whole("cylinders", 1, 6) {
			spots = append(spots, []string{number, strconv.Itoa(c + 1), "", d.one("line", "", "left", "right")})
		}
		return spots
	}
	blocked := d.one("blocked", "", "1", "2+1", "3")
	lines := [][]string{{""}, {"left"}, {"left", "right"}, {"", "right", "left"}}
	for _, line := range rapid.SampledFrom(lines).Draw(d.T, "lines") {
		spots = append(spots, []string{number, "", blocked, line})
	}
	return spots
}

// row writes a row without the columns that the method does not have.
func (d *draw) row(b *strings.Builder, cells []string, method leakback.Method) {
	var kept []string
	for i, cell := range cells {
		own := method == leakback.MethodIndividual
		if i == 1 && !own || i == 2 && method != leakback.MethodBlockOff {
			continue
		}
		kept = append(kept, d.quoted(cell))
	}
	b.WriteString(strings.Join(kept, d.mark) + "\n")
}

// defaults draws flags.
func (d *draw) defaults() entry.Defaults {
	f := entry.NoDefaults()
	if d.chance("tube flags") {
		f.CapacityML, f.TubeClass = 100, d.one("class", "A", "B")
	}
	if d.chance("other flags") {
		f.Cylinders, f.FitDrift, f.EngineRPM, f.Cranks, f.GraduationML, f.ReturnLine = 6, true, 699.5, 2, 0.5, "left"
	}
	return f
}

var methods = []leakback.Method{leakback.MethodIndividual, leakback.MethodBlockOff, leakback.MethodTotal}

// drawTest draws a file that can be read, and the test in it.
func drawTest(t *rapid.T) *leakback.Test {
	d := &draw{T: t}
	text := d.file(rapid.SampledFrom(methods).Draw(t, "method"))
	test, err := entry.NewReader(strings.NewReader(text), "drawn.csv", "drawn", d.defaults()).Next()
	if err != nil {
		var faults *entry.FaultError
		require.ErrorAs(t, err, &faults, text)
		t.Skip(err)
	}
	for i := range test.Runs {
		if rapid.IntRange(0, 4).Draw(t, "leave out") == 0 {
			test.Runs[i].LeftOut = "hose slipped"
		}
	}
	return test
}

func TestWhatCanBeReadComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) { roundTrip(t, drawTest(t)) })
}

func TestVolumesComeBack(t *testing.T) {
	units := []string{"", "mL", " mL", " cc", "cc", " fl oz", " US fl oz", "e", " cm3"}
	rapid.Check(t, func(t *rapid.T) {
		d := &draw{T: t, mark: ";"}
		var words []string
		for range d.whole("cylinders", 1, 8) {
			if word := d.one("bound", "", ">", "> ", "<", "skip"); word == "skip" {
				words = append(words, word)
			} else {
				words = append(words, word+d.number("level", 1, 30)+d.one("unit", units...))
			}
		}
		f := d.defaults()
		f.IntervalS = 60
		test, err := entry.Volumes(strings.Join(words, "; "), f)
		if err != nil {
			t.Skip(err)
		}
		roundTrip(t, test)
	})
}

// However far the entry has come, there is a test to draw, and of each
// cylinder's own return one that can be judged.
func TestEveryBeginningIsATest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		test := drawTest(t)
		for i := range test.Runs { // a test of which all runs are left out has no result
			test.Runs[i].LeftOut = ""
		}
		said := Events(test, leakback.Job{}, nil)
		for n := range said {
			got, err := Test(leakback.NewRecord(said[:n]))
			if errors.Is(err, ErrNoReadings) {
				require.NotContains(t, kinds(said[:n]), leakback.KindReading)
				continue
			}
			require.NoError(t, err, "%v", said[:n])
			require.NotEmpty(t, got.Runs)
			if timed := !math.IsNaN(got.Runs[0].IntervalS); timed && got.Method == leakback.MethodIndividual && !got.FitDrift {
				_, err = leakback.Evaluate(got, limits.Builtin())
				require.NoError(t, err)
			}
		}
	})
}

func kinds(events []leakback.Event) []leakback.Kind {
	kinds := make([]leakback.Kind, len(events))
	for i := range events {
		kinds[i] = events[i].Kind
	}
	return kinds
}

// What is said last stands: whatever another test said of the same cylinders and
// of their whole before, and took back again, changes nothing.
func TestCorrectedTestIsTheTest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := drawTest(t)
		said := Events(want, leakback.Job{}, nil)
		var before, back []leakback.Event
		for _, e := range Events(drawTest(t), leakback.Job{}, nil) {
			if e.Kind == leakback.KindReading && !reads(said, placeOf(e.Key)) {
				continue
			}
			before = append(before, e)
			if e.Value, e.Reason = "", ""; e.Kind != leakback.KindReading {
				back = append(back, e)
			}
		}
		got, err := Test(leakback.NewRecord(slices.Concat(before, back, said)))
		require.NoError(t, err)
		require.Equal(t, shown(want), shown(got))
	})
}

// reads says whether one of the events is a reading there.
func reads(events []leakback.Event, at place) bool {
	return slices.ContainsFunc(events, func(e leakback.Event) bool {
		return e.Kind == leakback.KindReading && placeOf(e.Key) == at
	})
}
