package leakback_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leakback/leakback"
	"leakback/limits"
	"leakback/report"
)

// The names that other programs read, in the words of the file contracts.
var contract = map[string]string{
	"test": "test_id condition method interval_s runs median_ml_min total_ml_min verdict findings settle limits cylinders",
	"cylinder": "cylinder rate_ml_min rate_bound standard_uncertainty_ml_min ratio_to_median ratio_to_consensus " +
		"probability_over verdict findings settle",
	"settle":    "action collect_s runs tube_ml graduation_ml text",
	"finding":   "code text",
	"limits":    "name source applied",
	"applied":   "what value source",
	"block_off": "not_adding_up_ml_min sd sigma dof drift_ml_min_per_run left_out",
	"csv": "test_id cylinder rate_ml_min standard_uncertainty_ml_min ratio_to_median verdict findings test_verdict " +
		"test_findings rate_bound",
}

var badness = []any{"pass", "unread", "undecided", "fail"}

// object is a JSON object with the names of its kind and no others.
func object(t *rapid.T, kind string, value any) map[string]any {
	t.Helper()
	o, ok := value.(map[string]any)
	require.True(t, ok, "%s: %v", kind, value)
	require.ElementsMatch(t, strings.Fields(contract[kind]), slices.Collect(maps.Keys(o)), kind)
	return o
}

func list(t *rapid.T, value any) []any {
	t.Helper()
	l, ok := value.([]any)
	require.True(t, ok, "expected a list, which may be empty: %v", value)
	return l
}

// requireFigure holds a JSON or CSV figure against the result's: the very same
// number, and nothing where there is none.
func requireFigure(t *rapid.T, want float64, got any) {
	t.Helper()
	if text, ok := got.(string); ok {
		got = nil
		if x, err := strconv.ParseFloat(text, 64); err == nil {
			got = x
		} else {
			require.Empty(t, text)
		}
	}
	if math.IsNaN(want) || math.IsInf(want, 0) {
		require.Nil(t, got)
		return
	}
	require.Equal(t, want, got)
}

// Whatever is evaluated, both files for other programs keep their contract: the
// names, a number or nothing in every place, bounds without uncertainty, full
// precision, and verdicts that follow from one another.
func TestWrittenResultsKeepTheContract(t *testing.T) {
	drawn(t, maker.test, func(t *rapid.T, _ maker, test *leakback.Test, sheet *limits.Sheet) {
		r := judged(t, test, sheet)
		if r == nil {
			return
		}
		test.ID = rapid.SampledFrom([]string{"drawn", "a, b", `the "third"`, "7"}).Draw(t, "id")
		var out bytes.Buffer
		require.NoError(t, report.JSON(&out, r))
		require.Equal(t, 1, strings.Count(out.String(), "\n"), "one line a test")
		var value map[string]any
		require.NoError(t, json.Unmarshal(out.Bytes(), &value))
		requireBlockOff(t, r, value)
		o := object(t, "test", value)
		requireJSONTest(t, r, o)
		rows, err := csv.NewReader(strings.NewReader(report.CSVHeader() + string(report.AppendCSV(nil, r)))).ReadAll()
		require.NoError(t, err)
		requireCSV(t, r, o, rows)
	})
}

// requireBlockOff wants block_off with that method and no other, and takes it
// out.
func requireBlockOff(t *rapid.T, r *leakback.Result, value map[string]any) {
	t.Helper()
	shares, there := value["block_off"]
	require.Equal(t, r.Test.Method == leakback.MethodBlockOff, there)
	if !there {
		return
	}
	o := object(t, "block_off", shares)
	requireFigure(t, r.BlockOff.NotAddingUpMLMin, o["not_adding_up_ml_min"])
	requireFigure(t, r.BlockOff.SDMLMin, o["sd"])
	requireFigure(t, r.BlockOff.SigmaMLMin, o["sigma"])
	require.Len(t, list(t, o["left_out"]), len(r.LeftOut))
	delete(value, "block_off")
}

