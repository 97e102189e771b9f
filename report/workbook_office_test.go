package report_test

import (
	"bytes"
	"encoding/json"
	"html"
	"maps"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/report"
)

// program is the path of a program that these checks need; without it the test
// is skipped and says so.
func program(t *testing.T, name, what string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Skipf("%s is not installed: %s is not checked", name, what)
	}
	return path
}

// pdfs converts workbooks with LibreOffice and gives the PDF files by name.
func pdfs(t *testing.T, books map[string][]byte) map[string][]byte {
	t.Helper()
	soffice := program(t, "soffice", "the printed page")
	folder, profile := t.TempDir(), t.TempDir()
	args := []string{"-env:UserInstallation=file://" + filepath.ToSlash(profile), "--headless",
		"--convert-to", "pdf", "--outdir", folder}
	for _, name := range slices.Sorted(maps.Keys(books)) {
		file := filepath.Join(folder, name+".xlsx")
		require.NoError(t, os.WriteFile(file, books[name], 0o600))
		args = append(args, file)
	}
	out, err := exec.CommandContext(t.Context(), soffice, args...).CombinedOutput()
	require.NoError(t, err, "%s", out)
	converted := map[string][]byte{}
	for name := range books {
		pdf, err := os.ReadFile(filepath.Join(folder, name+".pdf"))
		require.NoError(t, err, "%s", out)
		converted[name] = pdf
	}
	return converted
}

// pageCount matches the root of a PDF's page tree (ISO 32000-1, 7.7.3.2).
var pageCount = regexp.MustCompile(`/Type\s*/Pages\b[^>]*?/Count\s+(\d+)|/Count\s+(\d+)[^>]*?/Type\s*/Pages\b`)

func pageNumber(t *testing.T, pdf []byte) int {
	t.Helper()
	found := pageCount.FindSubmatch(pdf)
	require.NotNil(t, found, "the PDF has no page tree that can be read")
	n, err := strconv.Atoi(string(append(found[1], found[2]...)))
	require.NoError(t, err)
	return n
}

// reportOnly is a workbook without its other sheets, its figures as they are kept,
// for a size of paper.
func reportOnly(t *testing.T, p *report.Page, paper int) []byte {
	t.Helper()
	return onlyReport(t, written(t, p), paper)
}

// onlyReport is the same of a workbook that was opened.
func onlyReport(t *testing.T, f *excelize.File, paper int) []byte {
	t.Helper()
	rows, err := f.GetRows("Report", excelize.Options{RawCellValue: true})
	require.NoError(t, err)
	for r, row := range rows {
		for c, value := range row {
			cell := name(t, c+1, r+1)
			if formula, err := f.GetCellFormula("Report", cell); err != nil || formula == "" {
				continue
			}
			require.NoError(t, f.SetCellFormula("Report", cell, ""))
			if x, err := strconv.ParseFloat(value, 64); err == nil {
				require.NoError(t, f.SetCellFloat("Report", cell, x, -1, 64))
			} else {
				require.NoError(t, f.SetCellStr("Report", cell, value))
			}
		}
	}
	for _, sheet := range f.GetSheetList()[1:] {
		require.NoError(t, f.DeleteSheet(sheet))
	}
	require.NoError(t, f.SetPageLayout("Report", &excelize.PageLayoutOptions{Size: &paper}))
	var out bytes.Buffer
	require.NoError(t, f.Write(&out))
	return out.Bytes()
}

// The customer's page is one page, on A4 and on Letter, whatever the test.
func TestReportIsOnePrintedPage(t *testing.T) {
	t.Parallel()
	books := map[string][]byte{}
	all := pages(t)
	all["recorded"], all["long-recorded"] = bayRecord(t), fromFile(all["long"])
	for name, p := range all {
		books[name+"-a4"], books[name+"-letter"] = reportOnly(t, p, 9), reportOnly(t, p, 1)
	}
	books["six-workbook"], books["recorded-workbook"] = workbook(t, all["six"]), workbook(t, all["recorded"])
	recorded := *all["recorded"]
	recorded.Record = nil
	books["unrecorded-workbook"] = workbook(t, &recorded)
	parts, _ := partsOf(t, books["six-workbook"])
	workingPages := 1 + strings.Count(parts["xl/worksheets/sheet3.xml"], "<brk ")
	converted := pdfs(t, books)
	assert.Equal(t, pageNumber(t, converted["unrecorded-workbook"])+1, pageNumber(t, converted["recorded-workbook"]), "and one of entries")
	for name, pdf := range converted {
		if strings.HasSuffix(name, "recorded-workbook") {
			continue
		}
		want := 1
		if name == "six-workbook" { // page, readings, working, limits, method
			want = 1 + 1 + workingPages + 1 + 2
		}
		assert.Equal(t, want, pageNumber(t, pdf), name)
	}
}

