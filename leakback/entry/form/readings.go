package form

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"slices"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/leakback/entry"
)

// reading makes a readings file of a form, so that one reader says what a
// reading is, and brings what that reader finds wrong back to the cells.
type reading struct {
	*filled
	name, id string
	once     map[string]answer
	defaults entry.Defaults
	rows     []row
}

// row is a row of the readings file, by the names of its columns.
type row map[string]answer

// ofTube are said with each reading; ofRun are the columns of a state, which the
// form has once and each run's first row says; ofTest are said in the first row.
var (
	ofTube = []string{"graduation_ml", "capacity_ml"}
	ofRun  = []string{"cranks", "fuel_temp_c", "fuel_temp_at", "rail_pressure_bar", "back_pressure_bar", "engine_rpm"}
	ofTest = []string{"engine", "condition", "injectors"}
)

// classFlag is the flag whose value a readings file has no column for.
const classFlag = "--tube-class"

// checkOnce has what is entered once read by itself, in a file of one row, so
// that each fault is reported once, and takes out what is faulty; false where
// the defaults are.
func (r *reading) checkOnce() bool {
	class := r.once[fieldTubeClass]
	if class.text != "" {
		r.defaults.TubeClass = class.text
	}
	columns := slices.Concat([]string{"cylinder", "volume_ml", "interval_s"}, ofTest, ofRun, ofTube)
	_, wrong := r.through(columns, []row{r.onlyOnce()}, r.defaults)
	if len(wrong) > 0 && wrong[0].column == classFlag && class.text != "" {
		// Flags are looked at before any row is: this is the only fault so far.
		r.report(found{class, classFlag, class.text, wrong[0].expected})
		r.defaults.TubeClass = ""
		_, wrong = r.through(columns, []row{r.onlyOnce()}, r.defaults)
	}
	for _, f := range wrong {
		if !r.report(f) {
			return false
		}
		a := r.once[f.column]
		a.text = ""
		r.once[f.column] = a
	}
	return true
}

// onlyOnce is a row of what is entered once.
func (r *reading) onlyOnce() row {
	w := row{"cylinder": {text: "1"}, "interval_s": r.once["interval_s"]}
	if w["interval_s"].text == "" {
		w["interval_s"] = answer{text: entry.Unknown} // the runs may say it
	}
	for _, name := range slices.Concat(ofTest, ofRun, ofTube) {
		w[name] = r.once[name]
	}
	return w
}

// report notes a fault at its cell, unless that has one; where there is no cell,
// as a flag has none, it notes it as it is and gives false.
func (r *reading) report(f found) bool {
	if f.at.from == 0 {
		r.faults = append(r.faults, entry.Fault{Column: f.column, Value: f.value, Expected: f.expected})
		return false
	}
	cell := r.at(f.at)
	if !slices.ContainsFunc(r.faults, func(before entry.Fault) bool { return before.Cell == cell }) {
		r.fault(f.at, f.what, f.value, f.expected)
	}
	return true
}

// found is a fault of the readings file, with the answer to blame.
type found struct {
	answer
	column, value, expected string
}

// columns are those of the readings file.
func (r *reading) columns() []string {
	columns := []string{"run", "volume_ml", "interval_s", "return_line"}
	switch r.method {
	case leakback.MethodIndividual:
		columns = append(columns, "cylinder")
	case leakback.MethodBlockOff:
		columns = append(columns, "blocked")
	}
	return slices.Concat(columns, ofTest, ofRun, ofTube)
}

// through reads rows through the reader of readings files, and gives the test or
// the faults.
func (r *reading) through(columns []string, rows []row, d entry.Defaults) (*leakback.Test, []found) {
	test, err := entry.NewReader(written(columns, rows), r.name, r.id, d).Next()
	var wrong *entry.FaultError
	if !errors.As(err, &wrong) {
		return test, nil
	}
	var all []found
	for _, fault := range wrong.Faults {
		f := found{column: fault.Column, value: fault.Value, expected: inForm(fault)}
		if i := fault.Row - 2; i >= 0 && i < len(rows) {
			f.answer = rows[i][fault.Column]
		}
		all = append(all, f)
	}
	return nil, all
}

