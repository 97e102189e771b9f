package stats

import "math"

// Estimate is a value with its standard uncertainty and the degrees of freedom
// of that.
type Estimate struct {
	Value, U, DoF float64
}

// Difference is what one value gained on another.
type Difference struct {
	Value, U, DoF float64
}

// Less is the difference a - b of two independent values. Their uncertainties
// are added in quadrature. The degrees of freedom are what Welch-Satterthwaite
// (JCGM 100:2008, G.4) gives where both uncertainties rest on one and the same
// estimate of the scatter,
// (ua^2 + ub^2)^2 / (ua^2/sqrt(nu_a) + ub^2/sqrt(nu_b))^2:
// that of Student's pooled test where nu_a = nu_b, and never more than Welch's
// for two estimates that have nothing in common.
func (a Estimate) Less(b Estimate) Difference {
	va, vb := float64(a.U*a.U), float64(b.U*b.U) // rounded each: not fused with the sum, so that b - a is as sure on every processor
	rest := va/math.Sqrt(a.DoF) + vb/math.Sqrt(b.DoF)
	dof := (va + vb) * (va + vb) / (rest * rest)
	if math.IsNaN(dof) || dof >= MaxDoF {
		dof = MaxDoF
	}
	return Difference{a.Value - b.Value, math.Sqrt(va + vb), math.Floor(Round6(dof))}
}

// T is Student's t of the difference; infinite where nothing is uncertain and
// the values differ, 0 where nothing is and they do not.
func (d Difference) T() float64 {
	switch {
	case d.U != 0:
		return d.Value / d.U
	case Round6(d.Value) == 0:
		return 0
	}
	return math.Inf(int(math.Copysign(1, d.Value)))
}

// P is the two-sided probability of a difference at least as large where there
// is none.
func (d Difference) P() float64 {
	t := math.Abs(d.T())
	if math.IsInf(t, 1) {
		return 0
	}
	return 2 * StudentCDF(-t, d.DoF)
}

// Expanded is the two-sided expanded uncertainty at a level of confidence below 1.
func (d Difference) Expanded(level float64) float64 {
	return StudentQuantile((1+level)/2, d.DoF) * d.U
}

// Exceeds says whether the difference is more than chance makes at a level of
// confidence, after Round6; never for NaN.
func (d Difference) Exceeds(level float64) bool {
	return Round6(math.Abs(d.Value)) > Round6(d.Expanded(level))
}
