package classic

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"leakback/stats"
)

// Grubbs is the test of the largest value of a normal sample of at least
// three: G = (max - mean)/s with s the sample standard deviation (Grubbs,
// Technometrics 11, 1969; NIST/SEMATECH e-Handbook 1.3.5.17.1). No test for
// fewer than three values or where all are equal.
func Grubbs(x []float64) Extreme {
	if len(x) < 3 {
		return none()
	}
	s := stats.StdDev(x)
	if !(s > 0) {
		return none()
	}
	at := largest(x)
	return Extreme{Index: at, Statistic: (x[at] - stats.Mean(x)) / s}
}

// GrubbsCritical is the value that G exceeds with probability alpha in n >= 3
// normal values: (n-1)/sqrt(n) sqrt(t^2/(n-2+t^2)) with t the upper alpha/n
// quantile of Student's t at n-2 degrees of freedom (e-Handbook 1.3.5.17.1).
// It is exact until about n = 14 at 5 % and a slight upper bound above. For
// the two-sided test take half the alpha.
func GrubbsCritical(n int, alpha float64) float64 {
	m := float64(n)
	t := upperT(alpha/m, m-2)
	return (m - 1) / math.Sqrt(m) * math.Sqrt(t*t/(m-2+t*t))
}

// GrubbsP is the alpha at which GrubbsCritical is g, at most 1: the chance of
// so large a G in n >= 3 normal values.
func GrubbsP(n int, g float64) float64 {
	m := float64(n)
	rest := (m-1)*(m-1) - m*g*g
	if rest <= 0 {
		return 0 // as far out as n values can be
	}
	t := math.Copysign(math.Sqrt(m*(m-2)*g*g/rest), g)
	return math.Min(1, m*distuv.StudentsT{Mu: 0, Sigma: 1, Nu: m - 2}.Survival(t))
}

// upperT is the upper p quantile of Student's t: taken from the lower tail,
// where small p keep their digits.
func upperT(p, nu float64) float64 { return -stats.StudentQuantile(p, nu) }

// ESDStep is one removal of the generalized ESD test.
type ESDStep struct {
	// Index is the place of the value furthest from the mean of what was left.
	Index int
	// High says that it lay above that mean.
	High bool
	// R is its distance in standard deviations of what was left.
	R float64
	// Left is how many values were left with it.
	Left int
}

// Lambda is the critical value of the step at the two-sided level alpha: that
// of Grubbs for the values left.
func (s ESDStep) Lambda(alpha float64) float64 { return GrubbsCritical(s.Left, alpha/2) }

// P is the two-sided level at which R just meets Lambda, at most 1.
func (s ESDStep) P() float64 { return math.Min(1, 2*GrubbsP(s.Left, s.R)) }

// GeneralizedESD takes away, up to most times, the value furthest from the
// mean of those left (Rosner, Technometrics 25, 1983; NIST/SEMATECH e-Handbook
// 1.3.5.17.3). It stops early at fewer than three values or where those left
// are all equal.
func GeneralizedESD(x []float64, most int) []ESDStep {
	left := make([]int, len(x))
	for i := range left {
		left[i] = i
	}
	var steps []ESDStep
	values := make([]float64, len(x))
	for len(steps) < most && len(left) >= 3 {
		values = values[:len(left)]
		for k, i := range left {
			values[k] = x[i]
		}
		mean, sd := stats.Mean(values), stats.StdDev(values)
		if !(sd > 0) {
			break
		}
		k := furthest(values, mean)
		steps = append(steps, ESDStep{
			Index: left[k], High: values[k] > mean,
			R: math.Abs(values[k]-mean) / sd, Left: len(left),
		})
		left = append(left[:k], left[k+1:]...)
	}
	return steps
}

func furthest(x []float64, from float64) int {
	at := 0
	for i, v := range x {
		if math.Abs(v-from) > math.Abs(x[at]-from) {
			at = i
		}
	}
	return at
}

// ESDOutliers is how many of the steps are outliers at the two-sided level
// alpha: the largest i whose R exceeds its Lambda, although earlier ones may
// not (that is what spares the test the masking of repeated Grubbs tests).
func ESDOutliers(steps []ESDStep, alpha float64) int {
	count := 0
	for i, s := range steps {
		if s.R > s.Lambda(alpha) {
			count = i + 1
		}
	}
	return count
}
