package report_test

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback/repair"
	"leakback/report"
)

// repairPages are pages of repairs from few cylinders to many, with texts about
// as long as the program's own, and one whose texts are far too long.
func repairPages(t *testing.T) map[string]*report.RepairPage {
	t.Helper()
	warm := func(volumes string) report.Bench { return report.Bench{Volumes: volumes, TempC: 50} }
	healthy := "24 25 23 25 24 25 22 26 24 25 23 24 24 25 22 26"
	all := map[string]*report.RepairPage{
		"four":     report.RepairStory(t, 40, oldTube, warm("24 25 23 >100"), warm("24 25 23 47")),
		"six":      report.RepairStory(t, 40, report.NewTube, report.WarmHigh, report.ColdFine),
		"three":    report.RepairStory(t, 40, report.NewTube, report.WarmHigh, report.ColdFine, report.WarmFine),
		"sixteen":  report.RepairStory(t, 40, report.NewTube, warm(strings.Replace(healthy, "25 24 25 22", "60 24 25 22", 1)), warm(healthy)),
		"overlong": report.RepairStory(t, 40, report.NewTube, report.WarmHigh, report.ColdFine),
	}
	for _, p := range all {
		p.Cautions = usualCautions
	}
	long := all["overlong"]
	text := strings.Repeat("=a long text of 燃料 & <signs> ", 60)
	long.Advice, long.NotSeen, long.Cautions = []string{text, text}, []string{text}, []string{text}
	for i := range long.Tests {
		long.Tests[i].Job.Complaint = text
		long.Comparison.Sides[i].Label = text
	}
	return all
}

func repairBytes(t *testing.T, p *report.RepairPage) []byte {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, report.RepairWorkbook(&out, p))
	return out.Bytes()
}

// The customer's page is one page on A4 and on Letter, printed at three quarters of
// its size or more for what engines there are.
func TestRepairIsOnePrintedPage(t *testing.T) {
	t.Parallel()
	books := map[string][]byte{}
	for name, p := range repairPages(t) {
		file := repairBytes(t, p)
		for paper, size := range map[string]int{"a4": 9, "letter": 1} {
			f, err := excelize.OpenReader(bytes.NewReader(file))
			require.NoError(t, err)
			if name != "overlong" {
				assert.Less(t, printedHeight(t, f), 815/0.75, name)
			}
			books[name+"-"+paper] = onlyReport(t, f, size)
			require.NoError(t, f.Close())
		}
	}
	for name, pdf := range pdfs(t, books) {
		assert.Equal(t, 1, pageNumber(t, pdf), name)
	}
}

// printedHeight is the height of the printed rows of the first sheet in points.
func printedHeight(t *testing.T, f *excelize.File) float64 {
	t.Helper()
	for _, n := range f.GetDefinedName() {
		if n.Name == "_xlnm.Print_Area" && n.Scope == "Report" {
			_, last, err := excelize.CellNameToCoordinates(strings.ReplaceAll(n.RefersTo[strings.LastIndex(n.RefersTo, ":")+1:], "$", ""))
			require.NoError(t, err)
			sum := 0.0
			for row := 1; row <= last; row++ {
				high, err := f.GetRowHeight("Report", row)
				require.NoError(t, err)
				sum += high
			}
			return sum
		}
	}
	require.Fail(t, "no print area")
	return 0
}

// inspectRepair reads a workbook of a repair with another reader.
const inspectRepair = `
import json, sys, openpyxl
book, kept = openpyxl.load_workbook(sys.argv[1]), openpyxl.load_workbook(sys.argv[1], data_only=True)
odd, empty, formulas = [], [], 0
for sheet in book:
    for row in sheet.iter_rows():
        for cell in row:
            if cell.value is None: continue
            if cell.data_type == "f":
                formulas += 1
                if kept[sheet.title][cell.coordinate].data_type == "e": empty.append(sheet.title + " " + cell.coordinate)
            elif cell.data_type not in ("s", "n"): odd.append(sheet.title + " " + cell.coordinate)
table = [[c.value for c in row] for row in kept["Report"].iter_rows(max_col=11) if row[0].data_type == "n" and row[0].value]
json.dump({"sheets": book.sheetnames, "odd": odd, "faults": empty, "formulas": formulas, "charts": len(book["Report"]._charts), "table": table,
           "protected": [s.title for s in book if s.protection.sheet]}, sys.stdout)
`

func TestAnotherReaderReadsARepair(t *testing.T) {
	t.Parallel()
	python := openpyxl(t)
	p := repairPages(t)["six"]
	file := filepath.Join(t.TempDir(), "repair.xlsx")
	require.NoError(t, os.WriteFile(file, repairBytes(t, p), 0o600))
	out, err := exec.CommandContext(t.Context(), python, "-c", inspectRepair, file).Output()
	require.NoError(t, err)
	var got struct {
		Sheets, Odd, Faults, Protected []string
		Formulas, Charts               int
		Table                          [][]any
	}
	require.NoError(t, json.Unmarshal(out, &got))
	assert.Equal(t, []string{"Report", "Work", "Comparison", "Readings1", "Working1", "Limits1", "Readings2", "Working2", "Limits2", "Method"}, got.Sheets)
	assert.Empty(t, got.Odd, "nothing else than formulas, text and numbers")
	assert.Empty(t, got.Faults, "no formula comes to an error")
	assert.Equal(t, got.Sheets, got.Protected, "against accidents, without a password")
	assert.Equal(t, 1, got.Charts)
	assert.Greater(t, got.Formulas, 1000)
	require.Len(t, got.Table, 6)
	for i, c := range p.Comparison.Whole.Cylinders {
		row := got.Table[i]
		assert.Equal(t, []any{float64(c.Cylinder), c.Before.RateMLMin, c.After.RateMLMin, c.Rate.Value}, []any{row[0], row[3], row[5], row[7]})
	}
	assert.Equal(t, "FAIL → pass", got.Table[3][1])
	assert.Equal(t, "yes, 99 %", got.Table[3][9])
	assert.Contains(t, got.Table[3][10], "feed tube "+repair.New)
}

// Texts of hostile length and content stay text, whole below the printed page.
func TestRepairKeepsLongTexts(t *testing.T) {
	p := repairPages(t)["overlong"]
	f, err := excelize.OpenReader(bytes.NewReader(repairBytes(t, p)))
	require.NoError(t, err)
	rows, err := f.GetRows("Report")
	require.NoError(t, err)
	found := 0
	for i, row := range rows {
		for k, cell := range row {
			if strings.TrimSpace(cell) == strings.TrimSpace(p.Tests[0].Job.Complaint) {
				found++
				formula, err := f.GetCellFormula("Report", name(t, k+1, i+1))
				require.NoError(t, err)
				assert.Empty(t, formula, strconv.Itoa(i))
			}
		}
	}
	assert.Positive(t, found)
}
