package report

import (
	"fmt"
	"math"
	"slices"

	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/report/formula"
)

// logged is one reading with the run and the test it belongs to.
type logged struct {
	test    *leakback.Test
	run     *leakback.Run
	reading *leakback.Reading
}

// readingColumn is one column of the readings sheet.
type readingColumn struct {
	head  string
	width float64 // in points
	// id is what formulas call the column; "" where none starts from it.
	id string
	// open says that a reader may change it, and everything follows.
	open  bool
	words bool // free text
	odd   bool
	value func(logged) formula.Value
}

// readingColumns are in the order of the sheet. Heads are the readings file's
// names where it has one, and volume_ml is as that file has it: a number, >100
// where the tube overflowed, <2 below the first mark, nothing where not read.
// Columns with an odd in front stand only where a test has something for them.
var readingColumns = []readingColumn{
	{head: "run", width: 30, id: "run", value: fromFigures(func(l logged) float64 { return float64(l.run.Number) })},
	{head: "cylinder", width: 48, id: "cylinder", value: fromFigures(func(l logged) float64 { return known(float64(l.reading.Cylinder)) })},
	{head: "blocked", width: 48, id: "blocked", odd: true, words: true, value: fromWords(func(l logged) string { return numbers(l.run.Blocked, "+") })},
	{head: "volume as typed", width: 62, words: true, value: fromWords(func(l logged) string { return l.reading.Typed })},
	{head: "density_g_ml", width: 66, odd: true, value: fromFigures(func(l logged) float64 { return known(l.reading.DensityGML) })},
	{head: "volume_ml", width: 58, id: "volume", open: true, value: volumeCell},
	{head: "start_ml", width: 48, id: "start", open: true, value: fromFigures(startML)},
	{head: "interval_s", width: 56, id: "interval", open: true, value: fromFigures(func(l logged) float64 { return l.run.IntervalS })},
	{head: "graduation_ml", width: 74, id: "mark", open: true, value: fromFigures(func(l logged) float64 { return known(l.reading.Tube.GraduationML) })},
	{head: "capacity_ml", width: 64, id: "capacity", open: true, value: fromFigures(func(l logged) float64 { return known(l.reading.Tube.CapacityML) })},
	{head: "tolerance_ml", width: 66, id: "tolerance", open: true, value: fromFigures(func(l logged) float64 { return l.reading.Tube.ToleranceML })},
	{head: "tube class", width: 56, words: true, value: fromWords(func(l logged) string { return l.reading.Tube.Class })},
	{head: "return_line", width: 62, id: "line", words: true, value: fromWords(func(l logged) string { return l.reading.ReturnLine })},
	{head: "condition", width: 76, words: true, value: fromWords(func(l logged) string { return l.test.Condition })},
	{head: "injectors", width: 52, id: "injectors", open: true, words: true, value: fromWords(func(l logged) string { return l.test.Injectors })},
	{head: "cranks", width: 40, id: "cranks", open: true, value: fromFigures(func(l logged) float64 { return known(float64(l.run.State.Cranks)) })},
	{head: "fuel_temp_c", width: 64, id: "fuel", open: true, value: fromFigures(func(l logged) float64 { return l.run.State.FuelTempC })},
	{head: "fuel_temp_at", width: 64, words: true, value: fromWords(func(l logged) string { return l.run.State.FuelTempAt })},
	{head: "rail_pressure_bar", width: 88, id: "rail", open: true, value: fromFigures(func(l logged) float64 { return l.run.State.RailPressureBar })},
	{head: "back_pressure_bar", width: 92, id: "back", open: true, value: fromFigures(func(l logged) float64 { return l.run.State.BackPressureBar })},
	{head: "engine_rpm", width: 62, id: "rpm", open: true, value: fromFigures(func(l logged) float64 { return l.run.State.EngineRPM })},
	{head: "left out, because", width: 130, odd: true, words: true, value: fromWords(func(l logged) string { return l.run.LeftOut })},
}

// columnsFor are the columns that a test needs.
func columnsFor(rows []logged) []readingColumn {
	return slices.DeleteFunc(slices.Clone(readingColumns), func(c readingColumn) bool {
		return c.odd && !slices.ContainsFunc(rows, func(l logged) bool { return c.value(l).Kind != formula.Blank })
	})
}

// fromFigures and fromWords are columns of figures, NaN where there is none, and of text.
func fromFigures(of func(logged) float64) func(logged) formula.Value {
	return func(l logged) formula.Value { return formula.NumOrBlank(of(l)) }
}

