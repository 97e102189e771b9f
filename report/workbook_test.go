package report_test

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/limits"
	"leakback/report"
)

// written is the workbook of a page, opened again.
func written(t *testing.T, p *report.Page) *excelize.File {
	t.Helper()
	f, err := excelize.OpenReader(bytes.NewReader(workbook(t, p)), excelize.Options{UnzipSizeLimit: 64 << 20})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, f.Close()) })
	return f
}

func workbook(t *testing.T, p *report.Page) []byte {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, report.Workbook(&out, p))
	return out.Bytes()
}

// raw is what stands in a cell, unformatted; shown is what people see.
func raw(t *testing.T, f *excelize.File, sheet, cell string) string {
	t.Helper()
	v, err := f.GetCellValue(sheet, cell, excelize.Options{RawCellValue: true})
	require.NoError(t, err)
	return v
}

func shown(t *testing.T, f *excelize.File, sheet, cell string) string {
	t.Helper()
	v, err := f.GetCellValue(sheet, cell)
	require.NoError(t, err)
	return v
}

// find is the cell of a sheet that holds exactly that text.
func find(t *testing.T, f *excelize.File, sheet, text string) (col, row int) {
	t.Helper()
	cells, err := f.SearchSheet(sheet, text)
	require.NoError(t, err)
	require.NotEmpty(t, cells, "%s: no cell holds %q", sheet, text)
	col, row, err = excelize.CellNameToCoordinates(cells[0])
	require.NoError(t, err)
	return col, row
}

func name(t *testing.T, col, row int) string {
	t.Helper()
	cell, err := excelize.CoordinatesToCellName(col, row)
	require.NoError(t, err)
	return cell
}

// firstCylinder is the row of cylinder 1 on the page.
func firstCylinder(t *testing.T, f *excelize.File) int {
	_, row := find(t, f, "Report", "Cylinder")
	return row + 1
}

func TestWorkbookSheets(t *testing.T) {
	f := written(t, pages(t)["six"])
	assert.Equal(t, []string{"Report", "Readings", "Working", "Limits", "Method"}, f.GetSheetList())
	assert.Equal(t, "Report", f.GetSheetName(f.GetActiveSheetIndex()))
	props, err := f.GetDocProps()
	require.NoError(t, err)
	assert.Equal(t, "leakback", props.Creator)
	assert.Equal(t, "leakback", props.LastModifiedBy)
	assert.Equal(t, "2000-01-01T00:00:00Z", props.Created)
	assert.Equal(t, "2000-01-01T00:00:00Z", props.Modified)
	assert.Equal(t, "Injector return-flow test", props.Title)
	app, err := f.GetAppProps()
	require.NoError(t, err)
	assert.Equal(t, "leakback", app.Application)
}

func TestReportHeadAndFacts(t *testing.T) {
	p := pages(t)["six"]
	f := written(t, p)
	assert.Equal(t, "Injector return-flow test", raw(t, f, "Report", "A1"))
	assert.Equal(t, report.Answer(p.Result), raw(t, f, "Report", "A3"))
	for label, want := range map[string]string{
		"Workshop": p.Job.Workshop, "Technician": p.Job.Technician, "Customer": p.Job.Customer,
		"Work order": p.Job.WorkOrder, "Date and time": p.Job.Tested, "Test": "demo", "Runs": "1 run of 60 s",
		"Vehicle": p.Job.Vehicle, "VIN": p.Job.VIN, "Odometer/hours": p.Job.Odometer, "Engine": "Northmoor Six-90",
		"Engine serial": p.Job.EngineSerial, "Condition": "idle", "Injectors": "driven", "Cranks": "",
		"Rail pressure": "350 bar", "Engine speed": "650 rpm", "Battery voltage": "",
		"Fuel temperature": "41 °C, at the return", "Back-pressure": "", "Tube": "100 mL, 1 mL marks, class B, ± 1 mL",
		"Complaint": p.Job.Complaint, "Note": p.Job.Note,
	} {
		assert.Equal(t, want, fact(t, f, label), label)
	}
}

