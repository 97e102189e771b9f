package recorded

import (
	"cmp"
	"errors"
	"slices"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/leakback/entry"
	"leakback/limits"
	"leakback/limits/quantity"
)

// Test is the test that a record makes, of the events that stand. A cylinder
// whose reading was not entered yet is absent from its run, one that was skipped
// (a reading of "") is there and not read; a run without any reading is absent.
// Of several readings of one cylinder in a run, of several fields, the latest
// stands. The error is ErrNoReadings, or a *FaultError.
//
// A run's interval is the sum of its times (KindTime of FieldCollection or
// Crank), and its cranks are those that were timed, unless interval_s or cranks
// was set for the run later than the last of them.
func Test(r *leakback.Record) (*leakback.Test, error) {
	m := newMaker(r)
	w := m.whole()
	rows := m.rows(w.Method)
	switch {
	case len(m.faults.Faults) > 0:
		return nil, &m.faults
	case len(rows) == 0:
		return nil, ErrNoReadings
	}
	t, err := entry.Rows(rows, w)
	if err != nil {
		return nil, m.blame(err)
	}
	m.leaveOut(t)
	if len(m.faults.Faults) > 0 {
		return nil, &m.faults
	}
	return t, nil
}

// maker makes one test.
type maker struct {
	record *leakback.Record
	// readings are the readings that stand, in the order of runs, cylinders and
	// lines.
	readings []reading
	runs     map[int]*timing
	// set are the fields that were set anywhere: most never are.
	set    map[string]bool
	faults FaultError

	laid []place // the rows' readings
}

// reading is a reading that stands.
type reading struct {
	place
	field, value string
}

// timing is when, in the order of events, what a run's clock says was entered.
type timing struct {
	times []timed
	// byClock are the fields that the clock gave.
	byClock []string
	// interval and cranks are the places of the last events that set them, from 1.
	interval, cranks int
}

// timed is one collection or crank; at is the event's place, from 1.
type timed struct {
	at           int
	field, value string
}

func newMaker(r *leakback.Record) *maker {
	m := &maker{record: r, runs: map[int]*timing{}, set: map[string]bool{}}
	last := map[place]int{}
	for i := range r.Events {
		e := &r.Events[i]
		switch e.Kind {
		case leakback.KindReading:
			m.read(e, last)
		case leakback.KindTime:
			m.run(e.Run).time(i+1, e.Field, e.Value)
		case leakback.KindSet:
			m.set[e.Field] = true
			m.when(i+1, e.Key)
		}
	}
	slices.SortFunc(m.readings, func(a, b reading) int {
		return cmp.Or(cmp.Compare(a.run, b.run), cmp.Compare(a.cylinder, b.cylinder), cmp.Compare(a.line, b.line))
	})
	return m
}

// read takes a reading; last is where those before it are.
func (m *maker) read(e *leakback.Event, last map[place]int) {
	rd := reading{placeOf(e.Key), e.Field, e.Value}
	if k, known := last[rd.place]; known {
		m.readings[k] = rd
		return
	}
	last[rd.place] = len(m.readings)
	m.readings = append(m.readings, rd)
}

// when notes where a run's interval or cranks were set.
func (m *maker) when(at int, k leakback.Key) {
	if k.Run == 0 || k.Cylinder != 0 || k.Line != "" {
		return
	}
	switch k.Field {
	case FieldIntervalS:
		m.run(k.Run).interval = at
	case FieldCranks:
		m.run(k.Run).cranks = at
	}
}

func (m *maker) run(number int) *timing {
	t := m.runs[number]
	if t == nil {
		t = &timing{}
		m.runs[number] = t
	}
	return t
}

// time takes how long a collection or a crank ran; "" takes it back.
func (t *timing) time(at int, field, value string) {
	if field != FieldCollection && !strings.HasPrefix(field, crankPrefix) {
		return
	}
	t.times = slices.DeleteFunc(t.times, func(o timed) bool { return o.field == field })
	if value != "" {
		t.times = append(t.times, timed{at, field, value})
	}
}

// last is the place of the last time, 0 where there is none.
func (t *timing) last() int {
	if len(t.times) == 0 {
		return 0
	}
	return t.times[len(t.times)-1].at
}

func (m *maker) fault(at place, field, value, expected string) {
	m.faults.add(Fault{Run: at.run, Cylinder: at.cylinder, Line: at.line, Field: field, Value: value, Expected: expected})
}

// of is what stands of a field at a place.
func (m *maker) of(at place, field string) string {
	return m.record.Value(at.key(leakback.KindSet, field))
}

