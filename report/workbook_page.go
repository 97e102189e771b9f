package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/limits/quantity"
	"leakback/report/formula"
)

// title stands at the head of the page and in the document's properties.
const title = "Injector return-flow test"

// The page's columns in points. The facts and the table share them: label and
// value of the facts are A:B and C:D, E:F and G:I, J and K; the table's columns
// are A, B:C, D, E, F, G, H, I, and J:K hold the chart.
var pageWidths = []float64{40, 26, 62, 66, 28, 42, 38, 38, 52, 78, 156}

// Columns of the page by what they hold.
const (
	colCylinder = 1
	colVerdict  = 2
	colVolume   = 4
	colInterval = 5
	colRate     = 6
	colExpanded = 7
	colRatio    = 8
	colLimit    = 9
	colChart    = 10
	lastColumn  = 11
)

// across is the width of the page's columns from one to another in points.
func across(from, to int) float64 {
	sum := 0.0
	for _, width := range pageWidths[from-1 : to] {
		sum += width
	}
	return sum
}

// reportSheet is the customer's page in the making, from the top down.
type reportSheet struct {
	pen
	p   *Page
	r   *leakback.Result
	row int // the row to be written next
	// live says that the figures are formulas on the working.
	live bool
	// recordHigh is how much higher the record makes the page, in points.
	recordHigh float64
}

// report writes the page the customer reads, on one printed page.
func (b *book) report(p *Page) *reportSheet {
	s := &reportSheet{pen: pen{b, sheetReport}, p: p, r: p.Result, row: 1, live: liveRates(p.Result)}
	s.widths(pageWidths...)
	s.head()
	s.facts()
	s.results()
	s.texts()
	s.workDone()
	s.signatures()
	s.foot()
	s.frame()
	return s
}

// gap leaves white space.
func (s *reportSheet) gap(points float64) {
	s.height(s.row, points)
	s.row++
}

// head is the title and the answer.
func (s *reportSheet) head() {
	s.height(s.row, 27)
	big := body.with(func(l *look) { l.size, l.bold, l.color, l.wrap, l.valign = 18, true, accent, false, "center" })
	s.merge(1, lastColumn, s.row, big.with(func(l *look) { l.bottom = headRule }))
	s.text(1, s.row, title, big.with(func(l *look) { l.bottom = headRule }))
	s.row++
	s.gap(5)
	answer := body.with(func(l *look) { l.size, l.bold = 14, true })
	s.paragraph(1, lastColumn, Answer(s.r), answer, 4, "Answer")
	s.row++
	s.gap(5)
}

// paragraph writes text into the cells from one column to another of this row,
// no longer than that many lines, and makes the row high enough.
func (s *reportSheet) paragraph(from, to int, text string, l look, most int, name string) {
	s.merge(from, to, s.row, l)
	width := across(from, to) - indentWidth*float64(l.indent)
	shown, cut := l.face().fit(visible(text), width, most)
	if cut {
		s.cut = append(s.cut, fact{name, text})
	}
	s.text(from, s.row, shown, l)
	s.grow(l.tall(len(l.face().wrap(shown, width))))
}

// grow makes this row at least so high.
func (s *reportSheet) grow(points float64) {
	now, err := s.file.GetRowHeight(s.sheet, s.row)
	s.keep(err)
	if points > now {
		s.height(s.row, points)
	}
}

// factColumns are the first and last columns of label and value.
var factColumns = [3][4]int{{1, 2, 3, 4}, {5, 6, 7, 9}, {10, 10, 11, 11}}

// factLines is how many lines a fact may take on the page.
const factLines = 2

// labelled sets facts in three columns of as many rows, each as high as that.
func (s *reportSheet) labelled(columns [3][]fact, high float64) {
	for i := range columns[0] {
		s.height(s.row, high)
		for k, at := range factColumns {
			f, name := columns[k][i], label.with(func(l *look) { l.indent = min(k, 1) })
			s.merge(at[0], at[1], s.row, name)
			s.text(at[0], s.row, f.label, name)
			s.paragraph(at[2], at[3], f.text, entered, factLines, f.label)
		}
		s.row++
	}
}

// facts is the block of who, what and in which state, then the free texts.
func (s *reportSheet) facts() {
	s.labelled(facts(s.p), 15.5)
	s.wide("Complaint", s.p.Job.Complaint)
	if s.p.Job.Note != "" {
		s.wide("Note", s.p.Job.Note)
	}
	s.record()
}

// wide is a fact across the page.
func (s *reportSheet) wide(name, text string) {
	s.height(s.row, 15.5)
	s.merge(1, 2, s.row, label)
	s.text(1, s.row, name, label)
	s.paragraph(3, lastColumn, text, entered, 3, name)
	s.row++
}

