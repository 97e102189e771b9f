package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"leakback/leakback"
)

// sheetTrend is the name of the sheet of a trend, the last of a history.
const sheetTrend = "Trend"

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
