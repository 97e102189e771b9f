package entry

import (
	"cmp"
	"fmt"
	"hash/maphash"
	"math"
	"strings"

	"leakback/leakback"
	"leakback/limits/quantity"
)

// blank says whether the row is made of empty cells, as spreadsheets leave
// them below the last reading.
func (r *Reader) blank() bool {
	if r.lines.broken {
		return false
	}
	for _, cell := range r.record {
		if strings.TrimSpace(cell) != "" {
			return false
		}
	}
	return true
}

// takeRow reads the current row. It gives the test before it, where that ended.
func (r *Reader) takeRow() *leakback.Test {
	r.taken = true
	fault := r.rowFault()
	var ended *leakback.Test
	if r.namesTest(fault != "") {
		if id := r.cell(colTestID); !r.test.open || id != r.test.cell {
			ended = r.close()
			r.open(id)
		}
	}
	if fault != "" {
		r.add(Fault{Row: r.row, Expected: fault})
		return ended
	}
	r.checkUnnamed()
	r.takeReading()
	return ended
}

// rowFault says what is wrong with the row as a whole.
func (r *Reader) rowFault() string {
	found, h := len(r.record), r.head
	switch {
	case r.lines.broken:
		return quotesPaired
	case found == h.width:
		return ""
	}
	text := fmt.Sprintf("%d cells separated by %s, as in the header; found %d", h.width, plural(h.mark), found)
	if found > h.width && h.mark == ',' {
		text += " (a decimal comma needs semicolons between the cells)"
	}
	return text
}

// namesTest says whether the row's test_id can be believed. In a faulty row the
// cells may have shifted, so that only its first tells. Where it does not, the
// row may belong to the test before it, and that is not given as sound.
func (r *Reader) namesTest(faulty bool) bool {
	at := r.head.at[colTestID]
	if !faulty || at < 0 {
		return true
	}
	return at == 0 && len(r.record) > 0 && !(r.lines.broken && r.lines.quoted)
}

// open begins the test that the cell names.
func (r *Reader) open(cell string) {
	id := cell
	if cell == "" {
		id = r.id
	}
	r.test.begin(cell, id)
	if !r.head.has(colTestID) {
		return
	}
	if _, ok := usualID(id); !ok {
		r.fault(colTestID, id, wordKinds[colTestID].expected)
	}
	hash := maphash.String(r.seed, id)
	if row, known := r.begun[hash]; known {
		r.fault(colTestID, id, fmt.Sprintf("the rows of a test together; this one began in row %d and other rows stand between", row))
		return
	}
	r.begun[hash] = uint32(r.row)
}

// close ends the test that is open and gives it where there is no fault so far.
func (r *Reader) close() *leakback.Test {
	if !r.test.open {
		return nil
	}
	r.test.open = false
	r.checkRuns()
	if len(r.faults) > 0 {
		return nil
	}
	return r.test.test(&r.def)
}

// checkRuns finds what only the whole test shows to be missing.
func (r *Reader) checkRuns() {
	for i := range r.test.runs {
		run := &r.test.runs[i]
		said := run.stated(colInterval)
		switch {
		case r.head.has(colInterval) && said.row == 0 && math.IsNaN(r.def.IntervalS):
			r.add(Fault{Row: run.row, Column: r.head.name[colInterval],
				Expected: "the length of the collection, here or with --interval"})
		case run.figure(colInterval, r.def.IntervalS) == unknownS && r.test.method != leakback.MethodIndividual:
			r.add(Fault{Row: run.row, Column: r.head.name[colInterval], Value: cmp.Or(said.text, Unknown),
				Expected: "the length of the collection, which a merged return is measured by"})
		}
	}
}

// checkUnnamed allows columns without a name where they hold nothing.
func (r *Reader) checkUnnamed() {
	for _, i := range r.head.unnamed {
		if cell := strings.TrimSpace(r.record[i]); cell != "" {
			r.add(Fault{Row: r.row, Column: fmt.Sprint(i + 1), Value: cell,
				Expected: "nothing, since the header does not name the column"})
		}
	}
}

