package report_test

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/limits"
	"leakback/report"
)

// logbookHistory is the history workbook of tests with their trend.
func logbookHistory(t *testing.T, tests []report.Listed) []byte {
	t.Helper()
	h := report.NewLogbookHistory("v0.1.0", bayZone)
	defer func() { require.NoError(t, h.Close()) }()
	var rows []report.HistoryRow
	for i := range tests {
		rows = report.AppendListed(rows, &tests[i])
	}
	require.NoError(t, h.Add(rows))
	h.Trend(&report.Trend{Tests: tests, Zone: bayZone})
	var out bytes.Buffer
	require.NoError(t, h.Write(&out))
	return out.Bytes()
}

// A row of a test from the logbook begins with what only the logbook knows; a
// test without a result has one row.
func TestLogbookHistoryCells(t *testing.T) {
	file := logbookHistory(t, listedTests(t))
	f := opened(t, file)
	assert.Equal(t, []string{"Tests", "Trend"}, f.GetSheetList())
	rows, err := f.GetRows("Tests")
	require.NoError(t, err)
	require.Len(t, rows, 1+6*6+2)
	assert.Equal(t, []string{"No.", "Started", "UTC\noffset", "Vehicle", "Odometer/hours", "Test"}, rows[0][:6])
	assert.Equal(t, []string{"7", "2021-03-05 09:40", "+01:00", "Invented tractor unit, 2014", "298 000 km"}, rows[1][:5])
	assert.Equal(t, []string{"13", "2024-03-05 09:40", "+01:00", "Invented tractor unit, 2014", "412 300 km", "hot idle", "Northmoor Six-90",
		"idle", "", "", "", "", "", "", "", "", "unfinished", "", "unfinished"}, rows[37])
	assert.Equal(t, "unreadable", rows[38][16])
	for range 3 {
		assert.True(t, bytes.Equal(file, logbookHistory(t, listedTests(t))), "equal rows give equal bytes")
	}
}

// scatter is the part of a trend's chart that tests look into.
type scatter struct {
	Lines []struct {
		Name   string   `xml:"tx>v"`
		Symbol markerOf `xml:"marker>symbol"`
		Color  markerOf `xml:"spPr>ln>solidFill>srgbClr"`
		X      chartRef `xml:"xVal>numRef"`
		Y      chartRef `xml:"yVal>numRef"`
		Labels []struct {
			Point chartVal `xml:"idx"`
			Text  string   `xml:"tx>rich>p>r>t"`
		} `xml:"dLbls>dLbl"`
	} `xml:"chart>plotArea>scatterChart>ser"`
	Titles []string `xml:"chart>plotArea>valAx>title>tx>rich>p>r>t"`
}

type markerOf struct {
	Val string `xml:"val,attr"`
}

func scatters(t *testing.T, file []byte) (all []scatter) {
	t.Helper()
	parts, _ := partsOf(t, file)
	for _, n := range []string{"1", "2", "3"} {
		if part, ok := parts["xl/charts/chart"+n+".xml"]; ok {
			var c scatter
			require.NoError(t, xml.Unmarshal([]byte(part), &c))
			all = append(all, c)
		}
	}
	return all
}

// The chart has a line a cylinder over the odometer, told apart by shape as well
// as by colour, and every point that it keeps is what stands in its cell.
func TestTrendChart(t *testing.T) {
	file := logbookHistory(t, listedTests(t))
	f, charts := opened(t, file), scatters(t, file)
	require.Len(t, charts, 1, "one test of a condition is not drawn")
	c := charts[0]
	assert.Equal(t, []string{"odometer, km", "return rate, mL/min"}, c.Titles)
	require.Len(t, c.Lines, 7)
	looks := map[string]bool{}
	for i, line := range c.Lines {
		assert.Len(t, line.X.Points, 5)
		trendPointsAreCells(t, f, line.X)
		trendPointsAreCells(t, f, line.Y)
		if i < 6 {
			looks[line.Symbol.Val], looks[line.Color.Val] = true, true
		}
	}
	assert.Len(t, looks, 12, "a shape and a colour for each")
	assert.Equal(t, "limit 40", c.Lines[6].Name)
	assert.Equal(t, "Cyl 5", c.Lines[4].Name)
	assert.Equal(t, "≥", c.Lines[4].Labels[0].Text)
	assert.Equal(t, 3, c.Lines[4].Labels[0].Point.Val)
	assert.Equal(t, "≤", c.Lines[5].Labels[0].Text)
	parts, _ := partsOf(t, file)
	assert.Contains(t, parts["xl/drawings/drawing1.xml"], "cylinder 4 21.0, 26.0, 37.0, 48.0, 22.0")
}

