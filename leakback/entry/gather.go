package entry

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"leakback/leakback"
)

// stated is what a test or a run said of itself, and the row that said it
// first; row 0 where none has. A figure that could not be read is NaN.
type stated struct {
	row   int
	value float64
	text  string
}

// differs says whether two rows contradict one another.
func (s *stated) differs(o *stated, words bool) bool {
	if words {
		return s.text != o.text
	}
	return s.value != o.value && !math.IsNaN(s.value) && !math.IsNaN(o.value)
}

// says that an earlier row said the same in the same letters, and soundly.
func (s *stated) says(text string) bool { return s.row > 0 && s.text == text && !math.IsNaN(s.value) }

// gathered is the test whose rows are being read.
type gathered struct {
	open     bool
	cell, id string // as its rows name it; with the default in an empty cell's place
	words    [lastOfTest - firstOfTest + 1]stated
	runs     []gatheredRun
	readings []placed
	rows     int
	// method is how its returns were collected, as row first said; "" before.
	method leakback.Method
	first  int
}

type gatheredRun struct {
	number, row int
	cylinders   uint64 // bit c-1 for cylinder c
	readings    int
	blocked     []int
	state       [lastOfRun - firstOfRun + 1]stated
}

// placed is a reading, its run's number and its row.
type placed struct {
	run, row int
	leakback.Reading
}

// begin empties g for another test and keeps its memory.
func (g *gathered) begin(cell, id string) {
	*g = gathered{open: true, cell: cell, id: id, runs: g.runs[:0], readings: g.readings[:0]}
}

// run is the run of that number, which may be new. It is valid until the next call.
func (g *gathered) run(number, row int) *gatheredRun {
	for i := len(g.runs) - 1; i >= 0; i-- {
		if g.runs[i].number == number {
			return &g.runs[i]
		}
	}
	g.runs = append(g.runs, gatheredRun{number: number, row: row})
	return &g.runs[len(g.runs)-1]
}

// rowOf is the row that a run already has for a cylinder, or for a return
// line; 0 where it has none.
func (g *gathered) rowOf(run, cylinder int, line string) int {
	for i := range g.readings {
		if p := &g.readings[i]; p.run == run && p.Cylinder == cylinder && (cylinder > 0 || p.ReturnLine == line) {
			return p.row
		}
	}
	return 0
}

// add puts a reading into a run.
func (g *gathered) add(run *gatheredRun, row int, rd leakback.Reading) {
	run.readings++
	g.readings = append(g.readings, placed{run.number, row, rd})
}

func (g *gathered) word(c column, flag string) string {
	if s := &g.words[c-firstOfTest]; s.row > 0 {
		return s.text
	}
	return flag
}

func (g *gatheredRun) stated(c column) *stated { return &g.state[c-firstOfRun] }

func (g *gatheredRun) figure(c column, flag float64) float64 {
	if s := g.stated(c); s.row > 0 {
		return s.value
	}
	return flag
}

// test puts the rows in order; the flags fill in what no row has stated.
func (g *gathered) test(d *Defaults) *leakback.Test {
	g.sort()
	readings := make([]leakback.Reading, len(g.readings))
	for i := range readings {
		readings[i] = g.readings[i].Reading
	}
	t := &leakback.Test{
		ID: g.id, Method: g.method, Cylinders: d.Cylinders, FitDrift: d.FitDrift,
		Engine:    g.word(colEngine, d.Engine),
		Condition: g.word(colCondition, d.Condition),
		Injectors: g.word(colInjectors, d.Injectors),
		Runs:      make([]leakback.Run, len(g.runs)),
	}
	for i := range g.runs {
		n := g.runs[i].readings
		t.Runs[i] = g.runs[i].run(d, readings[:n:n])
		readings = readings[n:]
	}
	return t
}

// sort orders runs and readings, which mostly come in their order.
func (g *gathered) sort() {
	slices.SortFunc(g.runs, func(a, b gatheredRun) int { return cmp.Compare(a.number, b.number) })
	ordered := true
	for i := 1; i < len(g.readings) && ordered; i++ {
		ordered = g.readings[i-1].compare(&g.readings[i]) < 0
	}
	if !ordered {
		slices.SortFunc(g.readings, func(a, b placed) int { return a.compare(&b) })
	}
}

// compare is the order of runs, then of cylinders, of a merged return of lines.
func (p *placed) compare(o *placed) int {
	if c := cmp.Or(cmp.Compare(p.run, o.run), cmp.Compare(p.Cylinder, o.Cylinder)); c != 0 || p.Cylinder > 0 {
		return c
	}
	return strings.Compare(p.ReturnLine, o.ReturnLine)
}

func (g *gatheredRun) run(d *Defaults, readings []leakback.Reading) leakback.Run {
	s := d.state()
	s.Cranks = int(g.figure(colCranks, float64(s.Cranks)))
	s.FuelTempC = g.figure(colFuelTemp, s.FuelTempC)
	s.RailPressureBar = g.figure(colRailPressure, s.RailPressureBar)
	s.BackPressureBar = g.figure(colBackPressure, s.BackPressureBar)
	s.EngineRPM = g.figure(colEngineRPM, s.EngineRPM)
	if at := g.stated(colFuelTempAt); at.row > 0 {
		s.FuelTempAt = at.text
	}
	return leakback.Run{Number: g.number, IntervalS: intervalS(g.figure(colInterval, d.IntervalS)), State: s,
		Blocked: g.blocked, Readings: readings}
}
