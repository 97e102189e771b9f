package leakback

import (
	"math"

	"leakback/stats"
)

// member is one cylinder of a reference, which is the weighted mean of its
// members: the weights add up to 1.
type member struct {
	*series
	weight float64
}

// LeastReferenceMLMin is the smallest reference that a ratio is taken to: below
// it 6 decimals no longer part rates that differ.
const LeastReferenceMLMin = 0.001

// ratioLimit is one ratio limit with the members of its reference.
type ratioLimit struct {
	limit   float64
	to      string
	members []member
	// referent is the reference in mL/min.
	referent float64
	// mayRise and mayFall say that a cylinder of which only a bound is known can
	// make the reference larger, or smaller; both where it is too small.
	mayRise, mayFall, tooSmall bool
}

// ratioLimits lists the ratio limits that apply.
func (e *evaluation) ratioLimits() {
	e.ratios = nil
	l := e.limit
	if l == nil {
		return
	}
	add := func(limit *float64, to string, members func() []member) {
		if limit != nil {
			e.ratios = append(e.ratios, e.newRatioLimit(*limit, to, members()))
		}
	}
	add(l.MaxRatioToMedian, "the median", e.middle)
	add(l.MaxRatioToMean, "the mean", e.everyone)
	add(l.MaxRatioToLowest, "the lowest", e.lowest)
}

// newRatioLimit describes a reference, and what the bounds of the set leave open
// of it: one above its lowest member may be below it, one below its highest
// member may be above it.
func (e *evaluation) newRatioLimit(limit float64, to string, members []member) ratioLimit {
	r := ratioLimit{limit: limit, to: to, members: members}
	low, high := math.Inf(1), math.Inf(-1)
	for _, m := range members {
		r.referent += m.weight * m.numberMLMin
		q := stats.Round6(m.numberMLMin)
		low, high = min(low, q), max(high, q)
	}
	r.tooSmall = low < LeastReferenceMLMin
	r.mayRise, r.mayFall = r.tooSmall, r.tooSmall
	for _, i := range e.set.index {
		s := &e.all[i]
		q := stats.Round6(s.numberMLMin)
		switch s.bound {
		case AtMost:
			r.mayFall = r.mayFall || q >= low
			r.mayRise = r.mayRise || q <= high && stats.Round6(s.rateMLMin) > low
		case AtLeast:
			r.mayRise = r.mayRise || q <= high
		}
	}
	return r
}

// everyone are the members of the mean.
func (e *evaluation) everyone() []member {
	list := make([]member, len(e.set.index))
	for k, i := range e.set.index {
		list[k] = member{&e.all[i], 1 / float64(len(list))}
	}
	return list
}

// middle are the members of the median.
func (e *evaluation) middle() []member {
	rates := make([]float64, len(e.set.rates))
	for k, q := range e.set.rates {
		rates[k] = stats.Round6(q)
	}
	lo, hi := stats.Middle(rates)
	switch {
	case lo < 0:
		return nil
	case rates[lo] == rates[hi]:
		return e.tied(nil, rates[lo], 1)
	}
	return e.tied(e.tied(nil, rates[lo], 0.5), rates[hi], 0.5)
}

// lowest are the members of the lowest rate, highest those of the highest.
func (e *evaluation) lowest() []member  { return e.outermost(math.Inf(1), math.Min) }
func (e *evaluation) highest() []member { return e.outermost(math.Inf(-1), math.Max) }

func (e *evaluation) outermost(q float64, further func(a, b float64) float64) []member {
	for _, i := range e.set.index {
		q = further(q, stats.Round6(e.all[i].numberMLMin))
	}
	return e.tied(nil, q, 1)
}

// tied appends the cylinders that returned q to 6 decimals. They share a weight
// alike: the number of a cylinder is a name and must not choose among equals.
func (e *evaluation) tied(to []member, q, weight float64) []member {
	from := len(to)
	for _, i := range e.set.index {
		if s := &e.all[i]; stats.Round6(s.numberMLMin) == q {
			to = append(to, member{series: s})
		}
	}
	for k := from; k < len(to); k++ {
		to[k].weight = weight / float64(len(to)-from)
	}
	return to
}

// judgeRatio holds a cylinder's ratio to a reference against its limit.
func (e *evaluation) judgeRatio(i int, r *ratioLimit) Verdict {
	s := &e.all[i]
	value := s.rateMLMin / r.referent
	decision, expanded := e.decideRatio(s, value, r)
	verdict, taken := e.guard.judge(decision, stats.Above, ofRatio)
	switch {
	case verdict == Fail:
		e.find(i, OverRatio, func() string { return ratioText(value, expanded, r, decision) })
	case verdict == Undecided && !taken:
		e.find(i, CloseToLimit, func() string { return ratioText(value, expanded, r, decision) })
		if !r.mayRise && !r.mayFall {
			e.callClose(i, closeCall{limit: r.limit, ratioTo: r.members, scale: r.referent})
		}
	}
	return verdict
}

// decideRatio decides as far as the bounds of the cylinder and of its reference
// allow: what may be smaller is not over, what may be larger is not within.
func (e *evaluation) decideRatio(s *series, value float64, r *ratioLimit) (stats.Decision, float64) {
	if e.isReference(s, r) { // 1 without any doubt
		return stats.Against(1, 0, r.limit), 0
	}
	over, within := s.bound != AtMost && !r.mayRise, s.bound != AtLeast && !r.mayFall
	if !over && !within {
		return stats.Open, math.NaN()
	}
	_, _, expanded := e.rule.ratio(value, s, r.members)
	d := stats.Against(value, expanded, r.limit)
	if d == stats.Above && !over || d == stats.Below && !within {
		d = stats.Open
	}
	return d, expanded
}

// isReference says whether a cylinder is the reference by itself, wherever the
// true rates lie within the bounds that are known of them.
func (e *evaluation) isReference(s *series, r *ratioLimit) bool {
	if len(r.members) != 1 || r.members[0].series != s {
		return false
	}
	own := s.spanMLMin()
	for _, i := range e.set.index {
		other := e.all[i].spanMLMin()
		if &e.all[i] != s && stats.Round6(other.low) < stats.Round6(own.high) && stats.Round6(other.high) > stats.Round6(own.low) {
			return false
		}
	}
	return true
}
