package report

import (
	"cmp"
	"io"
	"slices"
	"strconv"
	"strings"

	"github.com/clipperhouse/displaywidth"

	"leakback/leakback"
)

// TrendTable writes the trend of an engine as people read it in a terminal: for
// every condition a table with a row a test, the oldest first, and a column a
// cylinder: its rate and, below it, its ratio to the median. Flagged cylinders
// are named below the row. Where the terminal is too narrow for all cylinders
// some of them come first and the others after them.
func TrendTable(w io.Writer, trend *Trend, o TableOptions) error {
	if o.Zone == nil {
		o.Zone = trend.Zone
	}
	t := &trendTable{table: blankTable(o)}
	blocks, leftOut := trend.blocks()
	t.prose(" ", strings.TrimSuffix("Trend: "+trend.subject(), ": "), hueTitle)
	for _, b := range blocks {
		t.block(b)
	}
	if len(blocks) == 0 {
		t.prose(" ", "No test has rates of its cylinders.", huePlain)
	}
	if text := leftOutSaid(leftOut); text != "" {
		t.line()
		t.prose(" ", text, hueQuiet)
	}
	_, err := w.Write(t.out.Bytes())
	return err
}

// trendTable is a trend in the making.
type trendTable struct {
	*table
	lead  int         // columns of number, date and odometer
	cell  int         // columns of a cylinder
	heads [][2]string // of each test: its number with its date, and its odometer
}

// block writes the tests of one condition.
func (t *trendTable) block(b *trendBlock) {
	t.line()
	t.prose(" ", b.name()+": return in mL/min, and times the median", hueTitle)
	if most := b.limit(); most > 0 {
		t.prose(" ", "Limit "+limitFigure(most, 0)+" mL/min at all of them.", huePlain)
	}
	rates, ratios := b.figures()
	t.measure(b, rates, ratios)
	columns := (t.Width - 1 - t.lead) / t.cell
	if columns == 0 {
		t.stacked(b, rates, ratios)
		return
	}
	panels := (b.cylinders + columns - 1) / columns
	for first := 0; first < b.cylinders; {
		wide := (b.cylinders - first + panels - 1) / panels // as many in each
		t.panel(b, rates, ratios, first, first+wide)
		first, panels = first+wide, panels-1
	}
}

// figures are the texts of rates and ratios, by test and cylinder.
func (b *trendBlock) figures() (rates, ratios [][]string) {
	for _, l := range b.tests {
		d, rd := Decimals(l.Result), RatioDecimals(l.Result)
		rate, ratio := make([]string, b.cylinders), make([]string, b.cylinders)
		for k := range rate {
			rate[k], ratio[k] = "-", ""
			if c := cylinder(l.Result, k+1); c != nil {
				rate[k], ratio[k] = bareRate(c, d), RatioText(c, rd)
			}
		}
		rates, ratios = append(rates, rate), append(ratios, ratio)
	}
	return rates, ratios
}

// bareRate is a rate without its uncertainty.
func bareRate(c *leakback.Cylinder, decimals int) string {
	text, _, _ := strings.Cut(RateText(c, decimals), " ± ")
	if c.Verdict == leakback.Unread && c.Bound == leakback.Exact {
		return "?"
	}
	return strings.ReplaceAll(text, "= ", "=")
}

// measure finds the widths of the columns.
func (t *trendTable) measure(b *trendBlock, rates, ratios [][]string) {
	t.lead, t.cell, t.heads = 0, 3, nil
	digits := len(strconv.FormatInt(slices.MaxFunc(b.tests, byNumber).Number, 10))
	for i, l := range b.tests {
		head := t.testHead(l, digits)
		t.heads = append(t.heads, head)
		t.lead = max(t.lead, displaywidth.String(head[0]), displaywidth.String(head[1]))
		for k := range rates[i] {
			ratios[i][k] = strings.ReplaceAll(ratios[i][k], "= ", "=")
			if ratios[i][k] != "" && ratios[i][k] != "-" {
				ratios[i][k] += t.clean("×")
			}
			t.cell = max(t.cell, displaywidth.String(rates[i][k]), displaywidth.String(ratios[i][k]))
		}
	}
	t.cell += 2
	if t.Width < narrowWidth {
		t.cell--
	}
}

