package flow

import (
	"math"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/stats"
)

// table draws the verdicts so far; nil where there is nothing to draw.
func (f *Flow) table() func(width int) string {
	result, err := f.Result()
	if err != nil || f.o.Table == nil {
		return nil
	}
	return func(width int) string { return f.o.Table(result, width) }
}

// board is what has been read of a run, for bars; nil where nothing has.
func (f *Flow) board(k int) *ask.Board {
	if !f.readIn(k) {
		return nil
	}
	b := &ask.Board{LimitMLMin: math.NaN(), MedianMLMin: math.NaN()}
	var rates []float64
	for _, o := range f.shown(k) {
		bar := f.bar(f.runOf(k, o), o)
		if !math.IsNaN(bar.RateMLMin) {
			rates = append(rates, bar.RateMLMin)
		}
		b.Bars = append(b.Bars, bar)
	}
	if f.method() != leakback.MethodIndividual {
		return b
	}
	if limit, ok := f.limit().MaxMLMin(); ok {
		b.LimitMLMin = limit
	}
	if len(rates) > 1 {
		b.MedianMLMin = stats.Median(rates)
	}
	return b
}

// shown are the outlets of a board: with one tube those of all runs.
func (f *Flow) shown(k int) []outlet {
	if !f.oneTube() {
		return f.outlets(k)
	}
	var all []outlet
	for _, c := range f.order() {
		all = append(all, outlet{cylinder: c})
	}
	return all
}

// runOf is the last run up to k in which an outlet was read, or k.
func (f *Flow) runOf(k int, o outlet) int {
	for j := k; j > 0; j-- {
		if _, read := f.read(j, o); read {
			return j
		}
	}
	return k
}

// testOf is the run as its readings make it; nil where they make none.
func (f *Flow) testOf(k int) *leakback.Run {
	result, err := f.Result()
	if err != nil {
		return nil
	}
	for i := range result.Test.Runs {
		if result.Test.Runs[i].Number == k {
			return &result.Test.Runs[i]
		}
	}
	return nil
}

// bar is one outlet of a run.
func (f *Flow) bar(k int, o outlet) ask.Bar {
	bar := ask.Bar{Cylinder: o.cylinder, RateMLMin: math.NaN()}
	e, read := f.read(k, o)
	if !read {
		return bar
	}
	bar.Label = levelText(e.Field, e.Value)
	run := f.testOf(k)
	if run == nil {
		return bar
	}
	for _, rd := range run.Readings {
		if rd.Cylinder == o.cylinder && (o.cylinder > 0 || rd.ReturnLine == o.line) && rd.Read() {
			bar.RateMLMin, bar.AtLeast = 60*(rd.VolumeML-rd.StartML)/run.IntervalS, rd.Bound == leakback.AtLeast
		}
	}
	f.judge(&bar)
	return bar
}

// judge says what is known of a cylinder already. While others are still to be
// read only what stands out is said.
func (f *Flow) judge(bar *ask.Bar) {
	result, err := f.Result()
	if err != nil || bar.Cylinder == 0 {
		return
	}
	for i := range result.Cylinders {
		c := &result.Cylinders[i]
		if c.Cylinder != bar.Cylinder {
			continue
		}
		bar.Flagged = c.Verdict == leakback.Fail || c.Has(leakback.HighInSet) || c.Has(leakback.CloseInSet)
		if f.complete(result) {
			bar.Verdict = c.Verdict.String()
		}
	}
}

// complete says that every cylinder was read, or is not going to be.
func (f *Flow) complete(result *leakback.Result) bool {
	for i := range result.Cylinders {
		if result.Cylinders[i].Verdict != leakback.Unread {
			continue
		}
		o := outlet{cylinder: result.Cylinders[i].Cylinder}
		if _, asked := f.read(f.runOf(f.lastRun(), o), o); !asked {
			return false
		}
	}
	return true
}
