package report

import (
	"fmt"
	"math"
	"strings"

	"leakback/leakback"
	"leakback/leakback/repair"
	"leakback/limits/quantity"
	"leakback/report/formula"
)

// repairSheet is the customer's page of a repair in the making. It has the letter,
// the columns and the blocks of the page of a test.
type repairSheet struct {
	*reportSheet
	repair *RepairPage
	pair   *repair.Pair // the last test against the first
	id     string       // what formulas call it
}

// Columns of the table; verdict and cylinder stand where those of a test's page do.
const (
	colBefore       = 4
	colBeforeU      = 5
	colAfter        = 6
	colAfterU       = 7
	colChange       = 8
	colChangeU      = 9
	colBeyond       = 10
	colDone         = 11
	doneLines       = 3
	testLines       = 6
	comparableLines = 8
	settleLines     = 8
)

// Heights of the chart in points: the more cylinders the table has, the less is
// left for it.
const (
	mostPairChart  = 230
	pairChartLess  = 11
	leastPairChart = 150
)

// repairReport writes the page.
func (b *book) repairReport(p *RepairPage) *reportSheet {
	pairs := p.pairs()
	job := p.job()
	page := &Page{Result: p.last().Result, Job: job, NotSeen: p.NotSeen, Cautions: p.Cautions, CautionLine: p.CautionLine, Version: p.Version,
		Digest: p.last().Digest, Record: p.last().Record}
	s := &repairSheet{reportSheet: &reportSheet{pen: pen{b, sheetReport}, p: page, r: page.Result, row: 1, live: true},
		repair: p, pair: p.Comparison.Whole, id: pairID(len(pairs) - 1)}
	s.widths(pageWidths...)
	s.head()
	s.labelled(repairFacts(p, job), 15.5)
	s.wide("Complaint", job.Complaint)
	s.gap(4)
	s.tests()
	s.chartAndTable()
	s.work()
	s.comparable()
	s.pairOfTexts()
	s.block("Limits and decision rule", limitsSaid(s.r), small.with(func(l *look) { l.size = 8 }), 8)
	s.block("Cautions", cautions(page), small.with(func(l *look) { l.size = 7.5 }), 12)
	s.signatures()
	s.digests()
	s.frame()
	return s.reportSheet
}

// repairFacts are the facts of the job and the engine.
func repairFacts(p *RepairPage, job leakback.Job) [3][]fact {
	t := p.last().Result.Test
	return [3][]fact{
		{{"Workshop", job.Workshop}, {"Technician", job.Technician}, {"Customer", job.Customer}},
		{{"Vehicle", job.Vehicle}, {"VIN", job.VIN}, {"Odometer/hours", job.Odometer}},
		{{"Work order", job.WorkOrder}, {"Engine", t.Engine}, {"Engine serial", job.EngineSerial}},
	}
}

// head is the title, the answer with what settles it, and the complaint.
func (s *repairSheet) head() {
	s.height(s.row, 27)
	big := body.with(func(l *look) {
		l.size, l.bold, l.color, l.wrap, l.valign, l.bottom = 18, true, accent, false, "center", headRule
	})
	s.merge(1, lastColumn, s.row, big)
	s.text(1, s.row, repairTitle, big)
	s.row++
	s.gap(4)
	s.answer()
	var texts []said
	if s.pair.Settle != nil {
		texts = append(texts, said{"To settle it", Sentence(s.pair.Settle.Text)})
	}
	for _, text := range otherReasons(s.pair) {
		texts = append(texts, said{"Also", text})
	}
	texts = append(texts, said{"Complaint", ComplaintSaid(s.repair.Comparison)})
	s.grow(s.prose(1, lastColumn, texts, body, settleLines, "Answer"))
	s.row++
	s.gap(4)
}

// Look and lines of the answer.
var answerLook = body.with(func(l *look) { l.size, l.bold = 13, true })

const answerLines = 4

