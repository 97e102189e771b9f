package report

import (
	"fmt"
	"io"
	"math"

	"github.com/xuri/excelize/v2"

	"leakback/report/formula"
)

// The sheets of the workbook, in their order. No name comes from a user's text.
const (
	sheetReport   = "Report"
	sheetReadings = "Readings"
	sheetWorking  = "Working"
	sheetLimits   = "Limits"
	sheetMethod   = "Method"
)

// creator is what the document's properties name as its maker.
const creator = "leakback"

// epoch stands for the dates of the document's properties: a date of the
// machine would make equal results give unequal files. When the test was done
// stands on the page.
const epoch = "2000-01-01T00:00:00Z"

// Workbook writes the page as an XLSX workbook: the page the customer reads,
// the readings as they were logged, the working with live formulas from the
// readings to the verdict, the limits with their sources, and the method in
// plain words. A page from a logbook has the same cells with the same content,
// and besides its record: on the page where it is blank without one, and in a
// sheet of all entries. Equal pages give equal bytes. It holds no macro, no external
// link, and no name of the machine or its user.
func Workbook(w io.Writer, p *Page) error {
	b := newBook()
	defer b.file.Close()
	b.keep(b.sheets(sheetReport, sheetReadings, sheetWorking, sheetLimits, sheetMethod))
	b.readings(p) // what formulas start from comes first, what they lead to last
	b.limits(p)
	b.working(p)
	b.method(methodText, footer(p))
	page := b.report(p)
	b.workSheet(p.Works, p.Tightening, []*Page{p}, footer(p))
	b.record(p)
	page.inFull()
	b.properties(title, "Test "+p.Result.Test.ID)
	return b.write(w, "workbook")
}

// write writes the book, unless an error came before; what names it in errors.
func (b *book) write(w io.Writer, what string) error {
	if b.err != nil {
		return fmt.Errorf("%s: %w", what, b.err)
	}
	if err := b.file.Write(w); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	return nil
}

// book is a workbook in the making. The first error stays in err, so that
// layout code need not look after each cell.
type book struct {
	file   *excelize.File
	styles map[look]int
	parts  map[string][]byte
	names  *formula.Names
	paths  map[string]string // of the sheets' parts
	// suffix stands behind the names of a test's sheets where a workbook holds
	// several tests: its number.
	suffix string
	// cut holds the texts that had to be shortened where they belong; they
	// stand in full below the printed page.
	cut []fact
	err error
}

func newBook() *book {
	b := &book{file: excelize.NewFile(), styles: map[look]int{}, parts: map[string][]byte{},
		names: formula.NewNames(), paths: map[string]string{}}
	b.file.SetZipWriter(zipWriter(b.parts))
	return b
}

// keep remembers the first error.
func (b *book) keep(err error) {
	if b.err == nil {
		b.err = err
	}
}

// sheets makes the sheets in their order.
func (b *book) sheets(first string, rest ...string) error {
	if err := b.file.SetSheetName("Sheet1", first); err != nil {
		return err
	}
	for _, name := range rest {
		if _, err := b.file.NewSheet(name); err != nil {
			return err
		}
	}
	font := b.file.Styles.Fonts.Font[0] // column widths are counted in its digits
	*font.Name.Val, *font.Sz.Val = family, defaultSize
	return nil
}

// sheetOf is a sheet of the test that is being written.
func (b *book) sheetOf(name string) string { return name + b.suffix }

// properties are our own, with nothing of the machine in them.
func (b *book) properties(title, subject string) {
	b.keep(b.file.SetDocProps(&excelize.DocProperties{
		Creator:        creator,
		LastModifiedBy: creator,
		Created:        epoch,
		Modified:       epoch,
		Title:          title,
		Subject:        clipped(oneLine(subject), 200),
		Language:       "en",
	}))
	b.keep(b.file.SetAppProps(&excelize.AppProperties{Application: creator}))
}

// clipped is at most that many runes of text.
func clipped(text string, most int) string {
	if runes := []rune(text); len(runes) > most {
		return string(runes[:most-1]) + "…"
	}
	return text
}

// pen writes into one sheet.
type pen struct {
	*book
	sheet string
}

// at is the cell in column col (from 1) and row (from 1).
func at(col, row int) string {
	cell, err := excelize.CoordinatesToCellName(col, row)
	if err != nil { // only a column or row of 0 or beyond the sheet
		panic(err)
	}
	return cell
}

// look gives an empty cell its look.
func (p pen) look(col, row int, l look) {
	p.keep(p.file.SetCellStyle(p.sheet, at(col, row), at(col, row), p.style(l)))
}