func requireJSONTest(t *rapid.T, r *leakback.Result, o map[string]any) {
	t.Helper()
	require.Equal(t, r.Test.ID, o["test_id"])
	require.Contains(t, []any{"individual", "block-off", "total"}, o["method"])
	requireFigure(t, r.IntervalS, o["interval_s"])
	requireFigure(t, r.MedianMLMin, o["median_ml_min"])
	requireFigure(t, r.TotalMLMin, o["total_ml_min"])
	requireFigure(t, float64(len(r.Test.Runs)-len(r.LeftOut)), o["runs"])
	requireJSONVerdict(t, o)
	lim := object(t, "limits", o["limits"])
	for _, a := range list(t, lim["applied"]) {
		require.IsType(t, 0.0, object(t, "applied", a)["value"])
	}
	all := list(t, o["cylinders"])
	require.Len(t, all, len(r.Cylinders))
	for i, c := range all {
		requireJSONCylinder(t, &r.Cylinders[i], object(t, "cylinder", c))
		require.LessOrEqual(t, slices.Index(badness, c.(map[string]any)["verdict"]), slices.Index(badness, o["verdict"]),
			"a test is as bad as its worst cylinder")
	}
}

func requireJSONVerdict(t *rapid.T, o map[string]any) {
	t.Helper()
	require.Contains(t, badness, o["verdict"])
	open := o["verdict"] == "undecided" || o["verdict"] == "unread"
	require.Equal(t, open, o["settle"] != nil)
	if open {
		object(t, "settle", o["settle"])
	}
	for _, f := range list(t, o["findings"]) {
		object(t, "finding", f)
	}
}

func requireJSONCylinder(t *rapid.T, c *leakback.Cylinder, o map[string]any) {
	t.Helper()
	requireJSONVerdict(t, o)
	require.Contains(t, []any{nil, ">=", "<="}, o["rate_bound"])
	requireFigure(t, float64(c.Cylinder), o["cylinder"])
	requireFigure(t, c.RateMLMin, o["rate_ml_min"])
	requireFigure(t, c.Budget.StandardMLMin, o["standard_uncertainty_ml_min"])
	requireFigure(t, c.RatioToMedian, o["ratio_to_median"])
	requireFigure(t, c.RatioToConsensus, o["ratio_to_consensus"])
	requireFigure(t, c.ProbabilityOver, o["probability_over"])
	plain := o["rate_bound"] == nil && o["rate_ml_min"] != nil
	require.Equal(t, plain, o["standard_uncertainty_ml_min"] != nil, "only a plain rate is uncertain: %v", o)
	if o["verdict"] == "unread" {
		require.Nil(t, o["rate_ml_min"])
		require.Nil(t, o["ratio_to_median"])
		require.Nil(t, o["rate_bound"])
	}
}

// requireCSV wants the rows to say what the JSON object says.
func requireCSV(t *rapid.T, r *leakback.Result, o map[string]any, rows [][]string) {
	t.Helper()
	require.Equal(t, strings.Fields(contract["csv"]), rows[0])
	require.Len(t, rows, 1+max(1, len(r.Cylinders)))
	for i, row := range rows[1:] {
		require.Equal(t, []string{r.Test.ID, o["verdict"].(string), joined(o["findings"])}, []string{row[0], row[7], row[8]})
		if len(r.Cylinders) == 0 {
			require.Equal(t, make([]string, 6), row[1:7])
			continue
		}
		c := list(t, o["cylinders"])[i].(map[string]any)
		for at, name := range map[int]string{1: "cylinder", 2: "rate_ml_min", 3: "standard_uncertainty_ml_min", 4: "ratio_to_median"} {
			want, ok := c[name].(float64)
			if !ok {
				want = math.NaN()
			}
			requireFigure(t, want, row[at])
		}
		bound, _ := c["rate_bound"].(string)
		require.Equal(t, []string{c["verdict"].(string), joined(c["findings"]), bound}, []string{row[5], row[6], row[9]})
	}
}

// joined are the codes of findings as the CSV has them.
func joined(findings any) string {
	var codes []string
	for _, f := range findings.([]any) {
		codes = append(codes, f.(map[string]any)["code"].(string))
	}
	return strings.Join(codes, ";")
}