// fact is the value beside a label.
func fact(t *testing.T, f *excelize.File, label string) string {
	col, row := find(t, f, "Report", label)
	values := map[int]int{1: 3, 5: 7, 10: 11}
	return raw(t, f, "Report", name(t, values[col], row))
}

// What is unknown is a ruled blank, not a word.
func TestReportUnknownIsBlank(t *testing.T) {
	f := written(t, pages(t)["bare"])
	for _, label := range []string{"Workshop", "Technician", "Customer", "Work order", "Date and time", "Vehicle", "VIN",
		"Odometer/hours", "Engine", "Engine serial", "Condition", "Injectors", "Cranks", "Rail pressure", "Engine speed",
		"Battery voltage", "Fuel temperature", "Back-pressure", "Complaint"} {
		assert.Empty(t, fact(t, f, label), label)
		col, row := find(t, f, "Report", label)
		id, err := f.GetCellStyle("Report", name(t, map[int]int{1: 3, 5: 7, 10: 11}[col], row))
		require.NoError(t, err)
		style, err := f.GetStyle(id)
		require.NoError(t, err)
		require.NotEmpty(t, style.Border, label)
		assert.Equal(t, "bottom", style.Border[0].Type, label)
	}
}

func TestReportTable(t *testing.T) {
	for page, p := range pages(t) {
		f := written(t, p)
		first := firstCylinder(t, f)
		for i := range p.Result.Cylinders {
			c, row := &p.Result.Cylinders[i], first+i
			at := func(col string) string { return fmt.Sprintf("%s%d", col, row) }
			where := fmt.Sprintf("%s, cylinder %d", page, c.Cylinder)
			assert.Equal(t, strconv.Itoa(c.Cylinder), raw(t, f, "Report", at("A")), where)
			assert.Equal(t, report.VerdictWord(c.Verdict), raw(t, f, "Report", at("B")), where)
			number(t, f, "Report", at("F"), c.RateMLMin)
			number(t, f, "Report", at("G"), c.Budget.ExpandedMLMin)
			number(t, f, "Report", at("H"), c.RatioToMedian)
		}
	}
}

// number asserts that a cell holds x as a number, or nothing for NaN. A
// spreadsheet keeps 15 digits.
func number(t *testing.T, f *excelize.File, sheet, cell string, x float64) {
	t.Helper()
	text := raw(t, f, sheet, cell)
	if math.IsNaN(x) {
		assert.Empty(t, text, cell)
		return
	}
	got, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err, "%s %s: %q", sheet, cell, text)
	assert.InEpsilon(t, 1+x, 1+got, 1e-12, cell)
	kind, err := f.GetCellType(sheet, cell)
	require.NoError(t, err)
	assert.Contains(t, []excelize.CellType{excelize.CellTypeUnset, excelize.CellTypeNumber}, kind, cell)
}

func TestReportRow(t *testing.T) {
	f := written(t, pages(t)["runs"])
	first := firstCylinder(t, f)
	row := func(cylinder int) (texts []string) {
		for _, col := range "ABDEFGHI" {
			texts = append(texts, shown(t, f, "Report", fmt.Sprintf("%c%d", col, first+cylinder-1)))
		}
		return texts
	}
	assert.Equal(t, []string{"1", "pass", "21; 22; 21", "60", "21.3", "1.2", "0.71", "2 – 40"}, row(1))
	assert.Equal(t, "22,5; 22; 23", row(2)[2], "as typed")
	assert.Equal(t, []string{"FAIL", "22; >100; 22"}, row(6)[1:3])
	assert.Equal(t, []string{"≥ 48.0", ""}, row(6)[4:6], "a bound says so and has no uncertainty")
}

