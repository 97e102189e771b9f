package blockoff

import (
	"math"

	"leakback/stats"
)

// notAddingUp tests D, where it was fitted.
func (p *problem) notAddingUp(f *solved) NotAddingUp {
	if !f.model.NotAddingUp {
		return NotAddingUp{math.NaN(), math.NaN(), math.NaN(), NotTested}
	}
	j := f.model.levelAt(len(p.opts.Cylinders))
	d := NotAddingUp{MLMin: f.Coefficients[j], SDMLMin: f.sd(j), Meaning: AddsUp}
	d.CriticalMLMin = f.quantile * d.SDMLMin
	switch beyond := stats.Round6(math.Abs(d.MLMin)) > stats.Round6(d.CriticalMLMin); {
	case !beyond:
	case d.MLMin > 0:
		d.Meaning = LoweredOthers
	case f.model.ConstantReturn:
		d.Meaning = RaisedOthers
	default:
		d.Meaning = OtherReturn
	}
	return d
}

// refit takes a constant return into every run in the place of D; the fit as
// it was where the runs cannot show one, or where it comes out below zero.
func (p *problem) refit(f *solved) *solved {
	if again := p.withConstant(f); again != nil && again.Coefficients[again.model.constantAt(len(p.opts.Cylinders))] > 0 {
		return again
	}
	return f
}

// withConstant is the fit with R0 in the place of D; nil where the runs do not
// determine it.
func (p *problem) withConstant(f *solved) *solved {
	again, err := p.fit(Model{Drift: f.model.Drift, ConstantReturn: true})
	if err != nil {
		return nil
	}
	return again
}

// constant says what is known about a return that no injector makes: what the
// fit has, the largest that the runs do not reject, and what that adds.
func (p *problem) constant(f *solved) Constant {
	n := len(p.opts.Cylinders)
	c := Constant{MLMin: math.NaN(), SDMLMin: math.NaN(), AddsMLMin: make([]float64, n)}
	if !f.model.ConstantReturn {
		p.unfitted(&c, f)
		return c
	}
	c.Origin = FromBaselines
	if p.sealed > 0 {
		c.Origin = AllBlocked
	}
	j := f.model.constantAt(n)
	c.MLMin, c.SDMLMin = f.Coefficients[j], f.sd(j)
	c.LargestMLMin = math.Max(0, c.MLMin+f.quantile*c.SDMLMin)
	for i := range c.AddsMLMin {
		// A coefficient that is held at another value moves the rest by their
		// covariance over its variance.
		c.AddsMLMin[i] = -f.Cofactor[i][j] / f.Cofactor[j][j] * (c.LargestMLMin - c.MLMin)
	}
	return c
}

// unfitted bounds a constant return that the shares were solved without. Each
// unit of it puts into the shares what the design makes of a 1 in every run,
// 1/(n-1) for single blocking.
func (p *problem) unfitted(c *Constant, f *solved) {
	ones := make([]float64, len(p.fitted))
	for k := range ones {
		ones[k] = 1
	}
	each := f.Apply(ones)
	c.LargestMLMin = math.Inf(1)
	for i := range c.AddsMLMin {
		if stats.Round6(each[i]) > 0 { // no injector returns less than nothing
			c.LargestMLMin = math.Min(c.LargestMLMin, (f.Coefficients[i]+f.quantile*f.sd(i))/each[i])
		}
	}
	if with := p.withConstant(f); with != nil {
		j := with.model.constantAt(len(p.opts.Cylinders))
		c.LargestMLMin = math.Min(c.LargestMLMin, with.Coefficients[j]+with.quantile*with.sd(j))
	}
	c.LargestMLMin = math.Max(0, c.LargestMLMin)
	for i := range c.AddsMLMin {
		c.AddsMLMin[i] = each[i] * c.LargestMLMin
	}
}
