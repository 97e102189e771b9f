package report

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"leakback/leakback"
	"leakback/limits/quantity"
)

// TableOptions says what the terminal can show.
type TableOptions struct {
	// Width is the number of columns; 0 is 80. Below 20 it counts as 20.
	Width int
	// Color allows colour. Without it there is no escape sequence at all.
	Color bool
	// Unicode allows signs beyond ASCII. Without it there are none at all.
	Unicode bool
	// Brief leaves out what stands the same on every page: advice, what the test
	// does not see, sources. Which test it is comes behind the rows, as whoever reads
	// it has just taken it.
	Brief bool
	// Words draws nothing: each cylinder has a line in words, for those who listen.
	Words bool
	// Zone is the zone of the times in a list of tests; nil is UTC.
	Zone *time.Location
}

// Widths in columns.
const (
	defaultWidth = 80
	leastWidth   = 20
	mostText     = 96 // longer lines are hard to read
	leastBar     = 10
	mostBar      = 60
)

// Table writes the page as people read it in a terminal: the answer, a row a
// cylinder with a bar drawn to scale, the reasons, what settles what is open
// and what to look at next.
func Table(w io.Writer, p *Page, o TableOptions) error {
	t := newTable(p, o)
	t.all()
	_, err := w.Write(t.out.Bytes())
	return err
}

// all writes the whole table.
func (t *table) all() {
	if !t.Brief {
		t.head()
	}
	t.answer()
	if len(t.r.Cylinders) > 0 {
		t.rows()
	}
	t.legend()
	if t.Brief {
		t.line()
		t.head()
	}
	t.runs()
	t.reasons()
	if t.Brief {
		return
	}
	t.list("Look at next", t.page.Advice, true)
	t.list("What this test does not see", t.page.NotSeen, false)
	t.foot()
}

// table is a table in the making.
type table struct {
	*TableOptions
	page  *Page
	r     *leakback.Result
	signs signs
	out   bytes.Buffer
	rate  int // decimals
	ratio int
	// ratioTo is what the column of ratios is to.
	ratioTo string
}

func newTable(p *Page, o TableOptions) *table {
	t := blankTable(o)
	t.page, t.r = p, p.Result
	t.rate, t.ratio = Decimals(t.r), RatioDecimals(t.r)
	return t
}

// blankTable is one of no test yet.
func blankTable(o TableOptions) *table {
	if o.Width == 0 {
		o.Width = defaultWidth
	}
	o.Width = max(o.Width, leastWidth)
	t := &table{TableOptions: &o, signs: asciiSigns, ratioTo: "median"}
	if o.Unicode {
		t.signs = unicodeSigns
	}
	return t
}

// line writes one line.
func (t *table) line(pieces ...piece) {
	t.out.WriteString(paint(pieces, t.Color))
	t.out.WriteByte('\n')
}

// prose writes text wrapped, the first line behind lead and the others as far
// in as that.
func (t *table) prose(lead, text string, hue hue) {
	width := min(t.Width, mostText) - len(lead)
	for _, line := range wrapText(t.clean(text), width) {
		t.line(piece{lead, huePlain}, piece{line, hue})
		lead = strings.Repeat(" ", len(lead))
	}
}

func (t *table) clean(text string) string { return Clean(text, t.Unicode) }

// head says which test this is, and how it was taken.
func (t *table) head() {
	t.prose(" ", "Return-flow test "+t.r.Test.ID+": "+VerdictWord(t.r.Verdict), blockHue(t.r.Verdict))
	t.prose(" ", t.subject(), huePlain)
	t.prose(" ", StateLine(t.r), huePlain)
	if !t.Brief {
		t.line()
	}
}

// answer says it in a sentence.
func (t *table) answer() {
	t.prose(" ", Answer(t.r), hueTitle)
	t.line()
}

// subject is what was tested, as far as it is known.
func (t *table) subject() string {
	var parts []string
	for _, part := range []string{t.r.Test.Engine, t.page.Job.Vehicle} {
		if part != "" {
			parts = append(parts, part)
		}
	}
	if t.page.Job.WorkOrder != "" {
		parts = append(parts, "work order "+t.page.Job.WorkOrder)
	}
	return strings.Join(parts, ", ")
}

// legend explains the signs and sums up the set.
func (t *table) legend() {
	r := t.r
	if len(r.Cylinders) > 0 {
		t.line()
	}
	if sum := t.summary(); sum != "" {
		t.prose(" ", sum, huePlain)
	}
	if !(r.Total.ExpandedMLMin > 0) &&
		!slices.ContainsFunc(r.Cylinders, func(c leakback.Cylinder) bool { return expandedMLMin(&c) > 0 }) {
		return
	}
	text := "± is the expanded uncertainty, one-sided 95 %"
	if r.Limit != nil {
		text += ": over a limit means that the rate less its uncertainty is over it"
	}
	t.prose(" ", Sentence(text), hueQuiet)
}

// summary is the set in one sentence: median, agreement, total.
func (t *table) summary() string {
	var parts []string
	r := t.r
	if !math.IsNaN(r.MedianMLMin) {
		parts = append(parts, "median "+quantity.Fixed(r.MedianMLMin, t.rate)+" mL/min")
	}
	if text := LimitText(r, t.rate); text != "" {
		parts = append(parts, text)
	}
	if least, ok := minimum(r); ok {
		parts = append(parts, "minimum "+limitFigure(least, t.rate)+" mL/min")
	}
	if r.Agreeing > 0 && !r.Has(leakback.TooLittleReturn) {
		parts = append(parts, fmt.Sprintf("%d of %d agree", r.Agreeing, len(r.Cylinders)))
	}
	if !math.IsNaN(r.TotalMLMin) {
		d := TotalDecimals(r)
		total := "total " + figure(r.TotalMLMin, number(r.Total.ExpandedMLMin), d) + " mL/min"
		if r.Limit != nil && r.Limit.MaxTotalMLMin != nil {
			total += " (limit " + limitFigure(*r.Limit.MaxTotalMLMin, d) + ")"
		}
		parts = append(parts, total)
	}
	return Sentence(strings.Join(parts, "; "))
}

// foot names the limits and says the one caution.
func (t *table) foot() {
	t.line()
	t.prose(" ", LimitsLine(t.r), huePlain)
	if t.page.MethodCaution != "" {
		t.prose(" ", t.page.MethodCaution, hueTitle)
	}
	t.prose(" ", t.page.CautionLine, hueTitle)
}

// list writes a heading and its texts, numbered where their order matters.
func (t *table) list(heading string, texts []string, numbered bool) {
	if len(texts) == 0 {
		return
	}
	t.line()
	t.prose(" ", heading, hueTitle)
	for i, text := range texts {
		lead := "   - "
		if numbered {
			lead = fmt.Sprintf("  %2d. ", i+1)
		}
		t.prose(lead, text, huePlain)
	}
}
