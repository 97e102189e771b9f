package report

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/leakback/repair"
	"leakback/limits/quantity"
)

// RepairTable writes a repair as people read it in a terminal: the answer and
// what settles it, the complaint apart from it, whether the tests are comparable,
// every cylinder before and after with bars to one scale and the change held
// against measurement noise, what was done, what swap tests show, what the fuel's
// temperature may hide, and what to look at next. Of three and more tests each is
// held against the one before it, then the last against the first.
func RepairTable(w io.Writer, p *RepairPage, o TableOptions) error {
	t := &repairTable{table: blankTable(o), page: p}
	t.head()
	for _, pair := range p.pairs() {
		t.pair(pair)
	}
	if !t.Brief {
		t.list("Look at next", p.Advice, true)
		t.list("What a test does not see", p.NotSeen, false)
	}
	t.foot()
	_, err := w.Write(t.out.Bytes())
	return err
}

// repairTable is the table of a repair in the making.
type repairTable struct {
	*table
	page *RepairPage
}

// answerHue is that of an answer; the word says the same.
func answerHue(a repair.Answer) hue {
	switch a {
	case repair.BackToNormal:
		return hueTitle
	case repair.NotBackToNormal:
		return hueFail
	}
	return hueUndecided
}

// head is the engine, the tests, the answer and the complaint.
func (t *repairTable) head() {
	c := t.page.Comparison
	t.prose(" ", "Repair and retest: "+string(c.Whole.Answer), answerHue(c.Whole.Answer))
	subject := &table{TableOptions: t.TableOptions, r: t.page.last().Result, page: &Page{Job: t.page.job()}}
	t.prose(" ", subject.subject(), huePlain)
	for side := range c.Sides {
		t.prose("   ", t.page.testLine(side), huePlain)
	}
	t.line()
	t.prose(" ", RepairAnswer(c.Whole), answerHue(c.Whole.Answer))
	if s := c.Whole.Settle; s != nil {
		t.prose(" ", settleText(s), hueTitle)
	}
	for _, text := range otherReasons(c.Whole) {
		t.prose(" ", text, huePlain)
	}
	t.prose(" ", ComplaintSaid(c), huePlain)
}

// pair is one test held against an earlier one.
func (t *repairTable) pair(p *repair.Pair) {
	t.line()
	heading := Sentence(t.page.pairName(p) + ": " + string(p.Answer))
	if p == t.page.Comparison.Whole {
		heading = "The whole, " + t.page.pairName(p) + ": " + string(p.Answer) + "."
	}
	t.prose(" ", heading, answerHue(p.Answer))
	t.compared(p)
	t.cylinders(p)
	t.total(p)
	t.legend(p)
	t.temperatures(p)
	if len(t.page.Comparison.Steps) > 1 && p == t.page.Comparison.Whole {
		return // reasons stand at the head, the work with its steps
	}
	if len(t.page.Comparison.Steps) > 1 {
		t.why(p)
	}
	t.work(p)
}

// compared says whether the two can be held against one another.
func (t *repairTable) compared(p *repair.Pair) {
	t.prose(" ", Sentence(comparableSaid(p)), huePlain)
	for _, text := range remarksSaid(p) {
		t.prose("   - ", text, huePlain)
	}
}

// why are the reasons of a step's answer, and what settles it.
func (t *repairTable) why(p *repair.Pair) {
	var texts []string
	for _, r := range p.Reasons {
		texts = append(texts, Sentence(r.Text))
	}
	if p.Settle != nil {
		texts = append(texts, settleText(p.Settle))
	}
	t.list("Why", texts, false)
}

// sides are the tables of the two tests, that write their rows and bars.
type sides struct {
	before, after *table
	scaleEnd      float64
	decimals      int
}

// sidesOf are the two tests of a pair as tables with the same decimals.
func (t *repairTable) sidesOf(p *repair.Pair) sides {
	side := func(i int) *table {
		one := newTable(&Page{Result: t.page.Comparison.Sides[i].Result}, *t.TableOptions)
		one.ratioTo = "set"
		return one
	}
	s := sides{before: side(p.From), after: side(p.To)}
	s.decimals = pairDecimals(s.before.r, s.after.r)
	s.before.rate, s.after.rate = s.decimals, s.decimals
	for _, one := range []*table{s.before, s.after} {
		s.scaleEnd = math.Max(s.scaleEnd, newScale(one.r, mostBar, t.signs).endMLMin)
	}
	return s
}

// scale is that of the bars of one of the tests: the end of both, and the limits
// of its own.
func (s *sides) scale(t *table, cells int) scale {
	sc := newScale(t.r, cells, t.signs)
	sc.endMLMin, sc.medianMLMin = s.scaleEnd, math.NaN()
	return sc
}

