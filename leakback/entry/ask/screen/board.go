package screen

import (
	"math"
	"strconv"
	"strings"

	"charm.land/lipgloss/v2"
	"github.com/charmbracelet/x/ansi"

	"leakback/leakback/entry/ask"
	"leakback/limits/quantity"
)

// boardRow is what stands beside one bar.
type boardRow struct {
	number, level, rate, verdict string
}

// boardView draws a board: a bar for each cylinder, the limit and the median
// through all of them, and figures and words beside.
type boardView struct {
	look
	board *ask.Board
	asked int // the cylinder that is asked for
	width int
	rows  []boardRow
	shown func(i int) float64

	numberWide, levelWide, rateWide, verdictWide, barWide int
}

// newBoard lays the columns of the question's board out.
func (m *model) newBoard(width int) *boardView {
	now := m.now()
	v := &boardView{look: m.look, board: m.q.Board, asked: m.q.Cylinder, width: width,
		shown: func(i int) float64 { return m.growth.shown(i, now) }}
	v.numberWide, v.levelWide, v.rateWide = 1, len("read"), len("mL/min")
	for _, b := range v.board.Bars {
		r := v.row(b)
		v.rows = append(v.rows, r)
		v.numberWide = max(v.numberWide, ansi.StringWidth(r.number))
		v.levelWide = min(10, max(v.levelWide, ansi.StringWidth(r.level)))
		v.rateWide = max(v.rateWide, ansi.StringWidth(r.rate))
		v.verdictWide = max(v.verdictWide, ansi.StringWidth(r.verdict))
	}
	if width >= 60 { // so that the bars stay where they are when the first verdict comes
		v.verdictWide = max(v.verdictWide, len("! undecided"))
	}
	v.barWide = max(4, width-v.besideWide())
	return v
}

// besideWide is what a row needs beside its bar.
func (v *boardView) besideWide() int {
	return v.numberWide + v.levelWide + v.rateWide + v.verdictWide + len("> ") + 4*len(" ") + 1
}

// row is what stands beside one bar.
func (v *boardView) row(b ask.Bar) boardRow {
	r := boardRow{number: strconv.Itoa(b.Cylinder), level: v.oneLine(b.Label), verdict: v.oneLine(b.Verdict)}
	if b.Cylinder == 0 {
		r.number = "all"
	}
	if r.level == "" {
		r.level = v.none
	}
	if !math.IsNaN(b.RateMLMin) {
		r.rate = quantity.Fixed(b.RateMLMin, quantity.Apart(b.RateMLMin, v.board.LimitMLMin, 1))
		if b.AtLeast {
			r.rate = v.atLeast + r.rate
		}
	}
	if r.verdict != "" || b.Flagged {
		r.verdict = strings.TrimRight(map[bool]string{true: "! ", false: "  "}[b.Flagged]+r.verdict, " ")
	}
	return r
}

// lines draws the board on at most that many rows. Where there is room the bars
// are thick and stand apart; where there is not, those near the one asked for
// are drawn.
func (v *boardView) lines(rows int) []string {
	legend := v.legend()
	if len(legend) > rows/2 {
		legend = legend[:rows/2]
	}
	n, room := len(v.rows), rows-len(legend)
	var lines []string
	if room > n {
		lines = append(lines, v.heading())
		room--
	}
	thick, gap := 1, 0
	if room >= 2*n-1 {
		gap = 1
	}
	if room >= 3*n-1 {
		thick = 2
	}
	first, last := v.window(room)
	for i := first; i < last; i++ {
		for part := range thick {
			lines = append(lines, v.line(i, part == 0))
		}
		if gap > 0 && i < last-1 {
			lines = append(lines, strings.Repeat(" ", v.lead())+v.cells(-1))
		}
	}
	return append(lines, legend...)
}

// window is the bars that fit on that many rows, the one asked for among them.
func (v *boardView) window(rows int) (first, last int) {
	n := len(v.rows)
	if n <= rows {
		return 0, n
	}
	at := 0
	for i, b := range v.board.Bars {
		if b.Cylinder == v.asked {
			at = i
		}
	}
	first = min(max(0, at-rows/2), n-max(0, rows))
	return first, first + max(0, rows)
}

// lead is how many columns stand before a bar.
func (v *boardView) lead() int { return len("> ") + v.numberWide + 1 }

