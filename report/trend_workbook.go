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

// sheetTrend is the name of the sheet of a trend, the last of a history.
const sheetTrend = "Trend"

//go:embed trend_chart.xml
var trendChartXML string

var trendPart = template.Must(template.Must(chartPart.Clone()).New("trend").Parse(trendChartXML))

// Trend adds the trend of an engine, which becomes the last sheet: for every
// condition a table with its numbers, and a chart of them. It is asked for once.
func (h *History) Trend(t *Trend) { h.trend = t }

// Columns of the sheet of a trend before those of the cylinders.
const (
	colTrendNumber = iota + 1
	colTrendStarted
	colTrendOdometer
	colTrendAge
	colTrendVerdict
	colTrendFlagged
	colTrendLimit
	trendColumns = colTrendLimit
)

var trendHeads = []struct {
	head  string
	width float64
	text  bool
}{
	{"Test", 34, false}, {"Started", 88, false}, {"Odometer/hours\nas typed", 92, true}, {"Age in\nthe chart", 62, false},
	{"Verdict", 58, true}, {"Flagged cylinders", 130, true}, {"Limit\nmL/min", 44, false},
}

// trendCylinder is the width of a cylinder's column in points. The ratios stand
// right of the rates on engines of at most mostBeside cylinders, else below them:
// a page as wide as twice as many columns could not be read.
const (
	trendCylinder = 46
	mostBeside    = 8
)

// trendSheet is the sheet of a trend in the making.
type trendSheet struct {
	pen
	trend  *Trend
	row    int // to be written next
	most   int // cylinders of the widest block
	charts []anchor
}

// writeTrend writes the sheet.
func (h *History) writeTrend() {
	if h.trend == nil {
		return
	}
	_, err := h.file.NewSheet(sheetTrend)
	h.keep(err)
	s := &trendSheet{pen: pen{h.book, sheetTrend}, trend: h.trend, row: 1}
	blocks, leftOut := h.trend.blocks()
	for _, b := range blocks {
		s.most = max(s.most, b.cylinders)
	}
	s.widths(s.columnWidths()...)
	s.head(leftOut)
	for i, b := range blocks {
		if i > 0 {
			s.keep(s.file.InsertPageBreak(s.sheet, at(1, s.row)))
		}
		s.block(b)
	}
	if len(s.charts) > 0 {
		s.parts["xl/drawings/drawing1.xml"] = s.fill(drawingPart, s.charts)
	}
	s.print(paper{landscape: true, footer: h.footer(), scale: s.scale()})
	s.typedAsText(s.last(), max(s.row-1, 1))
	s.noGrid()
}

// scale makes the sheet as wide as a page in percent, and leaves page breaks where
// they are set: no chart is cut in two by the next condition.
func (s *trendSheet) scale() uint {
	const page, least = 725, 10 // points that Letter, the narrower paper lying down, and A4 both have; what programs allow
	return uint(max(least, min(100, 100*page/max(s.wide(), chartWide))))
}

// beside says that the ratios stand right of the rates.
func (s *trendSheet) beside() bool { return s.most <= mostBeside }

// last is the last column of the sheet.
func (s *trendSheet) last() int {
	if s.beside() {
		return trendColumns + 2*s.most
	}
	return trendColumns + s.most
}

// columnWidths are those of all columns, in points.
func (s *trendSheet) columnWidths() []float64 {
	var widths []float64
	for _, c := range trendHeads {
		widths = append(widths, c.width)
	}
	return append(widths, slices.Repeat([]float64{trendCylinder}, s.last()-trendColumns)...)
}

// wide is the width of all columns, in points.
func (s *trendSheet) wide() float64 {
	sum := 0.0
	for _, width := range s.columnWidths() {
		sum += width
	}
	return sum
}

// head is what the sheet is about.
func (s *trendSheet) head(leftOut int) {
	big := body.with(func(l *look) { l.size, l.bold, l.color, l.wrap, l.quote = 16, true, accent, false, true })
	s.height(s.row, 24)
	s.text(1, s.row, "Trend", big)
	s.row++
	s.paragraphs(body, s.trend.subject(), leftOutSaid(leftOut))
}

// paragraphs writes texts across the sheet, a row each; nothing of "".
func (s *trendSheet) paragraphs(l look, texts ...string) {
	l.quote = true
	for _, text := range texts {
		if text = oneLine(text); text != "" {
			s.merge(1, s.last(), s.row, l)
			s.text(1, s.row, text, l)
			s.height(s.row, l.tall(len(l.lines(text, s.wide()))))
			s.row++
		}
	}
}

// block writes the tests of one condition: their numbers, then the chart.
func (s *trendSheet) block(b *trendBlock) {
	s.height(s.row, 12)
	s.row++
	s.height(s.row, 18)
	s.text(1, s.row, oneLine(b.name()), heading.with(func(l *look) { l.size, l.quote = 11, true }))
	s.row++
	s.paragraphs(small, Sentence(s.trend.undrawn(b)), Sentence(b.age.note))
	s.blockHead(b)
	first := s.row
	for i, l := range b.tests {
		s.test(b, i, l)
	}
	if !s.beside() {
		s.ratiosBelow(b)
	}
	if s.trend.undrawn(b) == "" {
		s.chart(b, first)
	}
}

