package report

import (
	"math"

	"leakback/leakback"
	"leakback/leakback/repair"
	"leakback/limits"
	"leakback/stats"
)

// RepairPage is everything the report of a repair shows: two or more tests of
// one engine side by side, and what was done between them; command puts it
// together.
type RepairPage struct {
	// Comparison holds the tests against one another, and the answer.
	Comparison *repair.Comparison
	// Tests are the pages of the comparison's sides, in their order: each with its
	// result, its job, its record where it comes from a logbook, and its digest.
	// What the repair as a whole says stands below, and not there.
	Tests []*Page
	// Tightening are the steps of the limits sheet that the work is held against;
	// none where the sheet has none.
	Tightening []limits.Step
	// Advice is what to look at next, in order, each a sentence or two.
	Advice []string
	// NotSeen says what a test does not see, each a sentence.
	NotSeen []string
	// Cautions are the usual cautions, each a sentence or two.
	Cautions []string
	// CautionLine is the one line that stands under every table.
	CautionLine string
	// Version is the program's version.
	Version string
}

// last is the page of the last test, which says most of the engine and the job.
func (p *RepairPage) last() *Page { return p.Tests[len(p.Tests)-1] }

// pairs are the comparisons to be shown: each step, then the whole where that is
// not the only one.
func (p *RepairPage) pairs() []*repair.Pair {
	var list []*repair.Pair
	for i := range p.Comparison.Steps {
		list = append(list, &p.Comparison.Steps[i])
	}
	if len(list) > 1 {
		list = append(list, p.Comparison.Whole)
	}
	return list
}

// label is what people call a side.
func (p *RepairPage) label(side int) string { return p.Comparison.Sides[side].Label }

// job is the repair's job: that of the last test, and what only an earlier one
// has written down.
func (p *RepairPage) job() leakback.Job {
	job := p.last().Job
	for i := len(p.Tests) - 2; i >= 0; i-- {
		for _, name := range leakback.JobFields() {
			if to := job.Field(name); *to == "" && name != leakback.FieldTested {
				*to = *p.Tests[i].Job.Field(name)
			}
		}
	}
	return job
}

// expanded is the two-sided expanded uncertainty of a change at 95 %; NaN where
// it has none.
func expanded(s repair.Shift) float64 {
	if s.Bound != leakback.Exact || math.IsNaN(s.Value) {
		return math.NaN()
	}
	return stats.Difference{Value: s.Value, U: s.U, DoF: s.DoF}.Expanded(repair.Likely)
}
