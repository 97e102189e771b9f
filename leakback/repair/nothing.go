package repair

import (
	"math"

	"leakback/leakback"
	"leakback/stats"
)

// A return is next to nothing below the first mark, and where it is at most a
// tenth of what the set returned in the other test and under ten marks (common
// practice, no source): neither temperature nor a repair takes a return that is
// there that far down, and ten marks are what any collection is asked for.
const (
	nothingShare = 0.1
	nothingMarks = 10
)

// findNothing marks the cylinders from which next to nothing came, and says
// whether that is most of the engine.
func (p *Pair) findNothing() {
	before, after := p.before.Result, p.after.Result
	p.nothingBefore = p.nothing(before, after, func(c *Change) *Figures { return &c.Before })
	p.nothingAfter = p.nothing(after, before, func(c *Change) *Figures { return &c.After })
}

// nothing marks the figures of one test, held against the other test's.
func (p *Pair) nothing(r, other *leakback.Result, of func(*Change) *Figures) (fromMost bool) {
	for i := range p.Cylinders {
		p.markNothing(of(&p.Cylinders[i]), r, p.Cylinders[i].Cylinder, level(other))
	}
	if whole := of(&p.Total); r.Test.Method == leakback.MethodTotal {
		whole.NextToNothing = belowMark(r.Test)
		p.markNothing(whole, r, wholeEngine, other.TotalMLMin)
	}
	return p.nothingFromMost(r, of)
}

// level is what a set returns: that of the cylinders that agree, else the median.
func level(r *leakback.Result) float64 {
	if known(r.ConsensusMLMin) && !r.Has(leakback.TooLittleReturn) {
		return r.ConsensusMLMin
	}
	return r.MedianMLMin
}

// markNothing holds a cylinder's return against the level of the other test,
// where the two may be compared and no minimum speaks for itself.
func (p *Pair) markNothing(f *Figures, r *leakback.Result, cylinder int, level float64) {
	if !f.Read() || !p.Comparable || r.Limit != nil && r.Limit.MinRateMLMin != nil {
		return
	}
	f.NextToNothing = f.NextToNothing || f.fewOf(level) && marks(r.Test, cylinder) < nothingMarks
}

// fewOf says whether a rate is at most a tenth of a level; never for NaN.
func (f *Figures) fewOf(level float64) bool {
	return f.Bound != leakback.AtLeast && stats.Round6(f.RateMLMin) <= stats.Round6(nothingShare*level)
}

// belowMark says whether a merged return was read, and never above its first mark.
func belowMark(t *leakback.Test) bool {
	read := 0
	for _, run := range counted(t) {
		for _, r := range run.Readings {
			switch {
			case math.IsNaN(r.VolumeML):
			case r.Bound == leakback.AtLeast, r.Bound == leakback.Exact && stats.Round6(r.VolumeML-r.StartML) > 0:
				return false
			default:
				read++
			}
		}
	}
	return read > 0
}

// marks is the most marks that a cylinder's collections filled; NaN where there
// are none, as of shares.
func marks(t *leakback.Test, cylinder int) float64 {
	most := math.NaN()
	if t.Method == leakback.MethodBlockOff {
		return most
	}
	for _, run := range counted(t) {
		for _, r := range run.Readings {
			if n := (r.VolumeML - r.StartML) / r.Tube.GraduationML; r.Cylinder == cylinder && !(n <= most) && !math.IsNaN(n) {
				most = n
			}
		}
	}
	return most
}

// nothingFromMost says whether more than half of what was read is next to
// nothing, or the set's median is below the first mark. A cylinder that fails by
// a minimum does not count: there the sheet itself makes it an answer.
func (p *Pair) nothingFromMost(r *leakback.Result, of func(*Change) *Figures) bool {
	if f := of(&p.Total); f.NextToNothing {
		return true
	}
	read, nothing := 0, 0
	for i := range p.Cylinders {
		f := of(&p.Cylinders[i])
		if f.Verdict != leakback.Unread {
			read++
		}
		if f.NextToNothing && !f.UnderMinimum {
			nothing++
		}
	}
	return 2*nothing > read || nothing > 0 && r.Has(leakback.TooLittleReturn)
}

// nothingNow are the cylinders from which next to nothing came in the later test.
func (p *Pair) nothingNow() []int {
	var list []int
	for i := range p.Cylinders {
		if p.Cylinders[i].After.NextToNothing {
			list = append(list, p.Cylinders[i].Cylinder)
		}
	}
	return list
}

// sayNothing says where too little came back to prove anything, and asks to look
// for the reason before anything else.
func (p *Pair) sayNothing() {
	now := p.nothingNow()
	switch {
	case p.nothingAfter:
		p.reason(NothingAfter, now, "next to nothing came back from %s in %s, which can prove nothing", fromWhom(now), p.after.Label)
		p.settleBy(leakback.CheckHose, "stop the engine and find out why next to nothing came back: hoses, tubes and return line, "+
			"injectors and starting enabled as in %s, rail pressure; then collect again, longer where so little is usual", p.before.Label)
	case len(now) > 0:
		p.reason(NothingAfter, now, "next to nothing came back from %s in %s while the others returned fuel", fromWhom(now), p.after.Label)
		p.settleBy(leakback.CheckHose, "stop the engine, check hose, plug and return bore of %s, then collect again, "+
			"longer where so little is usual", fromWhom(now))
	}
	if p.nothingBefore {
		p.reason(NothingBefore, nil, "next to nothing came back from most of the engine in %s, so that it shows nothing to hold %s against",
			p.before.Label, p.after.Label)
		p.settleBy(EarlierTest, "hold %s against an earlier test in which fuel came back; where there is none it stands by itself", p.after.Label)
	}
}

func fromWhom(cylinders []int) string {
	if len(cylinders) == 0 {
		return "the whole engine"
	}
	return leakback.CylinderNames(cylinders)
}
