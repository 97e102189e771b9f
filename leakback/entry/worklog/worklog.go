// Package worklog is the state machine that logs what was done to an engine
// after a test: who did it, the parts of each cylinder, the tightening steps of
// the limits sheet with the values reached, and how the engine behaves since. Its
// events (package repair has their vocabulary) are appended to the record of the
// test that led to the work.
//
// As in package flow, what is asked is a function of the record: the first
// question that applies and has no answer, or the one that "back" went to. So a
// work that was broken off goes on at the right question by itself, and nothing
// changes before the events of an answer have been kept. It knows no terminal,
// no storage and no clock of its own, and gives no advice beyond what is wrong
// with a tightening step or a part that should not go back in.
package worklog

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/frame"
	"leakback/leakback/repair"
	"leakback/limits"
)

// Options is what a flow is told of the world around it.
type Options struct {
	// Now is the time in the workshop's zone, with a monotonic reading.
	Now func() time.Time
	// Keep commits events. An answer counts only when it has returned nil.
	Keep func(drafts []leakback.Event) error
	// Version is the program's, and Person who enters.
	Version, Person string
	// Events are the test's record so far.
	Events []leakback.Event
	// Result judges the test; its failed cylinders are proposed. nil where it
	// cannot be judged.
	Result *leakback.Result
	// Tightening are the steps of the test's limits sheet.
	Tightening []limits.Step
	// Cylinders is how many the engine has; 0 where that is not known.
	Cylinders int
	// Given are answers that flags gave (FromFlags makes them); they are logged
	// and not asked. Their work number is set here.
	Given []leakback.Event
	// Cautions are to be read before the engine is opened.
	Cautions []string
}

// Flow logs one work. It is an ask.Flow for one goroutine at a time.
type Flow struct {
	o      Options
	frame  *frame.Frame
	number int // of the work

	work   *repair.Work // of a record of that many events
	workAt int
}

// What is noted while a work is entered; see repair.MarkKey.
const (
	markState    = "" // begun, done or given up
	markPerson   = "person"
	markCautions = "cautions"
	markPick     = "pick"       // with its place: what was worked on next
	markNotDone  = "not done"   // with a step's number
	markTight    = "tightening" // done, though steps are left
)

// The states of a work.
const (
	stateBegun   = "begun"
	stateDone    = "done"
	stateGivenUp = "given up"
)

// New goes on with the last work of the record where it was broken off, and else
// begins the next one. The error says why the record cannot be read, an answer
// given does not fit, or the beginning could not be kept.
func New(o Options) (*Flow, error) {
	f := &Flow{o: o, workAt: -1}
	f.frame = frame.New(frame.Options{Now: o.Now, Keep: o.Keep, Events: o.Events, Person: f.person, Steps: f.steps,
		Sound: f.sound, GiveUp: f.giveUp})
	if _, err := repair.Works(f.Record()); err != nil {
		return nil, err
	}
	f.number = lastWork(f.Record())
	goesOn := f.number > 0 && f.begun() && !f.ended()
	if !goesOn {
		f.number++
	}
	return f, f.begin(goesOn)
}

// lastWork is the highest number of a work in a record; 0 for none.
func lastWork(r *leakback.Record) int {
	last := 0
	for _, e := range r.Events {
		last = max(last, repair.OfWork(e))
	}
	return last
}

// begin keeps the first events of a sitting.
func (f *Flow) begin(goesOn bool) error {
	t := frame.Taken{Drafts: []leakback.Event{frame.Event(leakback.Key{Kind: leakback.KindOpen}, f.o.Version)}}
	switch {
	case goesOn:
		t.Said = []string{fmt.Sprintf("work %d was broken off; it goes on where it stood", f.number)}
	default:
		t.Drafts = append(t.Drafts, frame.Event(f.mark(0, markState), stateBegun))
		if f.number > 1 {
			t.Said = []string{fmt.Sprintf("work %d after this test; what was entered before stays as it is", f.number)}
		}
	}
	t.Drafts = append(t.Drafts, f.given()...)
	if err := f.sound(t.Drafts, ""); err != nil {
		return fmt.Errorf("what was given: %w", err)
	}
	return f.frame.Settle(t)
}

// given are the flags' answers, as far as the record does not say the same;
// steps come behind those that it has.
func (f *Flow) given() []leakback.Event {
	var drafts []leakback.Event
	shift := map[int]int{}
	for _, s := range f.standing().Steps {
		shift[s.Cylinder] = max(shift[s.Cylinder], s.Place)
	}
	for _, e := range f.o.Given {
		e.Run = f.number
		if e.Kind == leakback.KindStep {
			e.Field = shifted(e.Field, shift[e.Cylinder])
		}
		if before, ok := f.Record().Last(e.Key); !ok || before.Value != e.Value {
			drafts = append(drafts, e)
		}
	}
	return drafts
}

// shifted is a step's field at a later place.
func shifted(field string, by int) string {
	name, place, _ := strings.Cut(field, " ")
	return name + " " + fmt.Sprint(atoi(place)+by)
}

// mark is the key of what is noted of this work.
func (f *Flow) mark(cylinder int, what string) leakback.Key {
	return repair.MarkKey(f.number, cylinder, what)
}

// marked is what was noted.
func (f *Flow) marked(cylinder int, what string) string {
	return f.Record().Value(f.mark(cylinder, what))
}