func trendPointsAreCells(t *testing.T, f *excelize.File, ref chartRef) {
	t.Helper()
	cells := strings.Split(strings.ReplaceAll(strings.TrimPrefix(ref.F, "Trend!"), "$", ""), ":")
	col, first, err := excelize.CellNameToCoordinates(cells[0])
	require.NoError(t, err)
	assert.Equal(t, name(t, col, first+ref.Count.Val-1), cells[1])
	for _, pt := range ref.Points {
		number(t, f, "Trend", name(t, col, first+pt.Index), pt.Value)
	}
}

// trendOf is the terminal's trend, with what stands in the way of a chart of it.
func trendOf(t *testing.T, tests []report.Listed) (sheet string, charts []scatter) {
	t.Helper()
	file := logbookHistory(t, tests)
	rows, err := opened(t, file).GetRows("Trend")
	require.NoError(t, err)
	for _, row := range rows {
		sheet += strings.Join(row, "|") + "\n"
	}
	return sheet, scatters(t, file)
}

func TestTrendAxis(t *testing.T) {
	for _, c := range []struct {
		name          string
		change        func([]report.Listed)
		title, reason string
	}{
		{"odometers", func([]report.Listed) {}, "odometer, km", ""},
		{"one without", func(l []report.Listed) { l[1].Odometer = "" }, "date", "Over the date, because test 8 has no odometer."},
		{"one in words", func(l []report.Listed) { l[1].Odometer = "replaced" }, "date",
			"Over the date, because the odometer of test 8 cannot be read as a figure."},
		{"miles", func(l []report.Listed) { l[1].Odometer = "205 829 mi" }, "date", "Over the date, because odometers are in km and in mi."},
		{"hours", func(l []report.Listed) { l[0].Odometer = "8 450 h" }, "date", "Over the date, because odometers are in h and in km."},
		{"backwards", func(l []report.Listed) { l[1].Odometer = "31 250 km" }, "date",
			"Over the date, because the odometer of test 8 is less than that of test 7 before it."},
		{"one without a unit", func(l []report.Listed) { l[1].Odometer = "331250" }, "odometer, km", ""},
		{"all hours", func(l []report.Listed) {
			for i := range l {
				l[i].Odometer = []string{"8 450 h", "8 451,5 h", "9000 hrs", "9000 h", "9 001 h", "9002 h", "9003 h", "9003 h"}[i]
			}
		}, "running time, h", ""},
		{"all the same", func(l []report.Listed) {
			for i := range l {
				l[i].Odometer = "412 300 km"
			}
		}, "date", "Over the date, because the odometer is the same at all of them."},
	} {
		tests := listedTests(t)
		c.change(tests)
		sheet, charts := trendOf(t, tests)
		require.NotEmpty(t, charts, c.name)
		assert.Equal(t, c.title, charts[0].Titles[0], c.name)
		if c.reason != "" {
			assert.Contains(t, sheet, c.reason, c.name)
		}
	}
}

// Tests of different conditions are in different charts, tests of different
// engines in none, and a limit that changed is no line.
func TestTrendKeepsApart(t *testing.T) {
	tests := listedTests(t)
	more := tests[3]
	more.StartedUS += int64(time.Hour / time.Microsecond * 24)
	_, charts := trendOf(t, append(tests, more))
	require.Len(t, charts, 2)
	assert.Len(t, charts[0].Lines, 7)
	assert.Len(t, charts[1].Lines, 6, "no limit while cranking")

	tests[0].Result.Limit.MaxRateMLMin = given(45)
	_, charts = trendOf(t, tests)
	assert.Len(t, charts[0].Lines, 6)

	tests[0].VIN = "XX0EXAMPLE0000002"
	sheet, charts := trendOf(t, tests)
	assert.Empty(t, charts)
	assert.Contains(t, sheet, "2 ENGINES, not one")
	tests[0].VIN = tests[1].VIN
	for i := range tests[:6] {
		for k := range tests[i].Result.Cylinders {
			tests[i].Result.Cylinders[k].RateMLMin = math.NaN()
		}
	}
	sheet, charts = trendOf(t, tests)
	assert.Empty(t, charts)
	assert.Contains(t, sheet, "Not drawn: how long was collected is not known, so there are no rates.")
	for i := range tests {
		tests[i].Result, tests[i].Err = tests[0].Result, ""
		tests[i].Result.Test.Condition = ""
	}
	sheet, charts = trendOf(t, tests)
	assert.Empty(t, charts)
	assert.Contains(t, sheet, "Not drawn: in which condition the engine ran was not recorded.")
}

