package report

import (
	"fmt"
	"math"

	"github.com/xuri/excelize/v2"

	"leakback/leakback"
)

// logged is one reading with the run and the test it belongs to.
type logged struct {
	test    *leakback.Test
	run     *leakback.Run
	reading *leakback.Reading
}

// readingColumn is one column of the readings sheet: a number or a text.
type readingColumn struct {
	head   string
	width  float64 // in points
	number func(logged) float64
	text   func(logged) string
}

// readingColumns are in the order of the sheet. Heads are the readings file's
// names where it has one.
var readingColumns = []readingColumn{
	{head: "run", width: 30, number: func(l logged) float64 { return float64(l.run.Number) }},
	{head: "cylinder", width: 48, number: func(l logged) float64 { return float64(l.reading.Cylinder) }},
	{head: "volume as typed", width: 62, text: func(l logged) string { return l.reading.Typed }},
	{head: "volume_ml", width: 58, number: func(l logged) float64 { return l.reading.VolumeML }},
	{head: "bound", width: 38, text: func(l logged) string { return l.reading.Bound.String() }},
	{head: "start_ml", width: 48, number: startML},
	{head: "interval_s", width: 56, number: func(l logged) float64 { return l.run.IntervalS }},
	{head: "graduation_ml", width: 74, number: func(l logged) float64 { return known(l.reading.Tube.GraduationML) }},
	{head: "capacity_ml", width: 64, number: func(l logged) float64 { return known(l.reading.Tube.CapacityML) }},
	{head: "tolerance_ml", width: 66, number: func(l logged) float64 { return l.reading.Tube.ToleranceML }},
	{head: "tube class", width: 56, text: func(l logged) string { return l.reading.Tube.Class }},
	{head: "return_line", width: 62, text: func(l logged) string { return l.reading.ReturnLine }},
	{head: "condition", width: 76, text: func(l logged) string { return l.test.Condition }},
	{head: "injectors", width: 52, text: func(l logged) string { return l.test.Injectors }},
	{head: "cranks", width: 40, number: func(l logged) float64 { return known(float64(l.run.State.Cranks)) }},
	{head: "fuel_temp_c", width: 64, number: func(l logged) float64 { return l.run.State.FuelTempC }},
	{head: "fuel_temp_at", width: 64, text: func(l logged) string { return l.run.State.FuelTempAt }},
	{head: "rail_pressure_bar", width: 88, number: func(l logged) float64 { return l.run.State.RailPressureBar }},
	{head: "back_pressure_bar", width: 92, number: func(l logged) float64 { return l.run.State.BackPressureBar }},
	{head: "engine_rpm", width: 62, number: func(l logged) float64 { return l.run.State.EngineRPM }},
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

// readings writes the readings exactly as they were logged, one in a row.
func (b *book) readings(p *Page) {
	s, row := pen{b, sheetReadings}, 1
	s.heads(readingColumns)
	t := p.Result.Test
	for i := range t.Runs {
		for k := range t.Runs[i].Readings {
			row++
			s.reading(row, logged{t, &t.Runs[i], &t.Runs[i].Readings[k]})
		}
	}
	s.list(len(readingColumns), row, paper{landscape: true, footer: footer(p)})
}

// heads writes the header row.
func (p pen) heads(columns []readingColumn) {
	p.height(1, 24)
	var widths []float64
	for i, c := range columns {
		head := columnHead
		if c.text != nil {
			head.align, head.indent = "left", 1
		}
		p.text(i+1, 1, c.head, head)
		widths = append(widths, c.width)
	}
	p.widths(widths...)
}

// reading is one row of the readings sheet.
func (p pen) reading(row int, l logged) {
	number := body.with(func(l *look) { l.align, l.bottom, l.wrap = "right", thinRule, false })
	free := number.with(func(l *look) { l.align, l.indent, l.quote = "left", 1, true })
	for i, c := range readingColumns {
		if c.text != nil {
			p.text(i+1, row, c.text(l), free)
			continue
		}
		p.number(i+1, row, c.number(l), number)
	}
}

// list finishes a sheet that is one table with its header in row 1: the header
// stays in view and is repeated on paper, the table is printed and nothing else.
func (p pen) list(columns, rows int, o paper) {
	p.print(o)
	p.name("_xlnm.Print_Area", fmt.Sprintf("$A$1:%s", absolute(columns, rows)))
	p.name("_xlnm.Print_Titles", "$1:$1")
	p.typedAsText(columns, rows)
	p.keep(p.file.SetPanes(p.sheet, &excelize.Panes{
		Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft",
		Selection: []excelize.Selection{{SQRef: "A2", ActiveCell: "A2", Pane: "bottomLeft"}},
	}))
}
