package form

import (
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/leakback/entry"
	"leakback/limits/quantity"
)

// Where a marker is looked for.
const (
	searchedSheets  = 5
	searchedRows    = 20
	searchedColumns = 40
)

// filled is a form's sheet that is being read.
type filled struct {
	file  *excelize.File
	sheet string
	*layout
	// down and right are how far the whole form was moved.
	down, right int
	from1904    bool
	faults      faults
}

// find looks for the form among the sheets of a workbook.
func find(file *excelize.File) (*filled, error) {
	sheets := file.GetSheetList()
	for _, sheet := range sheets[:min(len(sheets), searchedSheets)] {
		for row := 1; row <= searchedRows; row++ {
			for col := 1; col <= searchedColumns; col++ {
				text, err := file.GetCellValue(sheet, cellName(col, row), raw)
				if err != nil {
					break // no worksheet
				}
				if strings.HasPrefix(text, "leakback entry form ") {
					return begin(file, sheet, text, col, row)
				}
			}
		}
	}
	return nil, refusal("an entry form; this is another workbook: write a blank form with leakback form --output blank.xlsx, " +
		"or save the readings as CSV (UTF-8)")
}

// raw reads what stands in a cell, not what it looks like.
var raw = excelize.Options{RawCellValue: true}

// begin reads the marker.
func begin(file *excelize.File, sheet, marker string, col, row int) (*filled, error) {
	marker = strings.TrimSpace(marker)
	if found := markerBegins.FindStringSubmatch(marker); found != nil {
		if n, _ := strconv.Atoi(found[1]); n > Version {
			return nil, refusal("an entry form of version " + strconv.Itoa(Version) + " or before; this one is of version " +
				found[1] + ": read it with a newer leakback")
		}
	}
	s, ok := shapeOf(marker)
	if !ok {
		return nil, refusal("the form's first line as it was written, such as " + quantity.Quote(shape{"individual", 6, 3, 0}.marker()) +
			"; found " + quantity.Quote(marker))
	}
	f := &filled{file: file, sheet: sheet, layout: newLayout(s)}
	f.down, f.right = row-f.marker.row, col-f.marker.from
	if f.down < 0 || f.right < 0 {
		return nil, errMoved
	}
	if props, err := file.GetWorkbookProps(); err == nil && props.Date1904 != nil {
		f.from1904 = *props.Date1904
	}
	return f, nil
}

const errMoved refusal = "the form's cells where they were; rows or columns were taken out: copy the readings into a blank form"

// at is the name of a box's cell where the form stands now.
func (f *filled) at(b box) string { return cellName(b.from+f.right, b.row+f.down) }

// fixed is the text of a cell that the form came with.
func (f *filled) fixed(b box) string {
	text, err := f.file.GetCellValue(f.sheet, f.at(b), raw)
	if err != nil {
		return ""
	}
	return strings.TrimSpace(text)
}

// checkPlaces refuses a form whose words do not stand where they did: its
// readings would be taken for others.
func (f *filled) checkPlaces() {
	check := func(b box, want string) {
		if got := f.fixed(b); got != want {
			f.fault(b, "", got, quantity.Quote(want)+" as on the blank form; its cells were moved or overwritten: "+
				"copy the readings into a blank form")
		}
	}
	for _, p := range f.fields() {
		check(p.label, p.field.label)
	}
	for _, h := range f.heads {
		check(h.box, h.text)
	}
}

// fault notes what is wrong with a cell; what is it in words.
func (f *filled) fault(b box, what, value, expected string) {
	f.faults = append(f.faults, entry.Fault{Cell: f.at(b), Column: what, Value: value, Expected: expected})
}

// text is what was entered in a cell, as one would have typed it; "" where that
// is faulty.
func (f *filled) text(b box, what string, most int) string {
	if formula, err := f.file.GetCellFormula(f.sheet, f.at(b)); err != nil || formula != "" {
		f.fault(b, what, "="+formula, "what was read, typed into the cell, and no formula")
		return ""
	}
	value, err := f.file.GetCellValue(f.sheet, f.at(b), raw)
	if err != nil {
		f.fault(b, what, "", "a cell that can be read")
		return ""
	}
	switch kind, err := f.file.GetCellType(f.sheet, f.at(b)); {
	case err == nil && kind == excelize.CellTypeBool: // its value is 1 or 0, which nobody read from a tube
		f.fault(b, what, truth[value == "1"], "a number or words, and not the logical value")
		return ""
	case err == nil && isNumber(kind):
		value = plainNumber(value)
	}
	value = strings.TrimSpace(strings.ReplaceAll(value, "\u00a0", " "))
	if len([]rune(value)) > most || !printableLines(value, most == leakback.LongestSentence) {
		f.fault(b, what, value, "at most "+strconv.Itoa(most)+" printable characters")
		return ""
	}
	return value
}

// truth is a logical value as a spreadsheet shows it.
var truth = map[bool]string{true: "TRUE", false: "FALSE"}

// isNumber says that a cell holds a number: programs mostly leave out its type.
func isNumber(kind excelize.CellType) bool {
	return kind == excelize.CellTypeUnset || kind == excelize.CellTypeNumber
}

// plainNumber is a number of a cell as people type it: its 15 digits, as a
// spreadsheet shows them, and no exponent.
func plainNumber(value string) string {
	x, err := strconv.ParseFloat(value, 64)
	if err != nil || math.IsInf(x, 0) || math.IsNaN(x) {
		return value
	}
	short, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 15, 64), 64)
	if err != nil {
		return value
	}
	return quantity.Plain(short, -1)
}

// printableLines says whether text can be shown as it is: on one line, or on
// several where that is allowed.
func printableLines(text string, several bool) bool {
	if several {
		text = strings.NewReplacer("\r\n", " ", "\n", " ", "\t", " ").Replace(text)
	}
	return quantity.Printable(text)
}

// firstDay is the first number that is taken for a day and not for a year: the
// 18th of February 1982, or four years later.
const firstDay = 30_000

// tested is when the test was done: as typed, or a spreadsheet's number for it.
func (f *filled) tested(b box, what string) string {
	text := f.text(b, what, leakback.LongestJobText)
	kind, err := f.file.GetCellType(f.sheet, f.at(b))
	x, parsed := strconv.ParseFloat(text, 64)
	if err != nil || parsed != nil || !isNumber(kind) || x < firstDay {
		return text
	}
	when, err := excelize.ExcelDateToTime(x, f.from1904)
	if err != nil {
		return text
	}
	when = when.Round(time.Second)
	switch {
	case x == math.Trunc(x):
		return when.Format(time.DateOnly)
	case when.Second() == 0:
		return when.Format("2006-01-02 15:04")
	}
	return when.Format(time.DateTime)
}
