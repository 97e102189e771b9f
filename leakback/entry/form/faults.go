package form

import (
	"cmp"
	"slices"

	"github.com/xuri/excelize/v2"

	"leakback/leakback/entry"
)

// faults are what is wrong with a form.
type faults []entry.Fault

// mostFaults is how many faults an entry.FaultError has at most.
const mostFaults = 20

// err is nil, or all faults in the order of their cells, each once.
func (l faults) err() error {
	if len(l) == 0 {
		return nil
	}
	slices.SortStableFunc(l, func(a, b entry.Fault) int { return inSheet(a.Cell, b.Cell) })
	l = slices.CompactFunc(l, func(a, b entry.Fault) bool { return a == b })
	kept := l[:min(len(l), mostFaults)]
	return &entry.FaultError{Faults: kept, More: len(kept) < len(l)}
}

// inSheet is the order of cells: by row, then by column; what has none is first.
func inSheet(a, b string) int {
	place := func(cell string) (col, row int) {
		col, row, err := excelize.CellNameToCoordinates(cell)
		if err != nil {
			return 0, 0
		}
		return col, row
	}
	colA, rowA := place(a)
	colB, rowB := place(b)
	return cmp.Or(cmp.Compare(rowA, rowB), cmp.Compare(colA, colB))
}