// A limit that is shown never has fewer digits than it was given.
func TestReportLimitColumn(t *testing.T) {
	most, least, volume, interval := 37.25, 3.0, 10.0, 15.0
	for _, c := range []struct {
		limit limits.Limit
		want  string
	}{
		{limits.Limit{MaxRateMLMin: &most}, "≤ 37.25"},
		{limits.Limit{MinRateMLMin: &least}, "≥ 3.0"},
		{limits.Limit{MaxVolumeML: &volume, IntervalS: &interval}, "≤ 40.0"},
	} {
		sheet := limits.Builtin()
		c.limit.Condition, c.limit.Source = "idle", "invented"
		sheet.Limits = []limits.Limit{c.limit}
		f := written(t, evaluated(t, bayTest(t, typed{"21", "22", "23"}), sheet, fullJob()))
		assert.Equal(t, c.want, shown(t, f, "Report", fmt.Sprintf("I%d", firstCylinder(t, f))))
	}
}

func TestReportStartsAndUnlikeIntervals(t *testing.T) {
	test := bayTest(t, typed{"30", "31", "32"}, typed{"40", "41", "42"})
	test.Runs[1].IntervalS = 80
	for i := range test.Runs {
		test.Runs[i].Readings[0].StartML, test.Runs[i].Readings[0].StartRead = 5, true
	}
	test.Runs[1].Readings[2].StartRead = true // a typed 0 is a level that was read
	f := written(t, evaluated(t, test, limits.Builtin(), fullJob()))
	first := firstCylinder(t, f)
	assert.Equal(t, "30 from 5; 40 from 5", raw(t, f, "Report", fmt.Sprintf("D%d", first)))
	assert.Equal(t, "32; 42 from 0", raw(t, f, "Report", fmt.Sprintf("D%d", first+2)))
	assert.Equal(t, "60; 80", raw(t, f, "Report", fmt.Sprintf("E%d", first)))
	assert.Equal(t, "2 runs of 60 s and 80 s", fact(t, f, "Runs"))
}

// prose is the text under a heading.
func prose(t *testing.T, f *excelize.File, heading string) string {
	t.Helper()
	col, row := find(t, f, "Report", heading)
	return raw(t, f, "Report", name(t, col, row+1))
}

func TestReportTexts(t *testing.T) {
	p := pages(t)["six"]
	f := written(t, p)
	text := prose(t, f, "Findings, and what would settle them")
	lines := strings.Split(text, "\n")
	assert.True(t, strings.HasPrefix(lines[0], "Cylinder 4: "), text)
	assert.True(t, strings.HasPrefix(lines[1], "Cylinder 5: "), text)
	assert.Contains(t, lines[1], "To settle it: ")
	for i := range p.Result.Cylinders {
		for _, found := range p.Result.Cylinders[i].Findings {
			assert.Contains(t, text, report.Sentence(found.Text))
		}
	}
	assert.Equal(t, strings.Join(p.Advice, "\n"), prose(t, f, "What to look at next"))
	assert.Equal(t, strings.Join(p.NotSeen, "\n"), prose(t, f, "What this test does not see"))
	assert.Equal(t, strings.Join(p.Cautions, " "), prose(t, f, "Cautions"))
	rule := prose(t, f, "Limits and decision rule")
	for _, part := range []string{"Bay sheet for the Northmoor Six-90", "maximum rate 40 mL/min", "at most 5\u00a0%",
		"a chance of 1\u00a0%", "Invented service information, section 4, revision 2", "spread of healthy injectors 15\u00a0%"} {
		assert.Contains(t, strings.ToLower(rule), strings.ToLower(part))
	}
	for _, label := range []string{"Technician", "Customer"} {
		cells, err := f.SearchSheet("Report", label)
		require.NoError(t, err)
		assert.Len(t, cells, 2, "one fact and one line to sign on: %s", label)
	}
	foot, err := f.SearchSheet("Report", "leakback v0.1.0   readings SHA-256 "+p.Digest)
	require.NoError(t, err)
	assert.Len(t, foot, 1)
}

