package entry

import (
	"fmt"
	"strings"

	"leakback/leakback"
	"leakback/limits"
	"leakback/limits/quantity"
)

// column is what a column of a readings file means, whatever its unit.
type column int

const (
	colTestID column = iota
	colRun
	colCylinder
	colBlocked
	colVolume
	colDensity
	colStart
	colOverRange
	colGraduation
	colCapacity
	colTolerance
	colReturnLine
	// A test has one of each of these ...
	colEngine
	colCondition
	colInjectors
	// ... and a run one of each of these.
	colInterval
	colCranks
	colFuelTemp
	colFuelTempAt
	colRailPressure
	colBackPressure
	colEngineRPM
	columns

	firstOfTest, lastOfTest = colEngine, colInjectors
	firstOfRun, lastOfRun   = colInterval, colEngineRPM
)

// names are the columns as the header may name them: the first of a meaning is
// its usual name, and factor brings a cell to the inside unit.
var names = []struct {
	name   string
	column column
	factor float64
}{
	{"cylinder", colCylinder, 1},
	{"blocked", colBlocked, 1},
	{volumeName, colVolume, 1},
	{"volume_cc", colVolume, 1},
	{"volume_floz", colVolume, one(quantity.Volume, "US fl oz")},
	{massName, colVolume, 1},
	{"density_g_ml", colDensity, 1},
	{"interval_s", colInterval, 1},
	{"interval_min", colInterval, one(quantity.Interval, "min")},
	{"test_id", colTestID, 1},
	{"run", colRun, 1},
	{"start_ml", colStart, 1},
	{"over_range", colOverRange, 1},
	{"graduation_ml", colGraduation, 1},
	{"capacity_ml", colCapacity, 1},
	{"tolerance_ml", colTolerance, 1},
	{"condition", colCondition, 1},
	{"injectors", colInjectors, 1},
	{"cranks", colCranks, 1},
	{"fuel_temp_c", colFuelTemp, 1},
	{"fuel_temp_at", colFuelTempAt, 1},
	{"rail_pressure_bar", colRailPressure, 1},
	{"back_pressure_bar", colBackPressure, 1},
	{"engine_rpm", colEngineRPM, 1},
	{"return_line", colReturnLine, 1},
	{"engine", colEngine, 1},
}

// massName is the column of readings that were weighed; their densities make
// volumes of them.
const massName = "mass_g"

// volumeName is the column of readings in the inside unit.
const volumeName = "volume_ml"

// one is one of a unit in the inside unit.
func one(k quantity.Kind, unit string) float64 {
	x, err := quantity.Parse(k, "1 "+unit)
	if err != nil {
		panic(err) // the unit is written in this file
	}
	return x
}

// span is what a column of numbers takes.
type span struct {
	low, high float64
	above     bool // low itself is not taken
	whole     bool
	expected  string
}

// holds says whether x is in the span; NaN is in none.
func (s *span) holds(x float64) bool {
	return x >= s.low && x <= s.high && !(s.above && x == s.low) && !(s.whole && x != float64(int64(x)))
}

// spans holds a span for each column of numbers. Where no unit sets the bounds
// they are wide: common practice, no source.
var spans = [columns]span{
	colRun:          counted("a run's number", 1, leakback.HighestRun),
	colCylinder:     counted("a cylinder's number", 1, limits.MostCylinders),
	colVolume:       measured(quantity.Volume, "a volume from"),
	colDensity:      {low: 0.6, high: 1.1, expected: "a density from 0.6 to 1.1 g/mL"},
	colStart:        measured(quantity.Volume, "a level from"),
	colOverRange:    {low: 0, high: 1, whole: true, expected: "1 where the tube overflowed, else 0"},
	colGraduation:   aboveZero(measured(quantity.Volume, "the step between two marks, above")),
	colCapacity:     aboveZero(measured(quantity.Volume, "the tube's highest mark, above")),
	colTolerance:    measured(quantity.Volume, "the largest error of the scale, from"),
	colInterval:     measured(quantity.Interval, "the length of the collection, from"),
	colCranks:       counted("the number of cranks", 1, leakback.MostCranks),
	colFuelTemp:     measured(quantity.Temperature, "a temperature from"),
	colRailPressure: measured(quantity.Pressure, "a pressure from"),
	colBackPressure: measured(quantity.Pressure, "a pressure from"),
	colEngineRPM:    {high: leakback.MostRPM, expected: "a speed from 0 to " + quantity.Grouped(leakback.MostRPM) + " rpm"},
}

