package leakback

import (
	"errors"
	"fmt"
	"math"

	"leakback/stats"
)

// removeDrift is for cylinders that were not collected in the same runs, with
// one tube for one after the other: what a run does to its rate then looks like
// the cylinder's own. Where cylinders were read again, a linear drift of ln q
// over the order of the runs is fitted and taken out; else the comparison knows
// that it may be looking at drift.
func (e *evaluation) removeDrift() error {
	if e.rule.shared {
		return nil
	}
	if e.noInterval {
		return errors.New("an unknown interval: expected its length where a run does not hold every cylinder, since " +
			"cylinders of different runs are compared by their rates")
	}
	at := e.places()
	drift, ok := e.fitDrift(at)
	switch {
	case ok:
		e.driftPerRun = math.Expm1(drift.PerStep)
		for i := range e.all {
			e.all[i].takeOut(&drift, at)
		}
	case e.test.FitDrift:
		return fmt.Errorf("drift cannot be told from the cylinders in one pass: expected a cylinder collected again "+
			"later; collect %s once more, last", e.firstRead())
	default:
		e.sequential = true
	}
	return nil
}

// places are the places in time of the runs that take part: time passes during
// a run that is left out, too.
func (e *evaluation) places() []float64 {
	var at []float64
	for i := range e.entered.Runs {
		if e.entered.Runs[i].LeftOut == "" {
			at = append(at, float64(i+1))
		}
	}
	return at
}

// fitDrift fits the drift of ln q to the plain readings.
func (e *evaluation) fitDrift(at []float64) (stats.Drift, bool) {
	t, y := make([][]float64, len(e.all)), make([][]float64, len(e.all))
	for i := range e.all {
		for k := range e.all[i].parts {
			if p := &e.all[i].parts[k]; p.bound == Exact {
				t[i], y[i] = append(t[i], at[p.run]), append(y[i], math.Log(p.rateMLMin))
			}
		}
	}
	return stats.FitDrift(t, y)
}

// takeOut brings a cylinder's rates to the middle of the runs.
func (s *series) takeOut(d *stats.Drift, at []float64) {
	if len(s.parts) == 0 {
		return
	}
	var mean float64
	for k := range s.parts {
		p := &s.parts[k]
		p.rateMLMin = math.Exp(d.Correct(at[p.run], math.Log(p.rateMLMin)))
		mean += at[p.run] / float64(len(s.parts))
	}
	s.driftExtra = d.Extra(len(s.parts), mean)
	s.average()
}

// firstRead is the cylinder that was read first.
func (e *evaluation) firstRead() string {
	first := -1
	for i := range e.all {
		s := &e.all[i]
		if s.readable() && (first < 0 || s.parts[0].run < e.all[first].parts[0].run) {
			first = i
		}
	}
	return CylinderNames([]int{e.all[first].cylinder})
}
