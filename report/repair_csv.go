package report

import (
	"io"
	"math"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/leakback/repair"
)

// repairColumns are the names and their order that other programs read. A row is
// a cylinder in two tests, and cylinder 0 the whole return. change is after less
// before; level is 0.95, 0.99 or 0 (no more than noise); decided_by is rate or
// ratio, and nothing where there is no change to tell; direction is -1, 0 or 1,
// and nothing there and where it depends on the exponent m. The three rates at the
// earlier test's fuel temperature are for m of 0, a half and 1, and stand only
// where the temperatures lie apart.
var repairColumns = []struct {
	name string
	text func(*repairRow) string
}{
	{"from_test", func(r *repairRow) string { return neutral(r.page.label(r.pair.From)) }},
	{"to_test", func(r *repairRow) string { return neutral(r.page.label(r.pair.To)) }},
	{"cylinder", func(r *repairRow) string { return strconv.Itoa(r.change.Cylinder) }},
	{"rate_before_ml_min", fromRow(func(c *repair.Change) float64 { return c.Before.RateMLMin })},
	{"rate_before_bound", func(r *repairRow) string { return boundIf(r.change.Before.RateMLMin, r.change.Before.Bound) }},
	{"standard_uncertainty_before_ml_min", fromRow(func(c *repair.Change) float64 { return c.Before.UMLMin })},
	{"rate_after_ml_min", fromRow(func(c *repair.Change) float64 { return c.After.RateMLMin })},
	{"rate_after_bound", func(r *repairRow) string { return boundIf(r.change.After.RateMLMin, r.change.After.Bound) }},
	{"standard_uncertainty_after_ml_min", fromRow(func(c *repair.Change) float64 { return c.After.UMLMin })},
	{"change_ml_min", fromRow(func(c *repair.Change) float64 { return c.Rate.Value })},
	{"change_bound", func(r *repairRow) string { return boundIf(r.change.Rate.Value, r.change.Rate.Bound) }},
	{"change_standard_uncertainty_ml_min", fromRow(func(c *repair.Change) float64 { return ofExact(c.Rate, c.Rate.U) })},
	{"change_degrees_of_freedom", fromRow(func(c *repair.Change) float64 { return ofExact(c.Rate, c.Rate.DoF) })},
	{"change_t", fromRow(func(c *repair.Change) float64 { return c.Rate.T })},
	{"change_p", fromRow(func(c *repair.Change) float64 { return c.Rate.P })},
	{"change_expanded_ml_min", fromRow(func(c *repair.Change) float64 { return expanded(c.Rate) })},
	{"ratio_to_consensus_before", fromRow(func(c *repair.Change) float64 { return c.Before.RatioToConsensus })},
	{"ratio_to_consensus_after", fromRow(func(c *repair.Change) float64 { return c.After.RatioToConsensus })},
	{"ratio_change", fromRow(func(c *repair.Change) float64 { return c.Ratio.Value })},
	{"ratio_change_standard_uncertainty", fromRow(func(c *repair.Change) float64 { return ofExact(c.Ratio, c.Ratio.U) })},
	{"decided_by", func(r *repairRow) string { return decidedBy(r.change) }},
	{"direction", func(r *repairRow) string { return number64(directionOf(r.change)) }},
	{"level", fromRow(func(c *repair.Change) float64 { return levelOf(c) })},
	{"rate_after_m0_ml_min", fromRange(func(r *repair.Range) float64 { return r.Zero.RateMLMin })},
	{"rate_after_m_half_ml_min", fromRange(func(r *repair.Range) float64 { return r.Half.RateMLMin })},
	{"rate_after_m1_ml_min", fromRange(func(r *repair.Range) float64 { return r.One.RateMLMin })},
	{"verdict_before", func(r *repairRow) string { return verdictThere(r.change, &r.change.Before) }},
	{"verdict_after", func(r *repairRow) string { return verdictThere(r.change, &r.change.After) }},
	{"work", func(r *repairRow) string { return neutral(r.work()) }},
	{"answer", func(r *repairRow) string { return string(r.pair.Answer) }},
	{"comparable", func(r *repairRow) string { return strconv.FormatBool(r.pair.Comparable) }},
	{"complaint_gone", func(r *repairRow) string { return neutral(r.page.Comparison.ComplaintGone) }},
}

