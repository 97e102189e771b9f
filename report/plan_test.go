package report_test

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
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

var shopTube = leakback.Tube{GraduationML: 1, CapacityML: 100, ToleranceML: 1}

// planPage is a page with a few words of its own, so that the golden files show
// layout and not the wording of other packages' tables.
func planPage() *report.PlanPage {
	return &report.PlanPage{
		Sheet: limits.Builtin(), Version: "1.2.3", Cautions: []string{"High pressure: keep away.", "Afterwards: tidy up."},
		CautionLine: "Never feel for a leak by hand. The maker's service information comes first.",
	}
}

// collect plans an individual test of six cylinders.
func collect(t *testing.T, expect, limit float64, changes ...func(*leakback.CollectionGoal)) *report.PlanPage {
	t.Helper()
	p := planPage()
	g := leakback.CollectionGoal{ExpectMLMin: expect, LimitMLMin: limit, Tube: shopTube, Runs: 1, IntervalS: math.NaN(),
		Cylinders: 6, Set: p.Sheet.Set, Measurement: p.Sheet.Measurement}
	for _, change := range changes {
		change(&g)
	}
	plan, err := leakback.PlanCollection(g)
	require.NoError(t, err)
	p.Collection, p.Cylinders = plan, g.Cylinders
	if g.Cranking {
		p.Condition, p.Concerns = "cranking", []string{"Moving engine: keep hands away."}
	}
	return p
}

func byStarter(g *leakback.CollectionGoal) {
	g.Cranking, g.Measurement.MaxCrankS, g.Measurement.RestS = true, 15, 60
}

// block plans a block-off measurement.
func block(t *testing.T, cylinders int, changes ...func(*leakback.BlockOffGoal)) *report.PlanPage {
	t.Helper()
	p := planPage()
	g := leakback.BlockOffGoal{ExpectMLMin: 30, IntervalS: math.NaN(), Passes: 2, Tube: shopTube, Measurement: p.Sheet.Measurement}
	for i := range cylinders {
		g.Order = append(g.Order, i+1)
	}
	for _, change := range changes {
		change(&g)
	}
	plan, err := leakback.PlanBlockOff(g)
	require.NoError(t, err)
	p.BlockOff, p.Cylinders = plan, cylinders
	p.Concerns = []string{"Blocking: only with caps rated for rail pressure, and only where the maker allows it."}
	return p
}

func banks(g *leakback.BlockOffGoal) {
	g.Lines = []limits.ReturnLine{{Name: "left", Cylinders: []int{1, 2, 3}}, {Name: "right", Cylinders: []int{4, 5, 6}}}
}

func planPages(t *testing.T) map[string]*report.PlanPage {
	nan := math.NaN()
	withLimit := collect(t, 36, 40)
	withLimit.Engine, withLimit.Condition = "Northmoor Six-90", "idle"
	withLimit.Limit = &limits.Limit{Condition: "idle", Injectors: limits.Driven, Cranks: 1, MaxVolumeML: given(20), IntervalS: given(30),
		RailPressureBar: &limits.Range{Low: 300, High: 400}, Source: "invented service sheet 12-3"}
	withLimit.Notes = []string{"Not planned for, though the sheet has them: max_total_ml_min."}
	return map[string]*report.PlanPage{
		"plan-far":     collect(t, 30, 40),
		"plan-near":    withLimit,
		"plan-crank":   collect(t, 36, 40, byStarter),
		"plan-finer":   collect(t, 30, 40, func(g *leakback.CollectionGoal) { g.IntervalS = 15 }),
		"plan-never":   collect(t, 39.7, 40),
		"plan-set":     collect(t, 30, nan),
		"plan-noisy":   collect(t, 30, nan, func(g *leakback.CollectionGoal) { g.Measurement.RepeatabilityCV = 0.4 }),
		"plan-low":     collect(t, 5, 40, func(g *leakback.CollectionGoal) { g.Tube.CapacityML = 50 }),
		"plan-unsized": collect(t, 30, 40, func(g *leakback.CollectionGoal) { g.Tube.CapacityML = 0 }),
		"block-six":    block(t, 6),
		"block-bare":   block(t, 4, func(g *leakback.BlockOffGoal) { g.ExpectMLMin = nan }),
		"block-banks":  block(t, 6, banks),
		"block-crank": block(t, 4, func(g *leakback.BlockOffGoal) {
			g.Cranking, g.Cranks, g.Measurement.MaxCrankS, g.Measurement.RestS = true, 2, 15, 60
		}),
		"block-eight": block(t, 8, func(g *leakback.BlockOffGoal) { g.Passes, g.Tube = 4, leakback.Tube{GraduationML: 2, CapacityML: 500} }),
	}
}

