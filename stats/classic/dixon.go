package classic

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"

	"leakback/stats"
)

// Dixon is the gap test of the largest value of at least three:
// r10 = (x_n - x_(n-1))/(x_n - x_1) of the sorted values (Dixon, Ann. Math.
// Statist. 22, 1951). No test for fewer or where all are equal. A second high
// value beside the first closes the gap: it is masked.
func Dixon(x []float64) Extreme {
	if len(x) < 3 {
		return none()
	}
	order := stats.Ascending(x)
	n := len(order)
	width := x[order[n-1]] - x[order[0]]
	if !(width > 0) {
		return none()
	}
	return Extreme{Index: order[n-1], Statistic: (x[order[n-1]] - x[order[n-2]]) / width}
}

// DixonP is the chance that r10 exceeds r in n >= 3 normal values, for the
// side chosen in advance: the integral over the smallest value v and the
// largest u of n (n-1) phi(v) phi(u) [Phi(u - r (u-v)) - Phi(v)]^(n-2), in
// which the others lie below the gap. Good to about 1e-8.
func DixonP(n int, r float64) float64 {
	const points, edge = 60, 8.5
	normal := distuv.UnitNormal
	outer := func(v float64) float64 {
		inner := func(u float64) float64 {
			between := normal.CDF(u-r*(u-v)) - normal.CDF(v)
			return normal.Prob(u) * math.Pow(math.Max(0, between), float64(n-2))
		}
		return normal.Prob(v) * quad.Fixed(inner, v, math.Max(v, edge), points, nil, 1)
	}
	return float64(n*(n-1)) * quad.Fixed(outer, -edge, edge, points, nil, 1)
}

// DixonCritical is the r10 that is exceeded with probability alpha in n >= 3
// normal values, for the side chosen in advance; by bisection of DixonP.
func DixonCritical(n int, alpha float64) float64 {
	low, high := 0.0, 1.0
	for range 40 {
		middle := (low + high) / 2
		if DixonP(n, middle) > alpha {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}