// cylinders are two rows a cylinder with its bars, and its change below.
func (t *repairTable) cylinders(p *repair.Pair) {
	if len(p.Cylinders) == 0 {
		return
	}
	s := t.sidesOf(p)
	rows := s.rows(p)
	l, fits := s.after.layOut(rows)
	if s.before.r.Has(leakback.NoInterval) {
		l.bar = 0
	}
	t.line()
	if fits {
		t.columnHeads(&s, l)
	}
	for i := range p.Cylinders {
		c := &p.Cylinders[i]
		if !fits {
			t.stackedPair(c, &s)
		} else {
			t.barRow(rows[2*i], l, &s, s.before, c)
			t.barRow(rows[2*i+1], l, &s, s.after, c)
		}
		t.prose("      ", changeSaid(c, s.decimals), huePlain)
	}
}

// Words for the two tests in front of their rows.
const (
	wordBefore = "before"
	wordAfter  = "after"
)

// rows are those of all cylinders, before and after.
func (s *sides) rows(p *repair.Pair) []row {
	widest := 0
	for _, t := range []*table{s.before, s.after} {
		for i := range t.r.Cylinders {
			if c := &t.r.Cylinders[i]; c.Bound == leakback.Exact {
				widest = max(widest, len(quantity.Fixed(expandedMLMin(c), s.decimals)))
			}
		}
	}
	var rows []row
	for i := range p.Cylinders {
		c := &p.Cylinders[i]
		number := strconv.Itoa(c.Cylinder)
		before := s.before.rowOfFigures(c.Cylinder, &c.Before, widest)
		before[atCylinder] = number + "  " + wordBefore
		after := s.after.rowOfFigures(c.Cylinder, &c.After, widest)
		after[atCylinder] = wordAfter + " "
		rows = append(rows, before, after)
	}
	return rows
}

// rowOfFigures is a cylinder's row with its ratio to the cylinders that agree; of
// a cylinder that the test does not have it is empty.
func (t *table) rowOfFigures(number int, f *repair.Figures, plusMinus int) row {
	texts := row{"", "-", "", "", VerdictWord(f.Verdict)}
	if c := cylinder(t.r, number); c != nil {
		texts = t.rowOf(c, plusMinus)
	}
	texts[atRatio] = setRatioText(f)
	return texts
}

// barRow is one row with its bar.
func (t *repairTable) barRow(texts row, l layout, s *sides, side *table, c *repair.Change) {
	f := &c.After
	if side == s.before {
		f = &c.Before
	}
	pieces := l.pieces(texts, verdictHue(f.Verdict))
	if found := cylinder(side.r, c.Cylinder); l.bar > 0 && found != nil {
		pieces = append(pieces, piece{strings.Repeat(" ", gapBar), huePlain})
		pieces = append(pieces, s.scale(side, l.bar).bar(found)...)
	}
	t.line(pieces...)
}

// columnHeads name the columns and, above the bars, the limit and the scale.
func (t *repairTable) columnHeads(s *sides, l layout) {
	texts, over := s.after.headings(), l
	texts[atCylinder] += strings.Repeat(" ", l.widths[atCylinder]-len(texts[atCylinder]))
	texts[atValue] = s.after.rateHeading()
	over.widths[atValue], over.widths[atPlusMinus] = l.rate(), 0
	pieces := over.pieces(texts, hueQuiet)
	for i := range pieces {
		pieces[i].hue = hueQuiet
	}
	if l.bar == 0 {
		t.line(pieces...)
		return
	}
	sc := s.scale(s.after, l.bar)
	indent := piece{strings.Repeat(" ", l.used()+gapBar), huePlain}
	if name := pairLimits(s); name != "" {
		t.line(indent, piece{t.signs.limit, hueLimit}, piece{" " + name, hueQuiet})
	}
	t.line(append(pieces, piece{strings.Repeat(" ", gapBar) + sc.numbers(), hueQuiet})...)
	t.line(append([]piece{indent}, sc.axis()...)...)
}

// pairLimits names the limits of the two tests.
func pairLimits(s *sides) string {
	of := func(t *table) string {
		if most, ok := t.r.Limit.MaxMLMin(); ok {
			return limitFigure(most, s.decimals)
		}
		return "none"
	}
	before, after := of(s.before), of(s.after)
	switch {
	case before != after:
		return "limit " + before + " before, " + after + " after"
	case after == "none":
		return ""
	}
	return "limit " + after
}

// stackedPair is a cylinder where not even the columns fit.
func (t *repairTable) stackedPair(c *repair.Change, s *sides) {
	for _, one := range []struct {
		word string
		side *table
		f    *repair.Figures
	}{{wordBefore, s.before, &c.Before}, {wordAfter, s.after, &c.After}} {
		text := one.word + " " + VerdictWord(one.f.Verdict)
		if found := cylinder(one.side.r, c.Cylinder); found != nil && !math.IsNaN(found.RateMLMin) {
			text += ", " + RateText(found, s.decimals) + " mL/min"
		}
		t.prose(fmt.Sprintf(" %2d  ", c.Cylinder), text, verdictHue(one.f.Verdict))
	}
}

