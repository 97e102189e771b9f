package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/leakback/repair"
	"leakback/limits"
	"leakback/report/formula"
	"leakback/stats"
)

// pageOf holds tests by one sheet against one another.
func pageOf(t testing.TB, sheet *limits.Sheet, tests ...*leakback.Test) *RepairPage {
	t.Helper()
	p := &RepairPage{Version: "test", Tightening: sheet.Tightening}
	var sides []repair.Side
	for _, one := range tests {
		r, err := leakback.Evaluate(one, sheet)
		require.NoError(t, err)
		sides = append(sides, repair.Side{Result: r})
		p.Tests = append(p.Tests, &Page{Result: r})
	}
	c, err := repair.Compare(sides, repair.AssumedFuel())
	require.NoError(t, err)
	p.Comparison = c
	return p
}

// pairCases are repairs of every kind: stories, varied tests against themselves
// with other readings and temperatures, merged returns, tests without intervals.
func pairCases(t testing.TB, n int) map[string]*RepairPage {
	t.Helper()
	warm := func(volumes string) Bench { return Bench{Volumes: volumes, TempC: 55} }
	all := map[string]*RepairPage{
		"undecided":  RepairStory(t, 40, NewTube, WarmHigh, ColdFine),
		"three":      RepairStory(t, 40, NewTube, WarmHigh, ColdFine, WarmFine),
		"bounds":     RepairStory(t, 40, NewTube, warm("24 >90 23 >100 <1 25"), Bench{Volumes: "24 25 >90 24 <1 <1", TempC: 20}),
		"no limit":   RepairStory(t, 0, "", Bench{Volumes: "24 25 23 48"}, Bench{Volumes: "24 25 23 24", Runs: 3}),
		"not read":   RepairStory(t, 40, "", warm("24 25 23 48 24 25"), warm("24 25 - 24 24 25")),
		"two":        RepairStory(t, 40, "", warm("24 48"), warm("24 25")),
		"worked all": RepairStory(t, 40, "1 1 injector = replaced|1 2 injector = replaced|1 3 injector = replaced", warm("24 25 23 48"), Bench{Volumes: "14 15 13 15", TempC: 25}),
		"little":     RepairStory(t, 40, "", warm("<1 0 <1 12 0 0"), warm("24 25 23 24 24 25")),
	}
	random := rand.New(rand.NewPCG(8, 9))
	cases := append(variedCases(n, 21), mergedCases(n/4, 22)...)
	for _, c := range append(cases, specialCases()...) {
		after := cloned(c.test)
		for i := range after.Runs {
			run := &after.Runs[i]
			if random.IntN(2) == 0 {
				run.State.FuelTempC = 20 + 40*random.Float64()
			}
			for k := range run.Readings {
				r := &run.Readings[k]
				if random.IntN(3) == 0 && r.Bound == leakback.Exact && !math.IsNaN(r.VolumeML) {
					r.VolumeML = math.Max(r.StartML, math.Round(r.VolumeML*(0.5+0.4*random.Float64())))
					r.Typed = plainFigure(r.VolumeML)
				}
			}
		}
		if r, err := leakback.Evaluate(after, c.sheet); err == nil && r != nil {
			all[c.name] = pageOf(t, c.sheet, c.test, after)
		}
	}
	return all
}

// The figures of the comparison's formulas are those of package repair, for
// repairs of every kind.
func TestComparisonIsTheProgram(t *testing.T) {
	for name, p := range pairCases(t, 60) {
		b := p.book()
		require.NoError(t, b.err, name)
		for i, pair := range p.pairs() {
			samePair(t, name, b.names, p, pair, pairID(i))
		}
		assert.Equal(t, formula.Num(1), b.names.Value("repair_same"), name)
		require.NoError(t, b.file.Close())
		if t.Failed() {
			t.FailNow()
		}
	}
}

