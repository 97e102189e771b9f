package command

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/clipperhouse/displaywidth"

	"leakback/leakback/learn"
	"leakback/report"
)

// learnSigns are what the pictures of limits learn draw with.
type learnSigns struct {
	agrees, high, low, odd string // cylinders; odd of a test that does not agree
	level                  string
	centre, bites          string
	line, corner, tick     string
}

// Signs of a return beyond its tube's scale, which stands at its bound.
const (
	above = ">"
	below = "<"
)

func (p *learnPrinter) signs() learnSigns {
	if p.screen.unicode {
		return learnSigns{"●", "▲", "▼", "?", "◆", "┊", "│", "─", "├", "┴"}
	}
	return learnSigns{"o", "H", "L", "?", "*", ":", "|", "-", "+", "+"}
}

// cylinder is the sign of the k-th cylinder of a test.
func (s learnSigns) cylinder(t *learn.Test, k int) string {
	switch {
	case t.Consensus.IsHigh(k):
		return s.high
	case t.Consensus.IsLow(k):
		return s.low
	case t.Disagrees:
		return s.odd
	}
	return s.agrees
}

// chartAxis maps values to the cells of a row.
type chartAxis struct {
	low, high float64
	scale     func(float64) float64
	ticks     []float64 // those of greater weight first
}

func (a *chartAxis) cell(x float64, cells int) int {
	share := (a.scale(x) - a.scale(a.low)) / (a.scale(a.high) - a.scale(a.low))
	return min(max(int(math.Round(share*float64(cells-1))), 0), cells-1)
}

// Bounds of the ratios that are drawn: what lies beyond stands at the edge.
const (
	leastRatio = 0.1
	mostRatio  = 10
)

// newRatioAxis is a logarithmic axis that holds all ratios.
func newRatioAxis(p *learnPrinter) chartAxis {
	a := chartAxis{low: 0.8, high: 1.05 * p.After.BitingRatio, scale: math.Log,
		ticks: []float64{1, 2, 0.5, 1.5, 3, 5, 0.7, 0.2, 0.1, 10, 0.3}}
	for i := range p.Tests {
		t := &p.Tests[i]
		for k := range t.Cylinders {
			a.include(t.Consensus.Ratio(k))
		}
		for _, b := range t.Beyond {
			a.include(b.RateMLMin / t.CentreMLMin())
		}
	}
	a.low, a.high = math.Max(a.low, leastRatio), math.Min(a.high, mostRatio)
	if a.high < 4 {
		a.ticks = append(a.ticks, 1.2)
	}
	return a
}

func (a *chartAxis) include(x float64) {
	a.low, a.high = math.Min(a.low, x/1.03), math.Max(a.high, x*1.03)
}

// newRateAxis is a linear axis that holds the rates of a condition, with four
// to ten round numbers on it.
func newRateAxis(c *learn.Condition) chartAxis {
	low, high := 0.9*c.LowestMLMin, 1.1*c.HighestMLMin
	step := math.Pow(10, math.Floor(math.Log10((high-low)/4)))
	for _, digit := range []float64{5, 2} {
		if 4*digit*step <= high-low {
			step *= digit
			break
		}
	}
	a := chartAxis{low: low, high: high, scale: func(x float64) float64 { return x }}
	for k := math.Ceil(low / step); k*step <= high; k++ {
		a.ticks = append(a.ticks, k*step)
	}
	return a
}

// chart draws a row a test beside its name and a figure.
type chart struct {
	*sheetPrinter
	axis  chartAxis
	signs learnSigns
	cells int
	marks map[int]string
	drawn map[string]bool // signs put so far
}

// Widths of the columns in front of the picture.
const (
	nameWidth   = 18
	figureWidth = 7
	frontWidth  = 2 + nameWidth + 1 + figureWidth + 2
	mostCells   = 60
	leastCells  = 20
)

func newChart(p *sheetPrinter, a chartAxis, s learnSigns) *chart {
	cells := min(max(p.screen.width-frontWidth, leastCells), mostCells)
	return &chart{sheetPrinter: p, axis: a, signs: s, cells: cells, marks: map[int]string{}, drawn: map[string]bool{}}
}

