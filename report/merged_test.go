package report_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"regexp"
	"strings"
	"testing"

	"github.com/clipperhouse/displaywidth"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/limits"
	"leakback/report"
)

// gallery is a test of merged returns of an invented engine, a run of 30 s for
// each "blocked:volume".
func gallery(t *testing.T, runs string) *leakback.Test {
	t.Helper()
	test := &leakback.Test{ID: "gallery", Engine: "Northmoor Six-90", Condition: "idle", Injectors: limits.Driven,
		Method: leakback.MethodBlockOff}
	for i, word := range strings.Fields(runs) {
		blocked, volume, ok := strings.Cut(word, ":")
		require.True(t, ok)
		run := leakback.Run{Number: i + 1, IntervalS: 30, State: leakback.State{FuelTempC: 44, FuelTempAt: "return",
			RailPressureBar: 350, BackPressureBar: math.NaN(), EngineRPM: 700}}
		for c := range strings.SplitSeq(blocked, "+") {
			if n := 0; c != "" {
				_, err := fmt.Sscan(c, &n)
				require.NoError(t, err)
				run.Blocked = append(run.Blocked, n)
			}
		}
		rd := reading(t, 0, volume)
		rd.Tube.CapacityML = 250
		run.Readings = []leakback.Reading{rd}
		test.Runs = append(test.Runs, run)
	}
	return test
}

const (
	sound  = ":96 1:82 2:83 3:81 4:65 5:84 6:83 6:84 5:85 4:68 3:83 2:86 1:85 :99"
	valve  = ":126 1:112 2:113 3:111 4:113 5:114 6:113 6:114 5:115 4:116 3:113 2:116 1:115 :129"
	spills = ":96 1:82 2:83 3:60 4:65 5:84 6:83 6:84 5:85 4:68 3:83 2:86 1:85 :99"
)

// methodTests are a test of each way to measure, and the sheet to judge it by.
func methodTests(t *testing.T) map[string]struct {
	test  *leakback.Test
	sheet *limits.Sheet
} {
	out := gallery(t, spills)
	require.True(t, out.LeaveOut(4, "the hose slipped off"))
	alone := gallery(t, ":96 :98")
	alone.Method = leakback.MethodTotal
	total, most := baySheet(), 190.0
	total.Limits[0].MaxTotalMLMin = &most
	untimed := bayTest(t, typed{"21", "22,5", ">50", "22"})
	untimed.Runs[0].IntervalS = math.NaN()
	oneTube := bayTest(t, typed{"21"}, typed{"22"}, typed{"48"}, typed{"24"}, typed{"23"})
	for k := range oneTube.Runs {
		oneTube.Runs[k].Readings[0].Cylinder = []int{1, 2, 3, 4, 1}[k]
	}
	oneTube.Cylinders = 4
	once := bayTest(t, typed{"21"}, typed{"22"}, typed{"48"}, typed{"24"})
	for k := range once.Runs {
		once.Runs[k].Readings[0].Cylinder = k + 1
	}
	once.Cylinders = 4
	banks := limits.Builtin()
	banks.ReturnLines = []limits.ReturnLine{{Name: "left", Cylinders: []int{1, 2}}, {Name: "right", Cylinders: []int{3, 4}}}
	two := gallery(t, ":52 1:26 2:25 2:26 1:26 :52 :55 3:26 4:28 4:30 3:25 :56")
	for k := range two.Runs {
		two.Runs[k].Readings[0].ReturnLine = []string{"left", "right"}[k/6]
	}
	return map[string]struct {
		test  *leakback.Test
		sheet *limits.Sheet
	}{
		"block-off":           {gallery(t, sound), baySheet()},
		"block-off-valve":     {gallery(t, valve), baySheet()},
		"block-off-far-out":   {gallery(t, spills), limits.Builtin()},
		"block-off-left-out":  {out, limits.Builtin()},
		"block-off-two-banks": {two, banks},
		"total":               {alone, total},
		"total-without-limit": {alone, limits.Builtin()},
		"interval-unknown":    {untimed, limits.Builtin()},
		"one-tube":            {oneTube, limits.Builtin()},
		"one-tube-once":       {once, limits.Builtin()},
	}
}

// Read the difference of these before you renew them: they are what people see
// of each way to measure.
func TestGoldenMethods(t *testing.T) {
	for name, c := range methodTests(t) {
		t.Run(name, func(t *testing.T) {
			p := goldenPage(t, c.test, c.sheet)
			if c.test.Method == leakback.MethodBlockOff {
				p.MethodCaution = "Block only with caps rated for rail pressure, where the maker allows it."
			}
			var out bytes.Buffer
			require.NoError(t, report.Table(&out, p, report.TableOptions{Unicode: true}))
			golden(t, name+".txt", out.Bytes())
			for width := 20; width < 120; width += 7 {
				for _, o := range []report.TableOptions{{Width: width}, {Width: width, Unicode: true, Color: width%2 == 0}} {
					out.Reset()
					require.NoError(t, report.Table(&out, p, o))
					requireWidth(t, out.String(), o)
				}
			}
		})
	}
}

func requireWidth(t *testing.T, text string, o report.TableOptions) {
	t.Helper()
	for line := range strings.SplitSeq(text, "\n") {
		if o.Color {
			line = escapes.ReplaceAllString(line, "")
		}
		require.LessOrEqual(t, displaywidth.String(line), o.Width, line)
		if !o.Unicode {
			require.NotRegexp(t, `[^\n -~]`, line)
		}
	}
}

