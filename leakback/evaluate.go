package leakback

import (
	"fmt"
	"math"

	"leakback/limits"
	"leakback/stats"
)

// evaluation holds what the steps of Evaluate share.
type evaluation struct {
	test  *Test
	sheet *limits.Sheet
	limit *limits.Limit
	all   []series
	rule  rule
	guard guard
	set   comparison
	res   *Result
	// maxVerdict is the verdict against the absolute maximum by cylinder;
	// hasMax says whether one applied.
	maxMLMin   float64
	hasMax     bool
	maxVerdict []Verdict
	// limitSpoke says that a limit on the high side was held against the cylinder.
	limitSpoke []bool
	// open remembers, by cylinder, what was too close to decide.
	open []*closeCall
}

// closeCall is a comparison with a limit that could not be decided.
type closeCall struct {
	limit float64
	// ratioTo holds the reference of a ratio limit; empty for a rate.
	ratioTo []*series
	scale   float64 // a ratio is its numerator's rate over scale
}

// Evaluate judges a test by a limits sheet: every cylinder's rate with its
// uncertainty (JCGM 100), held against the sheet's limits with a guard band
// (JCGM 106) and against the engine's own consensus. The error says what of
// the test does not fit the sheet; a test that fits always gets a result.
func Evaluate(t *Test, sheet *limits.Sheet) (*Result, error) {
	cylinders, err := cylinderNumbers(t, sheet)
	if err != nil {
		return nil, err
	}
	match := sheet.For(t.Condition, t.Injectors, recorded(t))
	e := &evaluation{test: t, sheet: sheet, limit: match.Limit}
	e.maxMLMin, e.hasMax = match.Limit.MaxMLMin()
	e.all = collect(t, cylinders, sheet.Measurement)
	e.rule = newRule(e.all, len(t.Runs), sheet.Measurement)
	e.guard = stateGuard(t, sheet, match.Limit)
	e.set = compare(e.all, e.rule, sheet.Set)
	e.start()
	if e.guard.unjudged {
		e.leaveOpen()
	} else {
		e.judgeCylinders()
		e.judgeTest(match)
	}
	e.settle()
	e.conclude()
	return e.res, nil
}

// cylinderNumbers lists the engine's cylinders as far as anyone named them:
// the sheet, the entry, else the readings.
func cylinderNumbers(t *Test, sheet *limits.Sheet) ([]int, error) {
	count := t.Cylinders
	if sheet.Cylinders > 0 {
		if count > 0 && count != sheet.Cylinders {
			return nil, fmt.Errorf("%d cylinders were named, the limits sheet %s is for %d",
				count, sheet.Name, sheet.Cylinders)
		}
		count = sheet.Cylinders
	}
	var seen [65]bool
	highest := 0
	for i := range t.Runs {
		for _, r := range t.Runs[i].Readings {
			if r.Cylinder < 1 || r.Cylinder >= len(seen) || count > 0 && r.Cylinder > count {
				return nil, fmt.Errorf("cylinder %d: expected a number from 1 to %d, as the engine has",
					r.Cylinder, max(count, 1))
			}
			seen[r.Cylinder] = true
			highest = max(highest, r.Cylinder)
		}
	}
	var numbers []int
	for c := 1; c <= max(count, highest); c++ {
		if count > 0 || seen[c] {
			numbers = append(numbers, c)
		}
	}
	return numbers, nil
}

