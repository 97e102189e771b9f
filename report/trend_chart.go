package report

import (
	_ "embed" // the part below
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"text/template"

	"github.com/xuri/excelize/v2"

	"leakback/leakback"
)

//go:embed trend_chart.xml
var trendChartXML string

var trendPart = template.Must(template.Must(chartPart.Clone()).New("trend").Parse(trendChartXML))

// chartHigh and chartWide are how large a chart is, in points.
const (
	chartHigh = 270
	chartRow  = 15
	chartWide = 660
)

// chart draws the tests whose first row is given, below the table.
func (s *trendSheet) chart(b *trendBlock, first int) {
	c := s.lines(b, first)
	s.row++
	n, rows := len(s.charts)+1, chartHigh/chartRow
	for i := range rows {
		s.height(s.row+i, chartRow)
	}
	s.keep(s.file.AddChart(s.sheet, at(1, s.row), &excelize.Chart{
		Type: excelize.Scatter, Series: []excelize.ChartSeries{{Values: c.Lines[0].Values.Ref}},
	}))
	s.parts[fmt.Sprintf("xl/charts/chart%d.xml", n)] = s.fill(trendPart, c)
	s.charts = append(s.charts, anchor{ToCol: s.columnAt(chartWide), FromRow: s.row - 1, ToRow: s.row - 1 + rows,
		Name: "Trend " + strconv.Itoa(n), Alt: b.altText(), ID: n + 1, Chart: n})
	s.row += rows
}

// columnAt is the first column that begins so many points from the left or more.
func (s *trendSheet) columnAt(points float64) int {
	for i, c := range trendHeads {
		if points -= c.width; points <= 0 {
			return i + 1
		}
	}
	return trendColumns + int(math.Ceil(points/trendCylinder))
}

// trendChart is what the template of a trend takes.
type trendChart struct {
	Lines           []trendLine
	Across, Upright axisTitle
	XScale, YScale  axisScale
	X, Y, W, H      float64 // of the plot, in shares of the chart
}

// trendLine is one line of a trend.
type trendLine struct {
	series
	Across cells
	Symbol string // of its points; "" for none
	Labels []pointLabel
}

// pointLabel stands over a point of a line, counted from 0.
type pointLabel struct {
	Point int
	Text  string
}

// axisScale is an axis: Max may be NaN, and Format is of its numbers.
type axisScale struct {
	Min, Max, Step float64
	Format         string
}

// trendColors are the eight of Okabe and Ito, which people tell apart whatever
// colours they see (Wong, Nature Methods 8, 441, 2011), the yellow apart, which is
// too pale for a line on paper.
var trendColors = []string{"000000", "0072B2", "D55E00", "009E73", "CC79A7", "E69F00", "56B4E9"}

// trendSymbols are the shapes of the points, which tell lines apart without any
// colour.
var trendSymbols = []string{"circle", "square", "triangle", "diamond", "x", "plus", "star", "dash"}

// trendDashes are the dashes of the lines, another for every eight cylinders.
var trendDashes = []string{"solid", "dash", "sysDot", "dashDot", "lgDash", "sysDash", "lgDashDot", "sysDashDot"}