// inspect reads a workbook with another reader than the one that wrote it, and
// gives what it finds: formulas with the values and the types that they keep, and
// what a file must not hold.
const inspect = `
import json, sys, openpyxl
book, kept = openpyxl.load_workbook(sys.argv[1]), openpyxl.load_workbook(sys.argv[1], data_only=True)
odd, formulas, names = [], {}, book.defined_names
for n, sheet in enumerate(book):
    for row in sheet.iter_rows():
        for cell in row:
            if cell.value is None: continue
            if cell.data_type == "f":
                value = kept[sheet.title][cell.coordinate]
                formulas["sheet%d %s" % (n + 1, cell.coordinate)] = [value.data_type, value.value]
            elif cell.data_type not in ("s", "n"): odd.append(sheet.title + " " + cell.coordinate)
readings = [[c.value for c in row] for row in book["Readings"].iter_rows(max_col=7)]
json.dump({"sheets": book.sheetnames, "odd": odd, "formulas": formulas, "readings": readings,
           "names": sorted(n.name for n in getattr(names, "definedName", None) or names.values()), "charts": len(book["Report"]._charts),
           "creator": book.properties.creator,
           "vba": book.vba_archive is not None, "links": len(book._external_links),
           "protected": [s.title for s in book if s.protection.sheet and not s.protection.password],
           "open": book["Readings"]["D2"].protection.locked is False,
           "workshop": book["Report"]["C5"].value}, sys.stdout)
`

// openpyxl is the first python3 on the path that has the other reader.
func openpyxl(t *testing.T) string {
	t.Helper()
	for _, folder := range filepath.SplitList(os.Getenv("PATH")) {
		python, err := exec.LookPath(filepath.Join(folder, "python3"))
		if err == nil && exec.CommandContext(t.Context(), python, "-c", "import openpyxl").Run() == nil {
			return python
		}
	}
	t.Skip("no python3 with openpyxl is installed: the workbook in another reader is not checked")
	return ""
}

func TestAnotherReaderAgrees(t *testing.T) {
	t.Parallel()
	python := openpyxl(t)
	p := hostilePage(t, "=1+1 _x0041_x0042_ 🙂")
	file := filepath.Join(t.TempDir(), "report.xlsx")
	require.NoError(t, os.WriteFile(file, workbook(t, p), 0o600))
	out, err := exec.CommandContext(t.Context(), python, "-c", inspect, file).Output()
	require.NoError(t, err)
	var got struct {
		Sheets, Odd, Names, Protected []string
		Formulas                      map[string][2]any
		Readings                      [][]any
		Charts, Links                 int
		Creator, Workshop             string
		VBA, Open                     bool
	}
	require.NoError(t, json.Unmarshal(out, &got))
	assert.Equal(t, []string{"Report", "Readings", "Working", "Limits", "Method"}, got.Sheets)
	assert.Empty(t, got.Odd, "nothing else than formulas, text and numbers")
	assert.Equal(t, []any{1.0, 1.0, p.Job.Workshop, 21.0, nil, 60.0, 1.0}, got.Readings[1])
	assert.Equal(t, p.Job.Workshop, got.Workshop)
	assert.Equal(t, 1, got.Charts)
	assert.Equal(t, "leakback", got.Creator)
	assert.False(t, got.VBA)
	assert.Zero(t, got.Links)
	assert.Equal(t, got.Sheets, got.Protected, "against accidents, without a password")
	assert.True(t, got.Open, "a volume may be changed")
	for _, name := range []string{"healthy_cv", "limit_1_max_rate_ml_min", "set_median", "test_verdict"} {
		assert.Contains(t, got.Names, name)
	}
	storedValues(t, workbook(t, p), got.Formulas)
}

// storedValues asserts that another reader finds the value of every formula, of
// the type that the file says.
func storedValues(t *testing.T, file []byte, got map[string][2]any) {
	t.Helper()
	parts, _ := partsOf(t, file)
	cell := regexp.MustCompile(`<c r="([A-Z]+[0-9]+)"[^>]*?( t="str")?><f>[^<]*</f><v>([^<]*)</v></c>`)
	count := 0
	for part, content := range parts {
		for _, c := range cell.FindAllStringSubmatch(content, -1) {
			count++
			at := strings.TrimSuffix(path.Base(part), ".xml") + " " + c[1]
			require.Contains(t, got, at)
			if c[2] != "" && c[3] == "" {
				assert.Nil(t, got[at][1], at)
				continue
			}
			if c[2] != "" {
				assert.Equal(t, []any{"s", html.UnescapeString(c[3])}, []any{got[at][0], got[at][1]}, at)
				continue
			}
			want, err := strconv.ParseFloat(c[3], 64)
			require.NoError(t, err, at)
			assert.Equal(t, []any{"n", want}, []any{got[at][0], got[at][1]}, at)
		}
	}
	assert.Equal(t, len(got), count)
	assert.Greater(t, count, 300)
}
