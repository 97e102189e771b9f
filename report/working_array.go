package report

import (
	"fmt"

	"github.com/xuri/excelize/v2"

	"leakback/report/formula"
)

// arrayFormula writes a formula of a block of cells with the values that it has,
// the first in col and row.
func (p pen) arrayFormula(col, row int, a formula.Array, l look) {
	kind, ref := excelize.STCellFormulaTypeArray, a.Range(col, row)
	for i, values := range a.Values {
		for j, x := range values {
			p.number(col+j, row+i, x, l)
		}
	}
	// The range goes apart from the type: together excelize would work out a
	// formula for every cell of it, which only its own calculation needs.
	p.keep(p.file.SetCellFormula(p.sheet, at(col, row), a.Text, excelize.FormulaOpts{Type: &kind}, excelize.FormulaOpts{Ref: &ref}))
	p.cache(col, row, formula.Num(a.Values[0][0]))
	p.look(col, row, l)
}

// unknown names the j-th of the columns of a design, from 0.
func unknown(j int) string { return fmt.Sprintf("x%d", j+1) }

// matrix adds to a table the columns of a block that one formula fills, named x1
// and so on, under the heads given.
func (w *working) matrix(name string, heads []string, format string, a formula.Array) {
	t := w.tables[w.onLine(name)]
	cell := workCell.with(func(l *look) { l.format = format })
	for j, head := range heads {
		values := make([]formula.Value, len(a.Values))
		for i := range a.Values {
			values[i] = formula.Num(a.Values[i][j])
		}
		w.text(t.wide+1+j, t.top-1, head, workHead)
		t.table.Column(unknown(j), t.wide+1+j, values)
		t.at[unknown(j)] = t.wide + 1 + j
	}
	w.arrayFormula(t.wide+1, t.top, a, cell)
	t.wide += len(heads)
}

// blockOf is the columns from one to another of a table, which stand side by
// side, as an array.
func (w *working) blockOf(name string, columns ...string) formula.Array {
	name = w.onLine(name)
	t := w.tables[name]
	values := make([][]float64, t.rows)
	for _, id := range columns {
		for i, v := range w.names.Values(name, id) {
			values[i] = append(values[i], v.Float())
		}
	}
	return formula.Block(t.at[columns[0]], t.top, values)
}
