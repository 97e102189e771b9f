package report

import (
	"bytes"
	"fmt"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"
)

// reference is a cell or a range in a formula, perhaps of another sheet; quoted
// text goes first, so that nothing in it is taken for one.
var reference = regexp.MustCompile(`"[^"]*"|([A-Za-z]+!)?\$?([A-Z]{1,3})\$?([0-9]+)(?::\$?([A-Z]{1,3})\$?([0-9]+))?\b|\b[a-z0-9]+_[a-z0-9_]+\b`)

// structure are the columns of the working that no formula makes and that
// formulas may use: how the test is built.
var structure = map[string]bool{"cylinder": true, "run": true, "place": true, "place in time": true, "highest aside": true,
	"lowest aside": true, "limit": true, "other": true, "row": true}

// sources follows the formulas of a workbook.
type sources struct {
	t     *testing.T
	where string
	f     *excelize.File
	names map[string]string
	// written is the row from which the working keeps what the program wrote.
	written int
}

// Every formula starts from the sheets Readings and Limits, from other formulas,
// or from how the test is built: none from a figure of the program. Only whether
// the page's sentences still hold is asked of what the program wrote.
func TestFormulasStartFromReadings(t *testing.T) {
	for _, c := range append(variedCases(21, 8), specialCases()...) {
		if _, r := worked(t, c); r.BoundsSway {
			continue // no formulas
		}
		f, err := excelize.OpenReader(bytes.NewReader(bookOf(t, c)))
		require.NoError(t, err)
		s := sources{t: t, where: c.name, f: f, names: map[string]string{}}
		for _, n := range f.GetDefinedName() {
			s.names[n.Name] = n.RefersTo
		}
		found, err := f.SearchSheet(sheetWorking, "As the page was written$", true)
		require.NoError(t, err)
		require.Len(t, found, 1, c.name)
		_, s.written, err = excelize.CellNameToCoordinates(found[0])
		require.NoError(t, err)
		assert.Greater(t, s.all(), 200, c.name)
		require.NoError(t, f.Close())
	}
}

// all follows every formula and gives how many there are.
func (s *sources) all() int {
	count := 0
	for _, sheet := range s.f.GetSheetList() {
		rows, err := s.f.GetRows(sheet, excelize.Options{RawCellValue: true})
		require.NoError(s.t, err)
		for r, row := range rows {
			for c := range row {
				text, err := s.f.GetCellFormula(sheet, at(c+1, r+1))
				require.NoError(s.t, err)
				if text != "" {
					count++
					s.follow(sheet, r+1, text)
				}
			}
		}
	}
	return count
}

// follow looks at every cell that a formula names.
func (s *sources) follow(sheet string, row int, text string) {
	for _, m := range reference.FindAllStringSubmatch(text, -1) {
		switch {
		case strings.HasPrefix(m[0], `"`):
			continue
		case m[2] == "":
			require.Contains(s.t, s.names, m[0], "%s: %s", s.where, text)
			s.follow(sheet, row, s.names[m[0]])
			continue
		}
		of := sheet
		if m[1] != "" {
			of = strings.TrimSuffix(m[1], "!")
		}
		last := m[3]
		if m[5] != "" {
			require.Equal(s.t, m[2], m[4], "a range within a column")
			last = m[5]
		}
		s.sound(of, m[2], m[3], last, sheet == sheetWorking && row > s.written || strings.Contains(text, "still_same"), text)
	}
}

// sound asserts that what stands in rows of a column may be started from.
func (s *sources) sound(sheet, column, first, last string, checks bool, text string) {
	if sheet == sheetReadings || sheet == sheetLimits {
		return
	}
	var from, to int
	_, err := fmt.Sscan(first, &from)
	require.NoError(s.t, err)
	_, err = fmt.Sscan(last, &to)
	require.NoError(s.t, err)
	for row := from; row <= to; row++ {
		cell := fmt.Sprint(column, row)
		formula, err := s.f.GetCellFormula(sheet, cell)
		require.NoError(s.t, err)
		value, err := s.f.GetCellValue(sheet, cell)
		require.NoError(s.t, err)
		if formula != "" || value == "" {
			continue
		}
		head := s.head(sheet, column, row)
		assert.True(s.t, sheet == sheetWorking && structure[head] || checks && row > s.written,
			"%s: %s starts from %s %s, %q under %q", s.where, text, sheet, cell, value, head)
	}
}

// head is the head of the column that a cell stands in: the first text above it.
func (s *sources) head(sheet, column string, row int) string {
	for row--; row > 0; row-- {
		cell := fmt.Sprint(column, row)
		kind, err := s.f.GetCellType(sheet, cell)
		require.NoError(s.t, err)
		formula, err := s.f.GetCellFormula(sheet, cell)
		require.NoError(s.t, err)
		if kind == excelize.CellTypeSharedString && formula == "" {
			text, err := s.f.GetCellValue(sheet, cell)
			require.NoError(s.t, err)
			return strings.ReplaceAll(text, "\n", " ")
		}
	}
	return ""
}