// answer is the sentence as it was written while what it was written from still
// stands in the file, else the verdicts of the tests as they are now.
func (s *repairSheet) answer() {
	shown, cut := shownAnswer(s.repair)
	if cut {
		s.cut = append(s.cut, fact{"Answer", RepairAnswer(s.pair)})
	}
	s.merge(1, lastColumn, s.row, answerLook)
	s.formula(1, s.row, `IF(ISERROR(repair_same),"`+answerFailed+`",IF(repair_same=1,kept_answer,"`+answerChanged+`"&`+s.verdictsNow()+`&"."))`,
		formula.Here{}, answerLook)
	s.grow(answerLook.tall(len(answerLook.lines(visible(shown), across(1, lastColumn)))))
	s.row++
}

// What stands in the place of the answer where it no longer holds.
const (
	answerChanged = "CHANGED since this page was written, and not answered again. Verdicts of the tests now, in their order: "
	answerFailed  = "CANNOT BE CALCULATED: an entry of the readings or limits is not understood."
)

// shownAnswer is the answer as the page has room for it, and whether it was cut.
func shownAnswer(p *RepairPage) (text string, cut bool) {
	return answerLook.face().fit(visible(RepairAnswer(p.Comparison.Whole)), across(1, lastColumn), answerLines)
}

// verdictsNow are the verdicts of the tests in a formula: as their workings give
// them, or of a test without one as the program gave it, which nothing changes.
func (s *repairSheet) verdictsNow() string {
	var verdicts []string
	for side, page := range s.repair.Tests {
		name := testScope(side) + "test_verdict"
		verdict := `"` + VerdictWord(page.Result.Verdict) + `"`
		if s.names.Has(name) {
			verdict = wordOfVerdict(name)
		}
		verdicts = append(verdicts, verdict)
	}
	return strings.Join(verdicts, `&", "&`)
}

// tests are the tests that are held against one another, each in a line, and of
// more than two the answers on the way.
func (s *repairSheet) tests() {
	var all []said
	for i, page := range s.repair.Tests {
		label := s.repair.label(i)
		text := strings.TrimPrefix(s.repair.testLine(i), label+", ")
		if page.Record != nil {
			text += fmt.Sprintf("; logbook test %d, id %s", page.Record.Number, page.Record.TestID)
		}
		all = append(all, said{strings.TrimSuffix(Sentence(label), "."), Sentence(text)})
	}
	if steps := s.repair.Comparison.Steps; len(steps) > 1 {
		for i := range steps {
			all = append(all, said{strings.TrimSuffix(Sentence(s.repair.pairName(&steps[i])), "."), RepairAnswer(&steps[i])})
		}
	}
	s.grow(s.prose(1, lastColumn, all, small.with(func(l *look) { l.size = 8 }), testLines+2*len(all), "Tests"))
	s.row++
	s.gap(4)
}

// chartAndTable are the chart across the page with the table below it.
func (s *repairSheet) chartAndTable() {
	top := s.row
	const rows = 10
	high := max(mostPairChart-pairChartLess*float64(len(s.pair.Cylinders)), leastPairChart)
	for range rows {
		s.gap(high / rows)
	}
	s.pairChart(top, s.used(top))
	s.gap(4)
	s.tableHead()
	for i := range s.pair.Cylinders {
		s.cylinder(i)
	}
	note := small.with(func(l *look) { l.size, l.color = 8, grey })
	s.paragraph(1, lastColumn, s.tableNote(), note, 3, "Table")
	s.row++
	s.check()
	s.gap(4)
}

func (s *repairSheet) tableHead() {
	left := columnHead.with(func(l *look) { l.align = "left" })
	s.height(s.row, 24)
	s.text(1, s.row, "Cylinder", left)
	s.merge(2, 3, s.row, left)
	s.text(2, s.row, "Verdict\nbefore → after", left)
	for _, h := range []struct {
		col  int
		text string
	}{{colBefore, "Before\nmL/min"}, {colBeforeU, "± U"}, {colAfter, "After\nmL/min"}, {colAfterU, "± U"}, {colChange, "Change\nmL/min"}, {colChangeU, "± U, two-\nsided"}} {
		s.text(h.col, s.row, h.text, columnHead)
	}
	indented := left.with(set)
	s.text(colBeyond, s.row, "More than\nnoise?", indented)
	s.text(colDone, s.row, "What was done between", indented)
	s.row++
}