func TestReportBookVolume(t *testing.T) {
	volume, interval := 10.0, 15.0
	sheet := limits.Builtin()
	sheet.Limits = []limits.Limit{{Condition: "idle", MaxVolumeML: &volume, IntervalS: &interval, Source: "invented"}}
	f := written(t, evaluated(t, bayTest(t, typed{"21", "22", "23"}), sheet, fullJob()))
	assert.Contains(t, prose(t, f, "Limits and decision rule"), "the book gives 10 mL in 15 s")
}

// A page without advice has no empty heading for it.
func TestReportLeavesOutEmptyBlocks(t *testing.T) {
	p := pages(t)["four"]
	p.Advice, p.NotSeen, p.Cautions = nil, nil, nil
	f := written(t, p)
	for _, heading := range []string{"What to look at next", "What this test does not see"} {
		cells, err := f.SearchSheet("Report", heading)
		require.NoError(t, err)
		assert.Empty(t, cells)
	}
	assert.Equal(t, p.CautionLine, prose(t, f, "Cautions"))
}

// What the page has no room for stands in full below the printed part.
func TestReportLongTextsAreKept(t *testing.T) {
	p := pages(t)["long"]
	f := written(t, p)
	assert.True(t, strings.HasSuffix(fact(t, f, "Complaint"), " …"))
	_, row := find(t, f, "Report", "In full, what the page above shortens")
	area := printArea(t, f, "Report")
	last, err := strconv.Atoi(area[strings.LastIndex(area, "$")+1:])
	require.NoError(t, err)
	assert.Greater(t, row, last, "outside what is printed")
	full := map[string]string{}
	rows, err := f.GetRows("Report", excelize.Options{RawCellValue: true})
	require.NoError(t, err)
	for _, cells := range rows[row:] {
		if len(cells) > 2 {
			full[cells[0]] += cells[2]
		}
	}
	assert.Equal(t, p.Job.Complaint, full["Complaint"])
	assert.Equal(t, p.Job.Note, full["Note"])
	assert.Equal(t, p.Job.Vehicle, full["Vehicle"])
	assert.Equal(t, strings.Join(p.Advice, "\n"), full["What to look at next"])
	assert.Contains(t, prose(t, f, "What to look at next"), "more, in full below the printed page.")
}

func printArea(t *testing.T, f *excelize.File, sheet string) string {
	t.Helper()
	for _, n := range f.GetDefinedName() {
		if n.Name == "_xlnm.Print_Area" && n.Scope == sheet {
			return n.RefersTo
		}
	}
	t.Fatalf("%s has no print area", sheet)
	return ""
}

func TestReportPrintsOnOnePage(t *testing.T) {
	f := written(t, pages(t)["sixteen"])
	props, err := f.GetSheetProps("Report")
	require.NoError(t, err)
	assert.True(t, *props.FitToPage)
	layout, err := f.GetPageLayout("Report")
	require.NoError(t, err)
	assert.Equal(t, 9, *layout.Size, "A4")
	assert.Equal(t, "portrait", *layout.Orientation)
	assert.Equal(t, 1, *layout.FitToWidth)
	assert.Equal(t, 1, *layout.FitToHeight)
	assert.Regexp(t, `^Report!\$A\$1:\$K\$\d+$`, printArea(t, f, "Report"))
}