func samePair(t *testing.T, name string, n *formula.Names, p *RepairPage, pair *repair.Pair, id string) {
	t.Helper()
	for i, c := range append(append([]repair.Change{}, pair.Cylinders...), pair.Total) {
		where := fmt.Sprintf("%s, %s, cylinder %d", name, p.pairName(pair), c.Cylinder)
		at := func(table, column string) formula.Value {
			values := n.Values(id+table, column)
			require.NotNil(t, values, "%s: %s[%s]", where, id+table, column)
			return values[i]
		}
		sameFigures(t, where, c.Before, at, "before")
		sameFigures(t, where, c.After, at, "after")
		sameShift(t, where+", rate", c.Rate, at, "_change")
		sameShift(t, where+", ratio", c.Ratio, at, "_set_change")
		if r := c.Range; r != nil {
			same(t, r.Zero.RateMLMin, at("_over", "zero"), where, "m = 0")
			same(t, r.Half.RateMLMin, at("_over", "half"), where, "m = 1/2")
			same(t, r.One.RateMLMin, at("_over", "one"), where, "m = 1")
			same(t, r.MaxMLMin, at("_over", "most"), where, "maximum")
			sameShift(t, where+", rate at m = 1", r.One.Rate, at, "_rate_m1")
			sameShift(t, where+", ratio at m = 0", r.Zero.Ratio, at, "_set_m0")
			sameLimit(t, where, r, at)
			same(t, pair.Temperature.Scale(), n.Value(id+"_scale"), where, "scale")
		}
		assert.Equal(t, noiseWord(&c), at("_so", "words").Text, where)
		if level := levelOf(&c); !math.IsNaN(level) && settled(&c) {
			same(t, level, at("_so", "level"), where, "level")
		}
	}
}

func sameFigures(t *testing.T, where string, f repair.Figures, at func(table, column string) formula.Value, side string) {
	t.Helper()
	same(t, f.RateMLMin, at("", side), where, side, "rate")
	same(t, f.UMLMin, at("", side+"_u"), where, side, "u")
	same(t, f.RatioToConsensus, at("_set", side), where, side, "ratio")
	same(t, f.RatioU, at("_set", side+"_u"), where, side, "u of ratio")
	if !math.IsNaN(f.RatioU) { // what a whole number of degrees leaves makes the rest a difference of like figures
		got := at("_set", side+"_dof").Number
		assert.InDelta(t, f.RatioDoF, got, 1e-6*f.RatioDoF, where, side, "degrees of freedom of ratio")
	}
}

func sameShift(t *testing.T, where string, s repair.Shift, at func(table, column string) formula.Value, table string) {
	t.Helper()
	same(t, s.Value, at(table, "change"), where, "change")
	if math.IsNaN(s.Value) {
		return
	}
	same(t, s.U, at(table, "u"), where, "u")
	same(t, s.DoF, at(table, "dof"), where, "degrees of freedom")
	same(t, s.T, at(table, "t"), where, "t")
	same(t, s.P, at(table, "p"), where, "p")
	same(t, s.Level, at(table, "level"), where, "level")
	same(t, float64(s.Direction()), at(table, "direction"), where, "direction")
	d := stats.Difference{Value: s.Value, U: s.U, DoF: s.DoF}
	same(t, d.Expanded(repair.Likely), at(table, "expanded"), where, "U at 95 %")
	same(t, d.Expanded(repair.Certain), at(table, "certain"), where, "U at 99 %")
}

// sameLimit holds the decisions against the maximum at both ends of the exponent,
// and the exponents at which one changes, against those found by bisection.
func sameLimit(t *testing.T, where string, r *repair.Range, at func(table, column string) formula.Value) {
	t.Helper()
	if math.IsNaN(r.MaxMLMin) || math.IsNaN(r.Zero.RateMLMin) {
		return
	}
	words := map[stats.Decision]string{stats.Below: "within", stats.Open: "open", stats.Above: "over"}
	assert.Equal(t, words[r.Pieces[0].Limit], at("_over", "limit0").Text, where)
	assert.Equal(t, words[r.Pieces[len(r.Pieces)-1].Limit], at("_over", "limit1").Text, where)
	for i := 1; i < len(r.Pieces); i++ {
		before, after := r.Pieces[i-1].Limit, r.Pieces[i].Limit
		if before == after {
			continue
		}
		column := "within"
		if before == stats.Above || after == stats.Above {
			column = "over"
		}
		assert.InDelta(t, r.Pieces[i].FromM, at("_over", column).Number, 2e-6, where, column)
	}
}

