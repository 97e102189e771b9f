package entry

import (
	"encoding/csv"
	"errors"
	"hash/maphash"
	"io"
	"math"

	"leakback/leakback"
	"leakback/leakback/refused"
	"leakback/limits/quantity"
)

// Reader reads the tests of a readings file one at a time.
type Reader struct {
	lines *lines
	csv   *csv.Reader
	head  *header
	def   Defaults
	id    string // where no cell names the test

	record []string // the row that is being read
	cells  []string // memory for its cells
	row    int
	taken  bool // a row was
	typed  bool // what is read was typed by people, no file
	test   gathered
	// begun holds a 64-bit hash of the id of each test and the row it began at:
	// a batch may have a million tests. Two ids of one hash would be refused as
	// one; by chance that happens to one batch of a million tests in 10^7.
	begun map[uint64]uint32
	seed  maphash.Seed
	words [columns]map[string]string
	// blocked are the lists of blocked cylinders that were read, by their cell.
	blocked map[string][]int
	// last is the word read last of a column, mostly that of the next row too.
	last [columns]struct{ text, word string }

	faultList
	end error // once there are no more tests
}

// NewReader reads tests from r. The name stands in messages; testID names the
// test of rows that do not, and d fills in what cells leave empty: what no row
// of the run, or of the test, says of it.
func NewReader(r io.Reader, name, testID string, d Defaults) *Reader {
	d, faults := d.settled()
	rd := &Reader{lines: newLines(r), def: d, id: testID, faultList: faultList{file: name},
		begun: map[uint64]uint32{}, seed: maphash.MakeSeed()}
	if len(faults) > 0 {
		rd.end = &FaultError{Faults: faults}
	}
	return rd
}

// Next is the next test of the file; io.EOF after the last. After the first
// fault it gives no more tests, but the rest of the file is read, and all its
// faults come together as a *FaultError. A file that cannot be read any
// further gives the reader's error, wrapped. An error means no test, and is given again
// by every later call.
func (r *Reader) Next() (*leakback.Test, error) {
	for r.end == nil {
		if test := r.step(); test != nil {
			return test, nil
		}
	}
	return nil, r.end
}

// step reads one row. It gives the test that ended before it, if one did.
func (r *Reader) step() *leakback.Test {
	err := r.read()
	switch {
	case err == io.EOF:
		test := r.close()
		if r.head != nil && !r.taken {
			r.add(Fault{Row: r.head.row, Expected: "a row for each reading below the header"})
		}
		r.stop()
		return test
	case err != nil:
		r.fail(err)
		return nil
	case r.blank():
		return nil
	}
	test := r.takeRow()
	if r.more {
		r.stop()
	}
	return test
}

// stop ends the reading with what there is to say of the file.
func (r *Reader) stop() {
	if r.end = r.err(); r.end == nil {
		r.end = io.EOF
	}
}

// fail ends the reading where the file cannot be read on.
func (r *Reader) fail(err error) {
	var text refusal
	if errors.As(err, &text) {
		r.add(Fault{Row: r.lines.number, Expected: string(text)})
		r.stop()
		return
	}
	r.end = &readError{quantity.Name(r.file), err}
}

// readError is a failure of the reader underneath, whose kind errors.As finds.
type readError struct {
	file  string
	cause error
}

func (e *readError) Unwrap() error { return e.cause }

// Error names the file once.
func (e *readError) Error() string {
	return e.file + ": cannot be read: " + refused.Plainly(e.cause).Error()
}

// read makes the next row the current one. A row that is no CSV is marked by
// lines.broken.
func (r *Reader) read() error {
	if r.head == nil {
		if err := r.readHeader(); err != nil {
			return err
		}
	}
	return r.readRecord()
}

func (r *Reader) readRecord() error {
	cells, plain, err := r.lines.cells(r.cells[:0], byte(r.csv.Comma))
	if plain {
		r.record, r.cells, r.row = cells, cells, r.lines.number
	}
	if plain || err != nil {
		return err
	}
	record, err := r.csv.Read()
	if err != nil && isSyntax(err) {
		r.lines.broken, r.lines.quoted, err = true, len(record) == 0, nil
	}
	r.record, r.row = record, r.lines.number
	return err
}

func isSyntax(err error) bool {
	var syntax *csv.ParseError
	return errors.As(err, &syntax)
}

// readHeader reads the header; io.EOF where it does not serve to read rows by.
func (r *Reader) readHeader() error {
	line, err := r.lines.first()
	if err == io.EOF {
		r.add(Fault{Expected: "a header such as cylinder,volume_ml and a row for each reading; the file is empty"})
	}
	if err != nil {
		return err
	}
	mark := separator(line)
	r.csv = csv.NewReader(r.lines)
	r.csv.Comma, r.csv.FieldsPerRecord, r.csv.ReuseRecord = rune(mark), -1, true
	if err := r.readRecord(); err != nil {
		return err
	}
	if r.lines.broken {
		r.add(Fault{Row: r.row, Expected: quotesPaired})
		return io.EOF
	}
	head, ok := newHeader(r.record, mark, r.row, &r.faultList)
	if !ok {
		return io.EOF
	}
	r.head = head
	r.checkFlags()
	return nil
}

// checkFlags reports once, rather than in every row, what neither the header
// nor a flag gives.
func (r *Reader) checkFlags() {
	h := r.head
	if !h.has(colInterval) && math.IsNaN(r.def.IntervalS) {
		r.add(Fault{Row: h.row, Expected: "the length of the collection: a column interval_s or --interval"})
	}
	if _, ok := usualID(r.id); !h.has(colTestID) && !ok {
		r.add(Fault{Column: h.name[colTestID], Value: r.id, Expected: wordKinds[colTestID].expected})
	}
	if h.has(colCapacity) || h.has(colTolerance) {
		return
	}
	if _, p := r.def.tube(math.NaN(), math.NaN(), math.NaN()); p.expected != "" {
		r.add(Fault{Column: r.def.flagOf(p.column), Expected: p.expected})
		r.def.TubeClass = ""
	}
}

const quotesPaired = "quotes in pairs, around a whole cell (a quote inside it is written twice)"