// A long engine's ratios stand below its rates, so that a printed page can be read;
// what the sheet is about is not cut off at the page's edge.
func TestTrendOfALongEngine(t *testing.T) {
	l := &lister{T: t}
	for _, at := range []string{"2024-03-05T08:40:00Z", "2024-04-05T08:40:00Z"} {
		l.add(at, "", limits.Builtin(), typed(strings.Fields("21 22 23 21 20 22 21 22 23 21 20 22 21 22 48 21"))).Vehicle = strings.Repeat("a tractor unit of the fleet ", 12)
	}
	f := opened(t, logbookHistory(t, l.tests))
	rows, err := f.GetRows("Trend")
	require.NoError(t, err)
	heads := map[string]int{}
	for i, row := range rows {
		assert.LessOrEqual(t, len(row), 7+16)
		if len(row) == 7+16 && strings.HasPrefix(row[22], "Cyl 16") {
			heads[row[22]] = i
		}
	}
	assert.Equal(t, map[string]int{"Cyl 16\nmL/min": 5, "Cyl 16\n× median": 9}, heads)
	assert.Equal(t, []string{"48.0", "2.23"}, []string{rows[6][21], rows[10][21]})
	assert.Equal(t, []string{"7", "2024-03-05 09:40"}, rows[10][:2], "and whose they are")
	layout, err := f.GetPageLayout("Trend")
	require.NoError(t, err)
	assert.GreaterOrEqual(t, *layout.AdjustTo, uint(55))
	high, err := f.GetRowHeight("Trend", 2)
	require.NoError(t, err)
	assert.Greater(t, high, 24.0, "in two lines")
}

// Free text of a stranger is text in the workbook.
func TestLogbookHistoryFreeText(t *testing.T) {
	for name, text := range hostile {
		tests := listedTests(t)
		for i := range tests {
			tests[i].Vehicle, tests[i].Engine, tests[i].Odometer, tests[i].Name = text, text, text, text
		}
		file := logbookHistory(t, tests)
		parts, _ := partsOf(t, file)
		for part, content := range parts {
			wellFormed(t, part, content)
			if strings.HasPrefix(part, "xl/worksheets/") {
				assert.NotContains(t, content, "<f>", "%s %s", name, part)
			}
		}
		got := raw(t, opened(t, file), "Tests", "D2")
		assert.Equal(t, strings.Join(strings.Fields(afterCleaning.Replace(text)), " "), got, name)
	}
}

// Another reader finds what was written, and a condition takes one printed page.
func TestLogbookHistoryInOtherPrograms(t *testing.T) {
	t.Parallel()
	file := logbookHistory(t, listedTests(t))
	assert.Equal(t, 3, pageNumber(t, pdfs(t, map[string][]byte{"history": file})["history"]), "and one for each condition")
	path := filepath.Join(t.TempDir(), "history.xlsx")
	require.NoError(t, os.WriteFile(path, file, 0o600))
	out, err := exec.CommandContext(t.Context(), openpyxl(t), "-c", `
import json, sys, openpyxl
book = openpyxl.load_workbook(sys.argv[1])
trend = book["Trend"]
json.dump({"sheets": book.sheetnames, "charts": [type(c).__name__ for c in trend._charts],
    "started": str(book["Tests"]["B2"].value), "types": sorted({c.data_type for row in trend.iter_rows() for c in row if c.value is not None}),
    "lines": [len(c.series) for c in trend._charts]}, sys.stdout)`, path).Output()
	require.NoError(t, err)
	var got map[string]any
	require.NoError(t, json.Unmarshal(out, &got))
	assert.Equal(t, map[string]any{"sheets": []any{"Tests", "Trend"}, "charts": []any{"ScatterChart"}, "lines": []any{7.0},
		"types": []any{"d", "n", "s"}, "started": "2021-03-05 09:40:00"}, got)
}
