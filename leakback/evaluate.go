package leakback

import (
	"math"
	"slices"

	"leakback/limits"
	"leakback/stats"
)

// Detail says how much of a result is worked out.
type Detail int8

// The two details of a result.
const (
	// Full is everything that a result holds.
	Full Detail = iota
	// Verdicts is what a batch needs and the same as in full: the verdicts, the
	// codes of the findings, the rates with their uncertainties and the ratios
	// to the median. Left out are texts, notes, settle advice, the figures
	// applied and assumed and, NaN in their place, the other figures.
	Verdicts
)

// Evaluator evaluates tests one after the other and keeps its memory from one
// to the next. It is for one goroutine at a time.
type Evaluator struct{ e evaluation }

// NewEvaluator makes an evaluator whose results have that detail.
func NewEvaluator(d Detail) *Evaluator {
	return &Evaluator{evaluation{
		full: d == Full, applied: map[appliedKey]appliedList{}, partial: map[partialKey]*limits.Limit{},
	}}
}

// Evaluate is Evaluate with the evaluator's detail. The result is good until
// the next call.
func (ev *Evaluator) Evaluate(t *Test, sheet *limits.Sheet) (*Result, error) {
	return ev.e.evaluate(t, sheet)
}

// Evaluate judges a test by a limits sheet: every cylinder's rate with its
// uncertainty (JCGM 100), held against the sheet's limits with a guard band
// (JCGM 106) and against the engine's own consensus. The error says what of
// the test does not fit the sheet; a test that fits always gets a result.
func Evaluate(t *Test, sheet *limits.Sheet) (*Result, error) {
	return NewEvaluator(Full).Evaluate(t, sheet)
}

// evaluation holds what the steps of Evaluate share.
type evaluation struct {
	full     bool  // the detail is Full
	entered  *Test // the record
	test     *Test // the record without the runs that are left out
	sheet    *limits.Sheet
	limit    *limits.Limit
	numbers  []int // of the cylinders
	all      []series
	parts    []part // of all series
	rule     rule
	guard    guard
	state    limits.State
	set      comparison
	res      Result
	maxMLMin float64
	hasMax   bool
	at       []judged // by cylinder
	ratios   []ratioLimit
	applied  map[appliedKey]appliedList
	partial  map[partialKey]*limits.Limit // by what can be held against a test

	noInterval  bool    // the length of a run is unknown
	sequential  bool    // cylinders one after the other, drift unknown
	driftPerRun float64 // taken out of the rates; NaN where none was
	// lines are the return lines of a block-off test, shares what they make of
	// its cylinders; unmeasured says that a line was not read.
	lines      []*solvedLine
	shares     []share
	unmeasured bool
	totals     []series // of a merged return alone, a line each
}

// judged is what the judging of one cylinder leaves for its later steps.
type judged struct {
	// maxVerdict is the verdict against the absolute maximum, where one applied.
	maxVerdict Verdict
	// limitSpoke says that a limit on the high side was held against the cylinder.
	limitSpoke bool
	// open is what was too close to decide; nil where nothing was.
	open *closeCall
}

// closeCall is a comparison with a limit that could not be decided.
type closeCall struct {
	limit float64
	// ratioTo holds the reference of a ratio limit; empty for a rate.
	ratioTo []member
	scale   float64 // a ratio is its numerator's rate over scale
}

func (e *evaluation) evaluate(t *Test, sheet *limits.Sheet) (*Result, error) {
	e.entered, e.test, e.sheet = t, t.kept(), sheet
	e.noInterval = slices.ContainsFunc(e.test.Runs, func(r Run) bool { return math.IsNaN(r.IntervalS) })
	if err := e.cylinderNumbers(); err != nil {
		return nil, err
	}
	e.record()
	match := sheet.For(t.Condition, t.Injectors, e.state)
	e.limit = e.figuresOf(match.Limit)
	e.maxMLMin, e.hasMax = e.limit.MaxMLMin()
	if err := e.measure(); err != nil {
		return nil, err
	}
	e.stateGuard()
	e.compare()
	e.start()
	e.judge(match)
	e.conclude()
	if e.full {
		e.settle()
		e.listApplied()
		e.settleTest()
	}
	return &e.res, nil
}

// judge gives the verdicts, as far as anything may be judged.
func (e *evaluation) judge(match limits.Match) {
	switch {
	case e.test.Method == MethodTotal && !e.guard.unjudged:
		e.judgeTotalAlone(match)
	case e.guard.unjudged:
		e.leaveOpen()
	case e.guard.notHeld:
		e.leaveOpen()
		e.judgeTest(match)
	default:
		e.judgeCylinders()
		e.judgeTest(match)
	}
}

