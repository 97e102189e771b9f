package report

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/limits"
	"leakback/report/formula"
)

// worked is the book of a case with its formulas evaluated, and its result.
func worked(t *testing.T, c variedCase) (*book, *leakback.Result) {
	t.Helper()
	r, err := leakback.Evaluate(c.test, c.sheet)
	require.NoError(t, err, c.name)
	b := newBook()
	t.Cleanup(func() { assert.NoError(t, b.file.Close()) })
	p := &Page{Result: r}
	require.NoError(t, b.sheets(sheetReport, sheetReadings, sheetWorking, sheetLimits, sheetMethod))
	b.readings(p)
	b.limits(p)
	b.working(p)
	require.NoError(t, b.err, c.name)
	return b, r
}

// same asserts that a cell holds a figure of the program, to 1e-9 relative.
func same(t *testing.T, want float64, got formula.Value, where ...any) {
	t.Helper()
	if math.IsNaN(want) {
		assert.NotEqual(t, formula.Number, got.Kind, where...)
		assert.NotEqual(t, formula.Fault, got.Kind, where...)
		return
	}
	if !assert.Equal(t, formula.Number, got.Kind, where...) {
		return
	}
	assert.InDelta(t, want, got.Number, 1e-9*math.Abs(want)+1e-11, where...)
}

// The values that formulas give are the program's, for tests of every kind.
func TestWorkingIsTheProgram(t *testing.T) {
	for _, c := range append(specialCases(), variedCases(231, 1)...) {
		b, r := worked(t, c)
		if plainNumbers(t, c.name, b.names, r) {
			continue
		}
		sameCylinders(t, c.name, b.names, r)
		sameTest(t, c.name, b.names, r)
		if t.Failed() {
			t.Fatalf("%s: %+v\n%+v", c.name, *c.test, c.sheet.Limits)
		}
	}
}

// plainNumbers says that bounds sway the set, and requires that no formula decides
// then.
func plainNumbers(t *testing.T, name string, n *formula.Names, r *leakback.Result) bool {
	t.Helper()
	if r.BoundsSway {
		assert.Nil(t, n.Values("verdict", "verdict"), name)
	}
	return r.BoundsSway
}

func sameCylinders(t *testing.T, name string, n *formula.Names, r *leakback.Result) {
	t.Helper()
	for i := range r.Cylinders {
		c := &r.Cylinders[i]
		where := fmt.Sprintf("%s, cylinder %d", name, c.Cylinder)
		at := func(table, column string) formula.Value {
			values := n.Values(table, column)
			if values == nil {
				return formula.Value{}
			}
			return values[i]
		}
		for column, want := range map[string]float64{"reading": c.Budget.ReadingMLMin, "tube": c.Budget.TubeMLMin,
			"repeat": c.Budget.RepeatabilityMLMin, "timing": c.Budget.TimingMLMin, "common": c.Budget.CommonMLMin,
			"standard": c.Budget.StandardMLMin, "dof": c.Budget.DoF, "expanded": c.Budget.ExpandedMLMin} {
			if want == 0 && n.Values("budget", column) == nil {
				continue // a share has no such part
			}
			if !math.IsNaN(want) || (column == "standard" || column == "expanded") && timed(r) {
				same(t, want, at("budget", column), where, column)
			}
		}
		if timed(r) {
			same(t, c.RateMLMin, at("mean", "rate"), where, "rate")
		}
		same(t, c.RatioToMedian, at("ratio", "median"), where, "ratio to median")
		same(t, c.RatioToConsensus, at("places", "ratio"), where, "ratio to consensus")
		same(t, c.BitingRatio, at("places", "biting"), where, "biting ratio")
		same(t, c.Z, at("places", "z"), where, "z")
		same(t, c.ProbabilityOver, at("rates", "probability"), where, "probability")
		assert.Equal(t, c.Verdict.String(), at("verdict", "verdict").Text, where)
		assert.Equal(t, string(appendCodes(nil, c.Findings)), at("verdict", "findings").Text, where)
	}
}

// timed says whether the length of the collection is known; without it the
// working has volumes where the program has no rate.
func timed(r *leakback.Result) bool { return !math.IsNaN(r.Test.Runs[0].IntervalS) }

func sameTest(t *testing.T, name string, n *formula.Names, r *leakback.Result) {
	t.Helper()
	if timed(r) {
		same(t, r.MedianMLMin, n.Value("shown_median"), name, "median")
		same(t, r.TotalMLMin, n.Value("total_rate"), name, "total")
		same(t, r.Total.ExpandedMLMin, n.Value("total_shown"), name, "U of the total")
	}
	if len(r.Cylinders) >= fewestCompared {
		same(t, float64(r.Agreeing), n.Value("agreeing_count"), name, "agreeing")
	}
	if len(r.Cylinders) >= fewestCompared && timed(r) {
		same(t, r.ConsensusMLMin, n.Value("compared_rate"), name, "consensus")
	}
	if !math.IsNaN(r.DriftPerRun) {
		same(t, math.Log1p(r.DriftPerRun), n.Value("drift_step"), name, "drift")
	}
	assert.Equal(t, r.Verdict.String(), n.Value("test_verdict").Text, name)
	assert.Equal(t, string(appendCodes(nil, r.Findings)), n.Value("test_findings").Text, name)
	assert.Equal(t, formula.Num(1), n.Value("still_same"), name)
	assert.Equal(t, formula.Num(0), n.Value("entries_wrong"), name)
}

// A cut between readings that are equal to 6 decimals is not among the candidates.
func TestEqualsAreNotParted(t *testing.T) {
	b, _ := worked(t, typedCase("equals", limits.Builtin(), "20 34 20 21 34 20")) // in order: 20 20 20 | 21 | 34 34
	allowed := map[split]bool{}
	for i, s := range splits(6) {
		if b.names.Values("cand", "allowed")[i].Number == 1 {
			allowed[s] = true
		}
	}
	assert.Equal(t, map[split]bool{{0, 0}: true, {2, 0}: true, {3, 0}: true, {0, 3}: true}, allowed)
}
