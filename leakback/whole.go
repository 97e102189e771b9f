package leakback

import (
	"fmt"
	"math"

	"leakback/limits"
	"leakback/stats"
)

// testVerdict is the verdict that a finding of a test makes by itself. The
// others touch cylinders, or tell.
func testVerdict(code Code) Verdict {
	switch code {
	case OverTotal, OverDifference:
		return Fail
	case CloseToTotal, CloseToDifference, NoConsensus, BackPressure, OtherReturn:
		return Undecided
	}
	return Pass
}

// judgeTest adds what is true of the test as a whole.
func (e *evaluation) judgeTest(match limits.Match) {
	if l := e.limit; l != nil {
		if l.MaxTotalMLMin != nil {
			e.judgeTotal(*l.MaxTotalMLMin)
		}
		if l.MaxDifferenceMLMin != nil && !e.guard.notHeld {
			e.judgeDifference(*l.MaxDifferenceMLMin)
		}
	}
	e.setFindings()
	if e.noInterval {
		e.findTest(NoInterval, func() string {
			return "the length of the collection is unknown: the cylinders are compared with one another, " +
				"and no rate and no absolute limit can be judged"
		})
		match.Reason = "The length of the collection is unknown."
	}
	if e.hasMax {
		return
	}
	e.findTest(NoAbsoluteLimit, func() string { return noLimitText(match) })
}

func noLimitText(match limits.Match) string {
	why := clause(match.Reason)
	if why == "" {
		why = "the limit for this condition names no maximum of one cylinder"
	}
	return "no maker's maximum was applied (" + why +
		"): a set that is worn evenly looks healthy against its own median"
}

// setFindings says how the comparison inside the engine went.
func (e *evaluation) setFindings() {
	over, readable := 0, 0
	for i := range e.all {
		if e.all[i].readable() {
			readable++
		}
		if e.res.Cylinders[i].Has(OverLimit) {
			over++
		}
	}
	switch {
	case e.set.few:
		e.findTest(FewCylinders, func() string {
			return fmt.Sprintf("%s can be read: too few to compare with one another", count(readable, "cylinder"))
		})
	case e.set.tooLittle:
		e.findTest(TooLittleReturn, func() string {
			return e.littleText()
		})
	case e.set.disagrees:
		e.findTest(NoConsensus, func() string {
			return "the cylinders that are left do not agree with one another: " +
				"most of the set may leak, and the comparison clears none of it"
		})
	}
	if e.set.half {
		e.findTest(HalfSet, func() string {
			return "half of the set stands apart from the other half: only an absolute limit " +
				"can tell which half is healthy"
		})
	}
	if readable > 0 && 3*over >= 2*readable {
		e.findTest(SetTogetherHigh, func() string {
			return fmt.Sprintf("%d of %d are over the limit together: look for what they share "+
				"before condemning them one by one", over, readable)
		})
	}
}

// span is where a figure can lie: both ends alike for a plain rate.
type span struct{ low, high float64 }

// spanMLMin is what is known of a cylinder's rate.
func (s *series) spanMLMin() span {
	switch {
	case !s.readable():
		return span{0, math.Inf(1)}
	case s.bound == AtLeast:
		return span{s.rateMLMin, math.Inf(1)}
	case s.bound == AtMost:
		return span{0, s.rateMLMin}
	}
	return span{s.rateMLMin, s.rateMLMin}
}

// against holds a span, whose plain parts are known to the expanded
// uncertainty, against a limit.
func (s span) against(expanded, limit float64) stats.Decision {
	switch {
	case stats.Against(s.low, expanded, limit) == stats.Above:
		return stats.Above
	case stats.Against(s.high, expanded, limit) == stats.Below:
		return stats.Below
	}
	return stats.Open
}

// judgeTotal holds the whole return against its limit.
func (e *evaluation) judgeTotal(limit float64) {
	sum, b, _ := e.sumOf()
	d := sum.against(b.ExpandedMLMin, limit)
	e.conclusion(d, ofTotal, OverTotal, CloseToTotal, func() string {
		return spanText("the total return", sum, b.ExpandedMLMin, limit, d)
	})
}

// addPlain adds the members that have a plain rate.
func (e *evaluation) addPlain(to *tally, members []member, sign float64) {
	for _, m := range members {
		if m.bound == Exact {
			own := e.rule.budget(m.series)
			to.add(&e.rule, m.series, &own, sign*m.weight)
		}
	}
}

// expanded is the expanded uncertainty of what was added up; 0 of nothing.
func (e *evaluation) expanded(t *tally) float64 {
	if t.count == 0 {
		return 0
	}
	b := t.budget(&e.rule)
	return b.ExpandedMLMin
}

