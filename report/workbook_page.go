package report

import (
	"leakback/leakback"
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