// results are the table and the findings, with the chart beside them. Where the
// table alone is as high as the chart, what the test does not see goes beside
// the findings.
func (s *reportSheet) results() {
	top := s.row
	s.tableHead()
	for i := range s.r.Cylinders {
		s.cylinder(i)
	}
	note := small.with(func(l *look) { l.size, l.color = 8, grey })
	s.paragraph(1, colLimit, tableNote(s.r), note, 4, "Table")
	s.row++
	s.check()
	table := s.used(top)
	s.gap(4)
	s.findings(table >= leastChart)
	if short := leastChart - s.used(top); short > 0 {
		s.gap(short)
	}
	if table >= leastChart { // and what stands beside the findings begins below it
		s.chart(top, table)
		s.gap(5)
		s.block(headNext, plainSaid(s.p.Advice), body, nextLines)
		return
	}
	s.chart(top, min(s.used(top), mostChart))
	s.gap(5)
	s.pair(headNext, plainSaid(s.p.Advice), nextLines)
}

// findings writes the findings, with what the test does not see beside them or not.
func (s *reportSheet) findings(beside bool) {
	if beside {
		s.pair(headFindings, findings(s.r), findingLines)
		return
	}
	s.heading(1, leftTo, headFindings)
	s.row++
	s.grow(s.prose(1, leftTo, findings(s.r), body, findingLines, headFindings))
	s.row++
}

// Bounds of the chart's height in points, and of texts in lines.
const (
	leastChart   = 190
	mostChart    = 250
	findingLines = 18
	nextLines    = 14
	unseenLines  = 14
)

// Headings of texts.
const (
	headFindings = "Findings, and what would settle them"
	headNext     = "What to look at next"
	headUnseen   = "What this test does not see"
)

// used is the height from a row to the one before this in points.
func (s *reportSheet) used(top int) float64 {
	sum := 0.0
	for row := top; row < s.row; row++ {
		height, err := s.file.GetRowHeight(s.sheet, row)
		s.keep(err)
		sum += height
	}
	return sum
}

func (s *reportSheet) tableHead() {
	rate := "Rate\nmL/min"
	if s.r.Test.Method == leakback.MethodBlockOff {
		rate = "Share\nmL/min"
	}
	left := columnHead.with(func(l *look) { l.align = "left" })
	s.height(s.row, 24)
	s.text(colCylinder, s.row, "Cylinder", left)
	s.merge(colVerdict, colVolume-1, s.row, left)
	s.text(colVerdict, s.row, "Verdict", left)
	for _, head := range []struct {
		col  int
		text string
	}{
		{colVolume, "Volume\nas read, mL"},
		{colInterval, "Time\ns"},
		{colRate, rate},
		{colExpanded, "± U\nmL/min"},
		{colRatio, "Ratio to\nmedian"},
		{colLimit, "Limit\nmL/min"},
	} {
		s.text(head.col, s.row, head.text, columnHead)
	}
	s.row++
}

// cylinder is one row of the table. Its figures and its verdict are formulas on
// the working, so that they follow a reading that is changed; the volumes are
// as they were typed.
func (s *reportSheet) cylinder(i int) {
	c := &s.r.Cylinders[i]
	rate, ratio := decimalFormat(Decimals(s.r)), decimalFormat(RatioDecimals(s.r))
	plain := cellLook(c.Verdict)
	right := plain.with(func(l *look) { l.align = "right" })
	in := func(format string) look { return right.with(func(l *look) { l.format = format }) }
	s.height(s.row, s.cylinderHeight())
	s.number(colCylinder, s.row, float64(c.Cylinder), plain.with(func(l *look) { l.indent = 1 }))
	word := plain.with(func(l *look) { l.bold = c.Verdict != leakback.Pass })
	s.merge(colVerdict, colVolume-1, s.row, word)
	s.figure(colVerdict, i, verdictWords, recomputed(s.r), formula.Str(VerdictWord(c.Verdict)), word)
	s.volumes(c, right)
	s.interval(c, right)
	s.figure(colRate, i, `mean.rate`, s.live, formula.NumOrBlank(c.RateMLMin), in(boundFormat(c.Bound)+rate))
	s.figure(colExpanded, i, `budget.expanded`, s.live, formula.NumOrBlank(c.Budget.ExpandedMLMin), in(rate))
	s.figure(colRatio, i, `ratio.median`, recomputed(s.r), formula.NumOrBlank(c.RatioToMedian), in(boundFormat(c.Bound)+ratio))
	s.limit(right)
	s.row++
}

// figure writes a figure of a cylinder: a formula on the working where that has
// it, else what the program came to.
func (s *reportSheet) figure(col, i int, template string, live bool, v formula.Value, l look) {
	if live {
		s.formula(col, s.row, template, formula.Here{Index: i}, l)
		return
	}
	s.value(col, s.row, v, l)
}