// conclusion files a decision about the whole test against a maximum.
func (e *evaluation) conclusion(d stats.Decision, of heldAgainst, over, closeTo Code, text func() string) {
	verdict, taken := e.guard.judge(d, stats.Above, of)
	switch {
	case verdict == Fail:
		e.findTest(over, text)
	case verdict == Undecided && !taken:
		e.findTest(closeTo, text)
	}
	if taken {
		e.guard.tookWhole = true
		e.res.Verdict = max(e.res.Verdict, Undecided)
	}
}

// judgeDifference holds the highest less the lowest rate against its limit.
func (e *evaluation) judgeDifference(limit float64) {
	if len(e.set.index) < 2 {
		return
	}
	high, low := e.highest(), e.lowest()
	apart, expanded := e.apartBy(high, low)
	d := apart.against(expanded, limit)
	e.conclusion(d, ofDifference, OverDifference, CloseToDifference, func() string {
		return spanText(differenceOf(high, low), apart, expanded, limit, d)
	})
}

// apartBy is how far the highest and the lowest can lie apart, and the expanded
// uncertainty of what is plain of them.
func (e *evaluation) apartBy(high, low []member) (span, float64) {
	if high[0].share != nil {
		return sharesApart(high, low, e.sheet.Measurement.CommonCV)
	}
	var room [few]float64
	plain := tally{rates: room[:0]}
	e.addPlain(&plain, high, 1)
	e.addPlain(&plain, low, -1)
	top, bottom := span{0, 0}, span{math.Inf(1), math.Inf(1)}
	for _, i := range e.set.index {
		one := e.all[i].spanMLMin()
		top = span{math.Max(top.low, one.low), math.Max(top.high, one.high)}
		bottom = span{math.Min(bottom.low, one.low), math.Min(bottom.high, one.high)}
	}
	return span{math.Max(0, top.low-bottom.high), top.high - bottom.low}, e.expanded(&plain)
}

// conclude gives the test its verdict, the worst of its cylinders' and of its
// own findings'.
func (e *evaluation) conclude() {
	for i := range e.res.Cylinders {
		e.res.Verdict = max(e.res.Verdict, e.res.Cylinders[i].Verdict)
	}
	for _, f := range e.res.Findings {
		e.res.Verdict = max(e.res.Verdict, testVerdict(f.Code))
	}
}

// appliedKey is what the list of figures that took part depends on.
type appliedKey struct {
	sheet                *limits.Sheet
	limit                *limits.Limit
	unjudged, few, apart bool
	noInterval, weighed  bool // no interval is known; a density was assumed
}

type appliedList struct {
	applied []Applied
	assumed []string
}

// listApplied lists the figures that took part, with their sources. Many tests
// share one list.
func (e *evaluation) listApplied() {
	key := appliedKey{
		e.sheet, e.limit, e.guard.unjudged, e.set.few, !e.rule.shared,
		e.noInterval, e.densityAssumed(),
	}
	list, known := e.applied[key]
	if !known {
		list = key.list()
		e.applied[key] = list
	}
	e.res.Applied, e.res.Assumed = list.applied, list.assumed
}

func (k appliedKey) list() appliedList {
	var list appliedList
	if k.limit != nil {
		for _, f := range k.limit.Figures() {
			list.add(f.Key, f.Value, k.limit.Source)
		}
	}
	if k.unjudged {
		return list
	}
	set, m := &k.sheet.Set, &k.sheet.Measurement
	if !k.few {
		list.add("healthy_cv", set.HealthyCV, set.SourceOf("healthy_cv"))
		list.add("false_alarm", set.FalseAlarm, set.SourceOf("false_alarm"))
		list.add("false_hint", set.FalseHint, set.SourceOf("false_hint"))
		list.add("practical_ratio", set.PracticalRatio, set.SourceOf("practical_ratio"))
	}
	list.add("repeatability_cv", m.RepeatabilityCV, m.SourceOf("repeatability_cv"))
	if k.limit != nil && !k.noInterval || k.apart {
		list.add("common_cv", m.CommonCV, m.SourceOf("common_cv"))
		list.add("timing_s", m.TimingS, m.SourceOf("timing_s"))
	}
	if k.weighed {
		list.add("density_g_ml", AssumedDensityGML, "assumed")
	}
	return list
}

// densityAssumed says whether a mass was weighed and no density given.
func (e *evaluation) densityAssumed() bool {
	for i := range e.test.Runs {
		for k := range e.test.Runs[i].Readings {
			if e.test.Runs[i].Readings[k].DensityAssumed {
				return true
			}
		}
	}
	return false
}

func (l *appliedList) add(key string, value float64, source string) {
	l.applied = append(l.applied, Applied{What: key, Value: value, Source: source})
	if limits.Assumed(source) {
		l.assumed = append(l.assumed, key+" "+plain(value))
	}
}
