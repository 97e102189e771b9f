package form

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/leakback/entry"
	"leakback/limits"
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

// office converts files with LibreOffice into another format.
func office(t *testing.T, format string, files map[string][]byte, ending string) map[string][]byte {
	t.Helper()
	soffice := program(t, "soffice", "what LibreOffice makes of a form")
	in, out := t.TempDir(), t.TempDir()
	args := []string{"-env:UserInstallation=file://" + filepath.ToSlash(t.TempDir()), "--headless", "--convert-to", format, "--outdir", out}
	for name, content := range files {
		file := filepath.Join(in, name+ending)
		require.NoError(t, os.WriteFile(file, content, 0o600))
		args = append(args, file)
	}
	said, err := exec.CommandContext(t.Context(), soffice, args...).CombinedOutput()
	require.NoError(t, err, "%s", said)
	converted := map[string][]byte{}
	for name := range files {
		content, err := os.ReadFile(filepath.Join(out, name+"."+strings.SplitN(format, ":", 2)[0]))
		require.NoError(t, err, "%s", said)
		converted[name] = content
	}
	return converted
}

// A form that LibreOffice has opened and saved, as a workbook or by way of its
// own format, still reads as before.
func TestLibreOfficeKeepsForms(t *testing.T) {
	t.Parallel()
	books := map[string][]byte{}
	for name, c := range sameReadings {
		books[strings.ReplaceAll(name, " ", "-")] = filledIn(t, c.o, c.e)
	}
	saved := office(t, "xlsx", books, ".xlsx")
	own := office(t, "xlsx", office(t, "ods", books, ".xlsx"), ".ods")
	for name, book := range books {
		want, err := readBytes(book, "idle.xlsx")
		require.NoError(t, err)
		for _, again := range [][]byte{saved[name], own[name]} {
			require.NotEqual(t, book, again)
			got, err := readBytes(again, "idle.xlsx")
			require.NoError(t, err, name)
			same(t, want.Test, got.Test)
			assert.Equal(t, want.Job, got.Job)
		}
	}
}

// fillWithOpenpyxl fills a form as a program would that knows nothing of us, with
// a comment, and a second sheet with a formula beside it.
const fillWithOpenpyxl = `
import json, sys, openpyxl
from openpyxl.comments import Comment
book = openpyxl.load_workbook(sys.argv[1])
sheet = book["Entry form"]
entries = json.load(open(sys.argv[3]))
for cell, value in entries.items():
    assert not sheet[cell].protection.locked, cell + " is locked"
    sheet[cell] = value
assert sheet.protection.sheet and sheet["A3"].protection.locked
sheet[list(entries)[0]].comment = Comment("hand-written", "someone")
book.create_sheet("Notes")["A1"] = "=1+1"
book.save(sys.argv[2])
`

// openpyxl is the first python3 on the path that has it.
func openpyxl(t *testing.T) string {
	t.Helper()
	for _, folder := range filepath.SplitList(os.Getenv("PATH")) {
		python, err := exec.LookPath(filepath.Join(folder, "python3"))
		if err == nil && exec.CommandContext(t.Context(), python, "-c", "import openpyxl").Run() == nil {
			return python
		}
	}
	t.Skip("no python3 with openpyxl is installed: what it makes of a form is not checked")
	return ""
}

// A form that openpyxl filled in gives the same test.
func TestOpenpyxlFillsForms(t *testing.T) {
	t.Parallel()
	python := openpyxl(t)
	for name, c := range sameReadings {
		folder, l := t.TempDir(), newLayout(shapeFor(t, c.o))
		cells := map[string]any{}
		for entry, value := range c.e {
			cells[cellOf(t, l, entry)] = value
		}
		list, err := json.Marshal(cells)
		require.NoError(t, err)
		in, out, listed := filepath.Join(folder, "blank.xlsx"), filepath.Join(folder, "idle.xlsx"), filepath.Join(folder, "list.json")
		require.NoError(t, os.WriteFile(in, blank(t, c.o), 0o600))
		require.NoError(t, os.WriteFile(listed, list, 0o600))
		said, err := exec.CommandContext(t.Context(), python, "-c", fillWithOpenpyxl, in, out, listed).CombinedOutput()
		require.NoError(t, err, "%s", said)
		book, err := os.ReadFile(out)
		require.NoError(t, err)
		form, err := readBytes(book, out)
		require.NoError(t, err, name)
		d := entry.NoDefaults()
		d.Cylinders, d.TubeClass = c.o.Cylinders, c.class
		same(t, fromCSV(t, "idle", c.csv, d), form.Test)
	}
}