// lines are the lines of a chart: one a cylinder, and the limit where it
// was the same throughout.
func (s *trendSheet) lines(b *trendBlock, first int) trendChart {
	c := trendChart{Across: axisTitle{Text: b.age.title()}, Upright: axisTitle{"return rate, mL/min", true},
		XScale: b.age.scale(), YScale: axisScale{Max: math.NaN()}}
	across := s.below(colTrendAge, first, b.age.values)
	for k := range b.cylinders {
		c.Lines = append(c.Lines, trendLine{Across: across, Symbol: trendSymbols[k%len(trendSymbols)], Labels: b.labels(k),
			series: series{Name: cellText{Text: "Cyl " + strconv.Itoa(k+1)}, Values: s.below(trendColumns+1+k, first, b.rates(k)),
				Fill: trendColors[k%len(trendColors)], Width: 19050, Dash: trendDashes[k/len(trendSymbols)%len(trendDashes)]}})
	}
	if most := b.limit(); most > 0 {
		c.Lines = append(c.Lines, trendLine{Across: across, series: series{Name: cellText{Text: "limit " + limitFigure(most, 0)},
			Values: s.below(colTrendLimit, first, slices.Repeat([]float64{most}, len(b.tests))), Fill: ink, Width: 25400, Dash: "sysDash"}})
	}
	for i := range c.Lines {
		c.Lines[i].Index = i
	}
	const left, right, top, under, high, wide = 42, 90, 8, 44, float64(chartHigh), float64(chartWide)
	c.X, c.W, c.Y, c.H = left/wide, 1-(left+right)/wide, top/high, 1-(top+under)/high
	return c
}

// below are the cells of a column from a row down.
func (s *trendSheet) below(col, first int, points []float64) cells {
	return cells{s.sheet + "!" + absolute(col, first) + ":" + absolute(col, first+len(points)-1), points}
}

// rates are those of a cylinder over the tests, bounds among them; NaN where
// there is none.
func (b *trendBlock) rates(k int) []float64 {
	rates := make([]float64, len(b.tests))
	for i, l := range b.tests {
		rates[i] = math.NaN()
		if c := cylinder(l.Result, k+1); c != nil {
			rates[i] = c.RateMLMin
		}
	}
	return rates
}

// labels mark the rates of a cylinder that are bounds.
func (b *trendBlock) labels(k int) []pointLabel {
	var labels []pointLabel
	for i, l := range b.tests {
		if c := cylinder(l.Result, k+1); c != nil && c.Bound != leakback.Exact && !math.IsNaN(c.RateMLMin) {
			labels = append(labels, pointLabel{i, map[leakback.Bound]string{leakback.AtLeast: "≥", leakback.AtMost: "≤"}[c.Bound]})
		}
	}
	return labels
}

// scale is the axis of an age: whole steps around the first and the last.
func (a age) scale() axisScale {
	low, high := slices.Min(a.values), slices.Max(a.values)
	step := niceStep((high-low)/5, []float64{1, 2, 5, 10})
	if !a.odometer {
		step = dayStep(high - low)
	}
	low, high = math.Floor(low/step)*step, math.Ceil(high/step)*step
	if low == high {
		high += step
	}
	return axisScale{low, high, step, a.format()}
}

// niceStep is the least of those digits, times a power of ten, that is as much.
func niceStep(least float64, digits []float64) float64 {
	if !(least > 0) {
		return 1
	}
	power := math.Pow(10, math.Floor(math.Log10(least)))
	for _, digit := range digits {
		if digit*power >= least {
			return digit * power
		}
	}
	return 10 * power
}

// dayStep is how many days stand between two dates of an axis.
func dayStep(days float64) float64 {
	for _, step := range []float64{1, 2, 7, 14, 28, 91, 182, 365} {
		if days/step <= 6 {
			return step
		}
	}
	return 365 * niceStep(days/365/6, []float64{1, 2, 5, 10})
}

// altText says in words what the chart shows.
func (b *trendBlock) altText() string {
	var texts []string
	for k := range b.cylinders {
		var rates []string
		for _, l := range b.tests {
			if c := cylinder(l.Result, k+1); c != nil {
				rates = append(rates, bareRate(c, Decimals(l.Result)))
			}
		}
		texts = append(texts, fmt.Sprintf("cylinder %d %s", k+1, strings.Join(rates, ", ")))
	}
	text := "Chart of the return rates in mL/min of " + counted(len(b.tests), "test") + ", " + b.name() + ", over the " +
		b.age.title() + ": " + strings.Join(texts, "; ") + "."
	if most := b.limit(); most > 0 {
		text += " Line: limit " + limitFigure(most, 0) + "."
	}
	return text
}
