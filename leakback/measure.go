package leakback

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"leakback/limits"
)

// partialKey is what the part of a limit depends on that can be held against a
// test: a merged return alone has a total and nothing else, and where no
// interval is known there are ratios alone.
type partialKey struct {
	limit      *limits.Limit
	totalAlone bool
}

// figuresOf is the limit with the figures that can be held against the test.
func (e *evaluation) figuresOf(l *limits.Limit) *limits.Limit {
	key := partialKey{l, e.test.Method == MethodTotal}
	if l == nil || !key.totalAlone && !e.noInterval {
		return l
	}
	part, known := e.partial[key]
	if !known {
		some := *l
		some.MaxRateMLMin, some.MinRateMLMin, some.MaxVolumeML, some.IntervalS, some.MaxDifferenceMLMin = nil, nil, nil, nil, nil
		if key.totalAlone {
			some.MaxRatioToMedian, some.MaxRatioToMean, some.MaxRatioToLowest = nil, nil, nil
		} else {
			some.MaxTotalMLMin = nil
		}
		part = &some
		e.partial[key] = part
	}
	return part
}

// measure turns the readings into what is judged.
func (e *evaluation) measure() error {
	e.sequential, e.driftPerRun = false, math.NaN()
	e.lines, e.unmeasured, e.totals = e.lines[:0], false, e.totals[:0]
	runs := len(e.test.Runs)
	if runs == 0 {
		return errors.New("every run is left out: expected at least one that is evaluated")
	}
	switch {
	case e.noInterval && e.test.Method != MethodIndividual:
		return errors.New("an unknown interval: expected the length of every run, since a merged return is measured in mL/min")
	case e.test.Method == MethodBlockOff:
		err := e.solve()
		e.rule = newRule(e.all, runs, e.sheet.Measurement)
		return err
	case e.test.Method == MethodTotal:
		err := e.collectTotals()
		e.rule = e.totalRule()
		return err
	}
	e.collect(e.numbers)
	e.rule = newRule(e.all, runs, e.sheet.Measurement)
	return e.removeDrift()
}

// cylinderNumbers lists the engine's cylinders as far as anyone named them:
// the sheet, the entry, else the readings and what was blocked. A merged return
// alone has none.
func (e *evaluation) cylinderNumbers() error {
	e.numbers = e.numbers[:0]
	count, err := e.namedCount()
	if err != nil {
		return err
	}
	var seen [limits.MostCylinders + 1]bool
	highest, err := e.readCylinders(count, &seen)
	switch {
	case err != nil || e.entered.Method == MethodTotal:
		return err
	case count == 0 && e.entered.Method == MethodBlockOff:
		if count = e.blockedCount(); count == 0 {
			return errors.New("no run blocks a cylinder: expected runs with one or more blocked")
		}
	}
	for c := 1; c <= max(count, highest); c++ {
		if count > 0 || seen[c] {
			e.numbers = append(e.numbers, c)
		}
	}
	return nil
}

// namedCount is the number of cylinders that sheet or entry name; 0 where
// neither does.
func (e *evaluation) namedCount() (int, error) {
	named, sheet := e.entered.Cylinders, e.sheet
	if named > 0 && sheet.Cylinders > 0 && named != sheet.Cylinders {
		return 0, fmt.Errorf("%d cylinders were named, the limits sheet %s is for %d", named, sheet.Name, sheet.Cylinders)
	}
	return max(named, sheet.Cylinders), nil
}

// readCylinders notes whose returns were read and gives the highest number.
func (e *evaluation) readCylinders(count int, seen *[limits.MostCylinders + 1]bool) (highest int, err error) {
	if e.entered.Method != MethodIndividual {
		return 0, nil
	}
	for i := range e.entered.Runs {
		run := &e.entered.Runs[i]
		for k := range run.Readings {
			c := run.Readings[k].Cylinder
			if c < 1 || c > limits.MostCylinders || count > 0 && c > count {
				return 0, fmt.Errorf("cylinder %d: expected a number from 1 to %d, as the engine has", c, max(count, 1))
			}
			seen[c] = true
			highest = max(highest, c)
		}
	}
	return highest, nil
}

// blockedCount is the number of cylinders that the sheet's return lines have,
// or the highest that was blocked.
func (e *evaluation) blockedCount() (highest int) {
	for i := range e.sheet.ReturnLines {
		highest = max(highest, slices.Max(e.sheet.ReturnLines[i].Cylinders))
	}
	for i := range e.entered.Runs {
		for _, c := range e.entered.Runs[i].Blocked {
			highest = max(highest, c)
		}
	}
	return highest
}

// start fills in all that is measured, before anything is judged.
func (e *evaluation) start() {
	n := len(e.all)
	cylinders, findings := resized(e.res.Cylinders, n), append(e.res.Findings[:0], e.guard.findings...)
	e.res = Result{
		Test: e.entered, Sheet: e.sheet, Limit: e.limit,
		IntervalS:   commonInterval(e.test),
		MedianMLMin: e.set.medianMLMin, TotalMLMin: math.NaN(), Total: emptyBudget(),
		Agreeing: e.set.size, ConsensusMLMin: e.set.reference, BoundsSway: e.set.sways,
		Findings: findings, Notes: e.guard.notes,
		Cylinders: cylinders, DriftPerRun: e.driftPerRun,
	}
	e.at = resized(e.at, n)
	for i := range e.all {
		s, at := &e.all[i], &e.set.at[i]
		e.at[i] = judged{}
		cylinders[i] = Cylinder{
			Cylinder: s.cylinder, RateMLMin: s.rateMLMin, Bound: s.bound,
			Budget:           e.rule.budget(s),
			RatioToMedian:    s.rateMLMin / e.set.medianMLMin,
			RatioToConsensus: at.ratio, Z: at.z, BitingRatio: at.bites,
			ProbabilityOver: math.NaN(), Findings: cylinders[i].Findings[:0],
		}
	}
	if e.noInterval {
		e.withoutRates()
	}
	e.res.LeftOut = e.leftOut()
	if e.test.Method == MethodBlockOff {
		e.res.BlockOff = e.blockOff()
	}
	if !e.full {
		return
	}
	if sum, b, plain := e.sumOf(); plain && !e.noInterval {
		e.res.TotalMLMin, e.res.Total = sum.low, b
	}
	e.notes()
}

// withoutRates takes away what an unknown interval cannot give.
func (e *evaluation) withoutRates() {
	nan := math.NaN()
	e.res.IntervalS, e.res.MedianMLMin, e.res.ConsensusMLMin = nan, nan, nan
	for i := range e.res.Cylinders {
		e.res.Cylinders[i].RateMLMin, e.res.Cylinders[i].Budget = nan, emptyBudget()
	}
}