func given(x float64) *float64 { return &x }

func TestGoldenPlan(t *testing.T) {
	for name, p := range planPages(t) {
		t.Run(name, func(t *testing.T) {
			var out bytes.Buffer
			require.NoError(t, report.Plan(&out, p, report.TableOptions{Unicode: true}))
			golden(t, name+".txt", out.Bytes())
		})
	}
}

// No line is wider than the screen, and without Unicode all of it is ASCII.
func TestPlanFitsTheScreen(t *testing.T) {
	for name, p := range planPages(t) {
		p.Engine = "Northmoor “Sechs-90” (Prüfstand)"
		for _, width := range []int{40, 60, 80, 120} {
			for _, unicode := range []bool{true, false} {
				var out bytes.Buffer
				require.NoError(t, report.Plan(&out, p, report.TableOptions{Width: width, Unicode: unicode}))
				for line := range strings.Lines(out.String()) {
					line = strings.TrimSuffix(line, "\n")
					assert.LessOrEqual(t, displaywidth.String(line), width, "%s: %q", name, line)
					assert.Equal(t, strings.TrimRight(line, " "), line)
				}
				if !unicode {
					assert.NotRegexp(t, `[^\n -~]`, out.String())
				}
			}
		}
	}
}

func TestPlanJSON(t *testing.T) {
	for name, p := range planPages(t) {
		var out bytes.Buffer
		require.NoError(t, report.PlanJSON(&out, p), name)
		assert.Equal(t, 1, strings.Count(out.String(), "\n"))
		var got map[string]any
		require.NoError(t, json.Unmarshal(out.Bytes(), &got), name)
		assert.Equal(t, report.PlanAnswer(p), got["answer"])
		if p.BlockOff != nil {
			assert.Nil(t, got["individual"])
			assert.Len(t, got["block_off"].(map[string]any)["runs"], len(p.BlockOff.Runs))
			continue
		}
		one := got["individual"].(map[string]any)
		assert.Equal(t, p.Collection.Outcome == leakback.OutOfReach, one["take"] == nil)
		assert.Equal(t, math.IsNaN(p.Collection.Goal.LimitMLMin), one["limit_ml_min"] == nil)
	}
}

// What is written to be filled in has the columns of the readings file and a
// row for each reading, nothing that a spreadsheet takes for a formula.
func TestPlanCSV(t *testing.T) {
	rows := func(p *report.PlanPage) [][]string {
		var out bytes.Buffer
		require.NoError(t, report.PlanCSV(&out, p))
		all, err := csv.NewReader(&out).ReadAll()
		require.NoError(t, err)
		return all
	}
	near := rows(collect(t, 36, 40))
	require.Len(t, near, 1+2*6)
	assert.Equal(t, []string{"run", "cylinder", "volume_ml", "interval_s", "graduation_ml", "capacity_ml", "tolerance_ml",
		"rail_pressure_bar", "fuel_temp_c"}, near[0])
	assert.Equal(t, []string{"2", "1", "", "50", "1", "100", "1", "", ""}, near[7])

	six := rows(block(t, 6))
	require.Len(t, six, 15)
	assert.Equal(t, "blocked", six[0][1])
	assert.Equal(t, []string{"1", "", "", "25"}, six[1][:4])
	assert.Equal(t, []string{"2", "1", "", "25"}, six[2][:4])
	assert.Equal(t, "9", six[9][0])
	assert.Equal(t, "5", six[9][1])

	p := block(t, 6, banks)
	p.BlockOff.Runs[0].Line, p.Condition = "=left", "+idle"
	odd := rows(p)
	assert.Equal(t, "return_line", odd[0][2])
	assert.Empty(t, odd[1][2])
	assert.Equal(t, "right", odd[12][2])
	assert.NotContains(t, odd[0], "condition")
}

