package command

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"fmt"
	"html"
	"io"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/leakback/logbook"
	"leakback/limits/quantity"
)

// mark42 stands in every text below, so that it is found again wherever it went.
const mark42 = "MARK42"

// formulas are texts that a spreadsheet program may take for a formula or for
// something else than the text they are (OWASP, "CSV Injection"; ECMA-376, 22.9.2.19
// for the escapes of characters in a text).
var formulas = []string{
	"=1+1 " + mark42, "+1+1 " + mark42, "-1+1 " + mark42, "@SUM(1) " + mark42, "\t=1 " + mark42, "\r=1 " + mark42, "\n=1 " + mark42,
	" =1+1 " + mark42, "'=1+1 " + mark42, "＝1+1 " + mark42, "＋1 " + mark42, "－1 " + mark42, "＠1 " + mark42,
	`=HYPERLINK("http://example.invalid","` + mark42 + `")`, "=cmd|' /C calc'!" + mark42, `=IMPORTXML("http://example.invalid/"&A1,"` + mark42 + `")`,
	`x";=1+1;"` + mark42, "x,=1+1," + mark42, "x\n=1+1 " + mark42, "_x003D_1+1 " + mark42, "_x000D_=1 " + mark42, "{=1+1} " + mark42,
	"&D&F&[Path] " + mark42, "[1]x!A1 " + mark42, "]]><f>1+1</f> " + mark42, "\u200b=1 " + mark42, strings.Repeat("=1+1 ", 8000) + mark42,
}

// beginsFormula finds what no cell of CSV with a text of people may begin with, or
// have behind a semicolon, which parts cells where the comma is the decimal sign.
var beginsFormula = regexp.MustCompile("(^|;)[=+@\t\r\n＝＋－＠-]")

// rounds is how often every field is filled, each time with other texts.
const rounds = 2

// Whatever is typed into whichever field, whichever file of this program it gets
// into, it is text there.
func TestNoTextBecomesAFormula(t *testing.T) {
	s := newStage(t)
	book, err := logbook.Open(t.Context(), "usual.db", logbook.Options{})
	require.NoError(t, err)
	for round := range rounds {
		for range 2 { // before and after, of one vehicle
			s.logFields(book, turns(formulas, round*len(formulas)/rounds))
		}
	}
	for _, text := range formulas {
		s.log(book, text) // names that no test may have are listed and not judged
	}
	require.NoError(t, book.Close())
	var typed []string // what can be typed at all
	for _, text := range formulas {
		if len(text) <= 100 && quantity.Printable(text) {
			typed = append(typed, text)
		}
	}
	for round := range rounds {
		before, after := fmt.Sprint(2*round+1), fmt.Sprint(2*round+2)
		s.asText("report", before, "--output")
		s.asText("report", before, after, "--output")
		s.inCSV("retest", before, after, "--format", "csv")
		s.typedIn(turns(typed, round*len(typed)/rounds))
	}
	s.asText("history", "--all", "--output")
	s.asText("history", "--all", "--trend", "--vehicle", formulas[0], "--output")
	s.inCSV("history", "--all", "--format", "csv")
}

// turns gives the texts in turn, again and again.
func turns(texts []string, first int) func() string {
	i := first - 1
	return func() string { i++; return texts[i%len(texts)] }
}

// inTOML is a text of a limits sheet.
func inTOML(text string) string {
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(text) + `"`
}

// typedIn gives texts to flags and to a limits sheet.
func (s *stage) typedIn(next func() string) {
	s.Helper()
	state := []string{"--engine=" + next(), "--condition=" + next(), "--return-line=" + next()}
	for _, field := range leakback.JobFields() {
		state = append(state, "--"+strings.ReplaceAll(field, "_", "-")+"="+next())
	}
	check := []string{"check", "--interval", "60", "--volumes", "21 22 23 39"}
	s.asText(slices.Concat(check, state, []string{"--output"})...)
	s.asText("form", "--engine="+next(), "--workshop="+next(), "--output")
	quoted := func() string { return inTOML(next()) }
	condition := next()
	s.file("sheet.toml", "name = "+quoted()+"\nengine = "+quoted()+"\ncylinders = 4\nreturn_lines = { "+inTOML(fitting(next, 40))+" = [1, 2], b = [3, 4] }\n"+
		"[set]\nhealthy_cv = 0.12\nsource = "+quoted()+"\n[measurement]\ncommon_cv = 0.02\nsource = "+quoted()+"\n"+
		"[[limit]]\ncondition = "+inTOML(condition)+"\nmax_rate_ml_min = 40\nsource = "+quoted()+"\n"+
		"[[tightening]]\nstep = 1\npart = "+quoted()+"\ntorque = \"60 N·m\"\nsource = "+quoted()+"\n")
	sheet := []string{"--limits", "sheet.toml", "--condition=" + condition}
	s.asText(slices.Concat(check, sheet, []string{"--output"})...)
	s.asText("form", "--limits", "sheet.toml", "--output")
	for _, method := range []string{"individual", "block-off"} {
		plan := append([]string{"plan", "--expect", "30mL/min", "--method", method}, sheet...)
		s.asText(append(plan, "--output")...)
		s.fileInCSV(plan...)
	}
}

