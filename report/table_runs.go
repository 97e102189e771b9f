package report

import (
	"slices"
	"strconv"
	"strings"

	"github.com/clipperhouse/displaywidth"

	"leakback/leakback"
	"leakback/leakback/blockoff"
	"leakback/limits/quantity"
)

// runs lists the runs of a merged return: what was blocked, what came back, and
// how far that lies from what all runs together make of it.
func (t *table) runs() {
	if t.r.BlockOff == nil {
		return
	}
	for i := range t.r.BlockOff.Lines {
		line := &t.r.BlockOff.Lines[i]
		heading := "Runs"
		if line.Name != "" {
			heading += " of return line " + line.Name
		}
		t.line()
		t.prose(" ", heading, hueTitle)
		t.grid(runRows(line))
	}
}

// runRows are the rows of one line's runs, their heading first.
func runRows(line *leakback.Line) [][]string {
	rows := [][]string{{"run", "blocked", "mL/min", "off by", ""}}
	d := quantity.Decimals(line.SigmaMLMin)
	for i := range line.Residuals {
		r := &line.Residuals[i]
		rows = append(rows, []string{
			strconv.Itoa(r.Run.Number), blockedCell(r.Run.Blocked, line), quantity.Fixed(r.Run.TotalMLMin, d),
			offBy(r, d), runNote(r, line.FarOut),
		})
	}
	return rows
}

// blockedCell is "3", "1+2" or "none"; "all" where it is every cylinder of a
// line that has more than two.
func blockedCell(blocked []int, line *leakback.Line) string {
	open := slices.ContainsFunc(line.Shares, func(s blockoff.Share) bool { return !slices.Contains(blocked, s.Cylinder) })
	switch {
	case len(blocked) == 0:
		return "none"
	case !open && len(blocked) == len(line.Shares) && len(blocked) > 2:
		return "all"
	}
	words := make([]string, len(blocked))
	for i, c := range blocked {
		words[i] = strconv.Itoa(c)
	}
	return strings.Join(words, "+")
}

func offBy(r *blockoff.Residual, decimals int) string {
	text := quantity.Fixed(r.MLMin, decimals)
	if strings.Trim(text, "-0.") == "" {
		return strings.TrimPrefix(text, "-")
	}
	if r.MLMin > 0 {
		text = "+" + text
	}
	return text
}

// runNote says what is the matter with a run.
func runNote(r *blockoff.Residual, farOut []int) string {
	if r.Run.LeftOut != "" {
		return "left out"
	}
	for _, number := range farOut {
		if number == r.Run.Number {
			return "far out"
		}
	}
	return ""
}

// gridGap is what stands between two columns of a grid.
const gridGap = "   "

// grid writes rows of short texts, the numbers among them to the right; a row
// that is too wide is wrapped.
func (t *table) grid(rows [][]string) {
	widths := make([]int, len(rows[0]))
	for _, row := range rows {
		for i, text := range row {
			widths[i] = max(widths[i], displaywidth.String(text))
		}
	}
	for k, row := range rows {
		var line strings.Builder
		for i, text := range row {
			pad := strings.Repeat(" ", widths[i]-displaywidth.String(text))
			switch {
			case i == 1 || i == len(row)-1:
				line.WriteString(gridGap + text + pad)
			default:
				line.WriteString(gridGap + pad + text)
			}
		}
		hue := huePlain
		if k == 0 {
			hue = hueQuiet
		}
		if text := strings.TrimRight(line.String(), " "); displaywidth.String(text) <= t.Width {
			t.line(piece{text, hue})
		} else {
			t.prose(gridGap, strings.Join(row, " "), hue)
		}
	}
}