// LibreOffice comes to the values that the file keeps; and after a reading was
// changed in the file to those of a file written for that reading.
func TestRepairInLibreOffice(t *testing.T) {
	t.Parallel()
	changed := ColdFine
	changed.Volumes = "21 20 21 29 20 21"
	pages := map[string]*RepairPage{"undecided": RepairStory(t, 40, NewTube, WarmHigh, ColdFine),
		"three": RepairStory(t, 40, NewTube, WarmHigh, ColdFine, WarmFine)}
	c := mergedCases(1, 31)[0]
	pages["merged"] = pageOf(t, c.sheet, c.test, c.test)
	books, written := map[string][]byte{}, map[string]map[string]formulaCell{}
	for name, p := range pages {
		file := repairBook(t, p)
		written[name] = formulaCells(t, file)
		books[name] = forgotten(t, file)
	}
	f, err := excelize.OpenReader(bytes.NewReader(repairBook(t, pages["undecided"])))
	require.NoError(t, err)
	require.NoError(t, f.SetCellValue("Readings2", "D5", 29)) // volume_ml of cylinder 4
	var out bytes.Buffer
	require.NoError(t, f.Write(&out))
	books["changed"] = forgotten(t, out.Bytes())
	got := recalculated(t, books)
	for name, want := range written {
		assert.Equal(t, len(want), sameValues(t, name, want, want, formulaCells(t, got[name])), name)
	}
	want := withoutCheck(formulaCells(t, repairBook(t, RepairStory(t, 40, NewTube, WarmHigh, changed))))
	want = without(want, "repair_same", "_so!")
	assert.Greater(t, sameValues(t, "changed", want, written["undecided"], formulaCells(t, got["changed"])), len(want)*9/10)
	after := formulaCells(t, got["changed"])
	assert.Contains(t, textsOf(after), repairChanged, "the page says that its sentences no longer hold")
	assert.Contains(t, textsOf(after), answerChanged+"FAIL, pass.", "and its headline is no longer the answer")
	assert.Contains(t, textsOf(formulaCells(t, got["undecided"])), checkHolds)
	for name, p := range pages {
		assert.Contains(t, textsOf(formulaCells(t, got[name])), RepairAnswer(p.Comparison.Whole), name)
	}
}

func textsOf(cells map[string]formulaCell) []string {
	var texts []string
	for _, c := range cells {
		if c.Value != nil {
			texts = append(texts, *c.Value)
		}
	}
	return texts
}

// without are the cells whose formulas do not hold any of some words.
func without(cells map[string]formulaCell, words ...string) map[string]formulaCell {
	kept := map[string]formulaCell{}
	for at, c := range cells {
		held := false
		for _, word := range words {
			held = held || strings.Contains(*c.Formula, word)
		}
		if !held {
			kept[at] = c
		}
	}
	return kept
}

func repairBook(t testing.TB, p *RepairPage) []byte {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, RepairWorkbook(&out, p))
	return out.Bytes()
}

