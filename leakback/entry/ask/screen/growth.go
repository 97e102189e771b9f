package screen

import (
	"math"
	"slices"
	"time"

	"leakback/leakback/entry/ask"
)

// growTime is how long bars take to their new lengths: long enough to be seen
// from the corner of an eye, too short to be waited for.
const growTime = 300 * time.Millisecond

// growth lets the bars of a board move from what was known to what is known.
type growth struct {
	from, to []float64 // mL/min, by the board's order
	since    time.Time
}

// turn sets out from what is shown now towards a board.
func (g *growth) turn(b *ask.Board, now time.Time) {
	if b == nil {
		return
	}
	from, to := make([]float64, len(b.Bars)), make([]float64, len(b.Bars))
	for i, bar := range b.Bars {
		from[i] = g.shown(i, now)
		if !math.IsNaN(bar.RateMLMin) {
			to[i] = math.Max(0, bar.RateMLMin)
		}
	}
	g.from, g.to, g.since = from, to, now
}

// shown is the rate that a bar shows at a moment.
func (g *growth) shown(i int, now time.Time) float64 {
	if i >= len(g.to) {
		return 0
	}
	part := math.Min(1, math.Max(0, now.Sub(g.since).Seconds()/growTime.Seconds()))
	part = 1 - (1-part)*(1-part) // fast at first
	return g.from[i] + part*(g.to[i]-g.from[i])
}

// moving says whether a bar has not reached its length yet.
func (g *growth) moving(now time.Time) bool {
	return now.Sub(g.since) < growTime && !slices.Equal(g.from, g.to)
}