func TestReadingsSheet(t *testing.T) {
	test := bayTest(t, typed{"21", "22,5", ">100", "<1", ""}, typed{"20", "23", "", "2", "19"})
	test.Runs[0].Readings[1].StartML, test.Runs[0].Readings[1].StartRead = 2.5, true
	test.Runs[0].Readings[3].StartRead = true
	test.Runs[0].Readings[0].ReturnLine = "left"
	test.Runs[1].State = leakback.UnknownState()
	f := written(t, evaluated(t, test, limits.Builtin(), fullJob()))
	rows, err := f.GetRows("Readings", excelize.Options{RawCellValue: true})
	require.NoError(t, err)
	assert.Equal(t, []string{"run", "cylinder", "volume as typed", "volume_ml", "start_ml", "interval_s",
		"graduation_ml", "capacity_ml", "tolerance_ml", "tube class", "return_line", "condition", "injectors", "cranks",
		"fuel_temp_c", "fuel_temp_at", "rail_pressure_bar", "back_pressure_bar", "engine_rpm"}, rows[0])
	assert.Len(t, rows, 11)
	state := []string{"idle", "driven", "", "41", "return", "350", "", "650"}
	assert.Equal(t, append([]string{"1", "1", "21", "21", "", "60", "1", "100", "1", "B", "left"}, state...), rows[1])
	assert.Equal(t, append([]string{"1", "2", "22,5", "22.5", "2.5", "60", "1", "100", "1", "B", ""}, state...), rows[2])
	assert.Equal(t, []string{"1", "3", ">100", ">100"}, rows[3][:4])
	assert.Equal(t, []string{"1", "4", "<1", "<1", "0"}, rows[4][:5], "a typed 0 is a level that was read")
	assert.Equal(t, []string{"1", "5", "", "", ""}, rows[5][:5], "not read")
	assert.Equal(t, []string{"2", "1", "20", "20", "", "60", "1", "100", "1", "B", "", "idle", "driven"}, rows[6])
	for _, cell := range []string{"A2", "B2", "D2", "E3", "F2", "G2", "H2", "I2", "O2", "Q2", "S2"} {
		kind, err := f.GetCellType("Readings", cell)
		require.NoError(t, err)
		assert.NotEqual(t, excelize.CellTypeSharedString, kind, cell)
	}
	kind, err := f.GetCellType("Readings", "C2")
	require.NoError(t, err)
	assert.Equal(t, excelize.CellTypeSharedString, kind, "as typed is text, even where it looks like a number")
}

// A tolerance of nothing is a figure; a capacity of nothing was not given.
func TestReadingsTube(t *testing.T) {
	f := written(t, pages(t)["bare"])
	assert.Equal(t, "1", raw(t, f, "Readings", "G2"))
	assert.Empty(t, raw(t, f, "Readings", "H2"))
	assert.Equal(t, "0", raw(t, f, "Readings", "I2"))
	assert.Equal(t, "1 mL marks", fact(t, f, "Tube"))
}

func TestListSheetsPrint(t *testing.T) {
	f := written(t, pages(t)["runs"])
	names := map[string]string{}
	for _, n := range f.GetDefinedName() {
		names[n.Scope+" "+n.Name] = n.RefersTo
	}
	assert.Equal(t, "Readings!$A$1:$S$19", names["Readings _xlnm.Print_Area"])
	assert.Equal(t, "Readings!$1:$1", names["Readings _xlnm.Print_Titles"])
	assert.Equal(t, "Limits!$1:$1", names["Limits _xlnm.Print_Titles"])
	assert.Equal(t, "Working!$1:$1", names["Working _xlnm.Print_Titles"])
	assert.Equal(t, "Method!$1:$1", names["Method _xlnm.Print_Titles"])
	assert.Regexp(t, `^Working!\$A\$1:\$P\$\d+$`, names["Working _xlnm.Print_Area"])
	assert.Equal(t, "Limits!$D$6", names["Workbook healthy_cv"], "figures have names")
	for _, sheet := range []string{"Readings", "Limits"} {
		panes, err := f.GetPanes(sheet)
		require.NoError(t, err)
		assert.True(t, panes.Freeze)
		assert.Equal(t, 1, panes.YSplit)
		layout, err := f.GetPageLayout(sheet)
		require.NoError(t, err)
		assert.Equal(t, "landscape", *layout.Orientation)
		assert.Equal(t, 1, *layout.FitToWidth)
	}
}