// leftOut are the runs that do not take part.
func (e *evaluation) leftOut() []LeftOut {
	var list []LeftOut
	for i := range e.entered.Runs {
		if run := &e.entered.Runs[i]; run.LeftOut != "" {
			list = append(list, LeftOut{run.Number, run.LeftOut})
		}
	}
	return list
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
	e.ratioLimits()
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
			e.find(i, Unsteady, e.unsteadyText)
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
		e.at[i].limitSpoke = true
		if s.bound == Exact && e.full {
			c.ProbabilityOver = stats.ProbabilityAbove(c.RateMLMin, c.Budget.StandardMLMin, c.Budget.DoF, e.maxMLMin)
		}
		e.at[i].maxVerdict = e.judgeRate(i, e.maxMLMin, stats.Above, OverLimit)
		worst = e.at[i].maxVerdict
	}
	if e.limit.MinRateMLMin != nil {
		worst = max(worst, e.judgeRate(i, *e.limit.MinRateMLMin, stats.Below, UnderLimit))
	}
	for k := range e.ratios {
		e.at[i].limitSpoke = true
		worst = max(worst, e.judgeRatio(i, &e.ratios[k]))
	}
	return worst
}

// judgeRate holds a rate, or a bound, against a maximum or a minimum.
func (e *evaluation) judgeRate(i int, limit float64, fails stats.Decision, code Code) Verdict {
	s, c := &e.all[i], &e.res.Cylinders[i]
	decision := bounded(stats.Against(s.rateMLMin, s.reach(c.Budget.ExpandedMLMin), limit), s.bound)
	verdict, taken := e.guard.judge(decision, fails, ofRate)
	switch {
	case verdict == Fail:
		e.find(i, code, func() string { return e.limitText(i, limit, decision) })
	case verdict == Undecided && !taken && s.bound != AtLeast:
		e.find(i, CloseToLimit, func() string { return e.limitText(i, limit, decision) })
		e.callClose(i, closeCall{limit: limit})
	}
	return verdict
}

// reach is how far beyond the rate, or the bound, the true value may lie: the
// expanded uncertainty of a plain rate; nothing beyond a bound that was read;
// beyond that of a share what the share as solved leaves possible.
func (s *series) reach(expandedMLMin float64) float64 {
	switch {
	case s.bound == Exact:
		return expandedMLMin
	case s.share == nil:
		return 0
	}
	return math.Max(0, s.share.plainMLMin+s.share.budget.ExpandedMLMin-s.rateMLMin)
}

// bounded takes away what a bound cannot prove: a lower bound proves only
// "above", an upper bound only "below".
func bounded(d stats.Decision, b Bound) stats.Decision {
	if b == AtLeast && d == stats.Below || b == AtMost && d == stats.Above {
		return stats.Open
	}
	return d
}

// callClose remembers, for what is to settle it, the first close call.
func (e *evaluation) callClose(i int, c closeCall) {
	if e.full && e.at[i].open == nil && e.all[i].bound == Exact {
		e.at[i].open = &c
	}
}

// judgeComparison gives what the comparison inside the engine says, with the
// sheet's absolute maximum in mind.
func (e *evaluation) judgeComparison(i int) Verdict {
	switch e.set.at[i].place {
	case placeHigh:
		e.find(i, HighInSet, func() string { return e.highText(i) })
		if e.set.at[i].unsure {
			return Undecided
		}
		if e.guard.doubtsRatios() {
			return min(Undecided, e.highVerdict(i))
		}
		return e.highVerdict(i)
	case placeHint:
		e.find(i, CloseInSet, func() string { return e.hintText(i) })
		if e.hasMax && e.at[i].maxVerdict == Pass && e.sheet.Set.WithinLimit == limits.WithinPass {
			return Pass
		}
		return Undecided
	case placeLow:
		e.find(i, LowInSet, func() string { return e.lowText(i) })
		return Undecided
	case placeFine:
		if e.set.disagrees && !e.hasMax {
			return Undecided
		}
		return Pass
	}
	if !e.at[i].limitSpoke { // neither comparison nor limit speaks
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
	if e.at[i].maxVerdict != Pass {
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
	for k := range e.all[i].parts {
		p := &e.all[i].parts[k]
		zero = zero || p.typedZero
		below = below || p.belowFirst
		over = over || p.bound == AtLeast
	}
	if over {
		e.find(i, OverRange, func() string { return e.overRangeText(i) })
	}
	if e.all[i].share != nil && e.all[i].bound == AtMost {
		e.find(i, BelowFirstMark, func() string { return e.smallShareText(i) })
	}
	if zero {
		e.find(i, NoReturn, func() string { return "nothing came back in the time collected" })
	}
	if below {
		e.find(i, BelowFirstMark, func() string { return e.belowMarkText(i) })
	}
}

// find files a finding of cylinder i, one of each code. Its text is made only
// where people will read it.
func (e *evaluation) find(i int, code Code, text func() string) {
	c := &e.res.Cylinders[i]
	c.Findings = e.file(c.Findings, code, text)
}

// findTest files a finding of the test.
func (e *evaluation) findTest(code Code, text func() string) {
	e.res.Findings = e.file(e.res.Findings, code, text)
}

func (e *evaluation) file(list []Finding, code Code, text func() string) []Finding {
	if e.full {
		return filed(list, code, text())
	}
	return filed(list, code, "")
}

// filed adds a finding, one of each code: what is said again of one follows
// behind a semicolon.
func filed(list []Finding, code Code, text string) []Finding {
	for k := range list {
		if list[k].Code != code {
			continue
		}
		if text != "" {
			list[k].Text += "; " + text
		}
		return list
	}
	return append(list, Finding{code, text})
}
