package entry

import (
	"strings"

	"leakback/leakback"
)

// Row is a reading that comes without a file: its cells by the names of the
// columns of a readings file, interval_s among those of the interval, and
// TubeClass beside them. A column that is missing is an empty cell.
type Row map[string]string

// TubeClass is the name in a Row of the glass's class, A or B of ASTM E1272.
const TubeClass = "tube_class"

// Whole is what rows do not say of the test that they make.
type Whole struct {
	// ID is the test's.
	ID string
	// Method is how its returns were collected.
	Method leakback.Method
	// Cylinders is how many the engine has; 0 where nobody said.
	Cylinders int
	// FitDrift says that runs which cannot show drift are to be refused.
	FitDrift bool
}

// ReadingColumns are the names that the column of the readings may have, each
// with its unit.
func ReadingColumns() []string { return namesOf(colVolume) }

// Rows makes a test of rows, by the rules of a readings file whose cells are
// parted by tabs: one row at least, in any order. A volume_ml may name another
// unit of volume. The error is a *FaultError; a fault's row is the place in rows,
// from 1.
func Rows(rows []Row, w Whole) (*leakback.Test, error) {
	d := NoDefaults()
	d.Cylinders, d.FitDrift = w.Cylinders, w.FitDrift
	d, faults := d.settled()
	if len(faults) > 0 {
		return nil, &FaultError{Faults: faults}
	}
	r := &Reader{lines: &lines{}, head: rowHeader(w.Method), def: d, id: w.ID, typed: true,
		record: make([]string, columns)}
	if _, ok := usualID(w.ID); !ok {
		r.add(Fault{Column: r.head.name[colTestID], Value: w.ID, Expected: wordKinds[colTestID].expected})
	}
	for i, row := range rows {
		if r.row = i + 1; r.lay(row) {
			r.takeRow()
		}
	}
	if len(rows) == 0 {
		r.add(Fault{Expected: "a row for each reading"})
	}
	test := r.close()
	if err := r.err(); err != nil {
		return nil, err
	}
	return test, nil
}

// rowHeader is the header that rows would have in a file.
func rowHeader(method leakback.Method) *header {
	h := usualHeader()
	h.mark, h.width = '\t', int(columns)
	for c := range columns {
		h.at[c] = int(c)
	}
	h.at[colTestID] = -1
	if method != leakback.MethodBlockOff {
		h.at[colBlocked] = -1
	}
	if method != leakback.MethodIndividual {
		h.at[colCylinder] = -1
	}
	h.ofTest, h.ofRun = h.among(firstOfTest, lastOfTest), h.among(firstOfRun, lastOfRun)
	return h
}

// lay makes a row the current one; false where its columns make no sense.
func (r *Reader) lay(row Row) bool {
	clear(r.record)
	before, volumes := len(r.faults), 0
	for name, cell := range row {
		c, factor := lookUp(name)
		switch {
		case name == TubeClass:
			continue
		case c == columns || r.head.at[c] < 0:
			r.add(Fault{Row: r.row, Column: name, Value: cell, Expected: "nothing: such a reading has no such column"})
			continue
		case c == colVolume:
			r.head.name[c], r.head.factor[c], r.head.mass = name, factor, name == massName
			volumes++
		case name != r.head.name[c]:
			r.add(Fault{Row: r.row, Column: name, Value: cell, Expected: "it as " + r.head.name[c]})
		}
		r.record[c] = cell
	}
	if volumes != 1 {
		r.add(Fault{Row: r.row, Expected: "one column of " + strings.Join(ReadingColumns(), ", ")})
	}
	return len(r.faults) == before && r.layClass(row[TubeClass])
}

// layClass takes the class of the row's tube; false where there is none such.
func (r *Reader) layClass(text string) bool {
	text = strings.TrimSpace(text)
	word, ok := tubeClass(text)
	if text != "" && !ok {
		r.add(Fault{Row: r.row, Column: TubeClass, Value: text, Expected: "A or B"})
		return false
	}
	r.def.TubeClass = word
	return true
}