func TestFooterOfHostileWorkOrder(t *testing.T) {
	p := pages(t)["six"]
	p.Job.WorkOrder = "8 & Sons &P" + strings.Repeat("&", 300)
	p.Result.Test.ID = strings.Repeat("&", 300)
	f := written(t, p)
	foot, err := f.GetHeaderFooter("Readings")
	require.NoError(t, err)
	assert.Contains(t, foot.OddFooter, "8 && Sons &&P&&")
	assert.LessOrEqual(t, len(foot.OddFooter), 255)
	own := strings.ReplaceAll(foot.OddFooter, "&&", "")
	assert.Equal(t, 8, strings.Count(own, "&"), "only our own codes: %s", own)
}

// limitsRows are the rows of the limits sheet by part and key.
func limitsRows(t *testing.T, f *excelize.File) map[string][]string {
	t.Helper()
	rows, err := f.GetRows("Limits", excelize.Options{RawCellValue: true})
	require.NoError(t, err)
	require.Equal(t, []string{"part", "figure", "key in the sheet", "value", "unit", "source", "in this test"}, rows[0])
	byKey := map[string][]string{}
	for _, row := range rows[1:] {
		row = append(row, make([]string, 7-len(row))...)
		key := row[2]
		if key == "" {
			key = row[1]
		}
		if _, end, _ := strings.Cut(row[1], ", "); end == "from" || end == "to" {
			key += " " + end
		}
		byKey[row[0]+": "+key] = row[3:]
	}
	return byKey
}

func TestLimitsSheet(t *testing.T) {
	sheet := baySheet()
	total, ratio, difference, volume, interval, line := 180.0, 2.0, 20.0, 10.0, 15.0, limits.ReturnLine{Name: "left", Cylinders: []int{1, 3, 5}}
	sheet.ReturnLines, sheet.BackPressureBar = []limits.ReturnLine{line}, &limits.Range{Low: 8, High: 12}
	sheet.Measurement = limits.Measurement{RepeatabilityCV: 0.02, CommonCV: 0.02, TimingS: 0.3, MaxCrankS: 15, RestS: 60,
		Source: "own bay", Defaulted: []string{"common_cv"}}
	sheet.Limits[0].MaxTotalMLMin, sheet.Limits[0].MaxRatioToMedian, sheet.Limits[0].MaxDifferenceMLMin = &total, &ratio, &difference
	sheet.Limits = append(sheet.Limits, limits.Limit{Condition: "cranking", MaxVolumeML: &volume, IntervalS: &interval,
		Cranks: 1, Source: "Invented book"})
	test := bayTest(t, typed{"21", "22", "23", "24", "25", "26"})
	test.Runs[0].State.BackPressureBar = 10
	f := written(t, evaluated(t, test, sheet, fullJob()))
	book := "Invented service information, section 4, revision 2"
	for key, want := range map[string][]string{
		"Sheet: name":                                     {"Bay sheet for the Northmoor Six-90", "", "", ""},
		"Sheet: file":                                     {"northmoor.toml", "", "", ""},
		"Sheet: engine":                                   {"Northmoor Six-90", "", "", ""},
		"Sheet: firing order":                             {"1-5-3-6-2-4", "", "", ""},
		"Sheet: return line left":                         {"1, 3, 5", "", "", ""},
		"Sheet: back_pressure_bar from":                   {"8", "bar", "", ""},
		"Sheet: back_pressure_bar to":                     {"12", "bar", "", ""},
		"Comparison within the engine: within_limit":      {"undecided", "", "assumed", "assumed"},
		"Measurement: repeatability_cv":                   {"0.02", "", "own bay", "applied"},
		"Measurement: common_cv":                          {"0.02", "", "assumed", "applied, assumed"},
		"Measurement: max_crank_s":                        {"15", "s", "own bay", ""},
		"Limit for idle: max_rate_ml_min":                 {"40", "mL/min", book, "applied"},
		"Limit for idle: min_rate_ml_min":                 {"2", "mL/min", book, "applied"},
		"Limit for idle: max_total_ml_min":                {"180", "mL/min", book, "applied"},
		"Limit for idle: max_ratio_to_median":             {"2", "", book, "applied"},
		"Limit for idle: max_difference_ml_min":           {"20", "mL/min", book, "applied"},
		"Limit for idle: injectors":                       {"driven", "", book, "applied"},
		"Limit for idle: rail_pressure_bar from":          {"300", "bar", book, "applied"},
		"Limit for idle: rail_pressure_bar to":            {"400", "bar", book, "applied"},
		"Limit for cranking: max_volume_ml":               {"10", "mL", "Invented book", "not applied"},
		"Limit for cranking: maximum, compared as a rate": {"40", "mL/min", "Invented book", "not applied"},
		"Limit for cranking: cranks":                      {"1", "", "Invented book", "not applied"},
		"Tightening step 1: injector hold-down, both":     {"60 N·m, 90°, new fastener", "", "Invented service information, section 4", ""},
	} {
		assert.Equal(t, want, limitsRows(t, f)[key], key)
	}
	for _, row := range allText(t, f) {
		assert.NotContains(t, row, "someone", "a machine's folders are nobody's business")
	}
}

