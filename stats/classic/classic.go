// Package classic holds the usual outlier rules of small samples, each by its
// textbook formula: Grubbs, generalized ESD, Dixon's ratio, Tukey's fences,
// scores by the median absolute deviation, mean plus standard deviations, and
// ratios to mean and median. No verdict of the tool rests on them: they are
// what its own rule is measured against.
//
// All of them but the plain ratios are free of scale, which is their weakness
// on the three to eight cylinders of an engine: they have to learn the spread
// from the very values among which they look for an outlier.
package classic

import (
	"math"

	"leakback/stats"
)

// Extreme is the largest value of a sample and how far out a test puts it.
type Extreme struct {
	// Index is its place in the sample; -1 where there is no test.
	Index int
	// Statistic is the test's own figure; NaN where there is none.
	Statistic float64
}

func none() Extreme { return Extreme{Index: -1, Statistic: math.NaN()} }

// largest is the place of the largest value; the first of equals.
func largest(x []float64) int {
	at := 0
	for i, v := range x {
		if v > x[at] {
			at = i
		}
	}
	return at
}

// MeanPlusSD is the mean plus k sample standard deviations (n-1), the bound of
// the k-sigma rule. NaN for fewer than two values. No value of n can lie
// beyond (n-1)/sqrt(n) of them (Samuelson, J. Amer. Statist. Assoc. 63, 1968,
// from memory), so that k = 2 can never fire on fewer than six.
func MeanPlusSD(x []float64, k float64) float64 {
	return stats.Mean(x) + k*stats.StdDev(x)
}

// Ratios divides every value by a reference, its mean or median as a rule;
// in place of into, which must be as long as x.
func Ratios(into, x []float64, reference float64) {
	for i, v := range x {
		into[i] = v / reference
	}
}