// total is the whole return before and after.
func (t *repairTable) total(p *repair.Pair) {
	before, after := t.page.Comparison.Sides[p.From].Result, t.page.Comparison.Sides[p.To].Result
	if math.IsNaN(p.Total.Rate.Value) {
		return
	}
	d := max(TotalDecimals(before), TotalDecimals(after))
	t.prose(" ", fmt.Sprintf("Total %s mL/min before, %s mL/min after: %s.",
		figure(before.TotalMLMin, number(before.Total.ExpandedMLMin), d),
		figure(after.TotalMLMin, number(after.Total.ExpandedMLMin), d), changeSaid(&p.Total, d)), huePlain)
}

// legend explains the figures.
func (t *repairTable) legend(p *repair.Pair) {
	if len(p.Cylinders) == 0 {
		return
	}
	t.line()
	text := "± of a rate is one-sided 95 %, ± of a change two-sided 95 %; × set is the ratio to the cylinders that agree."
	if slices.ContainsFunc(p.Cylinders, func(c repair.Change) bool { return c.RatioCounts && told(&c) }) {
		text += " Where the fuel temperatures lie apart, or no interval is known, a change is told by that ratio."
	}
	t.prose(" ", text, hueQuiet)
}

// temperatures are the rates of the later test over the exponent of the
// temperature, beside what was measured.
func (t *repairTable) temperatures(p *repair.Pair) {
	list := rangedOver(p)
	if len(list) == 0 {
		return
	}
	t.line()
	t.prose(" ", fmt.Sprintf("%s at the %s of %s, in mL/min", strings.TrimSuffix(Sentence(t.page.label(p.To)), "."),
		quantity.Format(quantity.Temperature, p.Temperature.BeforeC), t.page.label(p.From)), hueTitle)
	t.grid(exponentRows(list, pairDecimals(t.page.Comparison.Sides[p.From].Result, t.page.Comparison.Sides[p.To].Result)))
	for _, c := range list {
		for _, text := range crossingsSaid(c) {
			if concerns(p, c) {
				t.prose("   ", fmt.Sprintf("Cylinder %d: %s.", c.Cylinder, text), huePlain)
			}
		}
	}
	t.prose(" ", exponentSaid(t.page.Comparison, p), huePlain)
}

// exponentRows are the rows of the grid over the exponent, the numbers set to the
// right.
func exponentRows(list []*repair.Change, decimals int) [][]string {
	rows := [][]string{{"cyl", "measured", "m = 0", "m = 1/2", "m = 1"}}
	for _, c := range list {
		row := []string{strconv.Itoa(c.Cylinder)}
		for _, x := range []float64{c.After.RateMLMin, c.Range.Zero.RateMLMin, c.Range.Half.RateMLMin, c.Range.One.RateMLMin} {
			text := "-"
			if !math.IsNaN(x) {
				text = strings.TrimPrefix(c.After.Bound.String()+" "+quantity.Fixed(x, decimals), " ")
			}
			row = append(row, text)
		}
		rows = append(rows, row)
	}
	for k := 1; k < len(rows[0]); k++ {
		rightAligned(rows, k)
	}
	return rows
}

// rightAligned fills a column of ASCII texts up from the left.
func rightAligned(rows [][]string, k int) {
	wide := 0
	for _, row := range rows {
		wide = max(wide, len(row[k]))
	}
	for _, row := range rows {
		row[k] = strings.Repeat(" ", wide-len(row[k])) + row[k]
	}
}

// work is what was done between the two tests, and what swap tests show.
func (t *repairTable) work(p *repair.Pair) {
	t.line()
	t.prose(" ", "What was done between the tests", hueTitle)
	if len(p.Work) == 0 {
		t.prose("   ", "Nothing is recorded.", huePlain)
	}
	for i := range p.Work {
		w := &p.Work[i]
		t.prose("   ", Sentence(workTitle(w, t.Zone)), hueQuiet)
		for _, s := range workSaid(w, t.page.Tightening, true) {
			t.prose("   - ", Sentence(s.String()), huePlain)
		}
		for _, text := range doubtsSaid(p.Work[i : i+1]) {
			t.prose("   ? ", text, huePlain)
		}
	}
	t.list("Swap test", swapsSaid(p), false)
	if p.To == len(t.page.Tests)-1 {
		t.list("Corrected in the record of the work", workCorrections(t.page.Tests), false)
	}
}

// foot says the one caution.
func (t *repairTable) foot() {
	t.line()
	t.prose(" ", LimitsLine(t.page.last().Result), huePlain)
	t.prose(" ", t.page.CautionLine, hueTitle)
}
