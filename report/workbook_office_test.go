package report_test

import (
	"bytes"
	"encoding/json"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
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

// reportOnly is a workbook without its other sheets, for a size of paper.
func reportOnly(t *testing.T, p *report.Page, paper int) []byte {
	t.Helper()
	f := written(t, p)
	require.NoError(t, f.DeleteSheet("Readings"))
	require.NoError(t, f.DeleteSheet("Limits"))
	require.NoError(t, f.SetPageLayout("Report", &excelize.PageLayoutOptions{Size: &paper}))
	var out bytes.Buffer
	require.NoError(t, f.Write(&out))
	return out.Bytes()
}

// The customer's page is one page, on A4 and on Letter, whatever the test.
func TestReportIsOnePrintedPage(t *testing.T) {
	books := map[string][]byte{}
	all := pages(t)
	for name, p := range all {
		books[name+"-a4"], books[name+"-letter"] = reportOnly(t, p, 9), reportOnly(t, p, 1)
	}
	books["six-workbook"] = workbook(t, all["six"])
	for name, pdf := range pdfs(t, books) {
		want := 1
		if name == "six-workbook" {
			want = 3
		}
		assert.Equal(t, want, pageNumber(t, pdf), name)
	}
}

// inspect reads a workbook with another reader than the one that wrote it, and
// gives what it finds of every cell that is not plain text or a number.
const inspect = `
import json, sys, openpyxl
book = openpyxl.load_workbook(sys.argv[1])
odd, kinds = [], {}
for sheet in book:
    for row in sheet.iter_rows():
        for cell in row:
            if cell.value is None: continue
            kinds[cell.data_type] = kinds.get(cell.data_type, 0) + 1
            if cell.data_type not in ("s", "n"): odd.append(sheet.title + " " + cell.coordinate)
readings = [[c.value for c in row] for row in book["Readings"].iter_rows(max_col=7)]
json.dump({"sheets": book.sheetnames, "odd": odd, "kinds": kinds, "readings": readings,
           "charts": len(book["Report"]._charts), "creator": book.properties.creator,
           "vba": book.vba_archive is not None, "links": len(book._external_links),
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
	python := openpyxl(t)
	p := hostilePage(t, "=1+1 _x0041_x0042_ 🙂")
	file := filepath.Join(t.TempDir(), "report.xlsx")
	require.NoError(t, os.WriteFile(file, workbook(t, p), 0o600))
	out, err := exec.CommandContext(t.Context(), python, "-c", inspect, file).Output()
	require.NoError(t, err)
	var got struct {
		Sheets, Odd       []string
		Kinds             map[string]int
		Readings          [][]any
		Charts, Links     int
		Creator, Workshop string
		VBA               bool
	}
	require.NoError(t, json.Unmarshal(out, &got))
	assert.Equal(t, []string{"Report", "Readings", "Limits"}, got.Sheets)
	assert.Empty(t, got.Odd, "neither a formula nor anything else than text and numbers")
	assert.Equal(t, []any{1.0, 1.0, p.Job.Workshop, 21.0, nil, nil, 60.0}, got.Readings[1])
	assert.Equal(t, p.Job.Workshop, got.Workshop)
	assert.Equal(t, 1, got.Charts)
	assert.Equal(t, "leakback", got.Creator)
	assert.False(t, got.VBA)
	assert.Zero(t, got.Links)
}