// allText is every text and number of the workbook.
func allText(t *testing.T, f *excelize.File) (all []string) {
	t.Helper()
	for _, sheet := range f.GetSheetList() {
		rows, err := f.GetRows(sheet, excelize.Options{RawCellValue: true})
		require.NoError(t, err)
		for _, row := range rows {
			all = append(all, row...)
		}
	}
	return all
}

func TestReportCranksAndUnlikeStates(t *testing.T) {
	test := bayTest(t, typed{"21", "22", "23"}, typed{"21", "22", "23"})
	test.Condition, test.Runs[0].State.Cranks, test.Runs[1].State.Cranks = "cranking", 1, 3
	test.Runs[1].State.RailPressureBar, test.Runs[1].State.FuelTempAt = 340, "tube"
	test.Runs[1].Readings[1].Tube = leakback.Tube{GraduationML: 0.5, CapacityML: 25}
	f := written(t, evaluated(t, test, limits.Builtin(), fullJob()))
	assert.Equal(t, "1, 3", fact(t, f, "Cranks"))
	assert.Equal(t, "340 to 350 bar", fact(t, f, "Rail pressure"))
	assert.Equal(t, "41 °C, at the return and tube", fact(t, f, "Fuel temperature"))
	assert.Equal(t, "100 mL, 1 mL marks, class B, ± 1 mL; 25 mL, 0.5 mL marks", fact(t, f, "Tube"))
}

// Where U is 10 mL/min or more, a decimal would be noise.
func TestReportWholeRates(t *testing.T) {
	test := bayTest(t, typed{"800", "810", "805"})
	for i := range test.Runs[0].Readings {
		test.Runs[0].Readings[i].Tube = leakback.Tube{GraduationML: 10, CapacityML: 1000}
	}
	f := written(t, evaluated(t, test, limits.Builtin(), fullJob()))
	assert.Equal(t, "800", shown(t, f, "Report", fmt.Sprintf("F%d", firstCylinder(t, f))))
}

// merged is a block-off test of four invented cylinders, 20 mL/min each but for
// cylinder 3: nothing blocked, one after the other, back again, nothing blocked.
func merged(t *testing.T) *report.Page {
	t.Helper()
	shares := []float64{20, 21, 45, 19}
	test := bayTest(t, typed{""})
	test.Method, test.Cylinders, test.Runs = leakback.MethodBlockOff, len(shares), nil
	for k, blocked := range []int{0, 1, 2, 3, 4, 4, 3, 2, 1, 0} {
		total := 105.0
		run := leakback.Run{Number: k + 1, IntervalS: 60, State: leakback.UnknownState()}
		if blocked > 0 {
			total -= shares[blocked-1]
			run.Blocked = []int{blocked}
		}
		one := reading(t, 0, fmt.Sprint(total+float64(k%3)))
		one.Tube.CapacityML = 250
		run.Readings = []leakback.Reading{one}
		test.Runs = append(test.Runs, run)
	}
	return evaluated(t, test, limits.Builtin(), fullJob())
}