// heading names the columns beside the bars.
func (v *boardView) heading() string {
	return v.faint.Render(fitted(" cyl", v.lead()+v.barWide) +
		" " + right("read", v.levelWide) + " " + right("mL/min", v.rateWide))
}

// line draws one row of one bar; its figures stand in the first.
func (v *boardView) line(i int, first bool) string {
	r, b := v.rows[i], v.board.Bars[i]
	if !first {
		return strings.Repeat(" ", v.lead()) + v.cells(i)
	}
	lead := "  " + right(r.number, v.numberWide)
	if b.Cylinder == v.asked {
		lead = v.plate.Render(v.here + " " + right(r.number, v.numberWide))
	}
	level := right(ansi.Truncate(r.level, v.levelWide, v.cut), v.levelWide)
	beside := " " + v.strong.Render(level) + " " + right(r.rate, v.rateWide) + " "
	return lead + " " + v.cells(i) + beside + v.verdict(strings.TrimLeft(r.verdict, "! ")).Render(r.verdict)
}

// cells draws a bar with the marks through it; none for i below 0, the room
// between two bars.
func (v *boardView) cells(i int) string {
	var b strings.Builder
	top := v.top()
	for c := range v.barWide {
		text, style := v.cell(i, c, top)
		if at, ok := v.column(v.board.MedianMLMin, top); ok && at == c {
			text, style = v.signs.median, v.look.median
		}
		if at, ok := v.column(v.board.LimitMLMin, top); ok && at == c {
			text, style = v.signs.limit, v.look.limit
		}
		b.WriteString(style.Render(text))
	}
	return b.String()
}

// cell is one column of a bar.
func (v *boardView) cell(i, c int, top float64) (string, lipgloss.Style) {
	if i < 0 {
		return " ", v.faint
	}
	b := v.board.Bars[i]
	if math.IsNaN(b.RateMLMin) {
		return v.empty, v.faint
	}
	full, style := v.full, v.bar
	if b.Flagged {
		full, style = v.flagged, v.bad
	}
	part := v.shown(i)/top*float64(v.barWide) - float64(c)
	eighth := int(math.Round(part*8)) - 1
	switch {
	case b.AtLeast && part > 0 && part <= 1:
		return v.over, style
	case part >= 1 || eighth >= 7:
		return full, style
	case part > 0 && len(v.eighths) == 0 && part >= 0.5:
		return full, style
	case part > 0 && eighth >= 0 && len(v.eighths) > 0:
		return v.eighths[eighth], style
	}
	return " ", style
}

// column is where a mark stands.
func (v *boardView) column(x, top float64) (int, bool) {
	if math.IsNaN(x) || x < 0 {
		return 0, false
	}
	return min(v.barWide-1, int(x/top*float64(v.barWide))), true
}

// top is the rate at the right end of the bars.
func (v *boardView) top() float64 {
	top := 0.0
	for _, b := range v.board.Bars {
		top = math.Max(top, number(b.RateMLMin))
	}
	top = math.Max(top, math.Max(number(v.board.LimitMLMin), number(v.board.MedianMLMin)))
	if top == 0 {
		return 1
	}
	return top * 1.08
}

// number is x, or 0 where it is none.
func number(x float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return 0
	}
	return x
}

// legend says what the marks are.
func (v *boardView) legend() []string {
	var parts []string
	if l := v.board.LimitMLMin; !math.IsNaN(l) {
		parts = append(parts, v.limit.Render(v.signs.limit)+" limit "+quantity.Plain(l, 3)+" mL/min")
	}
	if x := v.board.MedianMLMin; !math.IsNaN(x) {
		parts = append(parts, v.median.Render(v.signs.median)+" median "+quantity.Fixed(x, 1)+" mL/min")
	}
	for _, b := range v.board.Bars {
		if b.AtLeast {
			parts = append(parts, v.over+" at least that")
			break
		}
	}
	return flowed(parts, "   ", v.width)
}

// flowed puts parts on lines, as many on each as fit.
func flowed(parts []string, between string, width int) []string {
	var lines []string
	for _, p := range parts {
		n := len(lines)
		if n > 0 && ansi.StringWidth(lines[n-1]+between+p) <= width {
			lines[n-1] += between + p
		} else {
			lines = append(lines, p)
		}
	}
	return lines
}

// right is a text at the right of that many columns.
func right(text string, width int) string {
	return strings.Repeat(" ", max(0, width-ansi.StringWidth(text))) + text
}
