package report

import (
	"archive/zip"
	"bytes"
	"fmt"
	"html"
	"io"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback"
)

// Excel's limits: "Excel specifications and limits" and "Names in formulas", Microsoft.
const (
	mostSheetName = 31 // UTF-16 units
	mostFormula   = 8192
	mostArguments = 255
	mostLevels    = 64
	mostName      = 255
	mostFooter    = 255
)

var (
	sheetTag    = regexp.MustCompile(`<sheet [^>]*name="([^"]*)"`)
	nameTag     = regexp.MustCompile(`<definedName [^>]*name="([^"]*)"[^>]*>([^<]*)<`)
	formulaTag  = regexp.MustCompile(`<f[^>]*>([^<]*)</f>`)
	textTag     = regexp.MustCompile(`<t(?: [^>]*)?>([^<]*)</t>`)
	footerTag   = regexp.MustCompile(`<odd(?:Footer|Header)>([^<]*)<`)
	cellTag     = regexp.MustCompile(`<c r="([A-Z]+)([0-9]+)"`)
	likeCell    = regexp.MustCompile(`^(?i:[A-Z]{1,3}[0-9]+|R[0-9]*|C[0-9]*|R[0-9]*C[0-9]*)$`)
	likeName    = regexp.MustCompile(`^[A-Za-z_\\][A-Za-z0-9_.\\]*$`)
	quotedText  = regexp.MustCompile(`"[^"]*"`)
	quotedSheet = regexp.MustCompile(`'[^']*'`)
)

func utf16Units(text string) int { return len(utf16.Encode([]rune(text))) }

// holdsToExcel requires that a workbook stays within what Excel takes.
func holdsToExcel(t *testing.T, file []byte) {
	t.Helper()
	r, err := zip.NewReader(bytes.NewReader(file), int64(len(file)))
	require.NoError(t, err)
	for _, f := range r.File {
		in, err := f.Open()
		require.NoError(t, err)
		part, err := io.ReadAll(in)
		require.NoError(t, err)
		switch text := string(part); {
		case f.Name == "xl/workbook.xml":
			namesHold(t, text)
		case f.Name == "xl/sharedStrings.xml":
			for _, m := range textTag.FindAllStringSubmatch(text, -1) {
				require.LessOrEqual(t, utf16Units(html.UnescapeString(m[1])), cellUnits)
			}
		case strings.HasPrefix(f.Name, "xl/worksheets/sheet"):
			sheetHolds(t, f.Name, text)
		}
	}
}

// namesHold looks at the names of sheets and cells.
func namesHold(t *testing.T, text string) {
	t.Helper()
	seen := map[string]bool{}
	for _, m := range sheetTag.FindAllStringSubmatch(text, -1) {
		name := html.UnescapeString(m[1])
		assert.LessOrEqual(t, utf16Units(name), mostSheetName, name)
		assert.False(t, strings.ContainsAny(name, `[]:*?/\`), name)
		assert.Equal(t, strings.Trim(name, "'"), name)
		assert.NotEqual(t, "history", strings.ToLower(name), "a name that Excel keeps for itself")
		assert.False(t, seen[strings.ToLower(name)], "twice: %s", name)
		seen[strings.ToLower(name)] = true
	}
	require.NotEmpty(t, seen)
	for _, m := range nameTag.FindAllStringSubmatch(text, -1) {
		assert.LessOrEqual(t, utf16Units(m[1]), mostName, m[1])
		assert.Regexp(t, likeName, m[1])
		assert.NotRegexp(t, likeCell, m[1], "Excel takes it for a cell")
		assert.LessOrEqual(t, utf16Units(html.UnescapeString(m[2])), mostFormula, m[1])
	}
}

func sheetHolds(t *testing.T, name, text string) {
	t.Helper()
	for _, m := range footerTag.FindAllStringSubmatch(text, -1) {
		assert.LessOrEqual(t, utf16Units(html.UnescapeString(m[1])), mostFooter, name)
	}
	for _, m := range formulaTag.FindAllStringSubmatch(text, -1) {
		f := html.UnescapeString(m[1])
		require.LessOrEqual(t, utf16Units(f), mostFormula, "%s: %.200s", name, f)
		arguments, levels := shapeOf(f)
		require.LessOrEqual(t, arguments, mostArguments, "%s: %.200s", name, f)
		require.LessOrEqual(t, levels, mostLevels, "%s: %.200s", name, f)
	}
	for _, m := range cellTag.FindAllStringSubmatch(text, -1) {
		column, err := excelize.ColumnNameToNumber(m[1])
		require.NoError(t, err)
		row, err := strconv.Atoi(m[2])
		require.NoError(t, err)
		require.LessOrEqual(t, column, excelize.MaxColumns)
		require.LessOrEqual(t, row, excelize.TotalRows)
	}
}

// shapeOf is the most arguments of a function in a formula, and how deep they nest.
func shapeOf(f string) (arguments, levels int) {
	f = quotedSheet.ReplaceAllString(quotedText.ReplaceAllString(f, ""), "")
	var open []int
	for _, r := range f {
		switch r {
		case '(':
			open = append(open, 1)
			levels = max(levels, len(open))
		case ',':
			if len(open) > 0 {
				open[len(open)-1]++
			}
		case ')':
			arguments = max(arguments, open[len(open)-1])
			open = open[:len(open)-1]
		}
	}
	return arguments, levels
}

func TestShapeOf(t *testing.T) {
	arguments, levels := shapeOf(`IF(SUM('a,(b'!A1,2,3)>1,"x,(y",MAX(1,MIN(2,3)))`)
	assert.Equal(t, 3, arguments)
	assert.Equal(t, 3, levels)
}

// The largest test there can be, and names as long as they may be, of signs that are
// two units each.
func TestWorkbookWithinExcel(t *testing.T) {
	long := strings.Repeat("🙂", 200)
	many := Bench{Volumes: strings.Repeat("31 30 33 >100 ", 15) + "31 32 33 60", Runs: 12, TempC: 45,
		Change: func(test *leakback.Test) { test.ID, test.Engine = "x"+long, long }}
	sheet := RepairSheet(40)
	r, err := leakback.Evaluate(many.test("many"), sheet)
	require.NoError(t, err)
	require.Len(t, r.Cylinders, 64)
	page := samplePage(r)
	for _, field := range leakback.JobFields() {
		*page.Job.Field(field) = long
	}
	var file bytes.Buffer
	require.NoError(t, Workbook(&file, page))
	holdsToExcel(t, file.Bytes())

	var rows bytes.Buffer
	h := NewHistory("test")
	defer h.Close()
	require.NoError(t, h.Add(AppendHistory(nil, r)))
	require.NoError(t, h.Write(&rows))
	holdsToExcel(t, rows.Bytes())
}

// A repair of twenty tests.
func TestRepairWithinExcel(t *testing.T) {
	benches := make([]Bench, 20)
	for i := range benches {
		benches[i] = Bench{Volumes: fmt.Sprintf("36 37 35 %d 36 37", 60-i), TempC: 55}
	}
	var file bytes.Buffer
	require.NoError(t, RepairWorkbook(&file, RepairStory(t, 40, NewTube, benches...)))
	holdsToExcel(t, file.Bytes())
}