// inForm says without flags and columns, which a form does not have, what a
// readings file's error expects.
func inForm(fault entry.Fault) string {
	if fault.Column == "capacity_ml" && fault.Value == "" {
		return "the tube's highest mark, which its class needs"
	}
	expected, _, _ := strings.Cut(fault.Expected, "; the marks are given")
	return expected
}

// written is the readings file. Semicolons part its cells, so that a decimal
// comma is taken.
func written(columns []string, rows []row) io.Reader {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	w.Comma = ';'
	_ = w.Write(columns) // to memory
	for _, row := range rows {
		cells := make([]string, len(columns))
		for i, column := range columns {
			cells[i] = row[column].text
		}
		_ = w.Write(cells)
	}
	w.Flush()
	return &out
}

// parse gives the test of the rows where nothing on the form is faulty.
func (r *reading) parse(columns []string, rows []row) *leakback.Test {
	test, wrong := r.through(columns, rows, r.defaults)
	for _, f := range wrong {
		r.report(f)
	}
	return test
}

// addRuns makes the rows of each run of which anything was read.
func (r *reading) addRuns() {
	volumes := map[int][]row{} // by run
	for _, s := range r.layout.readings {
		volumes[s.run] = append(volumes[s.run], r.rowOf(s))
	}
	times := map[int]answer{}
	for _, s := range r.times {
		what := "time, run " + strconv.Itoa(s.run)
		times[s.run] = r.filled.plain(answer{r.text(s.box, what, leakback.LongestName), s.box, what}, number(intervalSpan(r.method)))
	}
	for run := 1; run <= r.runs; run++ {
		rows := volumes[run]
		if slices.ContainsFunc(rows, func(w row) bool { return w["volume_ml"].text != "" }) {
			r.addRun(rows, times[run])
		}
	}
}

// rowOf is the row of one reading.
func (r *reading) rowOf(s slot) row {
	what := r.whatOf(s)
	text := func(b box) answer { return answer{r.text(b, what, leakback.LongestName), b, what} }
	w := row{"run": {strconv.Itoa(s.run), s.box, what}, "volume_ml": text(s.box)}
	if entry.NotRead(w["volume_ml"].text) {
		w["volume_ml"] = answer{at: s.box, what: what}
	}
	if r.method == leakback.MethodIndividual {
		w["cylinder"] = answer{strconv.Itoa(s.row + 1), s.box, what}
	}
	if len(r.blocked) > 0 {
		w["blocked"] = text(r.blocked[s.row])
		if strings.EqualFold(w["blocked"].text, nothing) {
			w["blocked"] = answer{at: r.blocked[s.row], what: what}
		}
	}
	if len(r.lines) > 0 {
		w["return_line"] = text(r.lines[s.row])
	}
	for _, name := range ofTube {
		w[name] = r.once[name]
	}
	return w
}

// addRun adds the rows of a run; the first says what is true of it all.
func (r *reading) addRun(rows []row, time answer) {
	first := rows[0]
	if time.text == "" {
		time = r.timeOfEach()
	}
	first["interval_s"] = time
	for _, name := range ofRun {
		first[name] = r.once[name]
	}
	if len(r.rows) == 0 {
		for _, name := range ofTest {
			first[name] = r.once[name]
		}
	}
	r.rows = append(r.rows, rows...)
}

// timeOfEach is the time of runs that have none of their own; without a text
// where it was faulty or left empty, and then the cell to blame.
func (r *reading) timeOfEach() answer {
	for _, p := range r.state {
		if p.name == "interval_s" {
			return answer{r.once["interval_s"].text, p.entry, "time of each run"}
		}
	}
	return answer{}
}
