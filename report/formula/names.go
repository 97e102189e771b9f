package formula

import "fmt"

// Names knows where tables and figures stand and what their cells hold.
type Names struct {
	tables  map[string]*Table
	figures map[string]place
	prefix  string
}

// NewNames knows nothing yet.
func NewNames() *Names {
	return &Names{tables: map[string]*Table{}, figures: map[string]place{}}
}

// Within puts a prefix before every name that is given or looked up from here on,
// so that one workbook can hold the same names more than once: after Within("t1_")
// the name rate_sum is t1_rate_sum for all who stand without. "" ends it.
func (n *Names) Within(prefix string) { n.prefix = prefix }

// Full is a name with the prefix that holds now.
func (n *Names) Full(name string) string { return n.prefix + name }

// Table is a block of columns that share their rows.
type Table struct {
	sheet     string
	top, rows int
	columns   map[string]place
}

// Table makes a table of so many rows, the first in row top of a sheet. A name
// is used once.
func (n *Names) Table(name, sheet string, top, rows int) (*Table, error) {
	name = n.Full(name)
	if _, again := n.tables[name]; again {
		return nil, fmt.Errorf("table %s is there already", name)
	}
	t := &Table{sheet: sheet, top: top, rows: rows, columns: map[string]place{}}
	n.tables[name] = t
	return t, nil
}

// Column gives a table a column with its values, one a row; they may be filled
// in later, from the top down.
func (t *Table) Column(id string, col int, values []Value) {
	t.columns[id] = place{sheet: t.sheet, col: col, row: t.top, rows: t.rows, values: values}
}

// Figure names one cell with its value. A name holds an underscore and is used
// once.
func (n *Names) Figure(name, sheet string, col, row int, v Value) error {
	name = n.Full(name)
	if _, again := n.figures[name]; again {
		return fmt.Errorf("figure %s is there already", name)
	}
	n.figures[name] = place{name: name, sheet: sheet, col: col, row: row, values: []Value{v}}
	return nil
}

// Value is what a figure's cell holds; a blank for an unknown name.
func (n *Names) Value(figure string) Value {
	if p, ok := n.figures[n.Full(figure)]; ok {
		return p.values[0]
	}
	return Value{}
}

// Values are what the cells of a column hold; nothing for unknown names.
func (n *Names) Values(table, column string) []Value {
	if t, ok := n.tables[n.Full(table)]; ok {
		return t.columns[column].values
	}
	return nil
}

// Address is where a figure stands on its sheet, as $A$1; false for an unknown name.
func (n *Names) Address(figure string) (string, bool) {
	p, ok := n.figures[n.Full(figure)]
	return fixed(p.col, p.row), ok
}

// Has says whether there is a figure of that name.
func (n *Names) Has(figure string) bool {
	_, ok := n.figures[n.Full(figure)]
	return ok
}

// ref is a name in a formula.
type ref struct {
	table, column string // table "" is the formula's own
	figure        string
	whole         bool
	up            int // rows above
}

// String is the name as formulas write it.
func (r ref) String() string {
	switch {
	case r.figure != "":
		return r.figure
	case r.whole || r.table == "":
		return r.table + "[" + r.column + "]"
	}
	return r.table + "." + r.column
}

// find is the place that a name means in a formula.
func (n *Names) find(r ref, here Here) (place, error) {
	if r.figure != "" {
		if p, ok := n.figures[n.Full(r.figure)]; ok {
			return p, nil
		}
		return place{}, fmt.Errorf("no figure %s so far", r)
	}
	name := r.table
	if name == "" {
		name = here.Table
	}
	t, ok := n.tables[n.Full(name)]
	if !ok {
		return place{}, fmt.Errorf("no table for %s so far", r)
	}
	p, ok := t.columns[r.column]
	i := here.Index - r.up
	switch {
	case !ok:
		return place{}, fmt.Errorf("no column for %s so far", r)
	case r.whole:
		return p, nil
	case i < 0 || i >= p.rows:
		return place{}, fmt.Errorf("%s has no row %d", r, i)
	}
	p.row, p.rows, p.values = p.row+i, 0, p.values[i:i+1]
	return p, nil
}