// text writes text that is text for every program, cleaned of what a cell
// cannot hold. Nothing of "" is written but its look.
func (p pen) text(col, row int, text string, l look) {
	if pieces := chunks(visible(text)); len(pieces) > 1 {
		p.cut = append(p.cut, fact{p.sheet + " " + at(col, row), text})
		text = clipped(pieces[0], cutRunes)
	}
	if text != "" {
		p.keep(p.file.SetCellStr(p.sheet, at(col, row), stored(text)))
	}
	p.look(col, row, l)
}

// cutRunes is how much stays of a text that no cell can hold.
const cutRunes = 2000

// number writes a number as a number, and leaves the cell empty where there is none.
func (p pen) number(col, row int, x float64, l look) {
	if !math.IsNaN(x) && !math.IsInf(x, 0) {
		p.keep(p.file.SetCellFloat(p.sheet, at(col, row), x, -1, 64))
	}
	p.look(col, row, l)
}

// merge makes one cell of several in a row; all of them get the look.
func (p pen) merge(from, to, row int, l look) {
	p.keep(p.file.SetCellStyle(p.sheet, at(from, row), at(to, row), p.style(l)))
	if to > from {
		p.keep(p.file.MergeCell(p.sheet, at(from, row), at(to, row)))
	}
}

// height sets the height of a row in points, as high as a sheet allows at most.
func (p pen) height(row int, points float64) {
	p.keep(p.file.SetRowHeight(p.sheet, row, math.Min(quarters(points), excelize.MaxRowHeight)))
}

// quarters is a height in whole quarters of a point, which programs keep.
func quarters(points float64) float64 { return math.Ceil(points*4) / 4 }

// Column widths are counted in digits of the default font at 96 pixels an inch.
// At 11 points Arial's digit is 8.15 of them: programs that round to 8 and those
// that do not then show nearly the same page.
const (
	defaultSize = 11
	digitPixels = 8
)

// widths sets the widths of the columns from the first, in points.
func (p pen) widths(points ...float64) {
	for i, width := range points {
		name, err := excelize.ColumnNumberToName(i + 1)
		p.keep(err)
		p.keep(p.file.SetColWidth(p.sheet, name, name, width*96/72/digitPixels))
	}
}

// typedAsText tells programs that text which looks like a number is meant as
// text, and says how large the sheet is.
func (p pen) typedAsText(columns, rows int) {
	used := at(1, 1) + ":" + at(columns, rows)
	p.keep(p.file.AddIgnoredErrors(p.sheet, used, excelize.IgnoredErrorsNumberStoredAsText))
	p.keep(p.file.SetSheetDimension(p.sheet, used))
}

// name defines one of the sheet's reserved names, such as its print area.
func (p pen) name(name, refersTo string) {
	p.keep(p.file.SetDefinedName(&excelize.DefinedName{
		Name: name, RefersTo: p.sheet + "!" + refersTo, Scope: p.sheet,
	}))
}

// paper is how a sheet prints.
type paper struct {
	landscape bool
	high      int  // pages; 0 for as many as it takes
	scale     uint // percent; 0 to make the width fit
	footer    string
}

// a4 is the number of the A4 paper size.
const a4 = 9

// print sets paper and margins that leave the same picture on A4 and Letter.
func (p pen) print(o paper) {
	size, orientation, wide, yes := a4, "portrait", 1, true
	if o.landscape {
		orientation = "landscape"
	}
	side, edge, band := 0.43, 0.43, 0.2
	if o.footer != "" {
		edge = 0.6
	}
	layout := excelize.PageLayoutOptions{Size: &size, Orientation: &orientation, FitToWidth: &wide, FitToHeight: &o.high}
	if o.scale > 0 { // which leaves page breaks where we set them
		layout = excelize.PageLayoutOptions{Size: &size, Orientation: &orientation, AdjustTo: &o.scale}
	} else {
		p.keep(p.file.SetSheetProps(p.sheet, &excelize.SheetPropsOptions{FitToPage: &yes}))
	}
	p.keep(p.file.SetPageLayout(p.sheet, &layout))
	p.keep(p.file.SetPageMargins(p.sheet, &excelize.PageLayoutMarginsOptions{
		Left: &side, Right: &side, Top: &edge, Bottom: &edge, Header: &band, Footer: &band,
		Horizontally: &yes,
	}))
	if o.footer != "" {
		p.keep(p.file.SetHeaderFooter(p.sheet, &excelize.HeaderFooterOptions{OddFooter: o.footer}))
	}
}
