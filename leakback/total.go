package leakback

import (
	"fmt"
	"math"
	"slices"

	"leakback/limits"
	"leakback/stats"
)

// collectTotals gathers the merged return of each line over the runs, for a
// test in which nothing was blocked.
func (e *evaluation) collectTotals() error {
	lines, err := e.returnLines()
	if err != nil {
		return err
	}
	e.all = e.all[:0]
	e.totals = resized(e.totals, len(lines))
	for l := range lines {
		var parts []part
		for k := range e.test.Runs {
			run := &e.test.Runs[k]
			for j := range run.Readings {
				if r := &run.Readings[j]; sameLine(r.ReturnLine, lines[l].Name) && r.Read() {
					parts = append(parts, newPart(k, run, r, &e.sheet.Measurement))
				}
			}
		}
		e.totals[l] = series{parts: parts}
		e.totals[l].average()
	}
	return nil
}

// sumOf adds up what is known of the whole return. Members that were not read
// can only add to it; the uncertainty is that of the plain ones, and plain says
// that all of them are.
func (e *evaluation) sumOf() (sum span, b Budget, plain bool) {
	if e.test.Method == MethodBlockOff {
		return e.mergedSum()
	}
	var room [few]float64
	t := tally{rates: room[:0]}
	all := e.all
	if e.test.Method == MethodTotal {
		all = e.totals
	}
	for i := range all {
		s := &all[i]
		one := s.spanMLMin()
		sum.low, sum.high = sum.low+one.low, sum.high+one.high
		if !s.readable() || s.bound != Exact {
			continue
		}
		if e.test.Method == MethodTotal {
			own := e.rule.budget(s)
			t.add(&e.rule, s, &own, 1)
		} else {
			t.add(&e.rule, s, &e.res.Cylinders[i].Budget, 1)
		}
	}
	if t.count == 0 {
		return sum, Budget{}, false
	}
	return sum, t.budget(&e.rule), t.count == len(all)
}

// mergedSum is the whole return as the lines measured it; a line that was not
// measured can only add to it.
func (e *evaluation) mergedSum() (sum span, b Budget, plain bool) {
	total, b := e.mergedTotal()
	sum = span{total, total}
	if e.unmeasured {
		sum.high = math.Inf(1)
	}
	if len(e.lines) == 0 {
		return sum, Budget{}, false
	}
	return sum, b, !e.unmeasured
}

// judgeTotalAlone is for the merged return alone: only its limit is held
// against it, and without one nothing is decided.
func (e *evaluation) judgeTotalAlone(match limits.Match) {
	if !slices.ContainsFunc(e.totals, func(s series) bool { return s.readable() }) {
		e.res.Verdict = Unread
		return
	}
	if e.limit != nil && e.limit.MaxTotalMLMin != nil {
		e.judgeTotal(*e.limit.MaxTotalMLMin)
		return
	}
	e.res.Verdict = Undecided
	e.findTest(NoAbsoluteLimit, func() string {
		why := clause(match.Reason)
		if why == "" {
			why = "the limit for this condition names no total"
		}
		return fmt.Sprintf("no maker's limit of the total was applied (%s), and a total alone identifies no cylinder", why)
	})
}

// totalRule is the rule for totals: what a run does to its lines is common to
// those that were read in the same runs.
func (e *evaluation) totalRule() rule {
	m := &e.sheet.Measurement
	return rule{
		rep:    repeatability{CV: m.RepeatabilityCV, DoF: stats.AssumedDoF, SheetCV: m.RepeatabilityCV},
		common: m.CommonCV, shared: shared(e.totals),
	}
}