// The formulas that check what is typed give in LibreOffice what they should,
// for text and for numbers.
func TestRulesInLibreOffice(t *testing.T) {
	t.Parallel()
	pressure := stateField("rail_pressure_bar").takes.number
	interval := intervalSpan(leakback.MethodIndividual)
	cases := []struct {
		s     *span
		value any
		want  bool
	}{
		{readingSpan, "22.5", true}, {readingSpan, "22,5", true}, {readingSpan, 22.5, true}, {readingSpan, ">100", true},
		{readingSpan, "> 100", true}, {readingSpan, "<2", true}, {readingSpan, 0, true}, {readingSpan, 10_000, true},
		{readingSpan, "10000.1", false}, {readingSpan, -1, false}, {readingSpan, "-0.5", false}, {readingSpan, "21 drops", false},
		{readingSpan, "abc", false}, {readingSpan, ">", false}, {readingSpan, "2l", false}, {readingSpan, 46_084, false},
		{markSpan, 0, false}, {markSpan, "0,2", true}, {cranksSpan, 3, true}, {cranksSpan, 100, false}, {cranksSpan, 0, false},
		{stateField("fuel_temp_c").takes.number, "-60", true}, {stateField("fuel_temp_c").takes.number, "113 F", true},
		{stateField("fuel_temp_c").takes.number, 201, false}, {pressure, "5000 psi", true}, {pressure, 4_001, false},
		{interval, "unknown", true}, {interval, "1:30", true}, {interval, "60", true}, {interval, 0.5, false}, {interval, "soon", false},
		{intervalSpan(leakback.MethodTotal), "unknown", false},
	}
	f := excelize.NewFile()
	defer f.Close()
	for i, c := range cases {
		cell := fmt.Sprintf("A%d", i+1)
		require.NoError(t, f.SetCellValue("Sheet1", cell, c.value))
		require.NoError(t, f.SetCellFormula("Sheet1", fmt.Sprintf("B%d", i+1), "IF("+c.s.formula(cell)+",1,0)"))
	}
	var book bytes.Buffer
	require.NoError(t, f.Write(&book))
	text := office(t, "csv", map[string][]byte{"rules": book.Bytes()}, ".xlsx")["rules"]
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, len(cases))
	for i, c := range cases {
		want := map[bool]string{true: "1", false: "0"}[c.want]
		assert.Equal(t, want, rows[i][1], "%v", c.value)
	}
}

// pageCount matches the root of a PDF's page tree (ISO 32000-1, 7.7.3.2).
var pageCount = regexp.MustCompile(`/Type\s*/Pages\b[^>]*?/Count\s+(\d+)|/Count\s+(\d+)[^>]*?/Type\s*/Pages\b`)

// A form prints on one page of A4 and of Letter, whatever the engine.
func TestFormIsOnePrintedPage(t *testing.T) {
	t.Parallel()
	books := map[string][]byte{}
	for name, o := range varied() {
		books[name] = blank(t, o)
		if !strings.HasSuffix(name, "16") {
			continue
		}
		books[name+"-letter"] = edited(t, books[name], func(f *excelize.File) {
			require.NoError(t, f.SetPageLayout(sheetName, &excelize.PageLayoutOptions{Size: new(1)}))
		})
	}
	for name, pdf := range office(t, "pdf", books, ".xlsx") {
		found := pageCount.FindSubmatch(pdf)
		require.NotNil(t, found, name)
		assert.Equal(t, "1", string(append(found[1], found[2]...)), name)
	}
}

// varied are blank forms of many kinds.
func varied() map[string]Options {
	all := map[string]Options{"six": six()}
	for i, cylinders := range []int{4, 16, 64} {
		for _, method := range methods {
			o := six()
			o.Cylinders, o.Method, o.FiringOrder, o.Runs = cylinders, method, nil, 2*i+1
			all[fmt.Sprintf("%s-%d", method, cylinders)] = o
		}
	}
	o := six()
	o.Cylinders, o.FiringOrder, o.ReturnLines = 4, nil, banks
	all["lines"] = o
	o.Method = leakback.MethodBlockOff
	all["lines-block-off"] = o
	return all
}

