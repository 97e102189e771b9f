// Package frame is what flows of questions have in common: the record that
// grows with the answers, the question that stands, going back, and the keeping
// of an answer before anything changes. What is asked is the flow's: a list of
// steps made of the record, of which the first that has no answer is asked. The
// package knows no fuel, no terminal, no storage and no clock of its own.
package frame

import (
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
)

// Options is what a frame is told by its flow.
type Options struct {
	// Now is the time, with a monotonic reading.
	Now func() time.Time
	// Keep commits events. An answer counts only when it has returned nil.
	Keep func(drafts []leakback.Event) error
	// Events are what the record holds already.
	Events []leakback.Event
	// Person is who enters; drafts are about to be kept.
	Person func(drafts []leakback.Event) string
	// Steps are the questions that apply, up to the first that is open. The last
	// one always is: it may be that nothing is left to ask.
	Steps func() []Step
	// Sound refuses drafts that would spoil the record; nil where nothing can.
	Sound func(drafts []leakback.Event, typed string) error
	// GiveUp is what the words "give up" come to.
	GiveUp func() (Taken, error)
	// Back is what "back" comes to where it does not go to the question before,
	// and whether it does not; nil where it always does.
	Back func() (Taken, bool)
	// Settled is called when an answer has been kept; nil where nothing follows.
	Settled func() error
	// Earlier are earlier answers for a field, the latest first; nil where there
	// are none.
	Earlier func(field string) []string
}

// Step is one question with what is done with its answer.
type Step struct {
	// ID is the question's.
	ID string
	// Done says that the record has its answer.
	Done bool
	// Ask makes the question, but for its ID.
	Ask func() ask.Question
	// Take makes events of an answer; an error is a refusal.
	Take func(a Answer) (Taken, error)
	// Since is when a rest began that the question counts down; nil for others.
	Since func() time.Time
	// Once says that an answer given is not asked for again on the way forward.
	Once bool
}

// Answer is what was typed, and when.
type Answer struct {
	// Text is without spaces around it and without the quotes of a literal.
	Text string
	// Skip says that the question is to be left open.
	Skip bool
	// Now is when it was given, with a monotonic reading.
	Now time.Time
}

// Empty says that the answer is an empty line.
func (a Answer) Empty() bool { return a.Text == "" && !a.Skip }

// Taken is what an answer comes to.
type Taken struct {
	// Drafts are the events to be kept.
	Drafts []leakback.Event
	// Said are messages for people.
	Said []string
	// Then is called when the events have been kept; nil where nothing follows.
	Then func()
}

// List is the questions up to the first that is open.
type List struct {
	// Steps are the questions.
	Steps []Step
	// Open says that the first open one is among them.
	Open bool
}

// Add appends a question, unless an open one stands before it.
func (l *List) Add(s Step) {
	if l.Open {
		return
	}
	l.Steps = append(l.Steps, s)
	l.Open = !s.Done
}

// Frame asks the questions of a flow. It is an ask.Flow for one goroutine at a
// time.
type Frame struct {
	o      Options
	record *leakback.Record
	opened time.Time

	at   string // the question that "back" went to; "" for the first that is open
	said []string

	current  *Step // the question that stands; nil where it has to be found
	question *ask.Question
}

// New is a frame around a record; nothing is kept yet.
func New(o Options) *Frame {
	return &Frame{o: o, record: leakback.NewRecord(o.Events), opened: o.Now()}
}

// Record is what was entered so far. It is to be read only.
func (f *Frame) Record() *leakback.Record { return f.record }

// With is the record as it would be with more events.
func (f *Frame) With(drafts []leakback.Event) *leakback.Record {
	events := slices.Clone(f.record.Events)
	for _, e := range drafts {
		e.Seq = int64(len(events) + 1)
		events = append(events, e)
	}
	return leakback.NewRecord(events)
}

// Opened is when the sitting began.
func (f *Frame) Opened() time.Time { return f.opened }

// Place is where the event that stands for a key is in the record; -1 where
// there is none.
func (f *Frame) Place(key leakback.Key) int {
	e, ok := f.record.Last(key)
	if !ok {
		return -1
	}
	return int(e.Seq) - 1
}

// Settle keeps what an answer came to and goes on to the next question.
func (f *Frame) Settle(t Taken) error { return f.settle(t, f.o.Now()) }

func (f *Frame) settle(t Taken, now time.Time) error {
	if err := f.keep(t.Drafts, now); err != nil {
		return err
	}
	if f.o.Settled != nil {
		if err := f.o.Settled(); err != nil {
			return err
		}
	}
	if t.Then != nil {
		t.Then()
	}
	f.said = append(f.said, t.Said...)
	f.forward()
	return nil
}

