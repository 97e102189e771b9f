package report

import (
	"math"

	"leakback/leakback"
	"leakback/limits"
)

// sample is a cylinder of a result made by hand.
type sample struct {
	rate, expanded float64
	bound          leakback.Bound
	verdict        leakback.Verdict
	codes          []leakback.Code
}

// sampleResult is a result made by hand: an invented engine, one run of 60 s.
func sampleResult(limit *limits.Limit, samples ...sample) *leakback.Result {
	nan := math.NaN()
	r := &leakback.Result{
		Test: &leakback.Test{
			ID: "sample", Engine: "Northmoor Six-90", Condition: "idle", Method: leakback.MethodIndividual,
			Runs: []leakback.Run{{Number: 1, IntervalS: 60, State: leakback.UnknownState()}},
		},
		Sheet:     &limits.Sheet{Name: "Bay sheet", Set: limits.Set{Source: "assumed"}},
		Limit:     limit,
		IntervalS: 60, MedianMLMin: 22, TotalMLMin: nan,
		Total:     leakback.Budget{ExpandedMLMin: nan},
		Cylinders: make([]leakback.Cylinder, len(samples)), DriftPerRun: nan,
	}
	for i, s := range samples {
		c := leakback.Cylinder{
			Cylinder: i + 1, RateMLMin: s.rate, Bound: s.bound, Verdict: s.verdict,
			RatioToMedian: s.rate / 22, RatioToConsensus: s.rate / 22, Z: nan, ProbabilityOver: nan,
			Budget: leakback.Budget{StandardMLMin: s.expanded / 1.7, ExpandedMLMin: s.expanded},
		}
		if s.expanded == 0 {
			c.Budget.StandardMLMin, c.Budget.ExpandedMLMin = nan, nan
		}
		for _, code := range s.codes {
			c.Findings = append(c.Findings, leakback.Finding{Code: code, Text: "text of " + string(code)})
		}
		r.Cylinders[i] = c
		r.Verdict = max(r.Verdict, s.verdict)
	}
	return r
}

// good is a cylinder that passes.
func good(rate float64) sample { return sample{rate: rate, expanded: 1.6} }

func bad(rate float64, v leakback.Verdict, codes ...leakback.Code) sample {
	return sample{rate: rate, expanded: 3.1, verdict: v, codes: codes}
}

func unread() sample { return sample{rate: math.NaN(), verdict: leakback.Unread} }

// maximum is a limit of one cylinder.
func maximum(rate float64) *limits.Limit {
	return &limits.Limit{Condition: "idle", MaxRateMLMin: &rate, Source: "invented service information"}
}

func samplePage(r *leakback.Result) *Page {
	return &Page{
		Result:      r,
		Advice:      []string{"Look here first.", "Then look there."},
		NotSeen:     []string{"It does not see everything."},
		CautionLine: "Never feel for a leak by hand.",
	}
}