// cylinder is one row of the table, in formulas on the comparison.
func (s *repairSheet) cylinder(i int) {
	c := &s.pair.Cylinders[i]
	d := s.decimals()
	plain := cellLook(max(c.Before.Verdict, c.After.Verdict))
	if c.After.Verdict == leakback.Pass {
		plain = cellLook(leakback.Pass)
	}
	right := plain.with(func(l *look) { l.align = "right" })
	in := func(format string) look { return right.with(func(l *look) { l.format = format }) }
	here := formula.Here{Index: i}
	of := func(template string) string { return strings.ReplaceAll(template, "PAIR", s.id) }
	s.height(s.row, s.rowHeight())
	s.number(1, s.row, float64(c.Cylinder), plain.with(func(l *look) { l.indent = 1 }))
	word := plain.with(func(l *look) { l.bold = c.After.Verdict != leakback.Pass })
	s.merge(2, 3, s.row, word)
	s.formula(2, s.row, wordOfVerdict(of("PAIR_so.before"))+`&" → "&`+wordOfVerdict(of("PAIR_so.after")), here, word)
	s.formula(colBefore, s.row, of(`PAIR.before`), here, in(boundFormat(c.Before.Bound)+decimalFormat(d)))
	s.formula(colBeforeU, s.row, of(`PAIR_so.before_expanded`), here, in(decimalFormat(d)))
	s.formula(colAfter, s.row, of(`PAIR.after`), here, in(boundFormat(c.After.Bound)+decimalFormat(d)))
	s.formula(colAfterU, s.row, of(`PAIR_so.after_expanded`), here, in(decimalFormat(d)))
	change := decimalFormat(max(d, shiftDecimals(c.Rate, d)))
	sign := boundFormat(c.Rate.Bound)
	s.formula(colChange, s.row, of(`PAIR_change.change`), here, in(fmt.Sprintf("%[1]s+%[2]s;%[1]s-%[2]s;%[2]s", sign, change)))
	s.formula(colChangeU, s.row, of(`IF(PAIR.bound=0,PAIR_change.expanded,"")`), here, in(change))
	s.formula(colBeyond, s.row, of(`PAIR_so.words`), here, plain.with(set))
	s.paragraph(colDone, colDone, s.done(c.Cylinder), plain.with(func(l *look) { l.indent, l.quote, l.size = 1, true, 8 }), doneLines,
		fmt.Sprintf("Done at cylinder %d", c.Cylinder))
	s.row++
}

// wordOfVerdict is a verdict as people read it, as a formula.
func wordOfVerdict(cell string) string {
	return strings.ReplaceAll(`IF(CELL="fail","FAIL",IF(CELL="unread","not read",CELL))`, "CELL", cell)
}

func (s *repairSheet) decimals() int {
	c := s.repair.Comparison
	return pairDecimals(c.Sides[s.pair.From].Result, c.Sides[s.pair.To].Result)
}

// rowHeight is less for long engines, so that they fit the page.
func (s *repairSheet) rowHeight() float64 {
	if len(s.pair.Cylinders) > 8 {
		return 13
	}
	return 15
}

// done is what was done at a cylinder, without serial numbers and tags.
func (s *repairSheet) done(cylinder int) string {
	var texts []string
	for i := range s.pair.Work {
		for _, item := range s.pair.Work[i].Items() {
			if item.Cylinder == cylinder {
				item.Detail = ""
				_, text, _ := strings.Cut(item.String(), ": ")
				texts = append(texts, text)
			}
		}
	}
	return strings.Join(texts, ", ")
}

