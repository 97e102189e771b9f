package leakback

import (
	"fmt"
	"math"

	"leakback/limits"
	"leakback/limits/quantity"
	"leakback/stats"
)

// testVerdicts are the findings of a test that make a verdict by themselves.
// The others touch cylinders, or tell.
var testVerdicts = map[Code]Verdict{
	OverTotal: Fail, OverDifference: Fail,
	CloseToTotal: Undecided, CloseToDifference: Undecided,
	NoConsensus: Undecided, BackPressure: Undecided,
}

// judgeTest adds what is true of the test as a whole.
func (e *evaluation) judgeTest(match limits.Match) {
	if e.limit != nil && e.limit.MaxTotalMLMin != nil {
		e.judgeTotal(*e.limit.MaxTotalMLMin)
	}
	if e.limit != nil && e.limit.MaxDifferenceMLMin != nil {
		e.judgeDifference(*e.limit.MaxDifferenceMLMin)
	}
	e.setFindings()
	if e.hasMax {
		return
	}
	why := clause(match.Reason)
	if why == "" {
		why = "the limit for this condition names no maximum of one cylinder"
	}
	e.findTest(NoAbsoluteLimit, "no maker's maximum was applied ("+why+
		"): a set that is worn evenly looks healthy against its own median")
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
		e.findTest(FewCylinders, fmt.Sprintf("%s can be read: too few to compare with one another",
			count(readable, "cylinder")))
	case e.set.tooLittle:
		e.findTest(TooLittleReturn, fmt.Sprintf("half of the set or more is below its first mark (%s): "+
			"too little returned to compare the cylinders", quantity.Format(quantity.Rate, stats.Round6(e.set.reference))))
	case e.set.disagrees:
		e.findTest(NoConsensus, "the cylinders that are left do not agree with one another: "+
			"most of the set may leak, and the comparison clears none of it")
	}
	if e.set.half {
		e.findTest(HalfSet, "half of the set stands apart from the other half: only an absolute limit "+
			"can tell which half is healthy")
	}
	if readable > 0 && 3*over >= 2*readable {
		e.findTest(SetTogetherHigh, fmt.Sprintf("%d of %d are over the limit together: look for what they share "+
			"before condemning them one by one", over, readable))
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

// plainExpanded is the expanded uncertainty of the plain cylinders among
// members, summed with their signs; 0 where none is plain.
func (e *evaluation) plainExpanded(members []*series, signs []float64) float64 {
	var plain []*series
	var with []float64
	for i, s := range members {
		if s.readable() && s.bound == Exact {
			plain, with = append(plain, s), append(with, signs[i])
		}
	}
	if len(plain) == 0 {
		return 0
	}
	_, b := e.rule.sum(plain, with)
	return b.ExpandedMLMin
}

// judgeTotal holds the sum of all cylinders against its limit. Cylinders that
// were not read can only add to it.
func (e *evaluation) judgeTotal(limit float64) {
	var sum span
	members, signs := e.everyone()
	for _, s := range members {
		one := s.spanMLMin()
		sum.low, sum.high = sum.low+one.low, sum.high+one.high
	}
	e.judgeSpan("the total return", sum, e.plainExpanded(members, signs), limit, OverTotal, CloseToTotal)
}

// judgeSpan files the decision about a figure of the whole test.
func (e *evaluation) judgeSpan(what string, s span, expanded, limit float64, over, closeTo Code) {
	d := s.against(expanded, limit)
	e.conclusion(d, over, closeTo, spanText(what, s, expanded, limit, d))
}

// conclusion files a decision about the whole test against a maximum.
func (e *evaluation) conclusion(d stats.Decision, over, closeTo Code, text string) {
	verdict, taken := e.guard.judge(d, stats.Above)
	switch {
	case verdict == Fail:
		e.findTest(over, text)
	case verdict == Undecided && !taken:
		e.findTest(closeTo, text)
	}
	if taken {
		e.res.Verdict = max(e.res.Verdict, Undecided)
	}
}

// judgeDifference holds the highest less the lowest rate against its limit.
func (e *evaluation) judgeDifference(limit float64) {
	var high, low *series
	for _, s := range e.readable() {
		if high == nil || s.numberMLMin > high.numberMLMin {
			high = s
		}
		if low == nil || s.numberMLMin < low.numberMLMin {
			low = s
		}
	}
	if high == nil || high == low {
		return
	}
	a, b := high.spanMLMin(), low.spanMLMin()
	e.judgeSpan(fmt.Sprintf("the difference between cylinders %d and %d", high.cylinder, low.cylinder),
		span{math.Max(0, a.low-b.high), a.high - b.low},
		e.plainExpanded([]*series{high, low}, []float64{1, -1}), limit, OverDifference, CloseToDifference)
}

// conclude gives the test its verdict, the worst of its cylinders' and of its
// own findings', and lists what it rests on.
func (e *evaluation) conclude() {
	for i := range e.res.Cylinders {
		e.res.Verdict = max(e.res.Verdict, e.res.Cylinders[i].Verdict)
	}
	for _, f := range e.res.Findings {
		e.res.Verdict = max(e.res.Verdict, testVerdicts[f.Code])
	}
	e.applied()
	e.settleTest()
}

// applied lists the figures that took part, with their sources.
func (e *evaluation) applied() {
	add := func(key string, value float64, source string) {
		e.res.Applied = append(e.res.Applied, Applied{What: key, Value: value, Source: source})
		if limits.Assumed(source) {
			e.res.Assumed = append(e.res.Assumed, key+" "+plain(value))
		}
	}
	if e.limit != nil {
		for _, f := range e.limit.Figures() {
			add(f.Key, f.Value, e.limit.Source)
		}
	}
	if e.guard.unjudged {
		return
	}
	set, m := e.sheet.Set, e.sheet.Measurement
	if !e.set.few {
		add("healthy_cv", set.HealthyCV, set.SourceOf("healthy_cv"))
		add("false_alarm", set.FalseAlarm, set.SourceOf("false_alarm"))
		add("false_hint", set.FalseHint, set.SourceOf("false_hint"))
		add("practical_ratio", set.PracticalRatio, set.SourceOf("practical_ratio"))
	}
	add("repeatability_cv", m.RepeatabilityCV, m.SourceOf("repeatability_cv"))
	if e.limit != nil || !e.rule.shared {
		add("common_cv", m.CommonCV, m.SourceOf("common_cv"))
		add("timing_s", m.TimingS, m.SourceOf("timing_s"))
	}
}