// near is what stands of a field nearest to a reading, or to a run, and where:
// "" where there is nothing.
func (m *maker) near(at place, field string) (string, place) {
	if !m.set[field] {
		return "", at
	}
	for _, p := range []place{at, {run: at.run}, {}} {
		if value := m.of(p, field); value == None {
			return "", p
		} else if value != "" {
			return value, p
		}
	}
	return "", at
}

// whole is what the record says of the test as a whole.
func (m *maker) whole() entry.Whole {
	w := entry.Whole{ID: m.id(), Method: leakback.Method(m.record.Set(leakback.FieldMethod))}
	switch w.Method {
	case leakback.MethodIndividual, leakback.MethodBlockOff, leakback.MethodTotal:
	default:
		if w.Method != "" {
			m.fault(place{}, leakback.FieldMethod, string(w.Method), "individual, block-off or total")
		}
		w.Method = m.method()
	}
	w.FitDrift = m.yes(leakback.FieldFitDrift)
	if text := m.record.Set(leakback.FieldCylinders); text != "" {
		n, err := quantity.ParseNumber(text, true)
		if w.Cylinders = int(n); err != nil || n < 1 || n > limits.MostCylinders || float64(w.Cylinders) != n {
			m.fault(place{}, leakback.FieldCylinders, text, "a number of cylinders, whole, from 1 to "+
				strconv.Itoa(limits.MostCylinders))
		}
	}
	return w
}

// id is the test's name; where nobody named it, that of the record.
func (m *maker) id() string {
	name := m.record.Set(leakback.FieldName)
	if name == "" && len(m.record.Events) > 0 {
		name = m.record.Events[0].TestID
	}
	return cmp.Or(name, "recorded")
}

// method is how the readings show that the returns were collected, where the
// record does not say.
func (m *maker) method() leakback.Method {
	if slices.ContainsFunc(m.readings, func(r reading) bool { return r.cylinder != 0 }) {
		return leakback.MethodIndividual
	}
	if slices.ContainsFunc(m.readings, func(r reading) bool { return m.blocked(r.run) != "" }) {
		return leakback.MethodBlockOff
	}
	return leakback.MethodTotal
}

func (m *maker) blocked(run int) string { return m.of(place{run: run}, FieldBlocked) }

// yes is what stands of a field that is either said or not.
func (m *maker) yes(field string) bool {
	value := m.record.Set(field)
	if value != "" && value != yes {
		m.fault(place{}, field, value, "1 or nothing")
	}
	return value == yes
}

// leaveOut keeps runs out of the evaluation.
func (m *maker) leaveOut(t *leakback.Test) {
	for i := range t.Runs {
		run := &t.Runs[i]
		e, _ := m.record.Last(leakback.Key{Kind: leakback.KindLeaveOut, Run: run.Number})
		switch e.Value {
		case "":
		case yes:
			run.LeftOut = cmp.Or(e.Reason, noReason)
		default:
			m.fault(place{run: run.Number}, string(leakback.KindLeaveOut), e.Value, "1 or nothing")
		}
	}
}

// noReason stands for the reason why a run was left out, where nobody gave one.
const noReason = "no reason given"

// blame finds the events behind the faults of rows.
func (m *maker) blame(err error) error {
	var faults *entry.FaultError
	if !errors.As(err, &faults) {
		return err
	}
	for _, f := range faults.Faults {
		at := place{}
		if f.Row > 0 {
			at = m.laid[f.Row-1]
		}
		at, field := m.source(at, f.Column)
		m.fault(at, field, f.Value, f.Expected)
	}
	m.faults.More = m.faults.More || faults.More
	return &m.faults
}

// source is where a column of a reading's row was said.
func (m *maker) source(at place, column string) (place, string) {
	switch {
	case column == "test_id":
		return place{}, leakback.FieldName
	case slices.Contains(testFields, column):
		return place{}, column
	case column == FieldBlocked:
		return place{run: at.run}, column
	case slices.Contains(m.run(at.run).byClock, column):
		return place{run: at.run}, column
	case slices.ContainsFunc(runFields, func(f runField) bool { return f.name == column }):
		return m.said(place{run: at.run}, column), column
	case slices.ContainsFunc(readingFields, func(f readingField) bool { return f.name == column }):
		return m.said(at, column), column
	case column == "cylinder", column == "run" && at.run != 0:
		return at, "" // the place names it
	}
	return at, column
}

// said is the place at which the value near a reading or run was said.
func (m *maker) said(at place, field string) place {
	_, at = m.near(at, field)
	return at
}
