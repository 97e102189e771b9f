package report

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/limits"
	"leakback/report/formula"
)

// working is the sheet of live formulas in the making, from the top down in the
// order of the method. Each formula is written once, with names in the place of
// cells (package formula), and gives both the cell's formula and its value.
type working struct {
	pen
	r      *leakback.Result
	rows   int   // readings that take part
	runs   []int // numbers of the runs that take part
	inTime []int // places of each reading's run in the order of time
	// unknownTime says that the length of a run is unknown: volumes stand in the
	// place of rates.
	unknownTime bool
	block       int
	// row is the next to be written, used how much of a printed page is.
	row  int
	used float64
	// tables are those written so far, by name.
	tables map[string]*laid
	// limits are those for the test's condition; decisions are the tables that
	// hold single cylinders against them, in the order of the results.
	limits    []*limits.Limit
	decisions []limitDecision
	// line is the return line that is being solved, from 1; 0 where there is one
	// and after them.
	line int
}

// The grid of the sheet: columns all alike, as many as a landscape page holds at
// its scale, and its rows; in points.
const (
	gridColumns = 16
	gridWidth   = 46
	gridRow     = 11.5
	gridTitle   = 24
	gridScale   = 95 // percent, which A4 and Letter both hold
	gridPage    = 530
)

// The working's looks.
var (
	workHead = small.with(func(l *look) { l.size, l.bold, l.align, l.valign, l.fill = 7.5, true, "right", "bottom", tint })
	workCell = small.with(func(l *look) {
		l.size, l.align, l.valign, l.wrap, l.bottom = 7.5, "right", "center", false, thinRule
	})
	workLine = workCell.with(func(l *look) { l.align, l.bottom = "left", noRule })
	workNote = small.with(func(l *look) { l.size, l.color = 7.5, grey })
)

// Number formats of the working: what was entered, counts, rates and the like,
// what is compared or squared. Words have none.
const (
	inWords   = ""
	asEntered = "General"
	asCount   = "0"
	asRate    = "0.0000"
	asShare   = "0.000000"
)

// working writes the sheet that recomputes every figure from the readings.
func (b *book) working(p *Page) {
	w := &working{pen: pen{b, b.sheetOf(sheetWorking)}, r: p.Result, row: 1, tables: map[string]*laid{}}
	w.widths(slices.Repeat([]float64{gridWidth}, gridColumns)...)
	if !recomputed(p.Result) && !totalLive(p.Result) {
		w.notHere()
	} else {
		w.structure()
		w.opening()
		w.filled()
	}
	w.closing(p)
}

// recomputed says whether the working recomputes a result: of returns that were
// collected cylinder by cylinder, or merged, and of which no bound decides for
// another cylinder, for which they would have to be compared again and again.
func recomputed(r *leakback.Result) bool {
	return len(r.Cylinders) > 0 && !r.BoundsSway && (r.Test.Method == leakback.MethodIndividual || solvedLive(r))
}

// notHere says that the figures stand in the workbook as the program has them.
func (w *working) notHere() {
	w.title()
	if w.r.BoundsSway {
		w.say("How a cylinder stands to the others hangs here on a reading of which only a bound is known. The program compared the "+
			"set again and again, with the bound wherever it may lie, which the working in live formulas does not. The figures of "+
			"this workbook are those that the program came to, and do not follow a change.", workNote)
		return
	}
	w.say("The working in live formulas is for returns that were collected cylinder by cylinder, for a merged "+
		"return alone, and for the shares of merged returns of at most "+
		strconv.Itoa(mostShares)+" cylinders, where every return line was measured. The figures of this workbook are those that the program "+
		"solved, and do not follow a change.", workNote)
}

// structure is what a change in the sheet cannot change: the readings, the runs
// and the limits for the test's condition.
func (w *working) structure() {
	t := w.r.Test
	rows, kept := loggedRows(t)
	w.rows, w.limits, w.unknownTime = kept, candidates(w.r), timeUnknown(w.r)
	for i := range t.Runs {
		run := &t.Runs[i]
		if run.LeftOut != "" {
			continue
		}
		w.runs = append(w.runs, run.Number)
	}
	for _, l := range rows[:kept] {
		w.inTime = append(w.inTime, 1+slices.IndexFunc(t.Runs, func(r leakback.Run) bool { return r.Number == l.run.Number }))
	}
}

// filled is the summary, which what stands below it gives, and the blocks.
func (w *working) filled() {
	top, used := w.row, w.used
	for range summaryRows {
		w.next(gridRow)
	}
	w.method()
	end := w.row
	w.row, w.used = top, used
	w.summary()
	w.row = end
}

