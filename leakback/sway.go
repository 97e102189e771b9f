package leakback

import (
	"math"
	"slices"

	"leakback/stats"
)

// Where a bound is tried: nothing has no logarithm, and a lower bound has no
// other end.
const (
	nearNothing = 1e-6 // of an upper bound
	farAbove    = 1e3  // times the largest rate of the set
)

// outcome is what the comparison says of a cylinder.
type outcome int8

const (
	outOpen outcome = iota // nothing that is certain
	outFine
	outHigh
	outLow
)

// trial is the comparison made again with bounds at other places in their spans.
type trial struct {
	comparison
	first []outcome   // of the comparison as it stands
	tried [][]float64 // the rates that were compared
}

// weighBounds compares again with the bounds elsewhere in their spans. A cylinder
// that is judged otherwise there is left open, and so is an upper bound that lies
// amid the others: it may be nothing, or stand apart. Below all the others it counts
// with half of it, and is low only where that is.
func (e *evaluation) weighBounds() {
	c := &e.set
	if !slices.ContainsFunc(c.index, func(i int) bool { return e.all[i].bound != Exact }) {
		return
	}
	if c.trial == nil {
		c.trial = &trial{}
	}
	e.openAmid()
	t := c.trial
	t.comparison = comparison{at: resized(t.at, len(e.all)), index: c.index, spread: c.spread, y: t.y, tau: t.tau}
	t.first, t.tried = t.first[:0], append(t.tried[:0], c.rates)
	for _, i := range c.index {
		t.first = append(t.first, e.outcome(c, i))
	}
	e.eachPlace(func(rates []float64) {
		if !slices.ContainsFunc(t.tried, func(r []float64) bool { return slices.Equal(r, rates) }) {
			t.tried = append(t.tried, slices.Clone(rates))
			e.compareAt(t, rates)
		}
	})
}

// outcome is what a comparison says of cylinder i.
func (e *evaluation) outcome(c *comparison, i int) outcome {
	switch at := &c.at[i]; {
	case at.place == placeHigh && !at.unsure:
		return outHigh
	case at.place == placeLow:
		return outLow
	case at.place == placeFine && (!c.disagrees || e.hasMax), at.place == placeNone && e.limitSpeaks():
		return outFine
	}
	return outOpen
}

// limitSpeaks says whether a limit on the high side is held against cylinders.
func (e *evaluation) limitSpeaks() bool {
	l := e.limit
	return l != nil && (e.hasMax || l.MaxRatioToMedian != nil || l.MaxRatioToMean != nil || l.MaxRatioToLowest != nil)
}

// compareAt compares with these rates and leaves open what then stands otherwise.
func (e *evaluation) compareAt(t *trial, rates []float64) {
	for i := range t.at {
		t.at[i] = standing{}
	}
	t.rates, t.y, t.tau, t.size, t.tooLittle, t.disagrees = rates, t.y[:0], t.tau[:0], 0, false, false
	t.hold(e.all, &e.rule, &e.sheet.Set)
	for k, i := range t.index {
		now := e.outcome(&t.comparison, i)
		switch s, at := &e.all[i], &e.set.at[i]; {
		case now == t.first[k] || t.first[k] != outFine && t.first[k] != outHigh:
		case at.place == placeNone: // the first mark clears nobody
		case s.bound == AtMost && now == outLow: // by half of it, or else lies amid the others
		case s.bound == AtLeast && t.first[k] == outFine: // clears nobody
		default:
			at.place, at.swayed, e.set.sways = placeHint, true, true
		}
	}
}

// openAmid leaves open the upper bounds that reach above the lowest of the others.
func (e *evaluation) openAmid() {
	lowest := math.Inf(1)
	for _, i := range e.set.index {
		if s := &e.all[i]; s.bound != AtMost {
			lowest = min(lowest, stats.Round6(s.rateMLMin))
		}
	}
	for _, i := range e.set.index {
		s, at := &e.all[i], &e.set.at[i]
		if s.bound == AtMost && stats.Round6(s.rateMLMin) > lowest && (at.place == placeFine || at.place == placeHigh) {
			at.place, at.swayed = placeHint, true
		}
	}
}

// eachPlace calls a function for the places at which bounds are tried: at both ends,
// together and each against the others, and where another cylinder was read.
func (e *evaluation) eachPlace(try func(rates []float64)) {
	far := farAbove * slices.Max(e.set.rates)
	rates := make([]float64, len(e.set.rates))
	at := func(atMost, atLeast float64, alone int, its float64) {
		for k, i := range e.set.index {
			upper, lower := atMost, atLeast
			if k == alone {
				upper, lower = its, its
			}
			rates[k] = e.all[i].within(upper, lower)
		}
		try(rates)
	}
	for _, atMost := range []float64{0, far} {
		for _, atLeast := range []float64{0, far} {
			at(atMost, atLeast, -1, 0)
			for k := range rates {
				if e.all[e.set.index[k]].bound != Exact {
					at(atMost, atLeast, k, 0)
					at(atMost, atLeast, k, far)
				}
			}
		}
	}
	for _, q := range e.set.rates {
		for _, end := range []float64{0, far} {
			at(q, end, -1, 0)
			at(end, q, -1, 0)
		}
	}
}

// within is the rate, or where it is a bound what of its span lies nearest to these.
func (s *series) within(atMost, atLeast float64) float64 {
	switch s.bound {
	case AtMost:
		return max(nearNothing*s.rateMLMin, min(atMost, s.rateMLMin))
	case AtLeast:
		return max(atLeast, s.rateMLMin)
	}
	return s.numberMLMin
}
