package report

import (
	"fmt"
	"strings"

	"leakback/leakback"
)

// Answer is the answer of the test in one or two sentences: what is wrong and
// where, then what is open. It never says that an injector is good.
func Answer(r *leakback.Result) string {
	wrong, open := wrongParts(r), openParts(r)
	if len(wrong) == 0 && len(open) == 0 {
		return Sentence(nothingWrong(r))
	}
	if n := countVerdict(r, leakback.Pass); n > 0 {
		open = append(open, passing(n, len(r.Cylinders)))
	}
	return strings.TrimSpace(Sentence(strings.Join(wrong, "; ")) + " " + Sentence(strings.Join(open, "; ")))
}

// wrongParts are the clauses of what failed.
func wrongParts(r *leakback.Result) []string {
	var parts []string
	whose := "the return at "
	if r.Test.Method == leakback.MethodBlockOff {
		whose = "the share of "
	}
	add := func(says string, holds func(*leakback.Cylinder) bool) {
		failed := func(c *leakback.Cylinder) bool { return c.Verdict == leakback.Fail && holds(c) }
		if list := cylindersWhere(r, failed); len(list) > 0 {
			parts = append(parts, whose+named(r, list)+says)
		}
	}
	add(" is over the limit", isOverLimit)
	add(standsApart(r), func(c *leakback.Cylinder) bool { return c.Has(leakback.HighInSet) && !isOverLimit(c) })
	add(" is under the minimum", func(c *leakback.Cylinder) bool { return c.Has(leakback.UnderLimit) })
	if r.Has(leakback.OverTotal) {
		parts = append(parts, "the total return is over its limit")
	}
	if r.Has(leakback.OverDifference) {
		parts = append(parts, "highest and lowest are further apart than the limit allows")
	}
	return parts
}

// named is CylinderNames, short where they are all the engine has.
func named(r *leakback.Result, list []int) string {
	switch n := len(list); {
	case n < 2 || n < len(r.Cylinders):
		return leakback.CylinderNames(list)
	case n == 2:
		return "both cylinders"
	default:
		return fmt.Sprintf("all %d cylinders", n)
	}
}

func isOverLimit(c *leakback.Cylinder) bool {
	return c.Has(leakback.OverLimit) || c.Has(leakback.OverRatio)
}

// standsApart says so where no maker's limit took part: the comparison inside
// an engine is not a limit that was failed.
func standsApart(r *leakback.Result) string {
	const says = " is too high for its set"
	if hasMaximum(r) {
		return says
	}
	return says + " (no maker's limit was applied)"
}

func hasMaximum(r *leakback.Result) bool {
	_, ok := r.Limit.MaxMLMin()
	return ok
}

// openParts are the clauses of what is not decided, with the reason where one
// reason keeps the whole test open.
func openParts(r *leakback.Result) []string {
	var parts []string
	undecided := cylindersWhere(r, func(c *leakback.Cylinder) bool { return c.Verdict == leakback.Undecided })
	unread := cylindersWhere(r, func(c *leakback.Cylinder) bool { return c.Verdict == leakback.Unread })
	if n := len(undecided); n > 0 {
		text := named(r, undecided) + verb(n, " is", " are") + " undecided"
		if n+len(unread) == len(r.Cylinders) {
			text += because(r)
		}
		parts = append(parts, text)
	} else if r.Verdict == leakback.Undecided {
		parts = append(parts, "the test as a whole is undecided"+because(r))
	}
	switch n := len(unread); {
	case len(r.Cylinders) == 0 && r.Verdict == leakback.Unread:
		parts = append(parts, "the total was not read")
	case n == 0:
	case n == len(r.Cylinders):
		parts = append(parts, "no cylinder was read")
	default:
		parts = append(parts, named(r, unread)+verb(n, " was", " were")+" not read")
	}
	return parts
}

// reasons are why a test as a whole may be open, the strongest first.
var reasons = []struct {
	code leakback.Code
	why  string
}{
	{leakback.BackPressure, "the return was not held up as this engine needs it"},
	{leakback.PressureNotHeld, "the rail pressure was not held from run to run"},
	{leakback.OtherReturn, "the runs with nothing blocked do not fit the others"},
	{leakback.TooLittleReturn, "too little came back to compare"},
	{leakback.FewCylinders, "too few were read to compare"},
	{leakback.NoConsensus, "the set does not agree with itself"},
	{leakback.OtherCrankPattern, "the cranks were not those of the limit"},
	{leakback.OutsideLimitState, "the engine was not in the state the limit is for"},
	{leakback.StateUnknown, "the state the limit is for was not recorded"},
	{leakback.Sequential, "drift cannot be told from the cylinders"},
	{leakback.CloseToTotal, "the total is too close to its limit"},
	{leakback.CloseToDifference, "the largest difference is too close to its limit"},
}

func because(r *leakback.Result) string {
	for _, reason := range reasons {
		if r.Has(reason.code) {
			return ", because " + reason.why
		}
	}
	if r.Test.Method == leakback.MethodTotal {
		return ", because no limit of the total was applied"
	}
	return ""
}

// nothingWrong says what a pass rests on, and no more.
func nothingWrong(r *leakback.Result) string {
	n := len(r.Cylinders)
	if n == 0 {
		return "the total return is within its limit; no cylinder is identified"
	}
	agree := r.Agreeing == n && !r.Has(leakback.TooLittleReturn)
	subject := named(r, cylindersWhere(r, func(*leakback.Cylinder) bool { return true }))
	switch {
	case n == 1:
		return "the cylinder is within its limits"
	case hasMaximum(r) && agree:
		return subject + " are within the limit and agree with one another"
	case hasMaximum(r) && r.Has(leakback.FewCylinders):
		return subject + " are within the limit, too few to hold against one another"
	case agree:
		return subject + " agree with one another; no maker's limit was applied"
	}
	return subject + " pass"
}

func passing(n, of int) string {
	switch {
	case n == of:
		return fmt.Sprintf("each of the %d cylinders by itself passes", n)
	case n == 1:
		return "the other one passes"
	}
	return fmt.Sprintf("the other %d pass", n)
}

func verb(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

func countVerdict(r *leakback.Result, v leakback.Verdict) int {
	return len(cylindersWhere(r, func(c *leakback.Cylinder) bool { return c.Verdict == v }))
}

func cylindersWhere(r *leakback.Result, holds func(*leakback.Cylinder) bool) []int {
	var list []int
	for i := range r.Cylinders {
		if holds(&r.Cylinders[i]) {
			list = append(list, r.Cylinders[i].Cylinder)
		}
	}
	return list
}
