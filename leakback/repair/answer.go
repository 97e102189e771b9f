package repair

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"leakback/leakback"
	"leakback/limits/quantity"
	"leakback/stats"
)

// Answer is that of a repair.
type Answer string

// The three answers. They are about the return alone; whether the complaint is
// gone is another question.
const (
	BackToNormal    Answer = "back to normal"
	NotBackToNormal Answer = "not back to normal"
	Undecided       Answer = "undecided"
)

// ReasonCode names a reason for an answer.
type ReasonCode string

// The reasons: of "not back to normal", of "undecided", of "back to normal".
const (
	// StillFails are cylinders that failed before and fail now.
	StillFails ReasonCode = "still-fails"
	// NowFails are cylinders that fail now and did not before.
	NowFails ReasonCode = "now-fails"
	// WholeFails is a total or a difference over its limit.
	WholeFails ReasonCode = "whole-fails"

	// NothingAfter is no return, or next to none, in the later test: from most of
	// the engine, or from some cylinders.
	NothingAfter ReasonCode = "next-to-nothing-after"
	// NothingBefore is no return, or next to none, from most of the engine in the
	// earlier test.
	NothingBefore ReasonCode = "next-to-nothing-before"
	// AfterOpen is a later test that is undecided, or not read, in itself.
	AfterOpen ReasonCode = "after-open"
	// NotComparable is a difference between the tests that keeps one from being
	// held against the other.
	NotComparable ReasonCode = "not-comparable"
	// TemperatureDecides is a decision that depends on how far the leak depends
	// on the temperature.
	TemperatureDecides ReasonCode = "temperature-decides"
	// WithinNoise are cylinders that failed before, pass now, and did not come
	// back by more than measurement noise.
	WithinNoise ReasonCode = "change-within-noise"
	// NothingStoodOut is a pair of tests in neither of which anything stood out
	// and to the later of which no maker's limit was applied.
	NothingStoodOut ReasonCode = "nothing-stood-out"

	// CameBack are cylinders that failed before, pass now, and changed by more
	// than measurement noise.
	CameBack ReasonCode = "came-back"
	// NormalBefore says that nothing stood out in the earlier test either, nor in
	// any other before the later one.
	NormalBefore ReasonCode = "normal-before"
	// PassedBefore says that nothing stood out in the earlier test either, while
	// another test before the later one did not pass.
	PassedBefore ReasonCode = "passed-before"
	// BeforeOpen says that the earlier test was undecided, or not all read, in
	// itself, so that it does not show what was wrong.
	BeforeOpen ReasonCode = "before-open"
	// NoMaximum says that no maker's limit was applied: it qualifies a "back to
	// normal" that rests on the comparison within the set, and keeps one from
	// being given where the earlier fail was by a limit.
	NoMaximum ReasonCode = "no-absolute-limit"
)

// Reason is one reason for an answer.
type Reason struct {
	Code ReasonCode
	// Cylinders are those it is about; none where it is about the test.
	Cylinders []int
	// Text is a clause for people.
	Text string
}

// Actions that settle a repair, beside those of package leakback.
const (
	// SameTemperature asks for a retest with the fuel as warm as in the earlier
	// test.
	SameTemperature leakback.Action = "same-temperature"
	// SameState asks for a retest in the state of the earlier test.
	SameState leakback.Action = "same-state"
	// EarlierTest asks for another earlier test to hold the later one against.
	EarlierTest leakback.Action = "earlier-test"
)

func (p *Pair) answer() {
	failing := p.failing()
	switch {
	case len(failing) > 0 && slices.ContainsFunc(failing, func(c *Change) bool { return p.firm(c) }):
		p.Answer = NotBackToNormal
		p.sayFailing()
	case p.after.Result.Verdict == leakback.Fail:
		p.Answer = Undecided
		p.sayDoubtedFail(failing)
	case p.after.Result.Verdict != leakback.Pass || len(p.notRead()) > 0:
		p.Answer = Undecided
		p.sayNothing()
		p.sayOpen()
	default:
		p.answerPass()
	}
}

func (p *Pair) reason(code ReasonCode, cylinders []int, format string, args ...any) {
	p.Reasons = append(p.Reasons, Reason{code, cylinders, fmt.Sprintf(format, args...)})
}

// settleBy keeps the first that was asked for.
func (p *Pair) settleBy(action leakback.Action, format string, args ...any) {
	if p.Settle == nil {
		nan := math.NaN()
		p.Settle = &leakback.Settle{Action: action, CollectS: nan, SaidS: nan, TubeML: nan, GraduationML: nan, Text: fmt.Sprintf(format, args...)}
	}
}

