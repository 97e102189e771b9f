package report

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
)

// keys lists the keys of every object in the order written, as paths.
func keys(t *testing.T, text string) []string {
	t.Helper()
	dec := json.NewDecoder(strings.NewReader(text))
	var list []string
	var walk func(path string)
	walk = func(path string) {
		token, err := dec.Token()
		require.NoError(t, err)
		switch token {
		case json.Delim('{'):
			for dec.More() {
				key, err := dec.Token()
				require.NoError(t, err)
				list = append(list, path+key.(string))
				walk(path + key.(string) + ".")
			}
			_, _ = dec.Token()
		case json.Delim('['):
			for dec.More() {
				walk(path)
			}
			_, _ = dec.Token()
		}
	}
	walk("")
	return list
}

// The names and their order are a contract with other programs.
func TestJSONContract(t *testing.T) {
	r := sampleResult(maximum(40), bad(58, leakback.Undecided, leakback.CloseToLimit))
	r.Findings = []leakback.Finding{{Code: leakback.FewCylinders, Text: "t"}}
	r.Settle = &leakback.Settle{Action: leakback.Repeat, Text: "t"}
	r.Cylinders[0].Settle = r.Settle
	r.Applied = []leakback.Applied{{What: "max_rate_ml_min", Value: 40, Source: "s"}}
	var out bytes.Buffer
	require.NoError(t, JSON(&out, r))
	assert.Equal(t, strings.Fields(`
		test_id condition method interval_s runs median_ml_min total_ml_min verdict
		findings findings.code findings.text
		settle settle.action settle.collect_s settle.runs settle.tube_ml settle.graduation_ml settle.text
		limits limits.name limits.source limits.applied
		limits.applied.what limits.applied.value limits.applied.source
		cylinders cylinders.cylinder cylinders.rate_ml_min cylinders.rate_bound
		cylinders.standard_uncertainty_ml_min cylinders.ratio_to_median cylinders.ratio_to_consensus
		cylinders.probability_over cylinders.verdict
		cylinders.findings cylinders.findings.code cylinders.findings.text
		cylinders.settle cylinders.settle.action cylinders.settle.collect_s cylinders.settle.runs
		cylinders.settle.tube_ml cylinders.settle.graduation_ml cylinders.settle.text`), keys(t, out.String()))
}

func decoded(t *testing.T, r *leakback.Result) map[string]any {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, JSON(&out, r))
	require.Equal(t, 1, strings.Count(out.String(), "\n"), "one line")
	var v map[string]any
	require.NoError(t, json.Unmarshal(out.Bytes(), &v))
	return v
}

func TestJSONNullsAndBounds(t *testing.T) {
	nan := math.NaN()
	r := sampleResult(nil, sample{rate: 100, bound: leakback.AtLeast}, sample{rate: 1, bound: leakback.AtMost},
		unread(), good(1.0/3))
	r.Test.Condition, r.IntervalS, r.MedianMLMin = "", nan, nan
	r.Cylinders[0].Settle = &leakback.Settle{Action: leakback.LargerTube, CollectS: 30, TubeML: 200, GraduationML: nan, Text: "t"}
	v := decoded(t, r)
	for _, key := range []string{"condition", "interval_s", "median_ml_min", "total_ml_min", "settle"} {
		assert.Contains(t, v, key)
		assert.Nil(t, v[key], key)
	}
	assert.Equal(t, []any{}, v["findings"])
	limits := v["limits"].(map[string]any)
	assert.Equal(t, "assumed", limits["source"], "without a limit, the source of [set]")
	assert.Equal(t, []any{}, limits["applied"])
	cylinder := func(i int) map[string]any { return v["cylinders"].([]any)[i].(map[string]any) }
	assert.Equal(t, ">=", cylinder(0)["rate_bound"])
	assert.Equal(t, 100.0, cylinder(0)["rate_ml_min"])
	assert.Nil(t, cylinder(0)["standard_uncertainty_ml_min"])
	assert.Equal(t, map[string]any{"action": "larger-tube", "collect_s": 30.0, "runs": nil, "tube_ml": 200.0,
		"graduation_ml": nil, "text": "t"}, cylinder(0)["settle"])
	assert.Equal(t, "<=", cylinder(1)["rate_bound"])
	assert.Nil(t, cylinder(2)["rate_ml_min"])
	assert.Equal(t, "unread", cylinder(2)["verdict"])
	assert.Nil(t, cylinder(3)["rate_bound"])
	assert.Equal(t, 1.0/3, cylinder(3)["rate_ml_min"], "every digit")
}

func TestJSONSourceOfTheLimit(t *testing.T) {
	limits := decoded(t, sampleResult(maximum(40), good(22)))["limits"].(map[string]any)
	assert.Equal(t, "invented service information", limits["source"])
	assert.Equal(t, "Bay sheet", limits["name"])
}

func TestJSONEscapesNoHTML(t *testing.T) {
	r := sampleResult(nil, good(22))
	r.Findings = []leakback.Finding{{Code: leakback.FewCylinders, Text: "q - U > L & so <on>"}}
	var out bytes.Buffer
	require.NoError(t, JSON(&out, r))
	assert.Contains(t, out.String(), `"q - U > L & so <on>"`)
}