// mark draws a sign through all rows.
func (c *chart) mark(x float64, sign string) { c.marks[c.axis.cell(x, c.cells)] = sign }

// row is a row with the marks alone.
func (c *chart) row(fill string) []string {
	row := slices.Repeat([]string{fill}, c.cells)
	for cell, sign := range c.marks {
		row[cell] = sign
	}
	return row
}

// head writes the numbers, as many as there is room for, and the line below.
func (c *chart) head(figure string) {
	numbers := slices.Repeat([]byte{' '}, c.cells+1)
	line := c.row(c.signs.line)
	for _, x := range c.axis.ticks {
		if at, ok := c.place(numbers, x); ok && c.marks[at] == "" {
			line[at] = c.signs.tick
		}
	}
	if c.marks[0] == "" {
		line[0] = c.signs.corner
	}
	c.line("")
	c.write("test", figure, string(numbers))
	c.write("", "", strings.Join(line, ""))
}

// place puts a number where it begins above its cell and touches no other.
func (c *chart) place(numbers []byte, x float64) (at int, ok bool) {
	text := strconv.FormatFloat(x, 'g', 6, 64)
	at = c.axis.cell(x, c.cells)
	end := at + len(text)
	if x < c.axis.low || x > c.axis.high || end > c.cells ||
		strings.TrimSpace(string(numbers[max(at-1, 0):end+1])) != "" {
		return at, false
	}
	copy(numbers[at:], text)
	return at, true
}

func (c *chart) write(name, figure, row string) {
	pad := strings.Repeat(" ", nameWidth-displaywidth.String(name))
	c.line(fmt.Sprintf("  %s%s %*s  %s", name, pad, figureWidth, figure, row))
}

// mostDrawn is how many tests are drawn.
const mostDrawn = 40

// rows draws the tests that have a set; draw fills in the row of one and gives
// the figure beside its name.
func (c *chart) rows(tests []learn.Test, draw func(t *learn.Test, row []string) string) {
	drawn := 0
	for i := range tests {
		t := &tests[i]
		if t.Without != "" {
			continue
		}
		if drawn++; drawn > mostDrawn {
			continue
		}
		row := c.row(" ")
		figure := draw(t, row)
		c.write(c.name(t.ID), figure, strings.Join(row, ""))
	}
	if drawn > mostDrawn {
		c.line("  and " + plural(drawn-mostDrawn, "more test"))
	}
}

// legend explains the signs that were drawn, and last the marks.
func (c *chart) legend(last string) {
	for _, s := range []struct{ sign, means string }{
		{c.signs.agrees, "agrees; a digit where several do"}, {c.signs.high, "set aside as high"},
		{c.signs.low, "set aside as low"}, {above, "overflowed: at least"}, {below, "below the first mark: at most"},
		{c.signs.odd, "of a test that is not used"},
	} {
		if c.drawn[s.sign] {
			c.prose("  ", s.sign+" "+s.means)
		}
	}
	c.prose("  ", last)
}

// name is a test's name cut to its column.
func (c *chart) name(id string) string {
	const cut = ".."
	lines := report.Lines(id, nameWidth, c.screen.unicode)
	if len(lines) == 1 {
		return lines[0]
	}
	return report.Lines(id, nameWidth-len(cut), c.screen.unicode)[0] + cut
}

// put draws a cylinder's sign. Several that agree in one cell become their
// number; what stands apart is never hidden.
func (c *chart) put(row []string, x float64, sign string) {
	c.drawn[sign] = true
	cell := &row[c.axis.cell(x, c.cells)]
	count, err := strconv.Atoi(*cell)
	switch agrees := sign == c.signs.agrees; {
	case agrees && *cell == c.signs.agrees:
		*cell = "2"
	case agrees && err == nil:
		*cell = strconv.Itoa(min(count+1, 9))
	case agrees && (*cell == c.signs.high || *cell == c.signs.low):
	default:
		*cell = sign
	}
}
