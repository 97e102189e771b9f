// Package formula holds spreadsheet formulas that are written once, with names
// in the place of cells, and serve twice: as the text of a cell, and as the
// value that the cell keeps for programs that do not calculate. It knows
// nothing of fuel, sheets' looks or files.
//
// A formula reads as in a spreadsheet, in the words that every program since
// 2007 knows (TINV rather than T.INV). In the place of cells stand
//
//	[rate]        the column rate of the table that the formula is in, same row
//	[up:rate]     the same, one row up
//	cyl.rate      the column rate of another table, row of the same place
//	cyl[rate]     all of that column
//	set_median    a figure, by the name that the workbook defines for its cell
//
// so that the names of figures hold an underscore and can never be taken for a
// cell. Evaluation is stricter than a spreadsheet: arithmetic on text or on a
// whole column outside SUMPRODUCT is a fault and never something that one
// program does and another does not.
package formula

import (
	"fmt"
	"strconv"
	"strings"
	"sync"
)

// Here is the cell that a formula is written into.
type Here struct {
	Sheet    string
	Col, Row int
	// Table is the table of the cell, "" for none; Index is its row there, or
	// the row that the formula means in other tables, from 0.
	Table string
	Index int
}

// Fill gives the text of a formula for a cell, without the equals sign, and the
// value that the cell has. The error says what of the template is wrong.
func (n *Names) Fill(template string, here Here) (string, Value, error) {
	f, err := parsed(template)
	if err != nil {
		return "", Value{}, err
	}
	text, err := f.text(n, here)
	if err != nil {
		return "", Value{}, fmt.Errorf("%s: %w", template, err)
	}
	c := &call{names: n, here: here}
	v := c.cell(f.root.eval(c))
	if c.err != nil {
		return "", Value{}, fmt.Errorf("%s: %w", template, c.err)
	}
	return text, v, nil
}

// formula is a template that was read.
type formula struct {
	tokens []token
	root   node
}

// known holds the templates that were read before: there are few, and every
// workbook uses them again.
var known sync.Map

func parsed(template string) (*formula, error) {
	if f, ok := known.Load(template); ok {
		return f.(*formula), nil
	}
	f, err := parse(template)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", template, err)
	}
	known.Store(template, f)
	return f, nil
}

// text is the template with cells in the place of names.
func (f *formula) text(n *Names, here Here) (string, error) {
	var b strings.Builder
	for _, t := range f.tokens {
		if t.kind != kindRef {
			b.WriteString(t.text)
			continue
		}
		place, err := n.find(t.ref, here)
		if err != nil {
			return "", err
		}
		b.WriteString(place.address(here))
	}
	return b.String(), nil
}

// place is where something stands: one cell, or rows of a column.
type place struct {
	name     string // of a figure
	sheet    string
	col, row int
	rows     int // 0 for one cell
	values   []Value
}

// address is the place as a formula of a cell writes it: a figure by its name,
// a cell of the same row relative, anything else fixed.
func (p place) address(here Here) string {
	if p.name != "" {
		return p.name
	}
	sheet := ""
	if p.sheet != here.Sheet {
		sheet = p.sheet + "!"
	}
	switch {
	case p.rows > 0:
		return sheet + fixed(p.col, p.row) + ":" + fixed(p.col, p.row+p.rows-1)
	case p.sheet == here.Sheet && p.row != here.Row:
		return fixed(p.col, p.row)
	}
	return sheet + letters(p.col) + strconv.Itoa(p.row)
}

func fixed(col, row int) string { return "$" + letters(col) + "$" + strconv.Itoa(row) }

// letters is a column, from 1, as spreadsheets name it.
func letters(col int) string {
	var name []byte
	for ; col > 0; col = (col - 1) / 26 {
		name = append([]byte{byte('A' + (col-1)%26)}, name...)
	}
	return string(name)
}
