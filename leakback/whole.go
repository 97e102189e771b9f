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
	why := match.Reason
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

// judgeTotal holds the sum of all cylinders against its limit. Cylinders that
// were not read can only add to it.
func (e *evaluation) judgeTotal(limit float64) {
	sum, bound, mixed := 0.0, Exact, false
	join := func(b Bound) {
		mixed = mixed || bound != Exact && b != Exact && b != bound
		if b != Exact {
			bound = b
		}
	}
	for i := range e.all {
		s := &e.all[i]
		if !s.readable() {
			join(AtLeast)
			continue
		}
		sum += s.rateMLMin
		join(s.bound)
	}
	expanded := 0.0
	if bound == Exact {
		expanded = e.res.Total.ExpandedMLMin
	}
	decision := bounded(stats.Against(sum, expanded, limit), bound)
	if mixed {
		decision = stats.Open
	}
	e.conclusion(decision, OverTotal, CloseToTotal,
		againstText("the total return", sum, expanded, bound, limit, decision))
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
	var value, expanded float64
	decision := stats.Open
	switch {
	case high.bound == Exact && low.bound == Exact:
		var b Budget
		value, b = e.rule.sum([]*series{high, low}, []float64{1, -1})
		expanded = b.ExpandedMLMin
		decision = stats.Against(value, expanded, limit)
	default: // the least it can be: it proves "over" only
		value = math.Max(0, high.rateMLMin-low.rateMLMin)
		if high.bound != AtMost && low.bound != AtLeast {
			decision = bounded(stats.Against(value, 0, limit), AtLeast)
		}
		if low.bound == AtMost && high.bound == Exact {
			// and no more than the highest alone
			if d := bounded(stats.Against(high.rateMLMin, 0, limit), AtMost); d != stats.Open {
				decision = d
			}
		}
	}
	what := fmt.Sprintf("the difference between cylinders %d and %d", high.cylinder, low.cylinder)
	e.conclusion(decision, OverDifference, CloseToDifference,
		againstText(what, value, expanded, Exact, limit, decision))
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