// liveRates says whether the rates of the page are formulas on the working, which
// has volumes in their place where no interval is known.
func liveRates(r *leakback.Result) bool { return recomputed(r) && !timeUnknown(r) }

// timeUnknown says whether the length of a run is unknown.
func timeUnknown(r *leakback.Result) bool {
	return slices.ContainsFunc(r.Test.Runs, func(run leakback.Run) bool {
		return run.LeftOut == "" && math.IsNaN(run.IntervalS)
	})
}

// signs lets the table follow a change where a cell's look says something: the
// sign of a bound before rate and ratio, and the tint of what is not a pass. The
// columns given hold the lower and the upper bounds of the cylinders, the first
// of which is one row below its row of the table.
func (s *reportSheet) signs(top, atLeast, atMost int) {
	n := len(s.r.Cylinders)
	if !recomputed(s.r) {
		return
	}
	first, last := top+1, top+n
	rows := func(from, to int) string { return at(from, first) + ":" + at(to, last) }
	passes := "$" + at(colVerdict, first) + `="` + VerdictWord(leakback.Pass) + `"`
	fails := "NOT(" + passes + ")"
	for _, cells := range []string{rows(1, colRate-1), rows(colExpanded, colExpanded), rows(colLimit, colLimit)} {
		s.when(cells, condition{passes, &excelize.Style{Fill: solid(paperColor)}}, condition{fails, &excelize.Style{Fill: solid(tint)}})
	}
	above := func(col int) string { return "$" + at(col, first+1) + ">0" }
	for _, c := range []struct {
		col    int
		format string
	}{{colRate, decimalFormat(Decimals(s.r))}, {colRatio, decimalFormat(RatioDecimals(s.r))}} {
		var all []condition
		for _, sign := range []struct{ holds, format string }{
			{above(atLeast), boundFormat(leakback.AtLeast)}, {above(atMost), boundFormat(leakback.AtMost)}, {"TRUE", ""},
		} {
			// Programs differ in whether two looks add up: each condition has both.
			for _, row := range []struct{ holds, color string }{{passes, paperColor}, {fails, tint}} {
				all = append(all, condition{"AND(" + sign.holds + "," + row.holds + ")",
					&excelize.Style{CustomNumFmt: ptr(sign.format + c.format), Fill: solid(row.color)}})
			}
		}
		s.when(rows(c.col, c.col), all...)
	}
}

func ptr[T any](x T) *T { return &x }

// condition is a formula, written for the first of some cells, and what they look
// like while it holds.
type condition struct {
	formula string
	style   *excelize.Style
}

// when gives cells the look of the first condition that holds.
func (p pen) when(cells string, conditions ...condition) {
	var options []excelize.ConditionalFormatOptions
	for _, c := range conditions {
		id, err := p.file.NewConditionalStyle(c.style)
		p.keep(err)
		options = append(options, excelize.ConditionalFormatOptions{Type: "formula", Criteria: c.formula, Format: &id})
	}
	p.keep(p.file.SetConditionalFormat(p.sheet, cells, options))
}

// verdictWords is VerdictWord as a formula.
const verdictWords = `IF(verdict.verdict="fail","FAIL",IF(verdict.verdict="unread","not read",verdict.verdict))`

// check is the line that says whether the sentences of the page still hold.
func (s *reportSheet) check() {
	if !s.names.Has("still_same") {
		return
	}
	s.checkLine(colLimit, `IF(ISERROR(still_same),"`+checkFailed+`",IF(still_same=1,"`+checkHolds+`","`+checkChanged+
		`"&`+wordOfVerdict("test_verdict")+`&"."))`, checkChanged+"undecided.")
}

// checkLine is what a formula says of the page's sentences, as far as a column:
// quiet as long as they hold. longest is the most that it may say.
func (s *reportSheet) checkLine(to int, template, longest string) {
	line := small.with(func(l *look) { l.size, l.color, l.italic = 7.5, grey, true })
	s.merge(1, to, s.row, line)
	s.formula(1, s.row, template, formula.Here{}, line)
	s.when(at(1, s.row), condition{`LEFT(` + absolute(1, s.row) + `,1)="C"`,
		&excelize.Style{Font: &excelize.Font{Bold: true, Color: ink}}})
	s.grow(line.tall(len(line.lines(longest, across(1, to)))))
	s.row++
}

// What the check may say.
const (
	checkHolds   = "Live check: the readings and limits in this file give every figure and verdict on this page."
	checkChanged = "CHANGED: readings or limits in this file are no longer those that this page's sentences were written from. " +
		"Verdict now: "
	checkFailed = "CANNOT BE CALCULATED: an entry of Readings or Limits is not understood; the sheet Working says which."
)

