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
