package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/clipperhouse/displaywidth"

	"leakback/leakback"
	"leakback/limits/quantity"
)

// row holds the texts of one row: cylinder, value, uncertainty, ratio to the
// median and verdict.
type row [5]string

// Places in a row.
const (
	atCylinder = iota
	atValue
	atPlusMinus
	atRatio
	atVerdict
)

// gaps are the spaces before each column.
var gaps = row{" ", "  ", " ", "   ", "   "}

const gapBar = 3

// rowOf is the row of a cylinder. Value and uncertainty are apart, so that
// their points stand below one another.
func (t *table) rowOf(c *leakback.Cylinder, plusMinus int) row {
	texts := row{strconv.Itoa(c.Cylinder), "-", "", RatioText(c, t.ratio), VerdictWord(c.Verdict)}
	if t.r.Has(leakback.NoInterval) && c.Verdict != leakback.Unread {
		texts[atValue] = t.clean(volumesText(t.r.Test, c.Cylinder))
	}
	if math.IsNaN(c.RateMLMin) {
		return texts
	}
	texts[atValue] = RateText(c, t.rate)
	if c.Bound == leakback.Exact {
		texts[atValue] = quantity.Fixed(c.RateMLMin, t.rate)
		u := quantity.Fixed(expandedMLMin(c), t.rate)
		texts[atPlusMinus] = t.clean("±") + " " + strings.Repeat(" ", plusMinus-len(u)) + u
	}
	return texts
}

// rowsOf are the rows of all cylinders.
func (t *table) rowsOf() []row {
	widest := 0
	for i := range t.r.Cylinders {
		c := &t.r.Cylinders[i]
		if c.Bound == leakback.Exact {
			widest = max(widest, len(quantity.Fixed(expandedMLMin(c), t.rate)))
		}
	}
	rows := make([]row, len(t.r.Cylinders))
	for i := range rows {
		rows[i] = t.rowOf(&t.r.Cylinders[i], widest)
	}
	return rows
}

// layout is the width of each column; 0 leaves a column out.
type layout struct {
	widths [len(row{})]int
	bar    int
}

// layOut finds room for the columns: what is too narrow gives up the bar
// first, then the ratio, then the columns altogether (false).
func (t *table) layOut(rows []row) (layout, bool) {
	var l layout
	for _, texts := range append(rows, t.headings()) {
		for i, text := range texts {
			l.widths[i] = max(l.widths[i], displaywidth.String(text))
		}
	}
	if heading := len(t.rateHeading()); l.rate() < heading {
		l.widths[atValue] += heading - l.rate()
	}
	if free := t.Width - l.used() - gapBar; free >= leastBar && !t.r.Has(leakback.NoInterval) {
		l.bar = min(free, mostBar)
	}
	if l.used() > t.Width {
		l.widths[atRatio] = 0
	}
	return l, l.used() <= t.Width
}

// rate is the width of value and uncertainty together.
func (l *layout) rate() int {
	if l.widths[atPlusMinus] == 0 {
		return l.widths[atValue]
	}
	return l.widths[atValue] + len(gaps[atPlusMinus]) + l.widths[atPlusMinus]
}

// used is what the columns take, without the bar.
func (l *layout) used() int {
	sum := 0
	for i, width := range l.widths {
		if width > 0 {
			sum += len(gaps[i]) + width
		}
	}
	return sum
}

// rateHeading says what stands in the column of rates.
func (t *table) rateHeading() string {
	switch {
	case t.r.Has(leakback.NoInterval):
		return "mL read"
	case t.r.Test.Method == leakback.MethodBlockOff:
		return "share, mL/min"
	}
	return "mL/min"
}

// headings stand above the columns; that of the rate stands above two of them.
func (t *table) headings() row {
	return row{"cyl", "", "", t.clean("× " + t.ratioTo), "verdict"}
}

