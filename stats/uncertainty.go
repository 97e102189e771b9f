package stats

import (
	"math"
	"sync/atomic"

	"gonum.org/v1/gonum/stat/distuv"
)

// MaxDoF caps effective degrees of freedom: beyond it Student's t is the
// normal distribution to five digits.
const MaxDoF = 10000

// Part is one estimate in an uncertainty budget: its standard uncertainty in
// the unit of the result and its degrees of freedom (+Inf where it is known).
type Part struct {
	U   float64
	DoF float64
}

// EffectiveDoF is the Welch-Satterthwaite formula u^4 / sum(u_i^4/nu_i)
// (JCGM 100:2008, G.4.1) for the combined standard uncertainty u, rounded to 6
// decimals, truncated to a whole number and capped at MaxDoF; MaxDoF where no
// part has finite degrees of freedom. Parts that use one estimate must be
// combined before.
func EffectiveDoF(u float64, parts ...Part) float64 {
	var sum float64
	for _, p := range parts {
		square := p.U * p.U
		sum += square * square / p.DoF
	}
	nu := u * u * u * u / sum
	if math.IsNaN(nu) || nu >= MaxDoF {
		return MaxDoF
	}
	return math.Floor(Round6(nu))
}

var t95 [MaxDoF + 1]atomic.Uint64 // bits of the quantile; 0 not yet computed

// T95 is the one-sided 95 % quantile of Student's t for a whole nu from 1 to
// MaxDoF. It panics outside.
func T95(nu float64) float64 {
	slot := &t95[int(nu)]
	if int(nu) < 1 {
		panic("stats: degrees of freedom below 1")
	}
	if bits := slot.Load(); bits != 0 {
		return math.Float64frombits(bits)
	}
	t := studentQuantile(0.95, nu)
	slot.Store(math.Float64bits(t))
	return t
}

// StudentQuantile is the p quantile of Student's t with nu > 0 degrees of freedom.
func StudentQuantile(p, nu float64) float64 {
	return studentMemo.get(quantileKey{p, nu}, func() float64 { return studentQuantile(p, nu) })
}

func studentQuantile(p, nu float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}.Quantile(p)
}

// StudentCDF is the probability that Student's t with nu > 0 degrees of
// freedom is at most t.
func StudentCDF(t, nu float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}.CDF(t)
}

// NormalQuantile is the p quantile of the standard normal distribution.
func NormalQuantile(p float64) float64 { return distuv.UnitNormal.Quantile(p) }

// NormalCDF is the probability that a standard normal is at most z.
func NormalCDF(z float64) float64 { return distuv.UnitNormal.CDF(z) }

type quantileKey struct{ p, nu float64 }

var chiMemo, studentMemo memo[quantileKey]

// ChiSquareQuantile is the p quantile of chi-square with nu >= 1 degrees of freedom.
func ChiSquareQuantile(p, nu float64) float64 {
	return chiMemo.get(quantileKey{p, nu}, func() float64 { return distuv.ChiSquared{K: nu}.Quantile(p) })
}

// RectangularU is the standard uncertainty of an error known only to lie
// within +/- half (JCGM 100:2008, 4.3.7).
func RectangularU(half float64) float64 { return half / math.Sqrt(3) }

// ResolutionU is the standard uncertainty of a reading to the nearest mark of
// a scale with that step (JCGM 100:2008, F.2.2.1).
func ResolutionU(step float64) float64 { return step / math.Sqrt(12) }

// Quadrature is the root of the sum of squares.
func Quadrature(u ...float64) float64 {
	var sum float64
	for _, x := range u {
		sum += x * x
	}
	return math.Sqrt(sum)
}

// Decision is the outcome of a comparison that keeps a guard band.
type Decision int8

// Open is too close to call; Below and Above are decided.
const (
	Open Decision = iota
	Below
	Above
)

// Against holds a value with its expanded uncertainty against a limit (JCGM
// 106:2012, guarded decision): Above if value - expanded > limit, Below if
// value + expanded < limit, all three after Round6; Open otherwise and for NaN.
func Against(value, expanded, limit float64) Decision {
	switch bar := Round6(limit); {
	case Round6(value-expanded) > bar:
		return Above
	case Round6(value+expanded) < bar:
		return Below
	}
	return Open
}

// ProbabilityAbove is the probability that the true value is above the limit,
// T_nu((value - limit)/u), for a standard uncertainty u with nu degrees of
// freedom (JCGM 106:2012, 7.2, with Student's t in the place of the normal).
func ProbabilityAbove(value, u, nu, limit float64) float64 {
	if u == 0 {
		return [...]float64{0.5, 0, 1}[Against(value, 0, limit)]
	}
	return StudentCDF((value-limit)/u, nu)
}