// start fills in all that is measured, before anything is judged.
func (e *evaluation) start() {
	n := len(e.all)
	e.res = &Result{
		Test: e.test, Sheet: e.sheet, Limit: e.limit,
		IntervalS:   commonInterval(e.test),
		MedianMLMin: e.set.medianMLMin, TotalMLMin: math.NaN(), Total: emptyBudget(),
		Agreeing: e.set.size, ConsensusMLMin: e.set.reference,
		Findings: e.guard.findings, Notes: e.guard.notes,
		Cylinders: make([]Cylinder, n),
	}
	e.maxVerdict, e.limitSpoke = make([]Verdict, n), make([]bool, n)
	e.open = make([]*closeCall, n)
	for i := range e.all {
		s := &e.all[i]
		e.res.Cylinders[i] = Cylinder{
			Cylinder: s.cylinder, RateMLMin: s.rateMLMin, Bound: s.bound,
			Budget:           e.rule.budget(s),
			RatioToMedian:    s.rateMLMin / e.set.medianMLMin,
			RatioToConsensus: e.set.ratio[i], Z: e.set.z[i], BitingRatio: e.set.biting[i],
			ProbabilityOver: math.NaN(),
		}
	}
	if e.everyPlain() {
		e.res.TotalMLMin, e.res.Total = e.rule.sum(e.everyone())
	}
	e.noteFuel()
}

// noteFuel says where no fuel temperature was recorded.
func (e *evaluation) noteFuel() {
	for i := range e.test.Runs {
		if math.IsNaN(e.test.Runs[i].State.FuelTempC) {
			e.res.Notes = append(e.res.Notes, "The fuel temperature was not recorded; "+
				"a healthy injector returns more when the fuel is hot.")
			break
		}
	}
}

func commonInterval(t *Test) float64 {
	for i := range t.Runs {
		if t.Runs[i].IntervalS != t.Runs[0].IntervalS {
			return math.NaN()
		}
	}
	return t.Runs[0].IntervalS
}

func (e *evaluation) everyPlain() bool {
	for i := range e.all {
		if !e.all[i].readable() || e.all[i].bound != Exact {
			return false
		}
	}
	return len(e.all) > 0
}

// everyone is every cylinder, with the signs of a sum.
func (e *evaluation) everyone() (members []*series, signs []float64) {
	members, signs = make([]*series, len(e.all)), make([]float64, len(e.all))
	for i := range e.all {
		members[i], signs[i] = &e.all[i], 1
	}
	return members, signs
}

// leaveOpen is for a test in which nothing may be judged.
func (e *evaluation) leaveOpen() {
	for i := range e.all {
		e.res.Cylinders[i].Verdict = Undecided
		if !e.all[i].readable() {
			e.res.Cylinders[i].Verdict = Unread
		}
	}
}

// judgeCylinders gives every cylinder its verdict: the worst of the limits
// that apply and of the comparison.
func (e *evaluation) judgeCylinders() {
	for i := range e.all {
		s, c := &e.all[i], &e.res.Cylinders[i]
		if !s.readable() {
			c.Verdict = Unread
			continue
		}
		verdict := e.judgeLimits(i)
		verdict = max(verdict, e.judgeComparison(i))
		e.readingFindings(i)
		if s.bound == AtLeast { // proves "over" and never "within"
			verdict = max(verdict, Undecided)
		}
		if e.rule.rep.unsteady(e.all, i) {
			e.find(i, Unsteady, e.unsteadyText())
			if verdict == Pass {
				verdict = Undecided
			}
		}
		c.Verdict = verdict
	}
}

// judgeLimits holds a cylinder against the limits of the sheet, worst verdict.
func (e *evaluation) judgeLimits(i int) Verdict {
	s, c := &e.all[i], &e.res.Cylinders[i]
	if e.limit == nil {
		return Pass
	}
	worst := Pass
	if e.hasMax {
		e.limitSpoke[i] = true
		if s.bound == Exact {
			c.ProbabilityOver = stats.ProbabilityAbove(c.RateMLMin, c.Budget.StandardMLMin, c.Budget.DoF, e.maxMLMin)
		}
		e.maxVerdict[i] = e.judgeRate(i, e.maxMLMin, stats.Above, OverLimit)
		worst = e.maxVerdict[i]
	}
	if e.limit.MinRateMLMin != nil {
		worst = max(worst, e.judgeRate(i, *e.limit.MinRateMLMin, stats.Below, UnderLimit))
	}
	for _, ratio := range e.ratioLimits() {
		e.limitSpoke[i] = true
		worst = max(worst, e.judgeRatio(i, ratio))
	}
	return worst
}

