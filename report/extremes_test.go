package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leakback/leakback"
	"leakback/limits"
	"leakback/stats"
)

// extreme draws tests at the ends of what a test may hold, and beyond what one
// ever held.
type extreme struct{ *rapid.T }

func (x extreme) of(label string, from ...float64) float64 {
	return rapid.SampledFrom(from).Draw(x.T, label)
}

func (x extreme) test() *leakback.Test {
	t := &leakback.Test{ID: "extreme", Condition: "idle", Method: leakback.MethodIndividual}
	t.Cylinders = int(x.of("cylinders", 1, 2, 3, 4, 6, 6, 8, 64))
	runs := int(x.of("runs", 1, 1, 2, 3, 20))
	seconds := x.of("s", 60, 60, 15, 1e-9, 1e6)
	level := x.of("level", 25, 25, 25, 5e-324, 1e-300, 1e-9, 0.05, 0, 1e6)
	kind := x.of("kind", 0, 0, 0, 1, 2, 3, 4)
	for k := range runs {
		run := leakback.Run{Number: k + 1, IntervalS: seconds, State: leakback.UnknownState()}
		if kind == 4 { // runs of every length
			run.IntervalS = x.of("another s", 1e-9, 15, 60, 1e6)
		}
		for c := range t.Cylinders {
			run.Readings = append(run.Readings, x.reading(c+1, k, level, kind))
		}
		t.Runs = append(t.Runs, run)
	}
	if runs > 1 && x.of("left out", 0, 0, 1) == 1 {
		t.Runs[runs-1].LeftOut = "invented: stumbled"
	}
	return t
}

// reading is one of a kind of test: 1 all equal, 2 all overflowed, 3 runs that
// contradict each other; the others as they come.
func (x extreme) reading(cylinder, run int, level, kind float64) leakback.Reading {
	tube := leakback.Tube{GraduationML: 1, CapacityML: 100, ToleranceML: 1}
	r := leakback.Reading{Cylinder: cylinder, VolumeML: level, Tube: tube}
	switch kind {
	case 1:
	case 2:
		r.Bound = leakback.AtLeast
	case 3:
		r.VolumeML *= []float64{1, 3}[(cylinder+run)%2]
	default:
		r.VolumeML *= x.of("part", 1, 1, 1, 1.1, 0.9, 2, 3, 0)
		r.Tube = leakback.Tube{GraduationML: x.of("mark", 1, 1, 0.1, 50), CapacityML: x.of("capacity", 100, 0, 10), ToleranceML: x.of("tolerance", 1, 0, 1000)}
		r.Bound = []leakback.Bound{leakback.Exact, leakback.AtMost, leakback.AtLeast}[int(x.of("bound", 0, 0, 0, 0, 0, 0, 1, 2))]
		if x.of("missing", 0, 0, 0, 0, 0, 0, 0, 0, 1) == 1 {
			r.VolumeML, r.Bound = math.NaN(), leakback.Exact
		}
	}
	if !math.IsNaN(r.VolumeML) {
		r.Typed = strings.Trim(r.Bound.String(), "=") + plainFigure(r.VolumeML)
	}
	return r
}

func (x extreme) sheet() *limits.Sheet {
	s := limits.Builtin()
	maybe := func(label string, from ...float64) *float64 {
		if v := x.of(label, append(from, -1, -1)...); v >= 0 {
			return &v
		}
		return nil
	}
	l := limits.Limit{Condition: "idle", Source: "invented", MaxRateMLMin: maybe("max", 0, 25, 26.5, 40, 1e6),
		MinRateMLMin: maybe("min", 0, 5, 30), MaxTotalMLMin: maybe("total", 0, 150), MaxRatioToMedian: maybe("ratio", 1, 1.5),
		MaxRatioToMean: maybe("mean", 1.2), MaxRatioToLowest: maybe("lowest", 1, 2), MaxDifferenceMLMin: maybe("difference", 0, 20)}
	if l.MaxRateMLMin != nil || l.MinRateMLMin != nil || l.MaxTotalMLMin != nil || l.MaxRatioToMedian != nil || l.MaxRatioToMean != nil ||
		l.MaxRatioToLowest != nil || l.MaxDifferenceMLMin != nil {
		s.Limits = []limits.Limit{l}
	}
	return s
}

