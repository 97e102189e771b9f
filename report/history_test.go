package report

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback"
)

// someResults are tests of every verdict, made by hand.
func someResults() []*leakback.Result {
	high := sampleResult(maximum(40), good(22), good(40.004), bad(58, leakback.Fail, leakback.OverLimit, leakback.HighInSet))
	high.Findings = []leakback.Finding{{Code: leakback.HalfSet}, {Code: leakback.SetTogetherHigh}}
	open := sampleResult(nil, sample{rate: 100, bound: leakback.AtLeast, verdict: leakback.Undecided,
		codes: []leakback.Code{leakback.OverRange}}, unread(), good(1.0/3))
	open.Test.ID, open.Test.Condition, open.IntervalS = "second", "", math.NaN()
	return []*leakback.Result{high, open}
}

// historyOf is the history of results, most rows a sheet, 0 for as many as fit.
func historyOf(t *testing.T, most int, results ...*leakback.Result) []byte {
	t.Helper()
	h := NewHistory("1.2.3")
	defer func() { require.NoError(t, h.Close()) }()
	if most > 0 {
		h.most = most
	}
	for _, r := range results {
		require.NoError(t, h.Add(AppendHistory(nil, r)))
	}
	var out bytes.Buffer
	require.NoError(t, h.Write(&out))
	return out.Bytes()
}

func openHistory(t *testing.T, file []byte) *excelize.File {
	t.Helper()
	f, err := excelize.OpenReader(bytes.NewReader(file))
	require.NoError(t, err)
	t.Cleanup(func() { f.Close() })
	return f
}

// Every cell comes back as what it is: a number with all the digits a
// spreadsheet keeps, a text, or nothing.
func TestHistoryCells(t *testing.T) {
	results := someResults()
	f := openHistory(t, historyOf(t, 0, results...))
	assert.Equal(t, []string{"Tests"}, f.GetSheetList())
	rows, err := f.GetRows("Tests", excelize.Options{RawCellValue: true})
	require.NoError(t, err)
	require.Len(t, rows, 7)
	for k, head := range rows[0] {
		assert.Equal(t, historyColumns[k].head, head)
	}
	row := 1
	for _, r := range results {
		for i := range r.Cylinders {
			row++
			requireRow(t, f, row, r, &r.Cylinders[i])
		}
	}
	assert.Equal(t, []string{"sample", "Northmoor Six-90", "idle", "1", "60", "3", "", "58"}, rows[3][:8])
	assert.Equal(t, []string{"FAIL", "over-limit; high-in-set", "FAIL", "half-set; set-together-high"}, rows[3][11:])
	assert.Equal(t, []string{"second", "Northmoor Six-90", "", "1", "", "1", ">=", "100", "", "", "4.54545454545454",
		"undecided", "over-range", "undecided"}, rows[4])
	assert.Equal(t, "not read", rows[5][11])
}

// requireRow holds the figures of a row against the result they came from.
func requireRow(t *testing.T, f *excelize.File, row int, r *leakback.Result, c *leakback.Cylinder) {
	t.Helper()
	for column, want := range map[string]float64{
		"D": float64(len(r.Test.Runs)), "E": r.IntervalS, "F": float64(c.Cylinder), "H": c.RateMLMin,
		"I": c.Budget.StandardMLMin, "J": c.Budget.ExpandedMLMin, "K": c.RatioToMedian,
	} {
		cell := column + strconv.Itoa(row)
		text, err := f.GetCellValue("Tests", cell, excelize.Options{RawCellValue: true})
		require.NoError(t, err)
		if math.IsNaN(want) {
			assert.Empty(t, text, cell)
			continue
		}
		kind, err := f.GetCellType("Tests", cell)
		require.NoError(t, err)
		assert.Contains(t, []excelize.CellType{excelize.CellTypeUnset, excelize.CellTypeNumber}, kind, cell)
		got, err := strconv.ParseFloat(text, 64)
		require.NoError(t, err, cell)
		assert.InEpsilon(t, want, got, 1e-14, cell)
	}
}

// A rate is shown with the digit that shows its verdict, as on its own report.
func TestHistoryDigits(t *testing.T) {
	r := sampleResult(maximum(40), sample{rate: 40.004, expanded: 0.002, verdict: leakback.Fail})
	f := openHistory(t, historyOf(t, 0, r, sampleResult(nil, good(22))))
	for cell, want := range map[string]string{"H2": "40.0040", "H3": "22.0"} {
		shown, err := f.GetCellValue("Tests", cell)
		require.NoError(t, err)
		assert.Equal(t, want, shown, cell)
	}
}