func fromWords(of func(logged) string) func(logged) formula.Value {
	return func(l logged) formula.Value { return formula.StrOrBlank(of(l)) }
}

// volumeCell is the level in mL, with > or < before a bound.
func volumeCell(l logged) formula.Value {
	if !l.reading.Read() {
		return formula.Value{}
	}
	level := plainFigure(l.reading.VolumeML)
	switch {
	case l.reading.Bound == leakback.AtLeast:
		return formula.Str(">" + level)
	case l.reading.Bound == leakback.AtMost:
		return formula.Str("<" + level)
	}
	return formula.Num(l.reading.VolumeML)
}

// known is x, and no number where 0 stands for not recorded.
func known(x float64) float64 {
	if x == 0 {
		return math.NaN()
	}
	return x
}

// startML is the level at the start where it was read.
func startML(l logged) float64 {
	if !l.reading.StartRead {
		return math.NaN()
	}
	return l.reading.StartML
}

// loggedRows are the readings in their order, those of runs that are left out
// behind the others; kept is how many take part. A run without any reading has a
// row for its state.
func loggedRows(t *leakback.Test) (rows []logged, kept int) {
	for _, out := range []bool{false, true} {
		if out {
			kept = len(rows)
		}
		for i := range t.Runs {
			if run := &t.Runs[i]; (run.LeftOut != "") == out {
				rows = append(rows, rowsOf(t, run)...)
			}
		}
	}
	return rows, kept
}

func rowsOf(t *leakback.Test, run *leakback.Run) []logged {
	if len(run.Readings) == 0 {
		return []logged{{t, run, &leakback.Reading{VolumeML: math.NaN(), Tube: leakback.Tube{ToleranceML: math.NaN()}}}}
	}
	rows := make([]logged, len(run.Readings))
	for k := range run.Readings {
		rows[k] = logged{t, run, &run.Readings[k]}
	}
	return rows
}

// tableReadings is what formulas call the readings that take part.
const tableReadings = "in"

// readings writes the readings exactly as they were logged, one in a row, and
// makes those that take part known to formulas.
func (b *book) readings(p *Page) {
	s := pen{b, b.sheetOf(sheetReadings)}
	rows, kept := loggedRows(p.Result.Test)
	columns := columnsFor(rows)
	s.heads(columns)
	table, err := b.names.Table(tableReadings, s.sheet, 2, kept)
	b.keep(err)
	for i, c := range columns {
		values := make([]formula.Value, len(rows))
		for k, l := range rows {
			values[k] = c.value(l)
			s.readingCell(i+1, k+2, c, values[k])
		}
		if c.id != "" && err == nil {
			table.Column(c.id, i+1, values[:kept])
		}
	}
	s.list(len(columns), len(rows)+1, paper{landscape: true, footer: footer(p)})
	s.protect()
}

// heads writes the header row.
func (p pen) heads(columns []readingColumn) {
	p.height(1, 24)
	var widths []float64
	for i, c := range columns {
		head := columnHead
		if c.words {
			head.align, head.indent = "left", 1
		}
		p.text(i+1, 1, c.head, head)
		widths = append(widths, c.width)
	}
	p.widths(widths...)
}

// readingCell is one cell of the readings sheet.
func (p pen) readingCell(col, row int, c readingColumn, v formula.Value) {
	l := body.with(func(l *look) { l.align, l.bottom, l.wrap, l.open = "right", thinRule, false, c.open })
	if c.open {
		l.fill = entryFill
	}
	if c.words {
		l.align, l.indent, l.quote = "left", 1, true
	}
	p.value(col, row, v, l)
}

// list finishes a sheet that is one table with its header in row 1: the header
// stays in view and is repeated on paper, the table is printed and nothing else.
func (p pen) list(columns, rows int, o paper) {
	p.print(o)
	p.name("_xlnm.Print_Area", fmt.Sprintf("$A$1:%s", absolute(columns, rows)))
	p.name("_xlnm.Print_Titles", "$1:$1")
	p.typedAsText(columns, rows)
	p.frozen(1)
}

// frozen keeps the rows down to one in view.
func (p pen) frozen(row int) {
	below := at(1, row+1)
	p.keep(p.file.SetPanes(p.sheet, &excelize.Panes{
		Freeze: true, YSplit: row, TopLeftCell: below, ActivePane: "bottomLeft",
		Selection: []excelize.Selection{{SQRef: below, ActiveCell: below, Pane: "bottomLeft"}},
	}))
}