// takeReading puts the current row into the open test.
func (r *Reader) takeReading() {
	r.test.rows++
	method := r.method()
	if method != leakback.MethodIndividual {
		r.takeMerged(method)
		return
	}
	cylinder, number := r.cylinder(), r.runNumber(1)
	reading := r.reading()
	r.takeWords()
	if cylinder == 0 || number == 0 {
		return
	}
	run := r.test.run(number, r.row)
	r.takeState(run)
	bit := uint64(1) << (cylinder - 1)
	if run.cylinders&bit != 0 {
		r.fault(colCylinder, r.cell(colCylinder), fmt.Sprintf("each cylinder once in a run; run %d has it in row %d",
			number, r.test.rowOf(number, cylinder, "")))
		return
	}
	run.cylinders |= bit
	reading.Cylinder = cylinder
	r.test.add(run, r.row, reading)
}

// method is how the returns of the row were collected, and the same for all
// rows of a test.
func (r *Reader) method() leakback.Method {
	method := leakback.MethodTotal
	switch own := r.head.has(colCylinder); {
	case own && (r.cell(colCylinder) != "" || !r.head.has(colBlocked)):
		method = leakback.MethodIndividual
		if text := r.cell(colBlocked); text != "" {
			r.fault(colBlocked, text, "nothing beside a cylinder: a row holds a cylinder's own return, or the merged "+
				"return with these cylinders blocked and its cylinder empty")
		}
	case r.head.has(colBlocked):
		method = leakback.MethodBlockOff
	}
	if r.test.method == "" {
		r.test.method, r.test.first = method, r.row
	}
	if r.test.method != method {
		r.otherMethod(method)
	}
	return method
}

// otherMethod reports that a row's returns were collected in another way than
// those of the test's rows before it.
func (r *Reader) otherMethod(method leakback.Method) {
	expected := spans[colCylinder].expected
	if method == leakback.MethodIndividual {
		expected = "nothing beside a merged return"
	}
	r.fault(colCylinder, r.cell(colCylinder), fmt.Sprintf("%s, as in row %d of the same test", expected, r.test.first))
}

// cylinder is the row's cylinder; 0 where it is faulty.
func (r *Reader) cylinder() int {
	text := r.cell(colCylinder)
	if text == "" {
		r.fault(colCylinder, "", spans[colCylinder].expected)
		return 0
	}
	n := r.number(colCylinder)
	if math.IsNaN(n) {
		return 0
	}
	if most := r.def.Cylinders; most > 0 && n > float64(most) {
		r.fault(colCylinder, text, fmt.Sprintf("a cylinder from 1 to %d, as --cylinders or the limits sheet says", most))
	}
	return int(n)
}

// runNumber is the row's run, another where the cell is empty; 0 where it is
// faulty.
func (r *Reader) runNumber(other int) int {
	if r.cell(colRun) == "" {
		return other
	}
	if n := r.number(colRun); !math.IsNaN(n) {
		return int(n)
	}
	return 0
}

// takeWords notes what the row says of its test.
func (r *Reader) takeWords() {
	for _, c := range r.head.ofTest {
		if word := r.word(c); word != "" {
			r.state(&r.test.words[c-firstOfTest], stated{row: r.row, text: word}, c, "test")
		}
	}
}

// takeState notes what the row says of its run.
func (r *Reader) takeState(run *gatheredRun) {
	for _, c := range r.head.ofRun {
		text := r.cell(c)
		switch {
		case text == "", run.stated(c).says(text):
		case wordKinds[c].usual == nil:
			r.state(run.stated(c), stated{r.row, r.number(c), text}, c, "run")
		default:
			if word := r.word(c); word != "" {
				r.state(run.stated(c), stated{row: r.row, text: word}, c, "run")
			}
		}
	}
}

// state notes what a row says of its whole, or that an earlier row disagrees.
func (r *Reader) state(have *stated, say stated, c column, whole string) {
	if have.row == 0 {
		*have = say
		return
	}
	if have.differs(&say, wordKinds[c].usual != nil) {
		r.fault(c, r.cell(c), fmt.Sprintf("%s, as in row %d of the same %s", quantity.Quote(have.text), have.row, whole))
	}
}
