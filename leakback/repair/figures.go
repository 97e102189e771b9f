package repair

import (
	"cmp"
	"math"
	"slices"

	"leakback/leakback"
	"leakback/stats"
)

// Figures are what one test says of one cylinder, or of the whole return. What
// does not exist is NaN.
type Figures struct {
	// RateMLMin is the rate, or the bound.
	RateMLMin float64
	Bound     leakback.Bound
	// UMLMin is its standard uncertainty, all parts together; NaN for a bound.
	UMLMin float64
	// DoF are the degrees of freedom of UMLMin.
	DoF float64
	// RatioToConsensus is its ratio to the cylinders that agree, RatioU the
	// standard uncertainty of that and RatioDoF the degrees of freedom.
	RatioToConsensus, RatioU, RatioDoF float64
	// BitingRatio is the ratio from which the comparison within the set speaks.
	BitingRatio float64
	Verdict     leakback.Verdict
	// High says that too much came back (High); Low that too little did.
	High, Low bool
	// Doubtful says that it was close to one or the other, or ran over.
	Doubtful bool
	// ByMaximum says that an absolute maximum alone makes it High.
	ByMaximum bool
	// NextToNothing says that no return came, or next to none: below the first
	// mark, or a few marks and not a tenth of what the set returned in the other
	// test. It proves nothing, whatever the verdict.
	NextToNothing bool
	// UnderMinimum says that it fails by a minimum of the sheet.
	UnderMinimum bool
}

// Read says whether there is anything to compare.
func (f *Figures) Read() bool { return !math.IsNaN(f.RateMLMin) || !math.IsNaN(f.RatioToConsensus) }

// High says whether a cylinder returned too much: over a limit or apart from
// its set.
func High(c *leakback.Cylinder) bool {
	return c.Has(leakback.OverLimit) || c.Has(leakback.OverRatio) || c.Has(leakback.HighInSet)
}

// low says whether it returned too little.
func low(c *leakback.Cylinder) bool { return c.Has(leakback.UnderLimit) || c.Has(leakback.LowInSet) }

// doubtful says whether it was close to too much or too little.
func doubtful(c *leakback.Cylinder) bool {
	return c.Has(leakback.CloseToLimit) || c.Has(leakback.CloseInSet) || c.Has(leakback.OverRange) || c.Has(leakback.LowInSet)
}

// figuresOf are the cylinders of a test by their numbers.
func figuresOf(r *leakback.Result) map[int]Figures {
	timed := nominal(r)
	centre := centreOf(timed)
	all := map[int]Figures{}
	for i := range r.Cylinders {
		c := &r.Cylinders[i]
		f := Figures{
			RateMLMin: c.RateMLMin, Bound: c.Bound, UMLMin: c.Budget.StandardMLMin, DoF: c.Budget.DoF,
			BitingRatio: c.BitingRatio, Verdict: c.Verdict, High: High(c), Low: low(c), Doubtful: doubtful(c),
		}
		f.NextToNothing = c.Has(leakback.NoReturn) || c.Has(leakback.BelowFirstMark)
		f.UnderMinimum = c.Has(leakback.UnderLimit) && c.Verdict == leakback.Fail
		f.ByMaximum = c.Has(leakback.OverLimit) && !c.Has(leakback.HighInSet) && !c.Has(leakback.OverRatio)
		f.RatioToConsensus, f.RatioU, f.RatioDoF = centre.ratio(&timed.Cylinders[i])
		f.onlyKnown()
		all[c.Cylinder] = f
	}
	return all
}

