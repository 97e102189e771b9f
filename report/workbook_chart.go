package report

import (
	"bytes"
	_ "embed" // the parts below
	"encoding/xml"
	"fmt"
	"math"
	"slices"
	"strings"
	"text/template"

	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/limits/quantity"
	"leakback/report/formula"
)

// The chart is a part of our own rather than excelize's: only so can it carry
// its points, for programs that show and do not calculate, whiskers for the
// uncertainty, and a hatched fill that survives a copier.
var (
	//go:embed workbook_chart.xml
	chartXML string
	//go:embed workbook_drawing.xml
	drawingXML string

	chartPart   = part("chart", chartXML)
	drawingPart = part("drawing", drawingXML)
)

func part(name, text string) *template.Template {
	return template.Must(template.New(name).Funcs(template.FuncMap{
		"xml":    escaped,
		"number": func(x float64) bool { return !math.IsNaN(x) },
		"exact":  plainFigure,
	}).Parse(text))
}

// escaped is text for an XML element or attribute.
func escaped(text string) (string, error) {
	var b strings.Builder
	err := xml.EscapeText(&b, []byte(text))
	return b.String(), err
}

// cells are the cells a chart takes figures from, with what stands in them.
type cells struct {
	Ref    string
	Points []float64 // NaN is a cell without a number
}

// cellText is a cell with text.
type cellText struct{ Ref, Text string }

// series is one row of bars or one line.
type series struct {
	Index      int
	Name       cellText
	Values     cells
	Fill, Edge string
	Hatched    bool
	Width      int // of a line, in EMU
	Dash       string
	// Expanded are whiskers, and Sign is what stands over every point above
	// zero, of a line that is not drawn itself and not in the legend.
	Expanded cells
	Sign     string
	// Marks stand over single bars.
	Marks []pointLabel
}

// axisTitle is the title of an axis.
type axisTitle struct {
	Text    string
	Upright bool
}

// chart is what the chart's template takes.
type chart struct {
	Cylinders   cells
	Bars, Lines []series
	// Carriers are lines that are not seen: they carry whiskers and signs.
	Carriers []series
	// Beside puts the bars of a cylinder beside one another, not over one another.
	Beside          bool
	Across, Upright axisTitle
	X, Y, W, H      float64 // of the plot, in shares of the chart
	TickSize        int     // of the cylinder numbers, in hundredths of a point
}

// colFigures is the first column of the figures behind the chart, right of the
// printed page.
const colFigures = lastColumn + 2

// chart draws rates, limit and median beside the table from a row on, so high in points.
func (s *reportSheet) chart(from int, high float64) {
	c := s.figures(from)
	c.layout(high, across(colChart, lastColumn)-chartGap)
	s.draw(c, from, high, anchor{FromCol: colChart - 1, FromEMU: chartGap * emuPerPoint, Name: "Return rates", Alt: altText(s.r)})
}

// draw draws a chart, the only one of the page, to its right edge from a row on
// and so high in points.
func (s *reportSheet) draw(c chart, from int, high float64, a anchor) {
	to, rest := s.below(from, high)
	s.keep(s.file.AddChart(s.sheet, at(a.FromCol+1, from), &excelize.Chart{
		Type:   excelize.Col,
		Series: []excelize.ChartSeries{{Values: c.Cylinders.Ref}},
	}))
	s.parts["xl/charts/chart1.xml"] = s.fill(chartPart, c)
	a.ToCol, a.FromRow, a.ToRow, a.ToEMU, a.ID, a.Chart = lastColumn, from-1, to-1, int(rest*emuPerPoint), 2, 1
	s.parts["xl/drawings/drawing1.xml"] = s.fill(drawingPart, []anchor{a})
}

// anchor is where a chart stands on its sheet.
type anchor struct {
	FromCol, ToCol, FromRow, ToRow, FromEMU, ToEMU int
	Name, Alt                                      string
	// ID is the frame's number in its drawing, and Chart the chart's.
	ID, Chart int
}

// below is the row that lies so many points under the top of a row, and how far
// into it.
func (s *reportSheet) below(row int, points float64) (int, float64) {
	for ; row < s.row; row++ {
		height, err := s.file.GetRowHeight(s.sheet, row)
		s.keep(err)
		if points <= height {
			break
		}
		points -= height
	}
	return row, points
}

// chartGap is the space between table and chart in points.
const chartGap = 12