// method is the blocks in the order of the method.
func (w *working) method() {
	switch w.r.Test.Method {
	case leakback.MethodBlockOff:
		w.mergedMethod()
		return
	case leakback.MethodTotal:
		w.totalMethod()
		return
	}
	w.fromReadings()
	w.fromCylinders()
	w.fromRuns()
	w.fromDrift()
	w.rates()
	w.uncertainty()
	w.setFigures()
	w.judgement()
}

// judgement is the blocks from the rates on, which all methods share.
func (w *working) judgement() {
	w.comparison()
	w.limitsThatApply()
	w.againstLimits()
	w.wholeSet()
	w.verdicts()
	w.asWritten()
}

// next gives this row its height and goes on to the one below. Where the row no
// longer fits, a page begins with it, the same on every paper.
func (w *working) next(points float64) {
	if w.used+points > gridPage {
		w.newPage()
	}
	w.height(w.row, points)
	w.used += points
	w.row++
}

// newPage begins a page with this row, under the title that is on every page.
func (w *working) newPage() {
	w.keep(w.file.InsertPageBreak(w.sheet, at(1, w.row)))
	w.used = gridTitle
}

// gap leaves white space.
func (w *working) gap() { w.next(5) }

func (w *working) title() {
	w.text(1, 1, "Working", body.with(func(l *look) {
		l.size, l.bold, l.color, l.wrap, l.valign = 16, true, accent, false, "center"
	}))
	w.next(gridTitle)
}

// opening is the title and how to read the sheet.
func (w *working) opening() {
	w.title()
	w.say("Every figure here is a live formula that starts from the sheets "+w.sheetOf(sheetReadings)+" and "+w.sheetOf(sheetLimits)+"; none starts from a "+
		"figure of the program that wrote the file. Change a tinted cell there (a volume, also as >100 or <2, or none) and "+
		"everything follows: this sheet, the page, its chart. Names in the formulas are keys of the limits sheet or "+
		"stand beside their figures below. What decides is compared after rounding to 6 decimals.", workNote)
	if w.isMerged() {
		w.say(mergedPlain, workNote)
	}
	if w.unknownTime {
		w.say("The length of the collection is unknown: every rate here stands for a volume, as if collected in a minute. Ratios are "+
			"taken of them, and no absolute limit is held against them.", workNote)
	}
}

// say writes a paragraph across the grid.
func (w *working) say(text string, l look) {
	w.merge(1, gridColumns, w.row, l)
	w.text(1, w.row, text, l)
	w.next(l.tall(len(l.lines(text, gridColumns*gridWidth))))
}

// blockNeeds is how much of a block must fit where it begins: its heading and
// the first rows.
const blockNeeds = 110

// begin begins a block: its heading, a sentence, and its formula in words.
func (w *working) begin(title, sentence, formula string) {
	w.next(9)
	if w.used+blockNeeds > gridPage {
		w.newPage()
	}
	w.block++
	w.text(1, w.row, fmt.Sprintf("%d  %s", w.block, title), heading)
	w.next(15)
	w.say(sentence, workNote)
	if formula != "" {
		w.say(formula, workNote.with(func(l *look) { l.italic, l.color = true, ink }))
	}
}

// field is one column of a table.
type field struct {
	id, head, format string
	// formula is that of every row, formulaOf that of one where they differ,
	// and value what stands there that no formula makes.
	formula   string
	formulaOf func(i int) string
	value     func(i int) formula.Value
}

// live is a column of one formula; its head has its unit in the second line.
func live(id, head, format, formula string) field {
	return field{id: id, head: head, format: format, formula: formula}
}

// liveOf is a column whose formula differs from row to row.
func liveOf(id, head, format string, formula func(i int) string) field {
	return field{id: id, head: head, format: format, formulaOf: formula}
}

// fixedCount and fixedWords are columns of what no formula makes.
func fixedCount(id, head string, value func(i int) int) field {
	return field{id: id, head: head, format: asCount,
		value: func(i int) formula.Value { return formula.Num(float64(value(i))) }}
}

func fixedWords(id, head string, value func(i int) string) field {
	return field{id: id, head: head, value: func(i int) formula.Value { return formula.StrOrBlank(value(i)) }}
}

// spaces are columns with nothing in them, over which long words may run.
func spaces(id string, n int) []field {
	all := make([]field, n)
	for i := range all {
		all[i].id = fmt.Sprint(id, i)
	}
	return all
}