// Equal pages give equal bytes, and the sheets come in their order.
func TestRepairWorkbookSheets(t *testing.T) {
	file := repairBook(t, RepairStory(t, 40, NewTube, WarmHigh, ColdFine))
	assert.True(t, bytes.Equal(file, repairBook(t, RepairStory(t, 40, NewTube, WarmHigh, ColdFine))))
	f, err := excelize.OpenReader(bytes.NewReader(file))
	require.NoError(t, err)
	assert.Equal(t, []string{"Report", "Work", "Comparison", "Readings1", "Working1", "Limits1", "Readings2", "Working2", "Limits2", "Method"}, f.GetSheetList())
	p := RepairStory(t, 40, "", WarmHigh, WarmHigh)
	f, err = excelize.OpenReader(bytes.NewReader(repairBook(t, p)))
	require.NoError(t, err)
	assert.Equal(t, "Comparison", f.GetSheetList()[1], "nothing was recorded of work")
	answer, err := f.GetCellValue("Report", "A3")
	require.NoError(t, err)
	assert.Equal(t, RepairAnswer(p.Comparison.Whole), answer)
}

// The headline is the answer as it was written, whatever a test is called, cut
// where it has no room.
func TestRepairHeadlineIsTheAnswer(t *testing.T) {
	for name, label := range map[string]string{"plain": "test 1", "escaped": "_x0041_ & <b>", "formula": `=1+1"`, "long": strings.Repeat("idle-", 150)} {
		p := RepairStory(t, 40, NewTube, WarmHigh, ColdFine)
		sides := p.Comparison.Sides
		sides[0].Label = label
		c, err := repair.Compare(sides, p.Comparison.Fuel)
		require.NoError(t, err, name)
		p.Comparison = c
		want, cut := shownAnswer(p)
		assert.Equal(t, name == "long", cut, name)
		b := p.book()
		require.NoError(t, b.err, name)
		assert.Equal(t, want, b.names.Value("kept_answer").Text, name)
		cell := pen{b, sheetReport}.grid().Index(2).FieldByName("C").Index(0).FieldByName("V").String()
		assert.Equal(t, strings.ReplaceAll(want, "_x0041_", "_x005F_x0041_"), cell, name)
		require.NoError(t, b.file.Close())
	}
}

// The sheet of work has every part, every step with what was asked and reached,
// and a page of a test has it too where something was done after it.
func TestWorkSheet(t *testing.T) {
	story := RepairStory(t, 40, NewTube, WarmHigh, ColdFine)
	record := workRecord(strings.Split(NewTube, "|")...)
	single := *story.Tests[0]
	single.Works, single.Tightening = story.works(), story.Tightening
	single.Record = &Record{Number: 12, TestID: "invented", Record: record}
	story.Tests[0].Record = single.Record
	for name, file := range map[string][]byte{"repair": repairBook(t, story), "test": singleBook(t, &single)} {
		f, err := excelize.OpenReader(bytes.NewReader(file))
		require.NoError(t, err)
		rows, err := f.GetRows(sheetWork)
		require.NoError(t, err)
		var lines []string
		for _, row := range rows {
			lines = append(lines, strings.Join(strings.Fields(strings.Join(row, " ")), " "))
		}
		text := strings.Join(lines, "\n")
		for _, want := range []string{"1 4 Feed tube new", "1 4 Serial number out NM-0417", "1 engine Symptom before hard hot start",
			"1 4 1 1 feed tube nut, first 11 lbf·ft 14.91 11 lbf·ft 14.91 1.50 as the sheet asks",
			"1 4 2 2 injector hold-down, both 30 N·m 30.00 30 N·m 30.00 60 75 5 yes / yes NOT as the sheet asks: step 2 (injector hold-down, both), 75°: expected 60° ± 5°",
			"Work 1, cylinder 4, step 1, torque: 11 lbf·ft in place of 11 lbf·in, 2024-03-06 12:01:03 +00:00 by R. Example."} {
			assert.Contains(t, text, want, name)
		}
		page, err := f.GetRows(sheetReport)
		require.NoError(t, err)
		assert.Contains(t, fmt.Sprint(page), "Tightening: Not as the limits sheet asks. Cylinder 4: step 2", name)
	}
}

func singleBook(t testing.TB, p *Page) []byte {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, Workbook(&out, p))
	return out.Bytes()
}

