package report

import (
	"math"
	"strings"

	"leakback/leakback"
	"leakback/limits/quantity"
)

// scale maps rates to the cells of a bar; cell 0 begins at 0 mL/min.
type scale struct {
	cells    int
	endMLMin float64 // the rate at the right edge
	signs    signs
	// medianMLMin and limitMLMin are NaN where there is no such mark.
	medianMLMin float64
	limitMLMin  float64
	minMLMin    float64
}

// headroom keeps the largest figure off the edge, so that an open end and a
// bar that just ends look different.
const headroom = 1.06

func newScale(r *leakback.Result, cells int, s signs) scale {
	sc := scale{cells: cells, signs: s, medianMLMin: r.MedianMLMin, limitMLMin: math.NaN(), minMLMin: math.NaN()}
	if most, ok := r.Limit.MaxMLMin(); ok {
		sc.limitMLMin = most
	}
	if least, ok := minimum(r); ok {
		sc.minMLMin = least
	}
	largest := 0.0
	for i := range r.Cylinders {
		largest = math.Max(largest, number(r.Cylinders[i].RateMLMin))
	}
	for _, mark := range []float64{sc.medianMLMin, sc.limitMLMin, sc.minMLMin} {
		largest = math.Max(largest, number(mark))
	}
	if largest == 0 {
		largest = 1
	}
	sc.endMLMin = headroom * largest
	return sc
}

// number is x, or 0 where there is none.
func number(x float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return x
}

// cell is the cell that a rate falls into.
func (s scale) cell(rateMLMin float64) int {
	return min(int(rateMLMin/s.endMLMin*float64(s.cells)), s.cells-1)
}

// bar draws a cylinder: filled to its rate in eighths of a cell. An overflowed
// tube ends openly, one below its first mark holds only a "<".
func (s scale) bar(c *leakback.Cylinder) []piece {
	row := s.marks()
	fill := barHue(c.Verdict)
	eighths := 0
	switch {
	case math.IsNaN(c.RateMLMin) || c.Bound == leakback.AtMost:
	case c.Bound == leakback.AtLeast: // as far as its last full cell
		eighths = 8 * s.cell(c.RateMLMin)
	default:
		eighths = int(math.Round(c.RateMLMin / s.endMLMin * float64(8*s.cells)))
	}
	for i := range row {
		if part := min(eighths-8*i, 8); part > 0 && row[i].hue == huePlain {
			row[i] = piece{or(s.signs.eighths[part-1], " "), fill}
		}
	}
	s.markMinimum(row)
	switch c.Bound {
	case leakback.AtLeast:
		s.put(row, c.RateMLMin, ">", fill)
	case leakback.AtMost:
		s.put(row, c.RateMLMin, "<", fill)
	}
	return row
}

func or(text, other string) string {
	if text == "" {
		return other
	}
	return text
}

// marks is an empty bar with the marks of median and limits.
func (s scale) marks() []piece {
	row := make([]piece, s.cells)
	for i := range row {
		row[i] = piece{" ", huePlain}
	}
	s.mark(row)
	return row
}

// mark puts the marks into a row; where they meet, the limit's stays.
func (s scale) mark(row []piece) {
	s.put(row, s.medianMLMin, s.signs.median, hueMedian)
	s.put(row, s.limitMLMin, s.signs.limit, hueLimit)
}

func (s scale) put(row []piece, rateMLMin float64, sign string, hue hue) {
	if !math.IsNaN(rateMLMin) {
		row[s.cell(rateMLMin)] = piece{sign, hue}
	}
}

// markMinimum puts the mark of the minimum where no bar has reached it: within
// the bars that are long enough it would only be in the way.
func (s scale) markMinimum(row []piece) {
	if !math.IsNaN(s.minMLMin) && row[s.cell(s.minMLMin)].hue == huePlain {
		s.put(row, s.minMLMin, s.signs.limit, hueLimit)
	}
}

// barHue lets the bars that need attention stand out.
func barHue(v leakback.Verdict) hue {
	if v == leakback.Pass {
		return hueQuiet
	}
	return verdictHue(v)
}

func verdictHue(v leakback.Verdict) hue {
	return [...]hue{huePlain, hueUnread, hueUndecided, hueFail}[v]
}

// step is the distance of the numbers on the scale: 1, 2 or 5 times a power of
// ten, far enough apart to be read.
func (s scale) step() (stepMLMin float64, decimals int) {
	const apart = 6 // cells
	least := s.endMLMin * apart / float64(s.cells)
	power := math.Floor(math.Log10(least))
	for _, digit := range []float64{1, 2, 5, 10} {
		if stepMLMin = digit * math.Pow(10, power); stepMLMin >= least {
			break
		}
	}
	return stepMLMin, max(0, -int(math.Floor(math.Log10(stepMLMin)+1e-9)))
}

// numbers is the scale's line of numbers, each beginning above its tick.
func (s scale) numbers() string {
	step, decimals := s.step()
	line := ""
	for k := 0; ; k++ {
		at, text := s.tick(k, step), quantity.Fixed(float64(k)*step, decimals)
		if at >= s.cells || at+len(text) > s.cells {
			return line
		}
		if at < len(line) || k > 0 && at == len(line) { // numbers too long to stand beside one another
			continue
		}
		line += strings.Repeat(" ", at-len(line)) + text
	}
}

func (s scale) tick(k int, step float64) int {
	return int(math.Round(float64(k) * step / s.endMLMin * float64(s.cells)))
}

// axis is the line below the numbers, with ticks and marks.
func (s scale) axis() []piece {
	row := make([]piece, s.cells)
	for i := range row {
		row[i] = piece{s.signs.axis, hueQuiet}
	}
	step, _ := s.step()
	for k := 0; s.tick(k, step) < s.cells; k++ {
		row[s.tick(k, step)] = piece{s.signs.tick, hueQuiet}
	}
	row[0].text = s.signs.corner
	s.put(row, s.minMLMin, s.signs.limit, hueLimit)
	s.mark(row)
	return row
}
