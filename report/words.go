package report

import (
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"leakback/leakback"
	"leakback/limits/quantity"
	"leakback/stats"
)

// mostDigits is how many decimals a figure is ever given, and the rounding
// under which everything is decided.
const mostDigits = 6

// limitDigits is how many decimals a limit is shown with where the sheet gave
// it more: a limit is not a measured figure and keeps its own digits.
const limitDigits = 3

// VerdictWord is the verdict as people read it.
func VerdictWord(v leakback.Verdict) string {
	return [...]string{"pass", "not read", "undecided", "FAIL"}[v]
}

// Sentence begins a text with a capital and ends it with a stop.
func Sentence(text string) string {
	if text == "" {
		return ""
	}
	first, size := utf8.DecodeRuneInString(text)
	text = string(unicode.ToUpper(first)) + text[size:]
	if strings.ContainsAny(text[len(text)-1:], ".!?:") {
		return text
	}
	return text + "."
}

// Decimals is how many decimals show the rates of a result, their uncertainties
// and the limit: enough for two digits of the largest uncertainty and one of
// the smallest, and as many more, up to 6, as it takes for the printed figures
// to give the verdicts that the exact ones gave.
func Decimals(r *leakback.Result) int {
	decimals := baseDecimals(r)
	for ; decimals < mostDigits; decimals++ {
		if ratesAgree(r, decimals) {
			break
		}
	}
	return decimals
}

func baseDecimals(r *leakback.Result) int {
	smallest, largest := math.Inf(1), 0.0
	for i := range r.Cylinders {
		if u := r.Cylinders[i].Budget.ExpandedMLMin; u > 0 {
			smallest, largest = min(smallest, u), max(largest, u)
		}
	}
	if largest == 0 {
		return 1
	}
	return max(quantity.Decimals(largest), quantity.Decimals(smallest)-1)
}

// ratesAgree says whether every rate, printed so, falls on the same side of
// the limits as it really does.
func ratesAgree(r *leakback.Result, decimals int) bool {
	for _, limit := range rateLimits(r) {
		for i := range r.Cylinders {
			c := &r.Cylinders[i]
			if !agrees(c.RateMLMin, expandedMLMin(c), limit, decimals) {
				return false
			}
		}
	}
	return true
}

// rateLimits are the limits in mL/min that apply to a single cylinder.
func rateLimits(r *leakback.Result) []float64 {
	var limits []float64
	if most, ok := r.Limit.MaxMLMin(); ok {
		limits = append(limits, most)
	}
	if least, ok := minimum(r); ok {
		limits = append(limits, least)
	}
	return limits
}

// minimum is the least rate of one cylinder, and whether the limit names one.
func minimum(r *leakback.Result) (mlMin float64, ok bool) {
	if r.Limit == nil || r.Limit.MinRateMLMin == nil {
		return 0, false
	}
	return *r.Limit.MinRateMLMin, true
}

// expandedMLMin is the expanded uncertainty, 0 for a bound.
func expandedMLMin(c *leakback.Cylinder) float64 {
	if math.IsNaN(c.Budget.ExpandedMLMin) {
		return 0
	}
	return c.Budget.ExpandedMLMin
}

// agrees says whether a reader who works with the printed figures comes to the
// decision that the exact ones give.
func agrees(value, expanded, limit float64, decimals int) bool {
	return stats.Against(value, expanded, limit) == stats.Against(quantity.Printed(value, decimals),
		quantity.Printed(expanded, decimals), quantity.Printed(limit, max(decimals, limitDigits)))
}

// TotalDecimals is Decimals for the total, its uncertainty and its limit.
func TotalDecimals(r *leakback.Result) int {
	decimals := quantity.Decimals(r.Total.ExpandedMLMin)
	if r.Limit == nil || r.Limit.MaxTotalMLMin == nil || math.IsNaN(r.TotalMLMin) {
		return decimals
	}
	for ; decimals < mostDigits; decimals++ {
		if agrees(r.TotalMLMin, r.Total.ExpandedMLMin, *r.Limit.MaxTotalMLMin, decimals) {
			break
		}
	}
	return decimals
}

// RatioDecimals is how many decimals show the ratios to the median: two, more
// where a decided ratio would print on the wrong side of its limit.
func RatioDecimals(r *leakback.Result) int {
	decimals := 2
	if r.Limit == nil || r.Limit.MaxRatioToMedian == nil {
		return decimals
	}
	limit := *r.Limit.MaxRatioToMedian
	for i := range r.Cylinders {
		c := &r.Cylinders[i]
		if c.Verdict == leakback.Undecided || math.IsNaN(c.RatioToMedian) {
			continue
		}
		if !agrees(c.RatioToMedian, 0, limit, decimals) {
			decimals = quantity.Apart(c.RatioToMedian, limit, decimals)
		}
	}
	return decimals
}

// RateText is a cylinder's rate in mL/min as people read it: "26.1 ± 1.9",
// ">= 100.0", "<= 1.0" or "not read".
func RateText(c *leakback.Cylinder, decimals int) string {
	switch {
	case math.IsNaN(c.RateMLMin) && c.Verdict == leakback.Unread:
		return VerdictWord(leakback.Unread)
	case math.IsNaN(c.RateMLMin): // read over an unknown interval
		return "-"
	case c.Bound != leakback.Exact:
		return c.Bound.String() + " " + quantity.Fixed(c.RateMLMin, decimals)
	}
	return figure(c.RateMLMin, c.Budget.ExpandedMLMin, decimals)
}

// limitFigure is a limit without zeros at its end, so that 37.25 stays 37.25.
func limitFigure(limit float64, decimals int) string {
	return quantity.Plain(limit, max(decimals, limitDigits))
}

// figure is a value with its expanded uncertainty.
func figure(value, expanded float64, decimals int) string {
	return quantity.Fixed(value, decimals) + " ± " + quantity.Fixed(expanded, decimals)
}

// RatioText is a cylinder's ratio to the median, a bound marked as one; a dash
// where there is none.
func RatioText(c *leakback.Cylinder, decimals int) string {
	switch {
	case math.IsNaN(c.RatioToMedian):
		return "-"
	case c.Bound != leakback.Exact:
		return c.Bound.String() + " " + quantity.Fixed(c.RatioToMedian, decimals)
	}
	return quantity.Fixed(c.RatioToMedian, decimals)
}