// cylinders is a column of cylinder numbers, as every table with a row a
// cylinder begins.
func (w *working) cylinders() field {
	numbers := w.numbers()
	return fixedCount("cylinder", w.member(), func(i int) int { return numbers[i] })
}

// laid is a table that has been written, to which columns may be added.
type laid struct {
	table           *formula.Table
	top, rows, wide int
	at              map[string]int // columns by name
}

// table writes a table of so many rows, from the left edge.
func (w *working) table(name string, rows int, fields ...field) {
	name = w.onLine(name)
	table, err := w.names.Table(name, w.sheet, w.row+1, rows)
	w.keep(err)
	if err != nil {
		return
	}
	w.tables[name] = &laid{table: table, top: w.row + 1, rows: rows, at: map[string]int{}}
	head := 1
	for _, f := range fields {
		if f.format != inWords || strings.Contains(f.head, "\n") { // the others run on to the right
			head = max(head, len(workHead.lines(f.head, gridWidth)))
		}
	}
	w.next(workHead.tall(head))
	for range rows {
		w.next(gridRow)
	}
	w.further(name, fields...)
}

// further adds fields to a table, right of those that it has.
func (w *working) further(name string, fields ...field) {
	name = w.onLine(name)
	for _, f := range fields {
		w.column(name, f)
	}
}

// column writes one column of a table, from the top down.
func (w *working) column(name string, f field) {
	t := w.tables[name]
	t.wide++
	head, cell := workHead, workCell.with(func(l *look) { l.format = f.format })
	if f.format == inWords {
		head.align, head.wrap, head.indent, cell.align, cell.indent = "left", strings.Contains(f.head, "\n"), 1, "left", 1
	}
	w.text(t.wide, t.top-1, f.head, head)
	values := make([]formula.Value, t.rows)
	t.table.Column(f.id, t.wide, values)
	t.at[f.id] = t.wide
	for i := range values {
		values[i] = w.cell(t.wide, t.top+i, f, formula.Here{Table: name, Index: i}, cell)
	}
}

// cell writes one cell of a field and gives what stands in it.
func (w *working) cell(col, row int, f field, here formula.Here, l look) formula.Value {
	template := f.formula
	if f.formulaOf != nil {
		template = f.formulaOf(here.Index)
	}
	if template != "" {
		return w.pen.formula(col, row, w.onLine(template), here, l)
	}
	var v formula.Value
	if f.value != nil {
		v = f.value(here.Index)
	}
	w.value(col, row, v, l)
	return v
}

// Columns of a row that holds one figure.
const (
	figureValue = 5
	figureUnit  = 6
	figureName  = 8
	figureNote  = 11
)

// one is a figure of the working: the name that formulas call it by, what it is,
// its unit, how it comes about in a few words.
type one struct {
	name, label, unit, formula, format, note string
}

// figures writes figures, a row each.
func (w *working) figures(all ...one) {
	for _, f := range all {
		f.name, f.formula = w.onLine(f.name), w.onLine(f.formula)
		w.figureWith(f, func(col, row int, l look) formula.Value {
			return w.pen.formula(col, row, f.formula, formula.Here{}, l)
		})
	}
}

// constant writes a figure that no formula makes.
func (w *working) constant(name, label string, v formula.Value) {
	w.figureWith(one{name: name, label: label}, func(col, row int, l look) formula.Value {
		w.value(col, row, v, l)
		return v
	})
}

// figureWith writes a figure whose value is written by write.
func (w *working) figureWith(f one, write func(col, row int, l look) formula.Value) {
	value := workLine.with(func(l *look) { l.format, l.bold, l.align = f.format, true, "right" })
	if f.format == inWords {
		value.align, value.indent = "left", 1
	}
	w.text(1, w.row, f.label, workLine)
	w.text(figureUnit, w.row, f.unit, workLine.with(func(l *look) { l.indent = 1 }))
	w.text(figureName, w.row, f.name, workLine.with(func(l *look) { l.color, l.italic = grey, true }))
	w.text(figureNote, w.row, f.note, workLine.with(func(l *look) { l.color = grey }))
	w.pen.figure(f.name, figureValue, w.row, write(figureValue, w.row, value))
	w.next(gridRow)
}

// closing sets how the sheet prints.
func (w *working) closing(p *Page) {
	w.print(paper{landscape: true, scale: gridScale, footer: footer(p)})
	w.name("_xlnm.Print_Area", fmt.Sprintf("$A$1:%s", absolute(gridColumns, w.row-1)))
	w.name("_xlnm.Print_Titles", "$1:$1")
	w.typedAsText(gridColumns, w.row-1)
	w.frozen(1)
	w.noGrid()
	w.protect()
}
