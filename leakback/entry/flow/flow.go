// Package flow is the state machine that leads through one return-flow test
// beside the engine: the job, the state, the cautions, timed runs, their readings
// and what to do next. It knows no terminal, no storage and no clock of its own:
// skins ask its questions (packages ask and screen), and whoever starts it keeps
// its events.
//
// What is asked is a function of the record: the first question that applies and
// has no answer there, or the one that "back" went to. So a test that was broken
// off goes on at the right question by itself. Nothing changes before the events
// of an answer have been kept.
package flow

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"time"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/frame"
	"leakback/leakback/entry/recorded"
	"leakback/limits"
)

// Options is what a flow is told of the world around it.
type Options struct {
	// Now is the time, with a monotonic reading: collections are timed by it.
	Now func() time.Time
	// Keep commits events. An answer counts only when it has returned nil.
	Keep func(drafts []leakback.Event) error
	// Version is the program's.
	Version string
	// Person is who enters, until the technician is known.
	Person string
	// Given are answers that flags gave, by the field's name and in the field's
	// unit. They are logged and not asked.
	Given map[string]string
	// SheetFor is the limits sheet for an engine, "" where it was not named.
	SheetFor func(engine string) (*limits.Sheet, error)
	// Earlier are earlier answers for a field, the latest first; nil where there
	// is no logbook.
	Earlier func(field string) []string
	// Known is what earlier tests say of a vehicle, by the field's name; nil where
	// there is no logbook.
	Known func(vehicle string) map[string]string
	// Before says what was done to a vehicle before, each in a line; nil where
	// there is no logbook.
	Before func(vehicle string) []string
	// Cautions are to be read before fuel is collected; nil where there are none.
	Cautions func(method leakback.Method, condition string) []string
	// Table draws the verdict table; nil where nobody looks at it.
	Table func(r *leakback.Result, width int) string
	// From are the answers of a form or a file to begin with.
	From []leakback.Event
}

// Flow leads through one test. It is an ask.Flow for one goroutine at a time.
type Flow struct {
	o     Options
	frame *frame.Frame
	sheet *limits.Sheet // nil before the engine is known
	// sheetAt is the place in the record that the sheet was taken from.
	sheetAt int
	known   map[string]map[string]string // by vehicle

	timing  *timing // the collection that runs
	outcome *outcome
}

// timing is a collection, or a crank of one, that was started in this sitting.
type timing struct {
	id    string // of its question
	run   int
	began time.Time
	// stopped is when it was stopped, while that has not been kept yet.
	stopped time.Time
}

// outcome is the result of a record of that many events.
type outcome struct {
	events int
	result *leakback.Result
	err    error
}

// New begins a test.
func New(o Options) (*Flow, error) {
	f := newFlow(o, nil)
	drafts := append([]leakback.Event{f.opening()}, f.given()...)
	drafts = append(drafts, unlike(drafts, o.From)...)
	return f, f.begin(drafts)
}

// Resume goes on with a test that was broken off.
func Resume(o Options, events []leakback.Event) (*Flow, error) {
	f := newFlow(o, events)
	drafts := append([]leakback.Event{f.opening()}, f.given()...)
	for k := 1; k <= f.lastRun() && !f.ended(); k++ { // what was given up is closed as it is
		drafts = append(drafts, f.lost(k, markLost)...)
	}
	return f, f.begin(drafts)
}

func newFlow(o Options, events []leakback.Event) *Flow {
	f := &Flow{o: o, known: map[string]map[string]string{}}
	f.frame = frame.New(frame.Options{Now: o.Now, Keep: o.Keep, Events: events, Person: f.person, Steps: f.steps, Sound: f.sound,
		GiveUp: f.giveUp, Back: f.stopped, Settled: f.settled, Earlier: o.Earlier})
	return f
}

// person is who enters: the technician, where one is known. Whoever says or
// corrects the name does so under it.
func (f *Flow) person(drafts []leakback.Event) string {
	person := f.Record().Set(leakback.FieldTechnician)
	for _, e := range drafts {
		if e.Key == setKey(leakback.FieldTechnician) {
			person = e.Value
		}
	}
	return cmp.Or(person, f.o.Person)
}

// settled follows every answer that was kept: what ran has stopped, and the sheet
// may be another.
func (f *Flow) settled() error {
	f.timing = nil
	return f.readSheet()
}

