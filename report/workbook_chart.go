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
	Points []float64 // NaN is an empty cell
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
	Marks      []mark
	Width      int // of a line, in EMU
	Dash       string
}

// mark is a sign over one bar.
type mark struct {
	Index int
	Text  string
}

// axisTitle is the title of an axis.
type axisTitle struct {
	Text    string
	Upright bool
}

// chart is what the chart's template takes.
type chart struct {
	Cylinders, Expanded cells
	Bars, Lines         []series
	Across, Upright     axisTitle
	X, Y, W, H          float64 // of the plot, in shares of the chart
	TickSize            int     // of the cylinder numbers, in hundredths of a point
}

// colFigures is the first column of the figures behind the chart, right of the
// printed page.
const colFigures = lastColumn + 2

// chart draws rates, limit and median beside the table from a row on, so high in points.
func (s *reportSheet) chart(from int, high float64) {
	c := s.figures(from)
	c.layout(high, across(colChart, lastColumn)-chartGap)
	to, rest := s.below(from, high)
	s.keep(s.file.AddChart(s.sheet, at(colChart, from), &excelize.Chart{
		Type:   excelize.Col,
		Series: []excelize.ChartSeries{{Values: c.Cylinders.Ref}},
	}))
	s.parts["xl/charts/chart1.xml"] = s.fill(chartPart, c)
	s.parts["xl/drawings/drawing1.xml"] = s.fill(drawingPart, struct {
		FromCol, ToCol, FromRow, ToRow, FromEMU, ToEMU int
		Alt                                            string
	}{colChart - 1, lastColumn, from - 1, to - 1, chartGap * emuPerPoint, int(rest * emuPerPoint), altText(s.r)})
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

// drawn is one column of the figures behind the chart.
type drawn struct {
	name  string
	value func(c *leakback.Cylinder) float64 // of a bar
	level float64                            // of a line
	style series
}

// columns are the columns of figures: bars by verdict, then the lines.
func columns(r *leakback.Result) (bars, lines []drawn) {
	of := func(v leakback.Verdict) func(*leakback.Cylinder) float64 {
		return func(c *leakback.Cylinder) float64 {
			if c.Verdict != v {
				return math.NaN()
			}
			return c.RateMLMin
		}
	}
	return []drawn{
		{name: VerdictWord(leakback.Pass), value: of(leakback.Pass),
			style: series{Fill: "D3DADA", Edge: "7A8585"}},
		{name: VerdictWord(leakback.Undecided), value: of(leakback.Undecided),
			style: series{Fill: accent, Edge: accent, Hatched: true}},
		{name: VerdictWord(leakback.Fail), value: of(leakback.Fail),
			style: series{Fill: accentFill, Edge: accent}},
	}, levels(r)
}

// levels are the lines across the chart.
func levels(r *leakback.Result) []drawn {
	d := Decimals(r)
	least, most := bounds(r)
	all := []drawn{
		{name: "limit " + limitFigure(most, d), level: most, style: series{Fill: ink, Width: 22225, Dash: "solid"}},
		{name: "minimum " + limitFigure(least, d), level: least, style: series{Fill: ink, Width: 15875, Dash: "sysDot"}},
		{name: "median " + quantity.Fixed(r.MedianMLMin, d), level: r.MedianMLMin,
			style: series{Fill: ink, Width: 12700, Dash: "dash"}},
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
	_, c.Cylinders = f.bars("cylinder", func(c *leakback.Cylinder) float64 { return float64(c.Cylinder) })
	_, c.Expanded = f.bars("± U", func(c *leakback.Cylinder) float64 { return c.Budget.ExpandedMLMin })
	bars, lines := columns(s.r)
	for _, bar := range bars {
		one := bar.style
		one.Name, one.Values = f.bars(bar.name, bar.value)
		one.Marks = marks(s.r, one.Values)
		c.Bars = append(c.Bars, one)
	}
	c.Bars = drawable(c.Bars)
	for _, line := range lines {
		one := line.style
		one.Name, one.Values = f.column(line.name, func(int) float64 { return line.level })
		c.Lines = append(c.Lines, one)
	}
	c.number()
	c.Across, c.Upright = axisTitle{Text: "cylinder"}, axisTitle{"return rate, mL/min", true}
	return c
}

// figureSheet writes the columns of figures behind the chart, from left to right.
type figureSheet struct {
	*reportSheet
	top, col int
}

// bars is a column with a figure for every cylinder.
func (f *figureSheet) bars(head string, of func(*leakback.Cylinder) float64) (cellText, cells) {
	n := len(f.r.Cylinders)
	return f.column(head, func(i int) float64 {
		if i < 0 || i == n {
			return math.NaN()
		}
		return of(&f.r.Cylinders[i])
	})
}

// column is a column with a figure before the first cylinder, one for each, and
// one after the last.
func (f *figureSheet) column(head string, value func(i int) float64) (cellText, cells) {
	number := small.with(func(l *look) { l.align = "right" })
	f.text(f.col, f.top, head, number)
	first, n := f.top+1, len(f.r.Cylinders)
	name := cellText{f.sheet + "!" + absolute(f.col, f.top), head}
	c := cells{Ref: f.sheet + "!" + absolute(f.col, first) + ":" + absolute(f.col, first+n+1)}
	for i := -1; i <= n; i++ {
		x := value(i)
		f.pen.number(f.col, first+1+i, x, number)
		c.Points = append(c.Points, x)
	}
	f.col++
	return name, c
}

// drawable are the bars with a point at all; the first where none has, because
// a chart without a series is an empty frame.
func drawable(bars []series) []series {
	if !slices.ContainsFunc(bars, series.any) {
		return bars[:1]
	}
	return slices.DeleteFunc(bars, func(one series) bool { return !one.any() })
}

// any says whether the series has a point at all.
func (s series) any() bool {
	for _, x := range s.Values.Points {
		if !math.IsNaN(x) {
			return true
		}
	}
	return false
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
}

// marks puts a sign over every bar of a series that is only a bound.
func marks(r *leakback.Result, values cells) []mark {
	var all []mark
	for i := range r.Cylinders {
		if b := r.Cylinders[i].Bound; b != leakback.Exact && !math.IsNaN(values.Points[i+1]) {
			all = append(all, mark{i + 1, strings.Trim(boundFormat(b), `" `)})
		}
	}
	return all
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