// failing are the cylinders that fail in the later test, and its whole return
// where that does.
func (p *Pair) failing() []*Change {
	var list []*Change
	for i := range p.Cylinders {
		if p.Cylinders[i].After.Verdict == leakback.Fail {
			list = append(list, &p.Cylinders[i])
		}
	}
	r := p.after.Result
	if r.Has(leakback.OverTotal) || r.Has(leakback.OverDifference) {
		list = append(list, &p.Total)
	}
	return list
}

// firm says that a fail of the later test stands whatever the tests do not have
// in common. One by an absolute maximum alone, under hotter fuel or more
// pressure than before, and where the limit does not say what it is given for,
// may be their doing.
func (p *Pair) firm(c *Change) bool {
	byMaximum := c.After.ByMaximum
	if c == &p.Total {
		byMaximum = !p.after.Result.Has(leakback.OverDifference)
	}
	if !byMaximum {
		return true
	}
	if slices.ContainsFunc(p.Remarks, func(r Remark) bool { return r.DoubtsFail }) {
		return false
	}
	return !c.temperatureDecides(stats.Above)
}

// temperatureDecides says whether the later rate, at the earlier test's
// temperature, is not throughout on the side of the maximum that is wanted.
func (c *Change) temperatureDecides(wanted stats.Decision) bool {
	return c.Range != nil && !math.IsNaN(c.Range.MaxMLMin) && !math.IsNaN(c.After.RateMLMin) && c.Range.limit() != wanted
}

func (p *Pair) sayFailing() {
	var still, now []int
	for i := range p.Cylinders {
		c := &p.Cylinders[i]
		switch {
		case c.After.Verdict != leakback.Fail:
		case c.Worse():
			now = append(now, c.Cylinder)
		default:
			still = append(still, c.Cylinder)
		}
	}
	if len(still) > 0 {
		p.reason(StillFails, still, "%s %s", leakback.CylinderNames(still), p.stillText(still))
	}
	if len(now) > 0 {
		p.reason(NowFails, now, "%s %s in %s and did not in %s", leakback.CylinderNames(now),
			verb(now, "fails", "fail"), p.after.Label, p.before.Label)
	}
	p.sayWhole()
}

// stillText says that cylinders still fail, and whether they changed at all.
func (p *Pair) stillText(still []int) string {
	changed := func(n int) bool { d, _ := p.At(n).Direction(); return d != 0 }
	text := "failed before and " + verb(still, "fails", "fail") + " in " + p.after.Label
	if !slices.ContainsFunc(still, changed) {
		text += ", with no change beyond measurement noise"
	}
	return text
}

func (p *Pair) sayWhole() {
	for _, f := range p.after.Result.Findings {
		if f.Code == leakback.OverTotal || f.Code == leakback.OverDifference {
			p.reason(WholeFails, nil, "%s", f.Text)
		}
	}
}

// sayDoubtedFail is for a fail that may be the doing of temperature or pressure.
func (p *Pair) sayDoubtedFail(failing []*Change) {
	p.sayFailing()
	p.sayDoubts(func(r Remark) bool { return r.DoubtsFail })
	var numbers []int
	for _, c := range failing {
		if c.temperatureDecides(stats.Above) {
			numbers = append(numbers, c.Cylinder)
		}
	}
	p.sayTemperature(numbers, "is over its limit")
}

// sayDoubts says which differences keep the tests from being compared.
func (p *Pair) sayDoubts(doubts func(Remark) bool) {
	for _, r := range p.Remarks {
		if doubts(r) {
			p.reason(NotComparable, nil, "%s", r.Text)
			p.settleBy(SameState, "%s", r.settle)
		}
	}
}

// sayTemperature says that something depends on the exponent, for cylinders (0
// is the whole return).
func (p *Pair) sayTemperature(cylinders []int, what string) {
	if len(cylinders) == 0 {
		return
	}
	slices.Sort(cylinders)
	t := &p.Temperature
	p.reason(TemperatureDecides, numbered(cylinders), "whether %s %s at the %s of %s depends on how far %s leak follows the "+
		"viscosity of the fuel, which is not known: %s", namesOf(cylinders), what, degrees(t.BeforeC), p.before.Label,
		verb(cylinders, "its", "their"), p.rangeTexts(cylinders))
	p.settleBy(SameTemperature, "test again with the fuel at %s (within %d K), as in %s", degrees(t.BeforeC), apartK, p.before.Label)
}