// forward goes to the question behind the one that "back" went to; to the first
// that is open where there is none, or where the answer has made it another list.
func (f *Frame) forward() {
	at := f.at
	f.stand("")
	if at == "" {
		return
	}
	steps := f.o.Steps()
	i := slices.IndexFunc(steps, func(s Step) bool { return s.ID == at })
	if i < 0 {
		return
	}
	for _, s := range steps[i+1:] {
		if !s.Done || !s.Once {
			f.stand(s.ID)
			return
		}
	}
}

// stand asks the question of that ID, or the first that is open for "".
func (f *Frame) stand(id string) { f.at, f.current, f.question = id, nil, nil }

// keep commits events and then takes them into the record.
func (f *Frame) keep(drafts []leakback.Event, now time.Time) error {
	if len(drafts) == 0 {
		return nil
	}
	person := f.o.Person(drafts)
	stamped := slices.Clone(drafts)
	for i := range stamped {
		e := &stamped[i]
		e.AtUS, e.ElapsedMS, e.Person = now.UnixMicro(), now.Sub(f.opened).Milliseconds(), person
	}
	if err := f.o.Keep(slices.Clone(stamped)); err != nil {
		return fmt.Errorf("not kept: %w", err)
	}
	for _, e := range stamped {
		e.Seq = int64(len(f.record.Events) + 1)
		f.record.Add(e)
	}
	return nil
}

// Say adds messages for people.
func (f *Frame) Say(messages ...string) { f.said = append(f.said, messages...) }

// Said are the messages since the last call.
func (f *Frame) Said() []string {
	said := f.said
	f.said = nil
	return said
}

// Question is what is asked now.
func (f *Frame) Question() ask.Question {
	s := f.Standing()
	if f.question == nil {
		q := s.Ask()
		q.ID = s.ID
		f.question = &q
	}
	return *f.question
}

// The commands that are taken at every question.
const (
	WordBack    = ask.WordBack
	WordForward = ask.WordForward
	WordSkip    = "skip"
	WordGiveUp  = "give up"
)

// Answer takes a line as it was typed. "back", "forward", "skip" and "give up" are
// commands; between double quotes they are what they say. An error that is no *ask.Refusal
// says why the answer could not be kept; the same question stands then.
func (f *Frame) Answer(text string) error {
	text = Plain(text)
	a := Answer{Text: text, Now: f.o.Now()}
	literal, quoted := unquoted(a.Text)
	switch word := strings.ToLower(strings.Join(strings.Fields(a.Text), " ")); {
	case quoted:
		a.Text, a.Skip = literal, literal == ""
	case word == WordBack:
		return f.back(a.Now)
	case word == WordForward:
		f.stand("")
		return nil
	case word == WordGiveUp:
		t, err := f.o.GiveUp()
		if err != nil {
			return err
		}
		return f.settle(t, a.Now)
	case word == WordSkip:
		a.Text, a.Skip = "", true
	}
	return f.take(a, text)
}

func (f *Frame) take(a Answer, typed string) error {
	t, err := f.Standing().Take(a)
	if err != nil {
		return err
	}
	if f.o.Sound != nil && len(t.Drafts) > 0 {
		if err := f.o.Sound(t.Drafts, typed); err != nil {
			return err
		}
	}
	return f.settle(t, a.Now)
}

// Plain is a line without spaces around it and with the usual space in the place of
// others, as they come from a tab key or from what was copied.
func Plain(line string) string {
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if unicode.IsSpace(r) {
			return ' '
		}
		return r
	}, line))
}

// unquoted is what stands between double quotes.
func unquoted(text string) (literal string, ok bool) {
	if len(text) < 2 || text[0] != '"' || text[len(text)-1] != '"' {
		return "", false
	}
	return strings.TrimSpace(text[1 : len(text)-1]), true
}

// back goes to the question before.
func (f *Frame) back(now time.Time) error {
	if f.o.Back != nil {
		if t, instead := f.o.Back(); instead {
			return f.settle(t, now)
		}
	}
	steps := f.o.Steps()
	i := f.index(steps)
	if i == 0 {
		return Refuse(WordBack, "an answer: no question stands before this one")
	}
	if f.at == "" {
		f.Say("back: Enter keeps an answer and goes on, forward goes to the first question that is open")
	}
	f.stand(steps[i-1].ID)
	return nil
}

// Standing is the question that is asked: the one that "back" went to, else the
// first that is open.
func (f *Frame) Standing() *Step {
	if f.current == nil {
		steps := f.o.Steps()
		s := steps[f.index(steps)]
		f.current = &s
	}
	return f.current
}

// index is the place of the standing question.
func (f *Frame) index(steps []Step) int {
	i := slices.IndexFunc(steps, func(s Step) bool { return s.ID == f.at })
	if i < 0 {
		return len(steps) - 1
	}
	return i
}

// Event is one with that key and value.
func Event(key leakback.Key, value string) leakback.Event {
	return leakback.Event{Key: key, Value: value}
}

// Refuse is an answer that cannot be taken.
func Refuse(value, expected string) error { return &ask.Refusal{Value: value, Expected: expected} }