// tableNote says what the columns mean, and how the whole return changed.
func (s *repairSheet) tableNote() string {
	c := s.repair.Comparison
	before, after := c.Sides[s.pair.From].Result, c.Sides[s.pair.To].Result
	text := "U of a rate: one-sided 95\u00a0%, of a change two-sided 95\u00a0%."
	if !math.IsNaN(s.pair.Total.Rate.Value) {
		d := max(TotalDecimals(before), TotalDecimals(after))
		text = fmt.Sprintf("Total %s before, %s mL/min after: %s. ", figure(before.TotalMLMin, number(before.Total.ExpandedMLMin), d),
			figure(after.TotalMLMin, number(after.Total.ExpandedMLMin), d), changeSaid(&s.pair.Total, d)) + text
	}
	for i := range s.pair.Cylinders {
		if one := &s.pair.Cylinders[i]; one.RatioCounts && told(one) {
			return text + " Whether a change is more than noise is told here by the ratio to the cylinders that agree."
		}
	}
	return text
}

// check is the line that says whether the sentences of the page still hold.
func (s *repairSheet) check() {
	s.checkLine(lastColumn, `IF(ISERROR(repair_same),"`+repairFailed+`",IF(repair_same=1,"`+checkHolds+`","`+repairChanged+`"))`, repairChanged)
}

// What the check may say.
const (
	repairChanged = "CHANGED: readings, limits or fuel in this file are no longer those that this page's sentences were written from."
	repairFailed  = "CANNOT BE CALCULATED: an entry of the readings or limits is not understood; the sheets Working say which."
)

// work is what was done, with the tightening summed up.
func (s *repairSheet) work() {
	works := s.pair.Work
	if len(works) == 0 {
		s.workDone()
		return
	}
	all := worksSaid(works, s.repair.Tightening, zoneOf(s.repair.Tests))
	for _, text := range swapsSaid(s.pair) {
		all = append(all, said{"Swap test", text})
	}
	if n := len(workCorrections(s.repair.Tests)); n > 0 {
		all = append(all, said{"Corrections", Sentence(counted(n, "entry of the work") + " corrected, see sheet " + sheetWork)})
	}
	s.block(headWork, all, small, workLines)
}

// comparable says whether the tests may be held against one another, and over
// which range the fuel's temperature leaves them.
func (s *repairSheet) comparable() {
	all := plainSaid(append([]string{comparableSaid(s.pair)}, remarksSaid(s.pair)...))
	for _, c := range rangedOver(s.pair) {
		if !concerns(s.pair, c) {
			continue
		}
		d := s.decimals()
		text := fmt.Sprintf("%s mL/min as measured would be %s at m = 0, %s half-way and %s at m = 1 at the %s of %s", quantity.Fixed(c.After.RateMLMin, d),
			quantity.Fixed(c.Range.Zero.RateMLMin, d), quantity.Fixed(c.Range.Half.RateMLMin, d), quantity.Fixed(c.Range.One.RateMLMin, d),
			quantity.Format(quantity.Temperature, s.pair.Temperature.BeforeC), s.repair.label(s.pair.From))
		for _, crossing := range crossingsSaid(c) {
			text += "; " + crossing
		}
		all = append(all, said{fmt.Sprintf("Cylinder %d", c.Cylinder), Sentence(text)})
	}
	if len(rangedOver(s.pair)) > 0 {
		all = append(all, said{"", exponentSaid(s.repair.Comparison, s.pair)})
	}
	s.block("Can the tests be compared?", all, small.with(func(l *look) { l.size = 8 }), comparableLines+2*len(all))
}

// pairOfTexts are what to look at next, with what a test does not see beside it.
func (s *repairSheet) pairOfTexts() {
	s.reportSheet.pair(headNext, plainSaid(s.repair.Advice), nextLines)
}

// digests name the program and the readings that the page was made from.
func (s *repairSheet) digests() {
	s.gap(4)
	text := "leakback " + s.repair.Version
	for i, page := range s.repair.Tests {
		if page.Digest != "" {
			text += "   " + s.repair.label(i) + ": readings SHA-256 " + page.Digest
		}
	}
	s.paragraph(1, lastColumn, text, small.with(func(l *look) { l.size, l.color = 6.5, grey }), 4, "Program and readings")
	s.row++
}