// The names and their order are a contract with other programs; other methods
// have no block_off at all.
func TestJSONBlockOff(t *testing.T) {
	all := methodTests(t)
	object := func(name string) map[string]json.RawMessage {
		c := all[name]
		r, err := leakback.Evaluate(c.test, c.sheet)
		require.NoError(t, err)
		var out bytes.Buffer
		require.NoError(t, report.JSON(&out, r))
		var v map[string]json.RawMessage
		require.NoError(t, json.Unmarshal(out.Bytes(), &v))
		return v
	}
	got := string(object("block-off-left-out")["block_off"])
	assert.Regexp(t, `^\{"not_adding_up_ml_min":-?[0-9.]+,"sd":[0-9.]+,"sigma":[0-9.]+,"dof":5,"drift_ml_min_per_run":[0-9.]+,`+
		`"left_out":\[\{"run":4,"reason":"the hose slipped off"\}\]\}$`, got)
	assert.Equal(t, "13", string(object("block-off-left-out")["runs"]))
	assert.Contains(t, string(object("block-off")["block_off"]), `"left_out":[]}`)
	assert.Equal(t, `"block-off"`, string(object("block-off")["method"]))

	total := object("total")
	assert.NotContains(t, total, "block_off")
	assert.Equal(t, `"total"`, string(total["method"]))
	assert.Equal(t, "[]", string(total["cylinders"]))
	assert.Equal(t, "194", string(total["total_ml_min"]))

	untimed := object("interval-unknown")
	assert.Equal(t, "null", string(untimed["interval_s"]))
	assert.Equal(t, "null", string(untimed["median_ml_min"]))
	assert.Contains(t, string(untimed["cylinders"]), `"rate_ml_min":null,"rate_bound":null,"standard_uncertainty_ml_min":null,"ratio_to_median":0.9`)
	assert.Contains(t, string(untimed["cylinders"]), `"rate_ml_min":null,"rate_bound":">=","standard_uncertainty_ml_min":null,"ratio_to_median":2.`)
}

func TestCSVOfOtherMethods(t *testing.T) {
	all := methodTests(t)
	text := func(name string) string {
		r, err := leakback.Evaluate(all[name].test, all[name].sheet)
		require.NoError(t, err)
		return string(report.AppendCSV(nil, r))
	}
	assert.Equal(t, "gallery,,,,,,,undecided,close-to-total,\n", text("total"))
	assert.Equal(t, 6, strings.Count(text("block-off"), "\n"))
	assert.Regexp(t, `(?m)^demo,3,,,2\.[0-9]+,fail,high-in-set;over-range,fail,no-interval;no-absolute-limit,>=$`, text("interval-unknown"))
}

// A batch's history shows the total where there is no cylinder to show.
func TestHistoryOfOtherMethods(t *testing.T) {
	all := methodTests(t)
	r, err := leakback.Evaluate(all["total"].test, all["total"].sheet)
	require.NoError(t, err)
	rows := report.AppendHistory(nil, r)
	require.Len(t, rows, 1)
	h := report.NewHistory("v0.1.0")
	defer h.Close()
	require.NoError(t, h.Add(rows))
	var out bytes.Buffer
	require.NoError(t, h.Write(&out))
	f := opened(t, out.Bytes())
	cells, err := f.GetRows("Tests")
	require.NoError(t, err)
	assert.Equal(t, []string{"gallery", "Northmoor Six-90", "idle", "2", "30", "total", "", "194.0"}, cells[1][:8])
	assert.Equal(t, []string{"undecided", "", "undecided", "close-to-total"}, cells[1][11:])
}

func TestAnswersOfOtherMethods(t *testing.T) {
	all := methodTests(t)
	for name, want := range map[string]string{
		"block-off":           "The share of cylinder 4 is over the limit. The other 5 pass.",
		"block-off-valve":     "All 6 cylinders are undecided, because the runs with nothing blocked do not fit the others.",
		"total":               "The test as a whole is undecided, because the total is too close to its limit.",
		"total-without-limit": "The test as a whole is undecided, because no limit of the total was applied.",
		"interval-unknown":    "The return at cylinder 3 is too high for its set (no maker's limit was applied). The other 3 pass.",
		"one-tube-once":       "Cylinder 3 is undecided; the other 3 pass.",
	} {
		r, err := leakback.Evaluate(all[name].test, all[name].sheet)
		require.NoError(t, err)
		assert.Equal(t, want, report.Answer(r), name)
	}
	within, over, unread := gallery(t, ":80"), gallery(t, ":110"), gallery(t, ":")
	for _, c := range []struct {
		test *leakback.Test
		want string
	}{
		{within, "The total return is within its limit; no cylinder is identified."},
		{over, "The total return is over its limit."},
		{unread, "The total was not read."},
	} {
		c.test.Method = leakback.MethodTotal
		r, err := leakback.Evaluate(c.test, all["total"].sheet)
		require.NoError(t, err)
		assert.Equal(t, c.want, report.Answer(r))
	}
}

// The workbook comes out for every method and is one that other programs open.
func TestWorkbookOfOtherMethods(t *testing.T) {
	for name, c := range methodTests(t) {
		t.Run(name, func(t *testing.T) {
			var out bytes.Buffer
			require.NoError(t, report.Workbook(&out, evaluated(t, c.test, c.sheet, fullJob())))
			f := opened(t, out.Bytes())
			assert.Contains(t, f.GetSheetList(), "Report")
		})
	}
}

func opened(t *testing.T, file []byte) *excelize.File {
	t.Helper()
	f, err := excelize.OpenReader(bytes.NewReader(file))
	require.NoError(t, err)
	t.Cleanup(func() { f.Close() })
	return f
}

var escapes = regexp.MustCompile(`\x1b\[[0-9;]*m`)