// cylinderHeight is less for long engines, so that they fit the page.
func (s *reportSheet) cylinderHeight() float64 {
	if len(s.r.Cylinders) > 8 {
		return 13.5
	}
	return 15.5
}

// cellLook is the look of a row of the table: what is not a plain pass is
// tinted, in addition to its word.
func cellLook(v leakback.Verdict) look {
	return body.with(func(l *look) {
		l.valign, l.bottom = "center", thinRule
		if v != leakback.Pass {
			l.fill = tint
		}
	})
}

// volumeLines is how many lines the volumes of one cylinder may take.
const volumeLines = 3

// volumes writes the readings as they were typed.
func (s *reportSheet) volumes(c *leakback.Cylinder, l look) {
	text := volumesText(s.r.Test, c.Cylinder)
	quoted := l.with(func(l *look) { l.quote = true })
	s.paragraph(colVolume, colVolume, text, quoted, volumeLines, "Volumes of cylinder "+strconv.Itoa(c.Cylinder))
}

// interval writes the length of the collection, or of each where they differ.
func (s *reportSheet) interval(c *leakback.Cylinder, l look) {
	lengths := intervals(s.r.Test, c.Cylinder)
	if len(lengths) == 1 {
		s.number(colInterval, s.row, lengths[0], l)
		return
	}
	texts := make([]string, len(lengths))
	for i, length := range lengths {
		texts[i] = plainFigure(length)
	}
	s.paragraph(colInterval, colInterval, strings.Join(texts, "; "), l, volumeLines,
		"Times of cylinder "+strconv.Itoa(c.Cylinder))
}

// limit writes what a single cylinder is held against.
func (s *reportSheet) limit(l look) {
	least, most := bounds(s.r)
	d := Decimals(s.r)
	live := func(template string, v formula.Value, l look) { s.figure(colLimit, 0, template, s.live, v, l) }
	single := func(name string, x float64, b leakback.Bound) {
		live(name, formula.Num(x), l.with(func(l *look) { l.format = boundFormat(b) + limitFormat(x, d) }))
	}
	switch {
	case !math.IsNaN(most) && !math.IsNaN(least):
		live(fmt.Sprintf(`ROUND(applied_min,%d)&" – "&ROUND(applied_max,%[1]d)`, max(d, limitDigits)),
			formula.Str(limitFigure(least, d)+" – "+limitFigure(most, d)), l)
	case !math.IsNaN(most):
		single("applied_max", most, leakback.AtMost)
	case !math.IsNaN(least):
		single("applied_min", least, leakback.AtLeast)
	default:
		s.look(colLimit, s.row, l)
	}
}

// bounds are the minimum and maximum that applied to a single cylinder; NaN for
// none.
func bounds(r *leakback.Result) (least, most float64) {
	least, most = math.NaN(), math.NaN()
	if timeUnknown(r) { // and only ratios can be judged
		return least, most
	}
	if x, ok := r.Limit.MaxMLMin(); ok {
		most = x
	}
	if x, ok := minimum(r); ok {
		least = x
	}
	return least, most
}

// limitFormat shows a limit as limitFigure does, its zeros kept so that it
// stands under the rates.
func limitFormat(limit float64, decimals int) string {
	_, behind, _ := strings.Cut(limitFigure(limit, decimals), ".")
	return decimalFormat(max(decimals, len(behind)))
}

// decimalFormat is the number format for so many decimals.
func decimalFormat(decimals int) string {
	if decimals <= 0 {
		return "0"
	}
	return "0." + strings.Repeat("0", decimals)
}

// boundFormat goes before a number format, so that a bound stays a number and
// still says that it is one.
func boundFormat(b leakback.Bound) string {
	switch b {
	case leakback.AtLeast:
		return `"≥ "`
	case leakback.AtMost:
		return `"≤ "`
	}
	return ""
}

// tableNote says what the columns mean and what the whole set gave.
func tableNote(r *leakback.Result) string {
	d := Decimals(r)
	var parts []string
	if method := MethodText(r); method != "" {
		parts = append(parts, method)
	}
	if !math.IsNaN(r.MedianMLMin) {
		parts = append(parts, "median "+quantity.Fixed(r.MedianMLMin, d)+" mL/min")
	}
	if !math.IsNaN(r.TotalMLMin) {
		td := TotalDecimals(r)
		parts = append(parts, "total "+figure(r.TotalMLMin, r.Total.ExpandedMLMin, td)+" mL/min")
	}
	if r.Agreeing > 0 {
		parts = append(parts, strconv.Itoa(r.Agreeing)+" of "+strconv.Itoa(len(r.Cylinders))+" agree with one another")
	}
	note := "U: expanded uncertainty, one-sided 95\u00a0%."
	if len(parts) == 0 {
		return note
	}
	return Sentence(strings.Join(parts, "; ")) + " " + note
}