// No heading of the sheet of work stands at the end of a printed page with its
// table on the next.
func TestWorkSheetKeepsHeadingsWithTheirTables(t *testing.T) {
	for parts := range 40 {
		var lines []string
		for i := range parts {
			lines = append(lines, fmt.Sprintf("%d 4 seals = new", i+1))
		}
		b := RepairStory(t, 40, strings.Join(append(lines, strings.Split(NewTube, "|")...), "|"), WarmHigh, ColdFine).book()
		require.NoError(t, b.err)
		breaks := pen{b, sheetWork}.sheetOfBook().FieldByName("RowBreaks")
		rows, err := b.file.GetRows(sheetWork)
		require.NoError(t, err)
		used := 0.0
		for i, row := range rows {
			if broken(breaks, i) {
				used = 0
			}
			high, err := b.file.GetRowHeight(sheetWork, i+1)
			require.NoError(t, err)
			if used += high; len(row) > 0 && strings.HasPrefix(row[0], "Tightening record") {
				assert.LessOrEqual(t, used+workNeeds-high, float64(workPage), "%d parts", parts)
			}
			assert.LessOrEqual(t, used, float64(workPage), "%d parts, row %d", parts, i+1)
		}
		require.NoError(t, b.file.Close())
	}
}

// broken says whether a page ends with a row.
func broken(breaks reflect.Value, row int) bool {
	if breaks.IsNil() {
		return false
	}
	for i := range breaks.Elem().FieldByName("Brk").Len() {
		if int(breaks.Elem().FieldByName("Brk").Index(i).Elem().FieldByName("ID").Int()) == row {
			return true
		}
	}
	return false
}

// A step that was not done, and a work without any step, are rows of their own.
func TestWorkSheetSaysWhatWasNotDone(t *testing.T) {
	p := RepairStory(t, 40, "1 4 injector = refitted|1 4 step@1 = 1|1 4 torque@1 = 11 lbf·ft|1 4 step@2 = 3|1 4 torque@2 = 30 lbf·in|1 2 feed_tube = reused", WarmHigh, WarmFine)
	f, err := excelize.OpenReader(bytes.NewReader(repairBook(t, p)))
	require.NoError(t, err)
	rows, err := f.GetRows(sheetWork)
	require.NoError(t, err)
	text := fmt.Sprint(rows)
	assert.Contains(t, text, "Step 2 (injector hold-down, both) was not done.")
	assert.Contains(t, text, "None of the sheet's 3 tightening steps was recorded.")
	assert.Contains(t, text, "a feed tube that seals by being crushed seats once")
}

// The limits sheet shows the tolerances of its steps.
func TestStepsShowTheirTolerances(t *testing.T) {
	steps := RepairSheet(40).Tightening
	assert.Equal(t, "11 lbf·ft ± 1.5 N·m", stepRow(steps[0]).text)
	assert.Equal(t, "30 N·m, 60° ± 5°, new fastener", stepRow(steps[1]).text)
	assert.Equal(t, "30 lbf·in", stepRow(steps[2]).text)
}

// A validator built on the Open XML SDK finds nothing wrong with workbooks of
// repairs.
func TestRepairWorkbooksAreValid(t *testing.T) {
	t.Parallel()
	validator := os.Getenv(validatorVariable)
	if validator == "" {
		t.Skip(validatorVariable + " is not set: workbooks are not held against the Open XML SDK (.ci/run does)")
	}
	cases := pairCases(t, 0)
	for i, name := range []string{"undecided", "three", "bounds", "no limit"} {
		file := filepath.Join(t.TempDir(), "repair.xlsx")
		require.NoError(t, os.WriteFile(file, repairBook(t, cases[name]), 0o600))
		out, err := exec.CommandContext(t.Context(), validator, file, "--officeVersion", []string{"Microsoft365", "Office2007"}[i%2]).Output()
		var result struct {
			OK     bool
			Errors []struct{ Description, Path, XPath string }
		}
		require.NoError(t, json.Unmarshal(out, &result), "%v: %s", err, out)
		assert.True(t, result.OK, "%s: %+v", name, result.Errors)
	}
}