// rows draws the table of cylinders.
func (t *table) rows() {
	rows := t.rowsOf()
	l, fits := t.layOut(rows)
	if t.Words || !fits {
		t.stacked()
		return
	}
	t.heading(l)
	for i, texts := range rows {
		c := &t.r.Cylinders[i]
		pieces := l.pieces(texts, verdictHue(c.Verdict))
		if l.bar > 0 {
			pieces = append(pieces, piece{strings.Repeat(" ", gapBar), huePlain})
			pieces = append(pieces, newScale(t.r, l.bar, t.signs).bar(c)...)
		}
		t.line(pieces...)
	}
}

// pieces puts texts into the columns: numbers to the right, words to the left.
func (l *layout) pieces(texts row, verdict hue) []piece {
	var pieces []piece
	for i, text := range texts {
		if l.widths[i] == 0 {
			continue
		}
		pad := strings.Repeat(" ", max(0, l.widths[i]-displaywidth.String(text)))
		if i == atVerdict {
			pieces = append(pieces, piece{gaps[i], huePlain}, piece{text, verdict}, piece{pad, huePlain})
		} else {
			pieces = append(pieces, piece{gaps[i] + pad + text, huePlain})
		}
	}
	return pieces
}

// heading names the columns and, above the bars, the marks and the scale.
func (t *table) heading(l layout) {
	texts, over := t.headings(), l
	texts[atValue] = t.rateHeading() // stands over value and uncertainty
	over.widths[atValue], over.widths[atPlusMinus] = l.rate(), 0
	pieces := over.pieces(texts, hueQuiet)
	for i := range pieces {
		pieces[i].hue = hueQuiet
	}
	if l.bar == 0 {
		t.line(pieces...)
		return
	}
	indent := piece{strings.Repeat(" ", l.used()+gapBar), huePlain}
	sc := newScale(t.r, l.bar, t.signs)
	t.markNames(indent, l.bar)
	t.line(append(pieces, piece{strings.Repeat(" ", gapBar) + sc.numbers(), hueQuiet})...)
	t.line(append([]piece{indent}, sc.axis()...)...)
}

// markNames says which sign marks what: above the bars, or from the left edge
// where they are too short for it.
func (t *table) markNames(indent piece, room int) {
	var names []piece
	add := func(sign, text string, hue hue) {
		if len(names) > 0 {
			names = append(names, piece{"   ", huePlain})
		}
		names = append(names, piece{sign, hue}, piece{" " + text, hueQuiet})
	}
	if least, ok := minimum(t.r); ok {
		add(t.signs.limit, "minimum "+limitFigure(least, t.rate), hueLimit)
	}
	if !math.IsNaN(t.r.MedianMLMin) {
		add(t.signs.median, "median "+quantity.Fixed(t.r.MedianMLMin, t.rate), hueMedian)
	}
	if most, ok := t.r.Limit.MaxMLMin(); ok {
		add(t.signs.limit, "limit "+limitFigure(most, t.rate), hueLimit)
	}
	width := 0
	for _, name := range names {
		width += displaywidth.String(name.text)
	}
	if width > room {
		indent.text = indent.text[:max(1, min(len(indent.text), t.Width-width))]
	}
	if len(names) > 0 && len(indent.text)+width <= t.Width {
		t.line(append([]piece{indent}, names...)...)
	}
}

// stacked is the table where not even its columns fit, or nothing is to be drawn: a
// line or two a cylinder.
func (t *table) stacked() {
	for i := range t.r.Cylinders {
		c := &t.r.Cylinders[i]
		text := VerdictWord(c.Verdict)
		switch {
		case !math.IsNaN(c.RateMLMin):
			text += ", " + RateText(c, t.rate) + " mL/min, " + RatioText(c, t.ratio) + " × median"
		case t.r.Has(leakback.NoInterval) && c.Verdict != leakback.Unread:
			text += ", " + volumesText(t.r.Test, c.Cylinder) + " mL, " + RatioText(c, t.ratio) + " × median"
		}
		lead := fmt.Sprintf(" %2d  ", c.Cylinder)
		if t.Words {
			lead = fmt.Sprintf(" cylinder %d: ", c.Cylinder)
		}
		t.prose(lead, text, verdictHue(c.Verdict))
	}
}