func (p *Pair) rangeTexts(cylinders []int) string {
	texts := make([]string, len(cylinders))
	for i, n := range cylinders {
		if texts[i] = p.rangeText(n); len(cylinders) > 1 {
			texts[i] = namesOf([]int{n}) + ", " + texts[i]
		}
	}
	return strings.Join(texts, "; ")
}

// rangeText is the range of a cylinder's rate at the earlier temperature.
func (p *Pair) rangeText(cylinder int) string {
	c := p.At(cylinder)
	r := c.Range
	text := fmt.Sprintf("%s mL/min as measured would be %s", rateText(c.After.RateMLMin, c.After.UMLMin),
		between(r.Zero.RateMLMin, r.One.RateMLMin, c.After.UMLMin))
	if !math.IsNaN(r.MaxMLMin) && !math.IsNaN(r.Zero.RateMLMin) {
		return text + ", against a limit of " + quantity.Plain(r.MaxMLMin, 6)
	}
	if !math.IsNaN(r.Zero.RatioToConsensus) {
		text = fmt.Sprintf("%s times the set as measured would be %s", rateText(c.After.RatioToConsensus, ratioPrinted),
			between(r.Zero.RatioToConsensus, r.One.RatioToConsensus, ratioPrinted))
	}
	return text
}

// between prints two figures, the smaller first, with the digits an uncertainty
// leaves.
func between(a, b, u float64) string {
	return rateText(math.Min(a, b), u) + " to " + rateText(math.Max(a, b), u)
}

func rateText(x, u float64) string { return quantity.Fixed(x, quantity.Decimals(u)) }

// namesOf names cylinders, or the whole return.
func namesOf(cylinders []int) string {
	if slices.Contains(cylinders, wholeEngine) {
		return "the whole return"
	}
	return leakback.CylinderNames(cylinders)
}

// numbered are the cylinders without the whole return.
func numbered(cylinders []int) []int {
	return slices.DeleteFunc(slices.Clone(cylinders), func(n int) bool { return n == wholeEngine })
}

func verb(cylinders []int, one, many string) string {
	if len(cylinders) == 1 {
		return one
	}
	return many
}

// notRead are the cylinders that the earlier test has, or that were worked on,
// and of which the later one has nothing. A merged return alone has none of its own.
func (p *Pair) notRead() []int {
	worked := p.allWorkedOn()
	if p.after.Result.Test.Method == leakback.MethodTotal {
		worked = nil
	}
	list := slices.DeleteFunc(worked, func(n int) bool { c := p.At(n); return c != nil && c.After.Read() })
	for i := range p.Cylinders {
		if c := &p.Cylinders[i]; c.Before.Read() && !c.After.Read() && !slices.Contains(list, c.Cylinder) {
			list = append(list, c.Cylinder)
		}
	}
	slices.Sort(list)
	return list
}

// sayOpen is for a later test that gives no answer by itself.
func (p *Pair) sayOpen() {
	r := p.after.Result
	open := p.notRead()
	for i := range p.Cylinders {
		c := &p.Cylinders[i]
		if v := c.After.Verdict; (v == leakback.Undecided || v == leakback.Unread) && !slices.Contains(open, c.Cylinder) {
			open = append(open, c.Cylinder)
		}
	}
	slices.Sort(open)
	what := p.after.Label + " is " + r.Verdict.String() + " by itself"
	if r.Verdict == leakback.Pass {
		what = p.after.Label + " has not read all that " + p.before.Label + " has, or that was worked on"
	}
	if len(open) > 0 {
		what += ": " + leakback.CylinderNames(open)
	}
	p.reason(AfterOpen, open, "%s", what)
	p.sayDoubts(func(r Remark) bool { return r.DoubtsPass })
	p.settleOpen(open)
}

// settleOpen asks for the earlier test's temperature where the later one's does
// not let it be held against the limit, else for what was not read, else for what
// settles the later test.
func (p *Pair) settleOpen(open []int) {
	r := p.after.Result
	if l := r.Limit; p.Temperature.Apart && l != nil && l.FuelTempC != nil &&
		!covers(l.FuelTempC, p.Temperature.AfterC) && covers(l.FuelTempC, p.Temperature.BeforeC) {
		p.settleBy(SameTemperature, "test again with the fuel at %s (within %d K), as in %s",
			degrees(p.Temperature.BeforeC), apartK, p.before.Label)
	}
	if missing := p.notRead(); len(missing) > 0 {
		p.settleBy(leakback.ReadAll, "read %s as well", fromWhom(missing))
	}
	if p.Settle == nil {
		p.Settle = r.Settle
	}
	if p.Settle == nil {
		p.settleBy(leakback.ReadAll, "read %s as well", fromWhom(open))
	}
}
