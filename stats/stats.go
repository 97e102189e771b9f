// Package stats holds the small-sample statistics of the tool on top of
// gonum: location and spread, rounding, uncertainty, guarded decisions and the
// consensus of a set. It takes and gives plain numbers and knows nothing of
// fuel, files or screens.
package stats

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// Round6 rounds half away from zero to 6 decimals, the one rounding before
// any comparison that decides. It rounds the decimal that x stands for at 15
// digits, as a spreadsheet's ROUND does, so that both decide alike.
func Round6(x float64) float64 {
	const scale = 1e6
	scaled := math.Abs(x) * scale
	if !(scaled < 1<<52) { // whole already, infinite or NaN
		return x
	}
	whole := math.Floor(scaled)
	// 15 significant digits: a tie that binary arithmetic left a hair short
	// is still a tie. Nine digits before the point leave no hair to speak of.
	if scaled-whole >= 0.5-min(4e-15*scaled, 0.05) {
		whole++
	}
	return math.Copysign(whole/scale, x)
}

// Mean is the arithmetic mean; NaN of nothing.
func Mean(x []float64) float64 {
	if len(x) == 0 {
		return math.NaN()
	}
	return stat.Mean(x, nil)
}

// StdDev is the sample standard deviation (n-1); NaN for fewer than two.
func StdDev(x []float64) float64 {
	if len(x) < 2 {
		return math.NaN()
	}
	return stat.StdDev(x, nil)
}

// Median is the middle value, or the mean of the two middle ones; NaN of
// nothing, and where a value is NaN. gonum's Quantile(0.5) is another rule.
func Median(x []float64) float64 {
	lo, hi := Middle(x)
	if lo < 0 {
		return math.NaN()
	}
	return (x[lo] + x[hi]) / 2
}

// smallSet is how many values most sets have at most: they need no memory of
// their own to be sorted in.
const smallSet = 16

// Middle gives the indices of the one or two middle values (twice the same
// for an odd count); -1, -1 of nothing and where a value is NaN. Equal values
// keep their order.
func Middle(x []float64) (lo, hi int) {
	n := len(x)
	if n == 0 || slices.ContainsFunc(x, math.IsNaN) {
		return -1, -1
	}
	var room [smallSet]int
	order := append(room[:0], make([]int, n)...)
	ascending(x, order)
	return order[(n-1)/2], order[n/2]
}

// Ascending gives the indices of x in rising order; equal values keep theirs.
func Ascending(x []float64) []int {
	order := make([]int, len(x))
	ascending(x, order)
	return order
}

func ascending(x []float64, order []int) {
	for i := range order {
		order[i] = i
	}
	// Sets are small: an insertion sort is stable and needs no closure.
	for i := 1; i < len(order); i++ {
		for k := i; k > 0 && x[order[k]] < x[order[k-1]]; k-- {
			order[k], order[k-1] = order[k-1], order[k]
		}
	}
}