// RepairCSV writes a repair as CSV (RFC 4180 with LF), a row a cylinder and one for
// the whole return of every pair of tests: each held against the one before it,
// then, of more than two, the last against the first. Figures have full precision;
// nothing stands for one that does not exist.
func RepairCSV(w io.Writer, p *RepairPage) error {
	var names []string
	for _, c := range repairColumns {
		names = append(names, c.name)
	}
	text := []byte(strings.Join(names, ",") + "\n")
	for _, pair := range p.pairs() {
		for i := range pair.Cylinders {
			text = appendRepairRow(text, &repairRow{p, pair, &pair.Cylinders[i]})
		}
		text = appendRepairRow(text, &repairRow{p, pair, &pair.Total})
	}
	_, err := w.Write(text)
	return err
}

// repairRow is a cylinder, or the whole return, in two tests.
type repairRow struct {
	page   *RepairPage
	pair   *repair.Pair
	change *repair.Change
}

func appendRepairRow(to []byte, r *repairRow) []byte {
	for i, c := range repairColumns {
		if i > 0 {
			to = append(to, ',')
		}
		to = appendField(to, c.text(r))
	}
	return append(to, '\n')
}

// work is what was done at the cylinder between the two tests.
func (r *repairRow) work() string {
	var texts []string
	for i := range r.pair.Work {
		for _, item := range r.pair.Work[i].Items() {
			if item.Cylinder == r.change.Cylinder {
				_, text, _ := strings.Cut(item.String(), ": ")
				texts = append(texts, text)
			}
		}
	}
	return strings.Join(texts, "; ")
}

func fromRow(of func(*repair.Change) float64) func(*repairRow) string {
	return func(r *repairRow) string { return number64(of(r.change)) }
}

func fromRange(of func(*repair.Range) float64) func(*repairRow) string {
	return func(r *repairRow) string {
		if r.change.Range == nil {
			return ""
		}
		return number64(of(r.change.Range))
	}
}

// number64 is a number with full precision; "" where there is none.
func number64(x float64) string { return string(appendNumber(nil, x)) }

// boundIf is the sign of a bound beside a figure that exists.
func boundIf(x float64, b leakback.Bound) string {
	if math.IsNaN(x) {
		return ""
	}
	return b.String()
}

// ofExact is a figure of a change that is no bound; NaN for one that is.
func ofExact(s repair.Shift, x float64) float64 {
	if s.Bound != leakback.Exact {
		return math.NaN()
	}
	return x
}

// verdictThere is that of one of the two tests; "" for a whole return that was not
// measured, which nobody could have read.
func verdictThere(c *repair.Change, f *repair.Figures) string {
	if c.Cylinder == 0 && math.IsNaN(f.RateMLMin) {
		return ""
	}
	return f.Verdict.String()
}

// decidedBy says what tells a change: its rate or its ratio; "" where there is
// none to tell.
func decidedBy(c *repair.Change) string {
	switch {
	case !told(c):
		return ""
	case c.RatioCounts:
		return "ratio"
	}
	return "rate"
}

// told says whether there is a change to tell.
func told(c *repair.Change) bool {
	if c.RatioCounts {
		return !math.IsNaN(c.Ratio.Value)
	}
	return !math.IsNaN(c.Rate.Value)
}

// directionOf is -1, 0 or +1; NaN where there is no change to tell, or it depends
// on the exponent.
func directionOf(c *repair.Change) float64 {
	direction, settled := c.Direction()
	if !told(c) || !settled {
		return math.NaN()
	}
	return float64(direction)
}

// levelOf is 0.95, 0.99 or 0; NaN where there is no change to tell.
func levelOf(c *repair.Change) float64 {
	if !told(c) {
		return math.NaN()
	}
	return c.Level()
}