// known says whether a figure is a number that anything can be held against.
func known(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// onlyKnown takes figures that are none for unread: infinite ones, and plain ones
// without an uncertainty.
func (f *Figures) onlyKnown() {
	plain := f.Bound == leakback.Exact
	if !known(f.RateMLMin) || plain && !usable(f.UMLMin, f.DoF) {
		f.RateMLMin = math.NaN()
	}
	if !known(f.RatioToConsensus) || plain && !usable(f.RatioU, f.RatioDoF) {
		f.RatioToConsensus = math.NaN()
	}
	if !f.Read() && f.Verdict == leakback.Pass {
		f.Verdict = leakback.Unread
	}
}

// usable says whether there is a standard uncertainty with its degrees of freedom.
func usable(u, dof float64) bool { return known(u) && u >= 0 && dof >= 1 && dof <= stats.MaxDoF }

// nominal is a test of unknown interval as if it had taken a minute: what is
// asked of it is relative, and no such figure depends on the interval. Any other
// test is itself.
func nominal(r *leakback.Result) *leakback.Result {
	if !r.Has(leakback.NoInterval) {
		return r
	}
	t := *r.Test
	t.Runs = slices.Clone(t.Runs)
	for i := range t.Runs {
		t.Runs[i].IntervalS = 60
	}
	timed, err := leakback.Evaluate(&t, r.Sheet)
	if err != nil || len(timed.Cylinders) != len(r.Cylinders) {
		return r
	}
	return timed
}

// totalOf is the whole return of a test. Its verdict is that of the findings
// that are about it.
func totalOf(r *leakback.Result) Figures {
	f := orUnread(nil, wholeEngine)
	f.RateMLMin, f.UMLMin, f.DoF = r.TotalMLMin, r.Total.StandardMLMin, r.Total.DoF
	if f.onlyKnown(); math.IsNaN(f.RateMLMin) {
		return f
	}
	f.Verdict = leakback.Pass
	if f.Doubtful = r.Has(leakback.CloseToTotal); f.Doubtful {
		f.Verdict = leakback.Undecided
	}
	if f.High = r.Has(leakback.OverTotal); f.High {
		f.Verdict = leakback.Fail
	}
	return f
}

// centre is the consensus of a test as the yardstick of its ratios.
type centre struct {
	usable bool
	// relative is its own relative standard uncertainty.
	relative float64
	own      func(b leakback.Budget) float64
}

// centreOf describes the consensus. Where too little returned, or the set does
// not agree with itself, there is none that another test could be held against.
func centreOf(r *leakback.Result) centre {
	c := centre{own: leakback.Budget.OwnMLMin}
	if r.Has(leakback.Sequential) || !math.IsNaN(r.DriftPerRun) { // runs are not shared: nothing cancels
		c.own = func(b leakback.Budget) float64 { return b.StandardMLMin }
	}
	c.usable = r.Agreeing > 0 && !r.Has(leakback.TooLittleReturn) && !r.Has(leakback.NoConsensus)
	members := agreeing(r)
	var sum float64
	known := 0.0
	for _, m := range members {
		if u := c.own(m.Budget) / m.RateMLMin; !math.IsNaN(u) {
			sum += u * u
			known++
		}
	}
	// A member that is only a bound is as uncertain as the others are on average.
	c.relative = math.Sqrt(sum / math.Max(1, known) / math.Max(1, float64(len(members))))
	return c
}

// agreeing are the cylinders of the consensus: those left when the ones set
// aside low, and as many of the highest as it takes, are taken away.
func agreeing(r *leakback.Result) []*leakback.Cylinder {
	var list []*leakback.Cylinder
	lowest := 0
	for i := range r.Cylinders {
		c := &r.Cylinders[i]
		if math.IsNaN(c.RatioToConsensus) {
			continue
		}
		if c.Has(leakback.LowInSet) {
			lowest++
		}
		list = append(list, c)
	}
	slices.SortStableFunc(list, func(a, b *leakback.Cylinder) int {
		return cmp.Compare(a.RatioToConsensus, b.RatioToConsensus)
	})
	lowest = min(lowest, len(list))
	return list[lowest:min(len(list), lowest+r.Agreeing)]
}

// ratio is a cylinder's ratio to the consensus with its uncertainty: own parts of
// the cylinder and of the consensus, as if independent. An upper bound's ratio
// is that of the bound.
func (c centre) ratio(cyl *leakback.Cylinder) (ratio, u, dof float64) {
	nan := math.NaN()
	if !c.usable || math.IsNaN(cyl.RatioToConsensus) {
		return nan, nan, nan
	}
	ratio = cyl.RatioToConsensus
	if cyl.Bound == leakback.AtMost { // compared at half the bound
		ratio *= 2
	}
	own := c.own(cyl.Budget) / cyl.RateMLMin
	return ratio, ratio * math.Hypot(own, c.relative), ownDoF(cyl.Budget, c.own(cyl.Budget))
}

// ownDoF are the degrees of freedom of the own parts alone, worked back from
// those of the whole (Welch-Satterthwaite): u^4/nu less what the common part,
// with its 8, adds to it. That nu is a whole number makes them rather too few.
func ownDoF(b leakback.Budget, own float64) float64 {
	fourth := func(x float64) float64 { return x * x * x * x }
	rest := fourth(b.StandardMLMin) / b.DoF
	if own < b.StandardMLMin {
		rest -= fourth(b.CommonMLMin) / stats.AssumedDoF
	}
	dof := fourth(own) / rest
	if !(rest > 0) || dof >= stats.MaxDoF {
		return stats.MaxDoF
	}
	return math.Max(1, dof)
}