func planBook(t *testing.T, p *report.PlanPage) []byte {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, report.PlanWorkbook(&out, p))
	return out.Bytes()
}

// The sheet holds what to do and a box for each reading; it is the same each
// time, and text of people never becomes a formula.
func TestPlanWorkbook(t *testing.T) {
	p := block(t, 6)
	p.Engine = `=HYPERLINK("x")`
	book := planBook(t, p)
	assert.Equal(t, book, planBook(t, p))
	f, err := excelize.OpenReader(bytes.NewReader(book))
	require.NoError(t, err)
	assert.Equal(t, []string{"Plan"}, f.GetSheetList())
	cells, err := f.GetRows("Plan")
	require.NoError(t, err)
	text := strings.ReplaceAll(fmt.Sprint(cells), "\u00a0", " ")
	for _, want := range []string{report.PlanAnswer(p), "Nothing blocked", "Block cylinder 6", "Total, mL", p.Concerns[0], p.Engine} {
		assert.Contains(t, text, want)
	}
	for row := range cells {
		for col := range cells[row] {
			name, err := excelize.CoordinatesToCellName(col+1, row+1)
			require.NoError(t, err)
			formula, err := f.GetCellFormula("Plan", name)
			require.NoError(t, err)
			assert.Empty(t, formula)
		}
	}
	assert.Equal(t, 14, boxed(t, f, "E"))
	two, err := excelize.OpenReader(bytes.NewReader(planBook(t, collect(t, 36, 40))))
	require.NoError(t, err)
	assert.Equal(t, 6, boxed(t, two, "B"))
	assert.Equal(t, 6, boxed(t, two, "E"))
}

// boxed counts the cells of a column that have a line on every side.
func boxed(t *testing.T, f *excelize.File, column string) int {
	t.Helper()
	count := 0
	for row := 1; row < 80; row++ {
		id, err := f.GetCellStyle("Plan", fmt.Sprint(column, row))
		require.NoError(t, err)
		style, err := f.GetStyle(id)
		require.NoError(t, err)
		if len(style.Border) == 4 {
			count++
		}
	}
	return count
}

// One page, on A4 and on Letter; a list that no page holds goes on to the next.
func TestPlanIsOnePrintedPage(t *testing.T) {
	books := map[string][]byte{"long": planBook(t, block(t, 16, func(g *leakback.BlockOffGoal) { g.Passes, g.ExpectMLMin = 4, 10 }))}
	for _, name := range []string{"plan-near", "plan-crank", "block-six", "block-eight"} {
		books[name] = planBook(t, planPages(t)[name])
		f, err := excelize.OpenReader(bytes.NewReader(books[name]))
		require.NoError(t, err)
		letter := 1
		require.NoError(t, f.SetPageLayout("Plan", &excelize.PageLayoutOptions{Size: &letter}))
		var out bytes.Buffer
		require.NoError(t, f.Write(&out))
		books[name+"-letter"] = out.Bytes()
	}
	for name, pdf := range pdfs(t, books) {
		want := 1
		if name == "long" {
			want = 2
		}
		assert.Equal(t, want, pageNumber(t, pdf), name)
	}
}