// quiet runs the program and gives its results.
func (s *stage) quiet(args ...string) []byte {
	s.Helper()
	var stdout, stderr bytes.Buffer
	env := &environment{stdin: strings.NewReader(""), stdout: &stdout, stderr: &stderr, getenv: func(string) string { return "" },
		configDir: "config", logbook: "usual.db", screen: screen{width: 80, unicode: true}}
	if code := run(s.Context(), env, args); code != exitDone {
		assert.Fail(s, "not done", "%.300q: %.600s", args, stderr.String())
	}
	return stdout.Bytes()
}

// inCSV requires that what the program prints is CSV without a formula.
func (s *stage) inCSV(args ...string) {
	s.Helper()
	requireText(s.T, s.quiet(args...), args)
}

// fileInCSV requires it of a file.
func (s *stage) fileInCSV(args ...string) {
	s.Helper()
	s.quiet(append(args, "--csv", "out.csv", "--overwrite")...)
	text, err := os.ReadFile("out.csv")
	require.NoError(s, err)
	requireText(s.T, text, args)
}

func requireText(t *testing.T, text []byte, args []string) {
	t.Helper()
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	require.NoError(t, err)
	for _, row := range rows {
		for _, cell := range row {
			if strings.Contains(cell, mark42) && beginsFormula.MatchString(cell) {
				assert.Fail(t, "a spreadsheet calculates it", "%.100q: %.100q", args, cell)
			}
		}
	}
}

// asText has the program write a workbook and requires that the mark stands nowhere
// but in cells that are text, marked as such where they begin like a formula, and in
// footers and the file's description as text.
func (s *stage) asText(args ...string) {
	s.Helper()
	s.quiet(append(args, "out.xlsx", "--overwrite")...)
	file, err := os.ReadFile("out.xlsx")
	require.NoError(s, err)
	found := s.cells(file, args)
	assert.True(s, found, "%.200q: the text stands somewhere", args)
	z, err := zip.NewReader(bytes.NewReader(file), int64(len(file)))
	require.NoError(s, err)
	for _, part := range z.File {
		in, err := part.Open()
		require.NoError(s, err)
		content, err := io.ReadAll(in)
		require.NoError(s, err)
		for _, element := range obeyedElement.FindAll(content, -1) {
			if name := strings.Fields(string(element))[0]; bytes.Contains(element, []byte(mark42)) && !s.harmless(element) {
				assert.Fail(s, "calculated or followed", "%.200q, %s %s: %.300s", args, part.Name, name, element)
			}
		}
	}
}

// obeyedElement are the elements of a workbook whose content is calculated, followed
// or obeyed: formulas of cells, names, rules, lists to choose from and charts, links,
// codes of headers and footers.
var obeyedElement = regexp.MustCompile(`(?s)<(f|definedName|formula|formula1|formula2|c:f|hyperlink|Relationship|oddHeader|oddFooter|evenFooter|firstFooter)[ >].*?(</|/>)`)

// harmless says of such an element that it only shows the text: a footer in which
// every & is doubled, or a text between quotes in a list to choose from.
func (s *stage) harmless(element []byte) bool {
	_, content, _ := strings.Cut(strings.TrimSuffix(string(element), "</"), ">")
	content = html.UnescapeString(content)
	switch {
	case bytes.HasPrefix(element, []byte("<oddFooter")):
		return !strings.Contains(strings.ReplaceAll(content, "&&", ""), "&D&F")
	case bytes.HasPrefix(element, []byte("<formula1")):
		return strings.HasPrefix(content, `"`) && strings.HasSuffix(content, `"`) && strings.Count(content, `"`)%2 == 0
	}
	return false
}

// cells looks at every cell, and says whether the mark stands in one.
func (s *stage) cells(file []byte, args []string) bool {
	s.Helper()
	f, err := excelize.OpenReader(bytes.NewReader(file), excelize.Options{RawCellValue: true})
	require.NoError(s, err)
	defer f.Close()
	found := false
	for _, sheet := range f.GetSheetList() {
		assert.NotContains(s, sheet, mark42)
		rows, err := f.GetRows(sheet)
		require.NoError(s, err)
		for r, row := range rows {
			for c, text := range row {
				if !strings.Contains(text, mark42) {
					continue
				}
				found = true
				cell, err := excelize.CoordinatesToCellName(c+1, r+1)
				require.NoError(s, err)
				formula, err := f.GetCellFormula(sheet, cell)
				require.NoError(s, err)
				kind, err := f.GetCellType(sheet, cell)
				require.NoError(s, err)
				id, err := f.GetCellStyle(sheet, cell)
				require.NoError(s, err)
				quoted := f.Styles.CellXfs.Xf[id].QuotePrefix
				typedAsText := f.Styles.CellXfs.Xf[id].NumFmtID
				asTyped := quoted != nil && *quoted || typedAsText != nil && *typedAsText == 49 // the format @, ECMA-376 18.8.30
				isText := kind == excelize.CellTypeSharedString || kind == excelize.CellTypeInlineString
				if formula != "" || !isText || strings.ContainsRune("=+-@", rune(text[0])) && !asTyped {
					assert.Fail(s, "no text", "%.200q: %s %s, type %v, formula %q, quoted %v: %.80q", args, sheet, cell, kind, formula, quoted != nil, text)
				}
			}
		}
	}
	return found
}
