package classic

import (
	"math"

	"leakback/stats"
)

// QuantileRule says how a quantile between two values is taken; the numbers
// are those of Hyndman & Fan, The American Statistician 50 (1996).
type QuantileRule int

// Three rules in use: R6 places the quantile p at (n+1)p of the sorted values,
// R7 (spreadsheets, the default of most programs) at (n-1)p+1, R8 at
// (n+1/3)p+1/3.
const (
	R6 QuantileRule = 6
	R7 QuantileRule = 7
	R8 QuantileRule = 8
)

func (rule QuantileRule) place(n int, p float64) float64 {
	m := float64(n)
	switch rule {
	case R6:
		return (m + 1) * p
	case R8:
		return (m+1.0/3)*p + 1.0/3
	}
	return (m-1)*p + 1
}

// Quantile is the p quantile of x by a rule, straight between the neighbours
// and never beyond the extremes; NaN of nothing. gonum's LinInterp is another
// rule.
func Quantile(x []float64, p float64, rule QuantileRule) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	order := stats.Ascending(x)
	at := math.Min(math.Max(rule.place(len(x), p), 1), float64(len(x)))
	whole := int(at)
	low := x[order[whole-1]]
	if whole == len(x) {
		return low
	}
	return low + (at-float64(whole))*(x[order[whole]]-low)
}

// Fences are Tukey's: the quartiles less and plus k times their distance
// (Tukey, Exploratory Data Analysis, 1977, has k = 1.5). NaN of nothing.
func Fences(x []float64, k float64, rule QuantileRule) (lower, upper float64) {
	first, third := Quantile(x, 0.25, rule), Quantile(x, 0.75, rule)
	return first - k*(third-first), third + k*(third-first)
}