// workbookShare is the share of the draws that are written as a workbook, too.
const workbookShare = 25

// At the ends of what a test may hold, text, JSON, CSV and workbook say one and
// the same, and a figure as it is printed never contradicts its verdict.
func TestExtremesAreSaidAlike(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		x := extreme{rt}
		c := variedCase{"extreme", x.test(), x.sheet()}
		r, err := leakback.Evaluate(c.test, c.sheet)
		require.NoError(rt, err)
		requireText(rt, r)
		requireData(rt, r)
		// A spreadsheet has no numbers for the squares of such rates, or of such volumes.
		countable := !slices.ContainsFunc(c.test.Runs, func(r leakback.Run) bool {
			return r.IntervalS < 1 || slices.ContainsFunc(r.Readings, func(one leakback.Reading) bool { return one.VolumeML > 0 && one.VolumeML < 1e-9 })
		})
		if countable && len(r.Cylinders) <= 8 && rapid.IntRange(1, workbookShare).Draw(rt, "workbook") == workbookShare {
			requireWorkbook(rt, c, r)
		}
	})
}

var plusMinus = regexp.MustCompile(`([0-9.]+) ± ([0-9.]+)`)

// requireText wants the table to have a row with each verdict, and figures in it
// that give the verdict.
func requireText(t *rapid.T, r *leakback.Result) {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, Table(&out, &Page{Result: r}, TableOptions{Width: 200, Unicode: true}))
	for i := range r.Cylinders {
		c := &r.Cylinders[i]
		row := regexp.MustCompile(fmt.Sprintf(`(?m)^ *%d {2,}.*$`, c.Cylinder)).FindString(out.String())
		require.Contains(t, row, VerdictWord(c.Verdict), out.String())
		figures := plusMinus.FindStringSubmatch(row)
		most, limited := r.Limit.MaxMLMin()
		if figures == nil || !limited {
			continue
		}
		rate, err := strconv.ParseFloat(figures[1], 64)
		require.NoError(t, err)
		expanded, err := strconv.ParseFloat(figures[2], 64)
		require.NoError(t, err)
		require.Equal(t, stats.Against(c.RateMLMin, c.Budget.ExpandedMLMin, most), stats.Against(rate, expanded, most),
			"%s against %v: %v ± %v", row, most, c.RateMLMin, c.Budget.ExpandedMLMin)
	}
}

// requireData wants JSON and CSV to hold the same verdicts and findings.
func requireData(t *rapid.T, r *leakback.Result) {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, JSON(&out, r))
	var o struct {
		Verdict   string
		Cylinders []struct{ Verdict string }
	}
	require.NoError(t, json.Unmarshal(out.Bytes(), &o))
	require.Equal(t, r.Verdict.String(), o.Verdict)
	rows, err := csv.NewReader(bytes.NewReader(AppendCSV(nil, r))).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, len(r.Cylinders))
	for i := range rows {
		c := &r.Cylinders[i]
		require.Equal(t, []string{c.Verdict.String(), string(appendCodes(nil, c.Findings)), r.Verdict.String()}, rows[i][5:8])
		require.Equal(t, c.Verdict.String(), o.Cylinders[i].Verdict)
	}
}

// requireWorkbook wants the working's formulas to come to the same verdicts.
func requireWorkbook(t *rapid.T, c variedCase, r *leakback.Result) {
	t.Helper()
	b := newBook()
	defer func() { require.NoError(t, b.file.Close()) }()
	p := &Page{Result: r}
	require.NoError(t, b.sheets(sheetReport, sheetReadings, sheetWorking, sheetLimits, sheetMethod))
	b.readings(p)
	b.limits(p)
	b.working(p)
	require.NoError(t, b.err)
	if r.BoundsSway {
		return
	}
	for i, v := range b.names.Values("verdict", "verdict") {
		require.Equal(t, r.Cylinders[i].Verdict.String(), v.Text, "cylinder %d", i+1)
		require.Equal(t, string(appendCodes(nil, r.Cylinders[i].Findings)), b.names.Values("verdict", "findings")[i].Text)
	}
	require.Equal(t, r.Verdict.String(), b.names.Value("test_verdict").Text)
	require.Equal(t, string(appendCodes(nil, r.Findings)), b.names.Value("test_findings").Text)
}