// cylinderCount is what the flag of the cylinders takes, whose column numbers them.
var cylinderCount = counted("the number of cylinders", 1, limits.MostCylinders)

// massSpan is what the volume's column takes where it holds masses.
var massSpan = span{high: 10_000, expected: "a mass from 0 to 10,000 g"}

func counted(what string, low, high float64) span {
	return span{low: low, high: high, whole: true,
		expected: fmt.Sprintf("%s, whole, from %v to %v", what, low, high)}
}

func measured(k quantity.Kind, what string) span {
	low, high := k.Bounds()
	return span{low: low, high: high, expected: fmt.Sprintf("%s %s to %s %s",
		what, quantity.Grouped(low), quantity.Grouped(high), k.Unit())}
}

func aboveZero(s span) span {
	s.above = true
	return s
}

// header says where the columns of one file are.
type header struct {
	row   int
	mark  byte // between cells
	width int
	at    [columns]int // -1 where there is none
	// name and factor are the usual ones where there is no such column.
	name    [columns]string
	factor  [columns]float64
	unnamed []int
	// mass says that the readings were weighed.
	mass bool
	// ofTest and ofRun are the columns that the file has of those that say
	// something of a whole test or run.
	ofTest, ofRun []column
}

func (h *header) has(c column) bool { return h.at[c] >= 0 }

// newHeader reads a header's cells. Its faults go to the list; ok says that
// there is enough of it to read rows by.
func newHeader(record []string, mark byte, row int, list *faultList) (h *header, ok bool) {
	h = usualHeader()
	h.row, h.mark, h.width = row, mark, len(record)
	unknown := 0
	for i, cell := range record {
		name := strings.ToLower(strings.TrimSpace(cell))
		if !h.place(i, name, list) {
			list.add(unknownColumn(row, strings.TrimSpace(cell), unknown))
			unknown++
		}
	}
	h.check(list)
	h.ofTest, h.ofRun = h.among(firstOfTest, lastOfTest), h.among(firstOfRun, lastOfRun)
	return h, h.has(colVolume)
}

// usualHeader is one without a column, under the usual names.
func usualHeader() *header {
	h := &header{}
	for i := len(names) - 1; i >= 0; i-- {
		n := names[i]
		h.at[n.column], h.name[n.column], h.factor[n.column] = -1, n.name, n.factor
	}
	return h
}

// among lists the columns that the file has, from first to last.
func (h *header) among(first, last column) []column {
	var list []column
	for c := first; c <= last; c++ {
		if h.has(c) {
			list = append(list, c)
		}
	}
	return list
}

// place notes where a column stands; known is false where no column has that
// name. A cell without a name is a column that must stay empty.
func (h *header) place(i int, name string, list *faultList) (known bool) {
	c, factor := lookUp(name)
	switch {
	case name == "":
		h.unnamed = append(h.unnamed, i)
	case c == columns:
		return false
	case h.has(c):
		list.add(Fault{Row: h.row, Column: name, Expected: once(c)})
	default:
		h.at[c], h.name[c], h.factor[c] = i, name, factor
		h.mass = h.mass || name == massName
	}
	return true
}

// lookUp finds what a column's name means; columns where it is unknown.
func lookUp(name string) (column, float64) {
	for _, n := range names {
		if n.name == name {
			return n.column, n.factor
		}
	}
	return columns, 0
}

// check adds a fault for what the columns do not make sense without.
func (h *header) check(list *faultList) {
	if !h.has(colVolume) {
		list.add(Fault{Row: h.row, Expected: "a column " + strings.Join(namesOf(colVolume), " or ")})
	}
	if h.has(colDensity) && !h.mass {
		list.add(Fault{Row: h.row, Column: h.name[colDensity], Expected: "it beside a column " + massName + " alone"})
	}
}

// unknownColumn lists the known ones, for the first unknown name of a header.
func unknownColumn(row int, name string, before int) Fault {
	f := Fault{Row: row, Value: name, Expected: "one of the columns named above"}
	if before == 0 {
		all := make([]string, len(names))
		for i, n := range names {
			all[i] = n.name
		}
		f.Expected = "one of the columns " + strings.Join(all, ", ")
	}
	return f
}

// once says that a column may stand once, whatever its unit.
func once(c column) string {
	if units := namesOf(c); len(units) > 1 {
		return "only one column of " + strings.Join(units, ", ")
	}
	return "each column once"
}

func namesOf(c column) []string {
	var all []string
	for _, n := range names {
		if n.column == c {
			all = append(all, n.name)
		}
	}
	return all
}