// emuPerPoint is how many of a drawing's units make a point.
const emuPerPoint = 12700

func (b *book) fill(t *template.Template, data any) []byte {
	var out bytes.Buffer
	b.keep(t.Execute(&out, data))
	return out.Bytes()
}

// drawn is one column of the figures behind the chart: a formula for every
// cylinder, or of a line one for every row, and what it comes to.
type drawn struct {
	name    string // as it is
	naming  string // a formula in the place of the name
	formula string
	value   func(*leakback.Cylinder) float64
	line    bool
	level   float64 // of a line
	style   series
}

// ofVerdict is the rates of the cylinders with a verdict.
func ofVerdict(v leakback.Verdict, style series) drawn {
	return drawn{name: VerdictWord(v), style: style,
		formula: `IF(verdict.verdict="` + v.String() + `",mean.rate,0)`,
		value:   rateWhere(func(c *leakback.Cylinder) bool { return c.Verdict == v })}
}

// rateWhere is the rate of the cylinders for which something holds, else 0.
func rateWhere(holds func(*leakback.Cylinder) bool) func(*leakback.Cylinder) float64 {
	return func(c *leakback.Cylinder) float64 {
		if !holds(c) || math.IsNaN(c.RateMLMin) {
			return 0
		}
		return c.RateMLMin
	}
}

// bars are the bars by verdict.
func bars() []drawn {
	return []drawn{
		ofVerdict(leakback.Pass, series{Fill: "D3DADA", Edge: "7A8585"}),
		ofVerdict(leakback.Undecided, series{Fill: accent, Edge: accent, Hatched: true}),
		ofVerdict(leakback.Fail, series{Fill: accentFill, Edge: accent}),
	}
}

// whiskers is how long they are.
func whiskers() drawn {
	return drawn{name: "± U", formula: `IF(cyl.plain=1,budget.expanded,0)`, value: expandedMLMin}
}

// carriers are what carries the whiskers, and the signs over bounds.
func carriers() []drawn {
	bound := func(name, sign string, b leakback.Bound) drawn {
		return drawn{name: name, formula: `IF(cyl.kind="` + name + `",mean.rate,0)`, style: series{Sign: sign},
			value: rateWhere(func(c *leakback.Cylinder) bool { return c.Bound == b })}
	}
	return []drawn{
		{name: "rate", formula: `IF(cyl.readable=1,mean.rate,0)`, value: rateWhere(func(*leakback.Cylinder) bool { return true })},
		bound("at least", "≥", leakback.AtLeast),
		bound("at most", "≤", leakback.AtMost),
	}
}

// levels are the lines across the chart, as far as the test has them.
func levels(r *leakback.Result) []drawn {
	d := Decimals(r)
	least, most := bounds(r)
	limit := func(name, figure string, x float64, style series) drawn {
		return drawn{name: name + limitFigure(x, d), line: true, level: x, style: style,
			formula: `IF(ISNUMBER(` + figure + `),` + figure + `,0)`,
			naming:  fmt.Sprintf(`"%s"&IF(ISNUMBER(%s),ROUND(%[2]s,%d),"none")`, name, figure, max(d, limitDigits))}
	}
	all := []drawn{
		limit("limit ", "applied_max", most, series{Fill: ink, Width: 22225, Dash: "solid"}),
		limit("minimum ", "applied_min", least, series{Fill: ink, Width: 15875, Dash: "sysDot"}),
		{name: "median " + quantity.Fixed(r.MedianMLMin, d), line: true, level: r.MedianMLMin,
			style: series{Fill: ink, Width: 12700, Dash: "dash"}, formula: `IF(ISNUMBER(shown_median),shown_median,0)`,
			naming: fmt.Sprintf(`"median "&IF(ISNUMBER(shown_median),FIXED(shown_median,%d,1),"none")`, d)},
	}
	return slices.DeleteFunc(all, func(line drawn) bool { return math.IsNaN(line.level) })
}