// has says whether anything was entered for a key, if only that it is open.
func (f *Flow) has(key leakback.Key) bool {
	_, ok := f.Record().Last(key)
	return ok
}

// begun says that the work was begun by a flow.
func (f *Flow) begun() bool { return f.has(f.mark(0, markState)) }

// ended says that the work was closed and nothing was entered of it since.
func (f *Flow) ended() bool {
	for _, e := range slices.Backward(f.Record().Events) {
		if repair.OfWork(e) == f.number {
			return e.Key == f.mark(0, markState) && e.Value != stateBegun
		}
	}
	return false
}

// person is who enters: who said so, else who started the program.
func (f *Flow) person(drafts []leakback.Event) string {
	name := f.marked(0, markPerson)
	for _, e := range drafts {
		if e.Key == f.mark(0, markPerson) {
			name = e.Value
		}
	}
	if name == "" {
		return f.o.Person
	}
	return name
}

// Record is the test's record with what was entered so far. It is to be read only.
func (f *Flow) Record() *leakback.Record { return f.frame.Record() }

// Number is the number of the work after its test, from 1.
func (f *Flow) Number() int { return f.number }

// Work is what was entered of this work so far.
func (f *Flow) Work() (*repair.Work, error) { return workOf(f.Record(), f.number) }

// workOf is the work of that number; an empty one where nothing was entered.
func workOf(r *leakback.Record, number int) (*repair.Work, error) {
	works, err := repair.Works(r)
	if err != nil {
		return nil, err
	}
	for i := range works {
		if works[i].Number == number {
			return &works[i], nil
		}
	}
	return &repair.Work{Number: number}, nil
}

// standing is Work of a record that is known to be sound.
func (f *Flow) standing() *repair.Work {
	if n := len(f.Record().Events); f.workAt != n {
		work, err := f.Work()
		if err != nil { // nothing unsound is taken, and New has looked at the rest
			work = &repair.Work{Number: f.number}
		}
		f.work, f.workAt = work, n
	}
	return f.work
}

// Finish closes the work as it stands, without another question, and says what
// is wrong with its tightening.
func (f *Flow) Finish() error {
	if f.ended() {
		return nil
	}
	return f.frame.Settle(f.finished())
}

// finished closes the work.
func (f *Flow) finished() frame.Taken {
	t := frame.Taken{Drafts: []leakback.Event{frame.Event(f.mark(0, markState), stateDone)}}
	known := map[string]bool{}
	for _, c := range f.listed() {
		for _, fault := range f.faults(f.Record(), c) {
			known[fault.String()] = true
		}
	}
	for _, fault := range f.standing().StepFaults(f.o.Tightening) {
		if !known[fault.String()] {
			t.Said = append(t.Said, beware(fault))
		}
	}
	return t
}

// giveUp closes the work where it stands. What was entered stays.
func (f *Flow) giveUp() (frame.Taken, error) {
	if f.ended() {
		return frame.Taken{}, frame.Refuse(frame.WordGiveUp, closed)
	}
	return frame.Taken{Drafts: []leakback.Event{frame.Event(f.mark(0, markState), stateGivenUp)},
		Said: []string{"given up; what was entered stays in the record"}}, nil
}

const closed = "nothing more: the work is closed (back opens it again)"

// sound refuses what no work log takes, and a swap that the other cylinder
// denies. What was unsound before is not this answer's fault.
func (f *Flow) sound(drafts []leakback.Event, typed string) error {
	after, err := workOf(f.frame.With(drafts), f.number)
	if err != nil {
		return frame.Refuse(typed, "what the record takes: "+err.Error())
	}
	if text := denied(after); text != "" && denied(f.standing()) == "" {
		return frame.Refuse(typed, text)
	}
	return nil
}

// denied says what was expected where a cylinder was swapped with one that says
// otherwise; "" where none does.
func denied(w *repair.Work) string {
	for _, p := range w.Positions {
		if p.Injector != repair.Swapped || p.SwappedWith == 0 {
			continue
		}
		switch other := w.At(p.SwappedWith); {
		case other.Injector != repair.Swapped:
			return fmt.Sprintf("the same of both cylinders: the injector of cylinder %d is down as swapped with cylinder %d, whose own is down as %s",
				p.Cylinder, other.Cylinder, orNothing(other.Injector))
		case other.SwappedWith != p.Cylinder:
			return fmt.Sprintf("the same of both cylinders: the injector of cylinder %d is down as swapped with cylinder %d, whose own is down as swapped with cylinder %d",
				p.Cylinder, other.Cylinder, other.SwappedWith)
		}
	}
	return ""
}

// orNothing is a word, or that for none.
func orNothing(word string) string {
	if word == "" {
		return "nothing"
	}
	return word
}

// Question is what is asked now.
func (f *Flow) Question() ask.Question { return f.frame.Question() }

// Answer takes a line as it was typed. "back", "skip" and "give up" are commands;
// between double quotes they are what they say. An error that is no *ask.Refusal
// says why the answer could not be kept; the same question stands then.
func (f *Flow) Answer(text string) error { return f.frame.Answer(text) }

// Elapsed is 0: nothing is timed.
func (f *Flow) Elapsed() time.Duration { return 0 }

// Said are the messages since the last call.
func (f *Flow) Said() []string { return f.frame.Said() }
