package leakback

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"leakback/limits/quantity"
	"leakback/stats"
)

// Decimals is how many decimals to print a value and its expanded uncertainty
// with: two significant digits of the uncertainty at first, then as many as it
// takes (at most 6) for the printed figures to lie on the same side of each
// limit as the decision does.
func Decimals(value, expanded float64, bars ...float64) int {
	first := quantity.Decimals(expanded)
	for d := first; d <= 6; d++ {
		if printsTrue(value, expanded, d, bars) {
			return d
		}
	}
	return first
}

func printsTrue(value, expanded float64, decimals int, bars []float64) bool {
	v, u := quantity.Printed(value, decimals), quantity.Printed(expanded, decimals)
	for _, bar := range bars {
		if !math.IsNaN(bar) && stats.Against(v, u, bar) != stats.Against(value, expanded, bar) {
			return false
		}
	}
	return true
}

// plain prints a figure as it is, to 6 decimals at most.
func plain(x float64) string {
	return quantity.Plain(x, 6)
}

// boundary prints a bound with one decimal, or as many as a small one needs or keep
// it on its side of the bars.
func boundary(value float64, bars []float64) string {
	d := max(1, quantity.Decimals(value))
	for _, bar := range bars {
		d = quantity.Apart(value, bar, d)
	}
	return quantity.Plain(quantity.Printed(value, d), d)
}

// withUncertainty prints a value with its expanded uncertainty, or a bound.
func withUncertainty(value, expanded float64, bound Bound, bars ...float64) string {
	switch bound {
	case AtLeast:
		return "at least " + boundary(value, bars)
	case AtMost:
		return "at most " + boundary(value, bars)
	}
	d := Decimals(value, expanded, bars...)
	if !(expanded > 0) {
		return plain(value)
	}
	return quantity.Fixed(value, d) + " ± " + quantity.Fixed(expanded, d)
}

// spanText says how a figure of the whole test lies against its limit.
func spanText(what string, s span, expanded, limit float64, d stats.Decision) string {
	var value string
	switch {
	case s.low == s.high:
		value = withUncertainty(s.low, expanded, Exact, limit)
	case math.IsInf(s.high, 1):
		value = "at least " + withUncertainty(s.low, expanded, Exact, limit)
	case s.low == 0:
		value = "at most " + withUncertainty(s.high, expanded, Exact, limit)
	default:
		value = "between " + withUncertainty(s.low, expanded, Exact, limit) + " and " +
			withUncertainty(s.high, expanded, Exact, limit)
	}
	relation := map[stats.Decision]string{
		stats.Above: "over the limit of", stats.Below: "within the limit of",
		stats.Open: "too close to call against the limit of",
	}[d]
	if d == stats.Open && s.low != s.high {
		relation = "known only so far, which does not settle the limit of"
	}
	return fmt.Sprintf("%s, %s mL/min, is %s %s mL/min", what, value, relation, plain(limit))
}

// limitText says how cylinder i lies against a maximum or minimum.
func (e *evaluation) limitText(i int, limit float64, d stats.Decision) string {
	s, c := &e.all[i], &e.res.Cylinders[i]
	expanded := c.Budget.ExpandedMLMin
	if s.bound != Exact {
		expanded = 0
	}
	name := "maximum"
	if l := e.limit.MinRateMLMin; l != nil && *l == limit {
		name = "minimum"
	}
	relation := map[stats.Decision]string{
		stats.Above: "is over the", stats.Below: "is under the", stats.Open: "is too close to call against the",
	}[d]
	text := fmt.Sprintf("%s mL/min %s %s of %s mL/min", withUncertainty(s.rateMLMin, expanded, s.bound, limit),
		relation, name, plain(limit))
	if l := e.limit; name == "maximum" && l.MaxVolumeML != nil {
		text += fmt.Sprintf(" (the book has %s mL in %s s)", plain(*l.MaxVolumeML), plain(*l.IntervalS))
	}
	if d == stats.Open && !math.IsNaN(c.ProbabilityOver) && name == "maximum" {
		text += fmt.Sprintf(": a chance of %s %% that it is over", percent(c.ProbabilityOver))
	}
	return text
}