func TestHistoryLayout(t *testing.T) {
	f := openHistory(t, historyOf(t, 0, someResults()...))
	panes, err := f.GetPanes("Tests")
	require.NoError(t, err)
	assert.True(t, panes.Freeze)
	assert.Equal(t, 1, panes.YSplit)
	names := map[string]string{}
	for _, n := range f.GetDefinedName() {
		names[n.Name] = n.RefersTo
	}
	assert.Equal(t, "Tests!$1:$1", names["_xlnm.Print_Titles"])
	assert.Equal(t, "'Tests'!$A$1:$O$7", names["_xlnm._FilterDatabase"])
	for i := range historyColumns {
		column, err := excelize.ColumnNumberToName(i + 1)
		require.NoError(t, err)
		width, err := f.GetColWidth("Tests", column)
		require.NoError(t, err)
		assert.InDelta(t, historyColumns[i].width/6, width, 0.01)
	}
	props, err := f.GetDocProps()
	require.NoError(t, err)
	assert.Equal(t, "leakback", props.Creator)
	assert.Equal(t, epoch, props.Created)
}

// A full sheet is followed by another that looks the same, and what excelize
// does in any order comes out in one.
func TestHistorySheetsFollowOneAnother(t *testing.T) {
	var results []*leakback.Result
	for range 40 {
		results = append(results, someResults()...)
	}
	first := historyOf(t, 31, results...)
	for range 5 {
		assert.True(t, bytes.Equal(first, historyOf(t, 31, results...)), "equal rows give equal bytes")
	}
	f := openHistory(t, first)
	sheets := f.GetSheetList()
	require.Len(t, sheets, 8)
	total := 0
	for i, sheet := range sheets {
		if i > 0 {
			assert.Equal(t, fmt.Sprintf("Tests%d", i+1), sheet)
		}
		rows, err := f.GetRows(sheet)
		require.NoError(t, err)
		assert.Equal(t, "Test", rows[0][0])
		assert.LessOrEqual(t, len(rows), 31)
		total += len(rows) - 1
	}
	assert.Equal(t, 240, total)
	assert.Equal(t, 1_048_576, NewHistory("").most, "Excel specifications and limits: rows of a worksheet")
}

// Free text is shown as it was typed and is never a formula.
func TestHistoryFreeText(t *testing.T) {
	for _, id := range []string{"=1+1", "+49 40", "-1", "@SUM(A1)", "000123", `<b>&amp;"`, "_x0041_x0042_ _x005F_",
		"🙂 מוסך", "  a  b ", "it's", "bell\x07"} {
		r := sampleResult(nil, good(22))
		r.Test.ID, r.Test.Engine, r.Test.Condition = id, id, id
		f := openHistory(t, historyOf(t, 0, r))
		for _, cell := range []string{"A2", "B2", "C2"} {
			text, err := f.GetCellValue("Tests", cell)
			require.NoError(t, err)
			assert.Equal(t, oneLine(id), text)
			formula, err := f.GetCellFormula("Tests", cell)
			require.NoError(t, err)
			assert.Empty(t, formula)
			style, err := f.GetCellStyle("Tests", cell)
			require.NoError(t, err)
			assert.True(t, *f.Styles.CellXfs.Xf[style].QuotePrefix, "text also after it is edited")
		}
	}
}

// Beyond what excelize keeps in memory (StreamChunkSize) nothing changes.
func TestHistoryOfManyRows(t *testing.T) {
	r := sampleResult(nil, good(22), good(23), good(24))
	r.Test.ID = "_x0041_"
	rows := AppendHistory(nil, r)
	h := NewHistory("")
	defer h.Close()
	const times = 12_000
	for range times {
		require.NoError(t, h.Add(rows))
	}
	var out bytes.Buffer
	require.NoError(t, h.Write(&out))
	require.NotEmpty(t, h.packing.sheets["xl/worksheets/sheet1.xml"].kept, "the sheet went through a file")
	f := openHistory(t, out.Bytes())
	lines, err := f.Rows("Tests")
	require.NoError(t, err)
	count := -1 // the header
	for lines.Next() {
		count++
		if count%10_000 == 1 {
			cells, err := lines.Columns()
			require.NoError(t, err)
			assert.Equal(t, []string{"_x0041_", "Northmoor Six-90"}, cells[:2])
		}
	}
	assert.Equal(t, 3*times, count)
}

func TestHistoryReportsAFailingWriter(t *testing.T) {
	h := NewHistory("")
	defer h.Close()
	require.NoError(t, h.Add(AppendHistory(nil, someResults()[0])))
	assert.ErrorIs(t, h.Write(fullDisk{}), errFull)
}

func BenchmarkHistory(b *testing.B) {
	rows := AppendHistory(nil, someResults()[0])
	h := NewHistory("")
	defer h.Close()
	b.ReportAllocs()
	for b.Loop() {
		if err := h.Add(rows); err != nil {
			b.Fatal(err)
		}
	}
}