// begin keeps the first events of a sitting, and the sheet where the engine is
// known by them and the sheet is not.
func (f *Flow) begin(drafts []leakback.Event) error {
	ahead := f.frame.With(drafts)
	if engine, known := ahead.Last(setKey(leakback.FieldEngine)); known && ahead.Set(leakback.FieldLimits) == "" {
		sheet, err := f.o.SheetFor(engine.Value)
		if err != nil {
			return err
		}
		if named := ahead.Set(leakback.FieldCylinders); sheet.Cylinders > 0 && named != "" && atoi(named) != sheet.Cylinders {
			return fmt.Errorf("%s cylinders were named: expected %d, as the limits sheet %s has", named, sheet.Cylinders, sheet.Name)
		}
		drafts = append(drafts, sheetDrafts(sheet, ahead)...)
	}
	if err := f.frame.Settle(frame.Taken{Drafts: drafts}); err != nil || f.sheet == nil {
		return err
	}
	f.frame.Say(sheetText(f.sheet)...)
	return nil
}

// readSheet takes the limits sheet from the record, where it is another than
// before.
func (f *Flow) readSheet() error {
	newest := -1
	for _, name := range sheetFields {
		newest = max(newest, f.frame.Place(setKey(name)))
	}
	if newest < 0 || f.sheet != nil && newest == f.sheetAt {
		return nil
	}
	sheet, err := recorded.Sheet(f.Record())
	if err != nil {
		return err
	}
	f.sheet, f.sheetAt = sheet, newest
	return nil
}

// opening is the event that begins a sitting.
func (f *Flow) opening() leakback.Event {
	return leakback.Event{Key: leakback.Key{Kind: leakback.KindOpen}, Value: f.o.Version}
}

// given are the flags' answers to what the record does not say yet.
func (f *Flow) given() []leakback.Event {
	var drafts []leakback.Event
	for _, field := range slices.Sorted(maps.Keys(f.o.Given)) {
		if key := keyOf(field); !f.has(key) {
			drafts = append(drafts, leakback.Event{Key: key, Value: f.o.Given[field]})
		}
	}
	return drafts
}

// unlike are the events whose keys no event of known has.
func unlike(known, events []leakback.Event) []leakback.Event {
	var others []leakback.Event
	for _, e := range events {
		if !slices.ContainsFunc(known, func(k leakback.Event) bool { return k.Key == e.Key }) {
			others = append(others, e)
		}
	}
	return others
}

// Result judges what has been read so far.
func (f *Flow) Result() (*leakback.Result, error) {
	if f.outcome == nil || f.outcome.events != len(f.Record().Events) {
		result, err := f.evaluate()
		f.outcome = &outcome{len(f.Record().Events), result, err}
	}
	return f.outcome.result, f.outcome.err
}

func (f *Flow) evaluate() (*leakback.Result, error) {
	if f.sheet == nil || !f.anyReading() {
		return nil, recorded.ErrNoReadings
	}
	test, err := recorded.Test(f.Record())
	if err != nil {
		return nil, err
	}
	return leakback.Evaluate(test, f.sheet)
}

// Record is what was entered so far. It is to be read only.
func (f *Flow) Record() *leakback.Record { return f.frame.Record() }

// Said are the messages since the last call.
func (f *Flow) Said() []string { return f.frame.Said() }

// Question is what is asked now.
func (f *Flow) Question() ask.Question { return f.frame.Question() }

// Answer takes a line as it was typed. "back", "skip" and "give up" are commands;
// between double quotes they are what they say. An error that is no *ask.Refusal
// says why the answer could not be kept; the same question stands then.
func (f *Flow) Answer(text string) error { return f.frame.Answer(text) }

// Elapsed is how long what is timed by this question has run.
func (f *Flow) Elapsed() time.Duration {
	s := f.frame.Standing()
	switch {
	case s.Since != nil:
		return max(0, f.o.Now().Sub(s.Since()))
	case !f.running(s.ID):
		return 0
	case !f.timing.stopped.IsZero():
		return f.timing.stopped.Sub(f.timing.began)
	}
	return max(0, f.o.Now().Sub(f.timing.began))
}

// running says whether the collection of that question runs.
func (f *Flow) running(id string) bool { return f.timing != nil && f.timing.id == id }
