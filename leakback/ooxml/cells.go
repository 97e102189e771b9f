package ooxml

import (
	"encoding/xml"
	"regexp"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"
)

// Kind is what sort of thing stands in a cell.
type Kind int

// The kinds of cells.
const (
	BlankCell Kind = iota
	NumberCell
	TextCell
	TruthCell // 1 or 0
	FaultCell // #DIV/0! and the like
)

// Cell is what stands in a cell.
type Cell struct {
	// Kind is the sort of Value, which is the number, text or fault as the file
	// has it; of a formula it is the result that is stored beside it.
	Kind  Kind
	Value string
	// Formula is without its equals sign; "" where there is none.
	Formula string
	// Format is the code of the number format.
	Format string
}

// Empty says that nothing stands in the cell.
func (c Cell) Empty() bool { return c.Formula == "" && c.Value == "" }

// Programs take 32,767 characters in a cell and 8,192 in a formula: more is none of
// theirs. The formulas that cells share are a few bytes each in the file, so that
// what becomes of them in all has a bound too.
const (
	longestText    = 4 * 32_767
	longestFormula = 4 * 8_192
	mostMoved      = 4 << 20
)

// sharedFormula is a formula that stands for many cells.
type sharedFormula struct {
	text     string
	col, row int
}

// sheetReader reads the cells of a sheet.
type sheetReader struct {
	*cellReader
	sheet                  *Sheet
	row, col               int
	kind, look             string
	value, formula, inline strings.Builder
	values, formulas       int
	group                  string // of a formula that cells share
	shared                 map[string]sharedFormula
}

func (s *sheetReader) start(at []string, e xml.StartElement) error {
	switch {
	case len(at) == 3 && inRow(at):
		s.row, s.col = s.row+1, 0
		if n, err := strconv.Atoi(attribute(e, "r")); err == nil {
			s.row = n
		}
	case len(at) == 4 && inCell(at):
		s.cell(e)
	case len(at) == 5 && inCell(at) && at[4] == "v":
		s.values++
	case len(at) == 5 && inCell(at) && at[4] == "f":
		s.formulas++
		if attribute(e, "t") == "shared" {
			s.group = attribute(e, "si")
		}
	}
	if s.values > 1 || s.formulas > 1 {
		return Odd
	}
	return nil
}

func inRow(at []string) bool {
	return at[2] == "row" && at[1] == "sheetData" && at[0] == "worksheet"
}

func inCell(at []string) bool { return at[3] == "c" && inRow(at) }

// cell begins a cell.
func (s *sheetReader) cell(e xml.StartElement) {
	s.col++
	if col, _, err := excelize.CellNameToCoordinates(attribute(e, "r")); err == nil {
		s.col = col
	}
	s.kind, s.look, s.group, s.values, s.formulas = attribute(e, "t"), attribute(e, "s"), "", 0, 0
	s.value.Reset()
	s.formula.Reset()
	s.inline.Reset()
}

func (s *sheetReader) text(at []string, text string) {
	if len(at) == 3 && at[2] == "oddFooter" {
		s.sheet.Footer += text
	}
	if len(at) < 5 || !inCell(at) {
		return
	}
	switch {
	case len(at) == 5 && at[4] == "v":
		s.value.WriteString(text)
	case len(at) == 5 && at[4] == "f":
		s.formula.WriteString(text)
	case at[4] == "is" && isRun(at[5:]):
		s.inline.WriteString(text)
	}
}

func (s *sheetReader) end(at []string) error {
	if len(at) != 4 || !inCell(at) {
		return nil
	}
	c := Cell{Format: s.format()}
	var err error
	if c.Kind, c.Value, err = s.content(); err != nil {
		return err
	}
	if s.formulas > 0 {
		if c.Formula, err = s.said(); err != nil {
			return err
		}
	}
	if len(c.Value) > longestText || len(c.Formula) > longestFormula {
		return Odd
	}
	name, err := excelize.CoordinatesToCellName(s.col, s.row)
	if err != nil {
		return Odd
	}
	if _, twice := s.sheet.Cells[name]; twice {
		return Odd
	}
	if c.Empty() {
		return nil
	}
	if s.cells++; s.cells > s.p.limits.Cells {
		return TooLarge
	}
	s.sheet.Cells[name] = c
	return nil
}

// content is what a cell's value is.
func (s *sheetReader) content() (Kind, string, error) {
	value := s.value.String()
	switch s.kind {
	case "s":
		n, err := strconv.Atoi(strings.TrimSpace(value))
		if err != nil || n < 0 || n >= len(s.texts) {
			return BlankCell, "", Odd
		}
		return TextCell, s.texts[n], nil
	case "inlineStr":
		return TextCell, plain(s.inline.String()), nil
	case "str", "d":
		return TextCell, plain(value), nil
	case "b":
		return TruthCell, value, nil
	case "e":
		return FaultCell, value, nil
	case "", "n":
		if value == "" {
			return BlankCell, "", nil
		}
		if _, err := strconv.ParseFloat(value, 64); err != nil {
			return BlankCell, "", Odd
		}
		return NumberCell, value, nil
	}
	return BlankCell, "", Odd
}

// format is the code of the cell's number format.
func (s *sheetReader) format() string {
	n, err := strconv.Atoi(s.look)
	if err != nil || n < 0 || n >= len(s.codes) {
		return builtIn["0"]
	}
	return s.codes[n]
}

// said is the cell's formula; of one that cells share it is worked out.
func (s *sheetReader) said() (string, error) {
	text := s.formula.String()
	if s.group == "" || text != "" {
		if s.group != "" {
			s.shared[s.group] = sharedFormula{text, s.col, s.row}
		}
		return text, nil
	}
	from, ok := s.shared[s.group]
	if !ok || len(from.text) > longestFormula {
		return "", Odd
	}
	if s.moved += len(from.text); s.moved > mostMoved {
		return "", TooLarge
	}
	return moved(from.text, s.col-from.col, s.row-from.row), nil
}

// reference is a text, a quoted name of a sheet or a reference to a cell in a
// formula.
var reference = regexp.MustCompile(`"[^"]*"|'[^']*'|[A-Za-z_\\.][A-Za-z0-9_\\.]*\(|(\$?)([A-Za-z]{1,3})(\$?)([0-9]{1,7})\b|[A-Za-z_\\.0-9]+`)

// moved is a formula as it reads so many columns and rows farther on.
func moved(formula string, columns, rows int) string {
	return reference.ReplaceAllStringFunc(formula, func(found string) string {
		m := reference.FindStringSubmatch(found)
		if m[2] == "" || m[0] != found {
			return found
		}
		col, err := excelize.ColumnNameToNumber(m[2])
		row, errRow := strconv.Atoi(m[4])
		if err != nil || errRow != nil {
			return found
		}
		if m[1] == "" {
			col += columns
		}
		if m[3] == "" {
			row += rows
		}
		name, err := excelize.ColumnNumberToName(col)
		if err != nil || row < 1 {
			return found
		}
		return m[1] + name + m[3] + strconv.Itoa(row)
	})
}