func byNumber(a, b *Listed) int { return cmp.Compare(a.Number, b.Number) }

// testHead is what stands before the figures of a test, in two lines.
func (t *trendTable) testHead(l *Listed, digits int) [2]string {
	const longest = 12 // columns of an odometer
	odometer := t.clean(l.Odometer)
	if displaywidth.String(odometer) > longest {
		odometer = chopped(odometer, longest)[0]
	}
	number := strconv.FormatInt(l.Number, 10)
	indent := strings.Repeat(" ", digits+1)
	return [2]string{
		indent[:digits-len(number)] + number + " " + localTime(l.StartedUS, t.Zone).Format(dayLayout),
		indent + odometer,
	}
}

// panel writes the columns of some cylinders.
func (t *trendTable) panel(b *trendBlock, rates, ratios [][]string, from, to int) {
	var heads []string
	for k := from; k < to; k++ {
		heads = append(heads, "cyl "+strconv.Itoa(k+1))
	}
	if t.cell < len("cyl 10")+1 {
		for i := range heads {
			heads[i] = strings.TrimPrefix(heads[i], "cyl ")
		}
	}
	t.line()
	t.line(append([]piece{t.leading("")}, t.cells(heads, hueQuiet)...)...)
	for i, l := range b.tests {
		hues := t.hues(l.Result, from, to)
		t.line(append([]piece{t.leading(t.heads[i][0])}, t.colored(rates[i][from:to], hues)...)...)
		t.line(append([]piece{t.leading(t.heads[i][1])}, t.cells(ratios[i][from:to], hueQuiet)...)...)
		t.flags(l.Result, from, to)
	}
}

// stacked writes the tests where not one column fits.
func (t *trendTable) stacked(b *trendBlock, rates, ratios [][]string) {
	for i, l := range b.tests {
		t.line()
		t.prose(" ", t.heads[i][0]+" "+t.heads[i][1], huePlain)
		for k := range rates[i] {
			t.prose("   ", strings.Join([]string{"cyl", strconv.Itoa(k + 1), rates[i][k], ratios[i][k]}, " "), huePlain)
		}
		t.flags(l.Result, 0, b.cylinders)
	}
}

func (t *trendTable) leading(text string) piece {
	return piece{" " + text + strings.Repeat(" ", max(0, t.lead-displaywidth.String(text))), huePlain}
}

func (t *trendTable) cells(texts []string, h hue) []piece {
	hues := make([]hue, len(texts))
	for i := range hues {
		hues[i] = h
	}
	return t.colored(texts, hues)
}

// colored puts texts into the columns, to the right.
func (t *trendTable) colored(texts []string, hues []hue) []piece {
	pieces := make([]piece, len(texts))
	for i, text := range texts {
		pieces[i] = piece{strings.Repeat(" ", max(0, t.cell-displaywidth.String(text))) + text, hues[i]}
	}
	return pieces
}

// hues are those of the cylinders' verdicts.
func (t *trendTable) hues(r *leakback.Result, from, to int) []hue {
	hues := make([]hue, to-from)
	for i := range hues {
		if c := cylinder(r, from+i+1); c != nil {
			hues[i] = verdictHue(c.Verdict)
		}
	}
	return hues
}

// flags names the cylinders of a panel that are not a plain pass.
func (t *trendTable) flags(r *leakback.Result, from, to int) {
	var texts []string
	for _, f := range flagged(r) {
		var some []int
		for _, c := range f.cylinders {
			if c > from && c <= to {
				some = append(some, c)
			}
		}
		if len(some) > 0 {
			f.cylinders = some
			texts = append(texts, flaggedSaid(f))
		}
	}
	if len(texts) > 0 {
		t.prose(strings.Repeat(" ", min(t.lead+3, t.Width/2)), strings.Join(texts, "; "), blockHue(r.Verdict))
	}
}