// judgeRate holds a rate, or a bound, against a maximum or a minimum.
func (e *evaluation) judgeRate(i int, limit float64, fails stats.Decision, code Code) Verdict {
	s, c := &e.all[i], &e.res.Cylinders[i]
	expanded := c.Budget.ExpandedMLMin
	if s.bound != Exact {
		expanded = 0
	}
	decision := bounded(stats.Against(s.rateMLMin, expanded, limit), s.bound)
	verdict, taken := e.guard.judge(decision, fails)
	switch {
	case verdict == Fail:
		e.find(i, code, e.limitText(i, limit, decision))
	case verdict == Undecided && !taken && s.bound != AtLeast:
		e.find(i, CloseToLimit, e.limitText(i, limit, decision))
		e.callClose(i, closeCall{limit: limit})
	}
	return verdict
}

// bounded takes away what a bound cannot prove: a lower bound proves only
// "above", an upper bound only "below".
func bounded(d stats.Decision, b Bound) stats.Decision {
	if b == AtLeast && d == stats.Below || b == AtMost && d == stats.Above {
		return stats.Open
	}
	return d
}

func (e *evaluation) callClose(i int, c closeCall) {
	if e.open[i] == nil && e.all[i].bound == Exact {
		e.open[i] = &c
	}
}

// ratioLimit is one ratio limit with the members of its reference.
type ratioLimit struct {
	limit    float64
	to       string
	members  []*series
	referent float64
	// bound is on which side the reference may lie; unknown where nothing follows.
	bound   Bound
	unknown bool
}

func (e *evaluation) ratioLimits() []ratioLimit {
	var list []ratioLimit
	l := e.limit
	if l.MaxRatioToMedian != nil {
		list = append(list, e.ratioTo(*l.MaxRatioToMedian, "the median", e.middle()))
	}
	if l.MaxRatioToMean != nil {
		list = append(list, e.ratioTo(*l.MaxRatioToMean, "the mean", e.readable()))
	}
	if l.MaxRatioToLowest != nil {
		list = append(list, e.ratioTo(*l.MaxRatioToLowest, "the lowest", e.lowest()))
	}
	return list
}

// ratioTo describes a reference: the mean of its members. One that rests on
// an upper bound (a lowest below its first mark) proves nothing.
func (e *evaluation) ratioTo(limit float64, to string, members []*series) ratioLimit {
	r := ratioLimit{limit: limit, to: to, members: members, unknown: len(members) == 0}
	for _, s := range members {
		r.referent += s.numberMLMin / float64(len(members))
		switch s.bound {
		case AtMost:
			r.unknown = true
		case AtLeast:
			r.bound = AtLeast
		}
	}
	return r
}

func (e *evaluation) readable() []*series {
	var list []*series
	for i := range e.all {
		if e.all[i].readable() {
			list = append(list, &e.all[i])
		}
	}
	return list
}

func (e *evaluation) middle() []*series {
	list := e.readable()
	numbers := make([]float64, len(list))
	for k, s := range list {
		numbers[k] = s.numberMLMin
	}
	lo, hi := stats.Middle(numbers)
	switch {
	case lo < 0:
		return nil
	case lo == hi:
		return []*series{list[lo]}
	}
	return []*series{list[lo], list[hi]}
}

func (e *evaluation) lowest() []*series {
	var low *series
	for _, s := range e.readable() {
		if low == nil || s.numberMLMin < low.numberMLMin {
			low = s
		}
	}
	if low == nil {
		return nil
	}
	return []*series{low}
}

