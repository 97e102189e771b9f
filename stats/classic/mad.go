package classic

import (
	"math"

	"leakback/stats"
)

// madFactors make the median absolute deviation of n normal values an unbiased
// estimate of their standard deviation, for n = 2, 3, ... 30: Akinshin,
// arXiv:2207.12005 (2022), Monte Carlo with the ordinary sample median, rounded
// to 5 decimals. Leaving them out makes scores on 4 to 8 values up to a third
// too large.
var madFactors = [...]float64{
	1.77245, 2.20495, 2.01725, 1.80398, 1.76372, 1.68713, 1.67149, 1.63264, 1.62453, 1.60114,
	1.59613, 1.58061, 1.57725, 1.56613, 1.56372, 1.55541, 1.55356, 1.54711, 1.54568, 1.54047,
	1.53934, 1.53516, 1.53419, 1.53070, 1.52988, 1.52690, 1.52634, 1.52384, 1.52335,
}

// MADFactor is what the median absolute deviation of n >= 2 normal values is
// multiplied by; above 30 it is n/(n-0.8)/Phi^-1(3/4) (Croux & Rousseeuw,
// Computational Statistics 1, 1992). NaN for fewer than two.
func MADFactor(n int) float64 {
	switch {
	case n < 2:
		return math.NaN()
	case n-2 < len(madFactors):
		return madFactors[n-2]
	}
	return float64(n) / (float64(n) - 0.8) / stats.NormalQuantile(0.75)
}

// MAD is the median of the distances from the median, as it is, with no
// factor; NaN of nothing.
func MAD(x []float64) float64 {
	m := stats.Median(x)
	away := make([]float64, len(x))
	for i, v := range x {
		away[i] = math.Abs(v - m)
	}
	return stats.Median(away)
}

// MADScores puts (x - median)/(MADFactor MAD) into a slice as long as x: the
// modified z-score of Iglewicz & Hoaglin (How to Detect and Handle Outliers,
// 1993), whose rule is a score beyond 3.5, with the factor for n in the place
// of the one for large samples. Where more than half of the values agree the
// deviation is 0 and no score exists: all are NaN, and a comparison with them
// is false.
func MADScores(into, x []float64) {
	m, scale := stats.Median(x), MADFactor(len(x))*MAD(x)
	for i, v := range x {
		into[i] = math.NaN()
		if scale > 0 {
			into[i] = (v - m) / scale
		}
	}
}