// percent prints a probability so that it never reads as certain.
func percent(p float64) string {
	switch x := 100 * p; {
	case x < 1:
		return "under 1"
	case x > 99:
		return "over 99"
	default:
		return quantity.Fixed(x, 0)
	}
}

func ratioText(value, expanded float64, r *ratioLimit, d stats.Decision) string {
	if r.tooSmall {
		return fmt.Sprintf("%s is too small to take a ratio to: its limit of %s cannot be judged", r.to, plain(r.limit))
	}
	if slices.ContainsFunc(r.members, func(m member) bool { return m.bound == AtMost }) {
		return fmt.Sprintf("%s rests on a reading below the first mark: its ratio limit of %s cannot be judged",
			r.to, plain(r.limit))
	}
	if math.IsNaN(expanded) || d != stats.Against(value, expanded, r.limit) {
		return fmt.Sprintf("the ratio to %s is known only as a bound, which does not settle its limit of %s",
			r.to, plain(r.limit))
	}
	relation := "is too close to call against its limit of"
	if d == stats.Above {
		relation = "is over its limit of"
	}
	return fmt.Sprintf("the ratio to %s, %s, %s %s", r.to, withUncertainty(value, expanded, Exact, r.limit),
		relation, plain(r.limit))
}

// differenceOf says what is the highest and what the lowest of a difference.
func differenceOf(high, low []member) string {
	if len(high) == 1 && len(low) == 1 {
		return fmt.Sprintf("the difference between cylinders %d and %d", high[0].cylinder, low[0].cylinder)
	}
	if high[0].series == low[0].series {
		return "the difference between the cylinders, which are equal"
	}
	return "the difference between " + memberNames(high) + " and " + memberNames(low)
}

func memberNames(members []member) string {
	numbers := make([]int, len(members))
	for i, m := range members {
		numbers[i] = m.cylinder
	}
	return CylinderNames(numbers)
}

// CylinderNames is "cylinder 4", "cylinders 2 and 5" or "cylinders 1, 2 and 4".
func CylinderNames(numbers []int) string {
	if len(numbers) == 1 {
		return "cylinder " + numberedAnd(numbers)
	}
	return "cylinders " + numberedAnd(numbers)
}

// numberedAnd is "4", "2 and 5" or "1, 2 and 4".
func numberedAnd(numbers []int) string {
	words := make([]string, len(numbers))
	for i, n := range numbers {
		words[i] = strconv.Itoa(n)
	}
	return quantity.Listed(words, "and")
}

// kind is what the rates are in a sentence: volumes where no interval is known.
func (e *evaluation) kind() quantity.Kind {
	if e.noInterval {
		return quantity.Volume
	}
	return quantity.Rate
}

func (e *evaluation) unit() string { return " " + e.kind().Unit() }

// rateOf prints a cylinder's rate for a sentence.
func (e *evaluation) rateOf(i int) string {
	s, c := &e.all[i], &e.res.Cylinders[i]
	switch {
	case s.bound != Exact:
		return withUncertainty(s.rateMLMin, 0, s.bound) + e.unit()
	case e.noInterval:
		return plain(s.rateMLMin) + e.unit()
	}
	return quantity.Fixed(s.rateMLMin, quantity.Decimals(c.Budget.ExpandedMLMin)) + e.unit()
}

// littleText says that too little returned to compare.
func (e *evaluation) littleText() string {
	what := "is below its first mark"
	if e.test.Method == MethodBlockOff {
		what = "is not told apart from nothing"
	}
	return fmt.Sprintf("half of the set or more %s (%s): too little returned to compare the cylinders", what,
		quantity.Format(e.kind(), stats.Round6(e.set.reference)))
}

// smallShareText says that a share may be nothing.
func (e *evaluation) smallShareText(i int) string {
	s := &e.all[i]
	return fmt.Sprintf("the share is not told apart from nothing (%s mL/min as solved): %s", signed(s.share.plainMLMin, s.share.leastMLMin),
		withUncertainty(s.rateMLMin, 0, AtMost)+e.unit())
}