// A validator built on the Open XML SDK finds nothing wrong with forms; .ci/run
// installs it and sets the variable.
func TestFormsAreValid(t *testing.T) {
	t.Parallel()
	const variable = "LEAKBACK_OOXML_VALIDATOR"
	validator := os.Getenv(variable)
	if validator == "" {
		t.Skip(variable + " is not set: forms are not held against the Open XML SDK (.ci/run does)")
	}
	for _, name := range []string{"six", "individual-64", "lines-block-off", "total-4"} {
		file := filepath.Join(t.TempDir(), name+".xlsx")
		require.NoError(t, os.WriteFile(file, blank(t, varied()[name]), 0o600))
		for _, version := range []string{"Microsoft365", "Office2007"} {
			out, err := exec.CommandContext(t.Context(), validator, file, "--officeVersion", version).Output()
			var result struct {
				OK     bool
				Errors []struct{ Description, Path, XPath string }
			}
			require.NoError(t, json.Unmarshal(out, &result), "%v: %s", err, out)
			assert.True(t, result.OK, "%s, %s: %+v", name, version, result.Errors)
		}
	}
}

// Programs refuse a file whose rules are longer than they allow: 255 characters
// of a formula or a list, 32 of a message's title, 255 of its text (Excel
// specifications and limits; the titles and texts from memory).
func TestRulesAreShortEnough(t *testing.T) {
	o := six()
	for i := range 40 {
		o.Conditions = append(o.Conditions, "a condition of the shop's own, "+strconv.Itoa(i), "own word "+strconv.Itoa(i))
	}
	o.ReturnLines = []limits.ReturnLine{{Name: strings.Repeat("n", 100), Cylinders: []int{1}}}
	for _, o := range []Options{o, {Cylinders: 64, Method: leakback.MethodBlockOff}} {
		f, err := excelize.OpenReader(bytes.NewReader(blank(t, o)))
		require.NoError(t, err)
		defer f.Close()
		rules, err := f.GetDataValidations(sheetName)
		require.NoError(t, err)
		l := newLayout(shapeFor(t, o))
		require.Len(t, rules, len(l.fields())+len(l.times)+len(l.readings))
		for _, r := range rules {
			assert.LessOrEqual(t, len(r.Formula1), 255, r.Sqref)
			assert.LessOrEqual(t, len(*r.PromptTitle), 32, r.Sqref)
			assert.LessOrEqual(t, len([]rune(*r.Prompt)), 255, r.Sqref)
			assert.LessOrEqual(t, len(*r.ErrorTitle), 32, r.Sqref)
			assert.LessOrEqual(t, len([]rune(*r.Error)), 255, r.Sqref)
			assert.True(t, r.ShowInputMessage && r.ShowErrorMessage && r.AllowBlank)
		}
	}
}

// Every entry cell is open, holds what is typed as text, and everything else is
// locked; nothing on a blank form is a formula.
func TestEntryCellsAreOpen(t *testing.T) {
	f, err := excelize.OpenReader(bytes.NewReader(blank(t, six())))
	require.NoError(t, err)
	defer f.Close()
	l := newLayout(shapeFor(t, six()))
	open := map[string]bool{}
	for _, p := range l.fields() {
		open[p.entry.cell()] = true
	}
	for _, s := range append(append([]slot(nil), l.times...), l.readings...) {
		open[s.cell()] = true
	}
	for row := 1; row <= l.end+15; row++ {
		for col := 1; col <= gridColumns; col++ {
			cell := cellName(col, row)
			id, err := f.GetCellStyle(sheetName, cell)
			require.NoError(t, err)
			style, err := f.GetStyle(id)
			require.NoError(t, err)
			formula, err := f.GetCellFormula(sheetName, cell)
			require.NoError(t, err)
			assert.Empty(t, formula)
			if open[cell] {
				assert.Equal(t, textFormat, style.NumFmt, cell)
				require.NotNil(t, style.Protection, cell)
				assert.False(t, style.Protection.Locked, cell)
			} else if style.Protection != nil && !style.Protection.Locked {
				assert.Equal(t, textFormat, style.NumFmt, "%s: part of an open cell", cell)
			}
		}
	}
}
