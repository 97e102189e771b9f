package report

import (
	"fmt"
	"reflect"
	"strconv"

	"github.com/xuri/excelize/v2"

	"leakback/leakback/ooxml"
	"leakback/report/formula"
)

// value writes what a cell holds: a number, a text or nothing.
func (p pen) value(col, row int, v formula.Value, l look) {
	switch v.Kind {
	case formula.Number:
		p.number(col, row, v.Number, l)
	case formula.Text:
		p.text(col, row, v.Text, l)
	default:
		p.look(col, row, l)
	}
}

// formula writes a formula with the value that it has, and gives that value.
// Table and Index of here say which row of which table is meant; the rest of it
// is filled in.
func (p pen) formula(col, row int, template string, here formula.Here, l look) formula.Value {
	here.Sheet, here.Col, here.Row = p.sheet, col, row
	text, v, err := p.names.Fill(template, here)
	if err != nil {
		p.keep(fmt.Errorf("%s %s: %w", p.sheet, at(col, row), err))
		return v
	}
	p.keep(p.file.SetCellFormula(p.sheet, at(col, row), text))
	p.cache(col, row, v)
	p.look(col, row, l)
	return v
}

// cache stores the value beside a formula, with its type, which excelize has no
// call for outside its streaming writer.
func (p pen) cache(col, row int, v formula.Value) {
	cell := p.grid().Index(row - 1).FieldByName("C").Index(col - 1)
	kind, text := "str", string(ooxml.Escaped([]byte(ooxml.Text(v.String()))))
	switch v.Kind {
	case formula.Number:
		kind, text = "", strconv.FormatFloat(v.Number, 'g', -1, 64)
	case formula.Fault:
		kind = "e"
	}
	cell.FieldByName("T").SetString(kind)
	cell.FieldByName("V").SetString(text)
}

// grid is the rows of the sheet as excelize keeps them: all from the first, each
// with all cells from the first.
func (p pen) grid() reflect.Value {
	return p.sheetOfBook().FieldByName("SheetData").FieldByName("Row")
}

// sheetOfBook is the sheet as excelize keeps it.
func (p pen) sheetOfBook() reflect.Value {
	path, ok := p.paths[p.sheet]
	if !ok {
		path = fmt.Sprintf(sheetParts+"sheet%d.xml", p.index()+1)
		p.paths[p.sheet] = path
	}
	sheet, ok := p.file.Sheet.Load(path)
	if !ok { // every sheet was written into before
		panic("report: no sheet at " + path)
	}
	return reflect.ValueOf(sheet).Elem()
}

// index is the place of the sheet, which is the number of its part too: they
// are made in order.
func (p pen) index() int {
	index, err := p.file.GetSheetIndex(p.sheet)
	p.keep(err)
	return index
}

// figure names a cell for formulas, in this workbook and in its readers' own.
func (p pen) figure(name string, col, row int, v formula.Value) {
	p.keep(p.names.Figure(name, p.sheet, col, row, v))
	p.keep(p.file.SetDefinedName(&excelize.DefinedName{Name: p.names.Full(name), RefersTo: p.sheet + "!" + absolute(col, row)}))
}

// protect keeps a sheet from being changed by accident, cells apart that are
// open. There is no password.
func (p pen) protect() {
	p.keep(p.file.ProtectSheet(p.sheet, &excelize.SheetProtectionOptions{
		SelectLockedCells: true, SelectUnlockedCells: true,
		FormatColumns: true, FormatRows: true,
	}))
}