// A merged return of one line has a page whose figures are formulas, as that of
// returns collected cylinder by cylinder.
func TestMergedReturn(t *testing.T) {
	p := merged(t)
	f := written(t, p)
	first := firstCylinder(t, f)
	for i := range p.Result.Cylinders {
		c := &p.Result.Cylinders[i]
		assert.Equal(t, report.VerdictWord(c.Verdict), raw(t, f, "Report", fmt.Sprintf("B%d", first+i)))
		number(t, f, "Report", fmt.Sprintf("F%d", first+i), c.RateMLMin)
		number(t, f, "Report", fmt.Sprintf("G%d", first+i), c.Budget.ExpandedMLMin)
		number(t, f, "Report", fmt.Sprintf("H%d", first+i), c.RatioToMedian)
		for _, col := range []string{"B", "F", "G", "H"} {
			formula, err := f.GetCellFormula("Report", fmt.Sprintf("%s%d", col, first+i))
			require.NoError(t, err)
			assert.Contains(t, formula, "Working!")
		}
	}
	assert.Equal(t, []string{"run", "blocked"}, []string{raw(t, f, "Readings", "A1"), raw(t, f, "Readings", "C1")})
	assert.Equal(t, "3", raw(t, f, "Readings", "C5"))
	c := chartOf(t, workbook(t, p))
	assert.InDelta(t, p.Result.Cylinders[2].RateMLMin, c.Bars[2].points(p)[3], 1e-9)
}

// Merged returns that do not solve every cylinder once keep the program's
// figures, and the workbook says that they do not follow a change.
func TestSharesThatDoNotFollow(t *testing.T) {
	p := merged(t)
	p.Result.BlockOff.Lines = append(p.Result.BlockOff.Lines, p.Result.BlockOff.Lines[0])
	f := written(t, p)
	assert.Contains(t, raw(t, f, "Working", "A2"), "do not follow a change")
	assert.Empty(t, formulas(t, workbook(t, p)))
}

// Without an interval there are volumes in the working, ratios on the page, and
// no rate.
func TestNoInterval(t *testing.T) {
	test := bayTest(t, typed{"21", "22", "23", "60"})
	test.Runs[0].IntervalS = math.NaN()
	p := evaluated(t, test, baySheet(), fullJob())
	f := written(t, p)
	first := firstCylinder(t, f)
	for i := range p.Result.Cylinders {
		for _, col := range "EFGI" {
			assert.Empty(t, raw(t, f, "Report", fmt.Sprintf("%c%d", col, first+i)))
		}
		number(t, f, "Report", fmt.Sprintf("H%d", first+i), p.Result.Cylinders[i].RatioToMedian)
	}
	assert.Contains(t, raw(t, f, "Working", "A3"), "stands for a volume")
	assert.Contains(t, raw(t, f, "Report", "A"+strconv.Itoa(first+5)), "Live check")
}

// A run that is left out stays in the record, behind the others, with its reason.
func TestRunLeftOut(t *testing.T) {
	test := bayTest(t, typed{"21", "22", "23"}, typed{"20", "22", "24"})
	test.Runs[0].LeftOut = "=the hose was kinked"
	p := evaluated(t, test, baySheet(), fullJob())
	f := written(t, p)
	rows, err := f.GetRows("Readings", excelize.Options{RawCellValue: true})
	require.NoError(t, err)
	last := len(rows[0]) - 1
	assert.Equal(t, "left out, because", rows[0][last])
	assert.Equal(t, []string{"2", "1", "20"}, rows[1][:3])
	assert.Less(t, len(rows[1]), len(rows[0]), "no reason")
	assert.Equal(t, "1", rows[4][0])
	assert.Equal(t, "=the hose was kinked", rows[4][last])
	number(t, f, "Report", fmt.Sprintf("F%d", firstCylinder(t, f)), 20)
}