// judgeRatio holds a cylinder's ratio to a reference against its limit.
func (e *evaluation) judgeRatio(i int, r ratioLimit) Verdict {
	s := &e.all[i]
	value := s.rateMLMin / r.referent
	decision, expanded := e.decideRatio(s, value, r)
	verdict, taken := e.guard.judge(decision, stats.Above)
	switch {
	case verdict == Fail:
		e.find(i, OverRatio, ratioText(value, expanded, r))
	case verdict == Undecided && !taken:
		e.find(i, CloseToLimit, ratioText(value, expanded, r))
		if !r.unknown && r.bound == Exact {
			e.callClose(i, closeCall{limit: r.limit, ratioTo: r.members, scale: r.referent})
		}
	}
	return verdict
}

func (e *evaluation) decideRatio(s *series, value float64, r ratioLimit) (stats.Decision, float64) {
	alone := len(r.members) == 1 && r.members[0] == s
	switch {
	case alone: // its own median, or the lowest: 1 without any doubt
		return stats.Against(1, 0, r.limit), 0
	case r.unknown:
		return stats.Open, math.NaN()
	case s.bound != Exact && r.bound == Exact:
		return bounded(stats.Against(value, 0, r.limit), s.bound), 0
	case s.bound != AtLeast && r.bound == AtLeast: // a larger reference, a smaller ratio
		return bounded(stats.Against(value, 0, r.limit), AtMost), 0
	case s.bound != Exact:
		return stats.Open, math.NaN()
	}
	_, _, expanded := e.rule.ratio(value, s, r.members...)
	return stats.Against(value, expanded, r.limit), expanded
}

// judgeComparison gives what the comparison inside the engine says, with the
// sheet's absolute maximum in mind.
func (e *evaluation) judgeComparison(i int) Verdict {
	switch e.set.places[i] {
	case placeHigh:
		e.find(i, HighInSet, e.highText(i))
		if e.set.unsure[i] {
			return Undecided
		}
		return e.highVerdict(i)
	case placeHint:
		e.find(i, CloseInSet, e.hintText(i))
		if e.hasMax && e.maxVerdict[i] == Pass && e.sheet.Set.WithinLimit == limits.WithinPass {
			return Pass
		}
		return Undecided
	case placeLow:
		e.find(i, LowInSet, e.lowText(i))
		return Undecided
	case placeFine:
		if e.set.disagrees && !e.hasMax {
			return Undecided
		}
		return Pass
	}
	if !e.limitSpoke[i] { // neither comparison nor limit speaks
		return Undecided
	}
	return Pass
}

// highVerdict decides where a cylinder stands apart from its set: a fail where
// no absolute maximum applies, the sheet's within_limit where one is met.
func (e *evaluation) highVerdict(i int) Verdict {
	if !e.hasMax {
		return Fail
	}
	if e.maxVerdict[i] != Pass {
		return Undecided // over the limit is a fail already
	}
	switch e.sheet.Set.WithinLimit {
	case limits.WithinFail:
		return Fail
	case limits.WithinPass:
		return Pass
	}
	return Undecided
}

// readingFindings names what is peculiar about the readings themselves.
func (e *evaluation) readingFindings(i int) {
	var zero, below, over bool
	for _, p := range e.all[i].parts {
		zero = zero || p.typedZero
		below = below || p.belowFirst
		over = over || p.bound == AtLeast
	}
	if over {
		e.find(i, OverRange, e.overRangeText(i))
	}
	if zero {
		e.find(i, NoReturn, "nothing came back in the time collected")
	}
	if below {
		e.find(i, BelowFirstMark, e.belowMarkText(i))
	}
}

func (e *evaluation) find(i int, code Code, text string) {
	c := &e.res.Cylinders[i]
	for k := range c.Findings {
		if c.Findings[k].Code == code {
			c.Findings[k].Text += "; " + text
			return
		}
	}
	c.Findings = append(c.Findings, Finding{code, text})
}

func (e *evaluation) findTest(code Code, text string) {
	e.res.Findings = append(e.res.Findings, Finding{code, text})
}
