package report

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/limits"
)

// totalCases are varied tests of a merged return alone: one or two lines, runs
// of some lines, bounds, runs that were not read or left out.
func totalCases(n int, seed uint64) []variedCase {
	v := varied{rand.New(rand.NewPCG(seed, 13))}
	var all []variedCase
	for i := 0; len(all) < n; i++ {
		c := variedCase{fmt.Sprintf("total%03d", i), v.totalTest(i), v.sheet(3 + i%4)}
		c.sheet.ReturnLines = nil
		if i%5 == 4 {
			c.sheet.ReturnLines = []limits.ReturnLine{{Name: "left", Cylinders: []int{1}}, {Name: "right", Cylinders: []int{2}}}
		}
		if r, err := leakback.Evaluate(c.test, c.sheet); err == nil && totalLive(r) {
			all = append(all, c)
		}
	}
	return all
}

func (v varied) totalTest(i int) *leakback.Test {
	t := &leakback.Test{ID: fmt.Sprintf("T%d", i), Condition: "idle", Injectors: "driven", Method: leakback.MethodTotal}
	lines := pick(v, []string{""}, []string{""}, []string{"left"}, []string{"left", "right"})
	rate, state, missing := pick(v, 60.0, 115, 120, 180, 300), v.state(), v.rng.IntN(3) == 0
	for k := range pick(v, 1, 2, 3) {
		run := leakback.Run{Number: k + 1, IntervalS: pick(v, 30.0, 60), State: state}
		for _, name := range lines {
			r := leakback.Reading{ReturnLine: name, Tube: leakback.Tube{GraduationML: 1, CapacityML: 500, ToleranceML: 2}}
			r.VolumeML = math.Round(rate * run.IntervalS / 60 / float64(len(lines)) * math.Exp(0.02*v.rng.NormFloat64()))
			switch v.rng.IntN(12) {
			case 0:
				r.Bound = leakback.AtLeast
			case 1:
				r.VolumeML = math.NaN()
			case 2:
				r.VolumeML = 0
			}
			if missing && v.rng.IntN(4) == 0 {
				continue
			}
			run.Readings = append(run.Readings, r)
		}
		t.Runs = append(t.Runs, run)
	}
	if i%6 == 5 && len(t.Runs) > 1 {
		t.Runs[0].LeftOut = "invented: the hose slipped off"
	}
	return t
}

// The values that the formulas give for a merged return alone are the program's.
func TestTotalWorkingIsTheProgram(t *testing.T) {
	seen := map[string]int{}
	for _, c := range totalCases(150, 3) {
		b, r := worked(t, c)
		same(t, r.TotalMLMin, b.names.Value("total_rate"), c.name, "total")
		same(t, r.Total.ExpandedMLMin, b.names.Value("total_shown"), c.name, "U of the total")
		assert.Equal(t, r.Verdict.String(), b.names.Value("test_verdict").Text, c.name)
		assert.Equal(t, string(appendCodes(nil, r.Findings)), b.names.Value("test_findings").Text, c.name)
		assert.Equal(t, 1.0, b.names.Value("still_same").Float(), c.name)
		assert.Equal(t, 0.0, b.names.Value("entries_wrong").Float(), c.name)
		seen[r.Verdict.String()]++
		seen[string(appendCodes(nil, r.Findings))]++
		if t.Failed() {
			t.Fatalf("%s: %+v\n%+v", c.name, *c.test, c.sheet.Limits)
		}
	}
	for _, verdict := range []string{"pass", "fail", "undecided", "unread", "over-total", "close-to-total"} {
		assert.NotZero(t, seen[verdict], "%s: %v", verdict, seen)
	}
}

// LibreOffice comes to the values that the file keeps for a merged return alone.
func TestTotalWorkingInLibreOffice(t *testing.T) {
	t.Parallel()
	books, cases := map[string][]byte{}, map[string]variedCase{}
	files := map[string]map[string]formulaCell{}
	for _, c := range totalCases(12, 5) {
		file := bookOf(t, c)
		books[c.name], cases[c.name], files[c.name] = forgotten(t, file), c, formulaCells(t, file)
	}
	for name, file := range recalculated(t, books) {
		got := formulaCells(t, file)
		require.NotEmpty(t, files[name])
		assert.Equal(t, len(files[name]), sameValues(t, name, files[name], files[name], got))
		sameJSON(t, cases[name], got)
		assert.True(t, strings.HasPrefix(lineOfPage(t, got), checkHolds), name)
	}
}