// blockHead names the columns.
func (s *trendSheet) blockHead(b *trendBlock) {
	s.height(s.row, 26)
	for i, c := range trendHeads {
		head := columnHead
		if c.text {
			head.align, head.indent = "left", 1
		}
		text := c.head
		if i+1 == colTrendAge {
			text = strings.Replace(b.age.title(), ", ", ",\n", 1)
		}
		s.text(i+1, s.row, text, head)
	}
	s.cylinderHeads(b, trendColumns, "mL/min")
	if s.beside() {
		s.cylinderHeads(b, trendColumns+b.cylinders, ratioHead)
	}
	s.row++
}

// ratioHead is what a ratio is of.
const ratioHead = "× median"

// cylinderHeads name a column for each cylinder, right of one.
func (s *trendSheet) cylinderHeads(b *trendBlock, after int, of string) {
	for k := range b.cylinders {
		s.text(after+1+k, s.row, fmt.Sprintf("Cyl %d\n%s", k+1, of), columnHead)
	}
}

// ratiosBelow is a table of the ratios, under that of the rates.
func (s *trendSheet) ratiosBelow(b *trendBlock) {
	s.height(s.row, 6)
	s.row++
	s.height(s.row, 26)
	for col := 1; col <= trendColumns; col++ {
		s.look(col, s.row, columnHead)
	}
	s.text(colTrendNumber, s.row, trendHeads[colTrendNumber-1].head, columnHead)
	s.text(colTrendStarted, s.row, trendHeads[colTrendStarted-1].head, columnHead)
	s.cylinderHeads(b, trendColumns, ratioHead)
	s.row++
	for _, l := range b.tests {
		s.testLead(l)
		for col := colTrendStarted + 1; col <= trendColumns; col++ {
			s.look(col, s.row, trendCell)
		}
		for k := range b.cylinders {
			s.ratio(trendColumns+1+k, k, l.Result)
		}
		s.row++
	}
}

// Formats of a trend's numbers.
const (
	dayFormat      = `yyyy\-mm\-dd`
	minuteFormat   = `yyyy\-mm\-dd hh:mm`
	odometerFormat = `#,##0`
)

// format is how the age of an engine is shown.
func (a age) format() string {
	if a.odometer {
		return odometerFormat
	}
	return dayFormat
}

// trendCell is the look of a figure.
var trendCell = body.with(func(l *look) { l.align, l.bottom, l.wrap = "right", thinRule, false })

// testLead are the number and the time of a test.
func (s *trendSheet) testLead(l *Listed) {
	s.number(colTrendNumber, s.row, float64(l.Number), trendCell)
	s.number(colTrendStarted, s.row, serial(localTime(l.StartedUS, s.trend.Zone)), trendCell.with(func(l *look) { l.format = minuteFormat }))
}

// test writes one test.
func (s *trendSheet) test(b *trendBlock, i int, l *Listed) {
	left := trendCell.with(func(l *look) { l.align, l.indent, l.quote = "left", 1, true })
	in := func(format string) look { return trendCell.with(func(l *look) { l.format = format }) }
	s.testLead(l)
	s.text(colTrendOdometer, s.row, oneLine(l.Odometer), left)
	s.number(colTrendAge, s.row, b.age.values[i], in(b.age.format()))
	s.text(colTrendVerdict, s.row, l.verdictWord(), left.with(func(k *look) { k.bold = l.Result.Verdict == leakback.Fail }))
	s.text(colTrendFlagged, s.row, flaggedText(l.Result), left.with(func(l *look) { l.wrap = true }))
	_, most := bounds(l.Result)
	s.number(colTrendLimit, s.row, most, in(limitFormat(number(most), 0)))
	for k := range b.cylinders {
		s.rate(trendColumns+1+k, k, l.Result)
		if s.beside() {
			s.ratio(trendColumns+1+b.cylinders+k, k, l.Result)
		}
	}
	s.height(s.row, body.tall(len(left.lines(flaggedText(l.Result), trendHeads[colTrendFlagged-1].width))))
	s.row++
}

// flaggedText names the flagged cylinders of a test.
func flaggedText(r *leakback.Result) string {
	var texts []string
	for _, f := range flagged(r) {
		texts = append(texts, flaggedSaid(f))
	}
	return strings.Join(texts, "; ")
}

// rate writes the rate of the k-th cylinder, and ratio its ratio to the median.
func (s *trendSheet) rate(col, k int, r *leakback.Result) {
	s.cylinder(col, cylinder(r, k+1), func(c *leakback.Cylinder) float64 { return c.RateMLMin }, Decimals(r))
}

func (s *trendSheet) ratio(col, k int, r *leakback.Result) {
	s.cylinder(col, cylinder(r, k+1), func(c *leakback.Cylinder) float64 { return c.RatioToMedian }, RatioDecimals(r))
}

// cylinder writes a figure of a cylinder, which is nil where the test has none of
// it: bold where the cylinder fails, a bound marked as one.
func (s *trendSheet) cylinder(col int, c *leakback.Cylinder, of func(*leakback.Cylinder) float64, decimals int) {
	x, l := math.NaN(), trendCell
	l.format = "0"
	if c != nil {
		x, l.bold, l.format = of(c), c.Verdict == leakback.Fail, boundFormat(c.Bound)+decimalFormat(decimals)
	}
	s.number(col, s.row, x, l)
}

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