// comparedTo says what a ratio is taken to.
func (e *evaluation) comparedTo() string {
	if e.set.tooLittle {
		if e.test.Method == MethodBlockOff {
			return "the least that is told apart from nothing"
		}
		return "the first mark"
	}
	return fmt.Sprintf("the %d that agree", e.set.size)
}

// ratioSaid prints a ratio and where the rule bites; the second only where the
// ratio is beyond it as printed (cylinders set aside together can lie below).
func (e *evaluation) ratioSaid(i int) string {
	ratio, bite := e.set.at[i].ratio, e.set.at[i].bites
	text := fmt.Sprintf("%s is %s times %s", e.rateOf(i), quantity.Fixed(ratio, 2), e.comparedTo())
	if stats.Round6(ratio) > stats.Round6(bite) {
		d := quantity.Apart(ratio, bite, 2)
		text = fmt.Sprintf("%s is %s times %s; the rule bites at %s", e.rateOf(i),
			quantity.Fixed(ratio, d), e.comparedTo(), quantity.Fixed(bite, d))
	}
	return text
}

func (e *evaluation) highText(i int) string {
	text := e.ratioSaid(i)
	switch {
	case !e.hasMax:
		text += "; it stands apart from its set, no maker's limit was applied"
	case e.at[i].maxVerdict == Pass:
		text += "; it stands apart from its set, yet is within the maker's maximum"
	}
	if e.set.at[i].unsure {
		text += "; one run is not enough where so little returned"
	}
	return text
}

func (e *evaluation) hintText(i int) string {
	if e.set.at[i].swayed {
		return e.swayedText(i)
	}
	return fmt.Sprintf("%s is %s times %s, high enough for a doubt and not for a verdict; the rule bites at %s",
		e.rateOf(i), quantity.Fixed(e.set.at[i].ratio, 2), e.comparedTo(), quantity.Fixed(e.set.at[i].bites, 2))
}

// swayedText says that where a cylinder stands hangs on a bound.
func (e *evaluation) swayedText(i int) string {
	if e.all[i].bound != Exact {
		return fmt.Sprintf("%s is known only as a bound, which does not settle how it stands to %s", e.rateOf(i), e.comparedTo())
	}
	return fmt.Sprintf("%s is %s times %s; how it stands to the set hangs on a reading that is known only as a bound",
		e.rateOf(i), quantity.Fixed(e.set.at[i].ratio, 2), e.comparedTo())
}

func (e *evaluation) lowText(i int) string {
	ratio := e.set.at[i].ratio
	if e.all[i].bound == AtMost { // compared at half the bound, said at the bound
		ratio *= 2
	}
	why := "a hose may be off, kinked or unprimed"
	if e.all[i].bound == AtMost && ratio*e.set.at[i].bites > 1 { // not surely that far down
		return fmt.Sprintf("%s is known only as a bound, and half of it would be too low to trust: %s", e.rateOf(i), why)
	}
	if e.all[i].share != nil {
		why = "was its line blocked in the runs that say so, and is its injector driven"
	}
	return fmt.Sprintf("%s is only %s times %s: too low to trust, %s", e.rateOf(i), quantity.Fixed(ratio, 2),
		e.comparedTo(), why)
}

func (e *evaluation) overRangeText(i int) string {
	s := &e.all[i]
	text := "the tube overflowed: " + withUncertainty(s.rateMLMin, 0, AtLeast) + e.unit()
	if s.bound == AtLeast && !e.res.Cylinders[i].Has(OverLimit) && e.set.at[i].place != placeHigh {
		text += ", which proves nothing yet"
	}
	return text
}

func (e *evaluation) belowMarkText(i int) string {
	return "below the first mark: " + withUncertainty(e.all[i].rateMLMin, 0, AtMost) + e.unit()
}

func (e *evaluation) unsteadyText() string {
	return "the runs of this cylinder scatter more than reading and repeatability explain"
}

// clause makes a sentence a clause, to stand inside another.
func clause(s string) string {
	if s == "" {
		return s
	}
	return strings.ToLower(s[:1]) + strings.TrimSuffix(s[1:], ".")
}