// figures writes the figures behind the chart right of the page and says where
// they stand. An empty row before and after the cylinders lets the lines run
// past the outer bars.
func (s *reportSheet) figures(top int) chart {
	f := figureSheet{reportSheet: s, top: top, col: colFigures}
	s.text(colFigures, top-1, "Figures behind the chart", small.with(func(l *look) { l.bold, l.wrap = true, false }))
	var c chart
	c.Cylinders = f.numbers()
	for _, bar := range bars() {
		c.Bars = append(c.Bars, f.column(bar))
	}
	for _, line := range levels(s.r) {
		c.Lines = append(c.Lines, f.column(line))
	}
	expanded := f.column(whiskers())
	for _, carrier := range carriers() {
		one := f.column(carrier)
		if one.Sign == "" {
			one.Expanded = expanded.Values
		}
		c.Carriers = append(c.Carriers, one)
	}
	s.signs(top, f.col-2, f.col-1)
	c.number()
	c.Across, c.Upright = axisTitle{Text: "cylinder"}, axisTitle{"return rate, mL/min", true}
	return c
}

// figureSheet writes the columns of figures behind the chart, from left to right.
type figureSheet struct {
	*reportSheet
	top, col int
}

// behind is the look of the figures behind the chart.
var behind = small.with(func(l *look) { l.align, l.wrap = "right", false })

// numbers is the column of cylinder numbers.
func (f *figureSheet) numbers() cells {
	f.text(f.col, f.top, "cylinder", behind)
	c := f.cells()
	for i := range f.r.Cylinders {
		c.Points[i+1] = float64(f.r.Cylinders[i].Cylinder)
		f.number(f.col, f.top+2+i, c.Points[i+1], behind)
	}
	f.col++
	return c
}

// cells are those of a column, one before the first cylinder and one after the
// last, with nothing in them so far.
func (f *figureSheet) cells() cells {
	first, rows := f.top+1, len(f.r.Cylinders)+2
	return cells{f.sheet + "!" + absolute(f.col, first) + ":" + absolute(f.col, first+rows-1),
		slices.Repeat([]float64{math.NaN()}, rows)}
}

// column is a column of formulas, or of what they would come to where the
// working does not recompute the test.
func (f *figureSheet) column(d drawn) series {
	one := d.style
	one.Name, one.Values = cellText{f.sheet + "!" + absolute(f.col, f.top), d.name}, f.cells()
	if d.naming != "" && f.live {
		f.formula(f.col, f.top, d.naming, formula.Here{}, behind)
	} else {
		f.text(f.col, f.top, d.name, behind)
	}
	for i := range one.Values.Points {
		if end := i == 0 || i == len(one.Values.Points)-1; !end || d.line {
			one.Values.Points[i] = f.point(d, i)
		}
	}
	f.col++
	return one
}

// point writes one cell of a column and gives its value.
func (f *figureSheet) point(d drawn, i int) float64 {
	row := f.top + 1 + i
	if f.live {
		return f.formula(f.col, row, d.formula, formula.Here{Index: i - 1}, behind).Float()
	}
	x := d.level
	if !d.line {
		x = d.value(&f.r.Cylinders[i-1])
	}
	f.number(f.col, row, x, behind)
	return x
}

// layout leaves room in points for the axis titles and the legend. Programs
// differ in what they leave by themselves, down to nothing.
func (c *chart) layout(high, wide float64) {
	const left, right, top, under, legendLine = 34, 6, 6, 32, 13
	legend := legendLine * math.Ceil(float64(len(c.Bars)+len(c.Lines))/2)
	c.X, c.W = left/wide, 1-(left+right)/wide
	c.Y, c.H = top/high, 1-(top+under+legend)/high
	c.TickSize = 850
	if len(c.Cylinders.Points) > 14 {
		c.TickSize = 700
	}
}

// number gives the series their numbers.
func (c *chart) number() {
	for i := range c.Bars {
		c.Bars[i].Index = i
	}
	for i := range c.Lines {
		c.Lines[i].Index = len(c.Bars) + i
	}
	for i := range c.Carriers {
		c.Carriers[i].Index = len(c.Bars) + len(c.Lines) + i
	}
}

// altText says in words what the chart shows.
func altText(r *leakback.Result) string {
	d := Decimals(r)
	var bars, lines []string
	for i := range r.Cylinders {
		c := &r.Cylinders[i]
		bars = append(bars, fmt.Sprintf("cylinder %d %s (%s)", c.Cylinder, RateText(c, d), VerdictWord(c.Verdict)))
	}
	for _, l := range levels(r) {
		lines = append(lines, l.name)
	}
	text := "Bar chart of the return rates in mL/min: " + strings.Join(bars, ", ") + "."
	if len(lines) > 0 {
		text += " Lines: " + strings.Join(lines, ", ") + "."
	}
	return text
}
