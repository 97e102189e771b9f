package flow

import (
	"strings"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
)

// field is a question whose answer is the value of one key.
type field struct {
	key leakback.Key
	id  string // the key's field where it is ""
	ask.Question
	read reader
	// offer says that earlier answers are offered.
	offer bool
	// since says that only an answer at or behind this place of the record counts,
	// and that one is logged even where it says the same again.
	since int
	// nothing is the value of an answer that was left open: "", or the word that
	// keeps the test's value from standing for a run.
	nothing string
	// usual fills in what is known before there is an answer; nil where nothing is.
	usual func(q *ask.Question)
	// also are events beside the field's own, for a value that is new.
	also func(value string) ([]leakback.Event, []string, error)
}

// step is the field as a question.
func (f *Flow) step(q field) step {
	id := q.id
	if id == "" {
		id = q.key.Field
	}
	place := f.place(q.key)
	done := place >= 0 && place >= q.since && !(q.Required && f.record.Value(q.key) == "")
	return step{id: id, done: done,
		ask:  func() ask.Question { return f.asked(q) },
		take: func(a answer) (taken, error) { return f.takeField(q, a) },
	}
}

// asked is the question with what stands, what is known or what was answered
// earlier.
func (f *Flow) asked(q field) ask.Question {
	if q.usual != nil {
		q.usual(&q.Question)
	}
	if e, ok := f.record.Last(q.key); ok && e.Value != "" && e.Value != q.nothing {
		q.Default = e.Value
	}
	if q.offer && f.o.Earlier != nil {
		q.Earlier = f.o.Earlier(q.key.Field)
	}
	return q.Question
}

// takeField makes an event of an answer.
func (f *Flow) takeField(q field, a answer) (taken, error) {
	asked := f.asked(q)
	text := a.text
	if a.empty() {
		text = asked.Default
	}
	if text == "" {
		return f.leaveOpen(q, a)
	}
	value, expected := q.read(text)
	if expected != "" {
		return taken{}, refuse(a.text, expected)
	}
	return f.setField(q, value, text)
}

// leaveOpen logs that a question stays open, so that it is not asked again.
func (f *Flow) leaveOpen(q field, a answer) (taken, error) {
	if q.Required {
		return taken{}, refuse(a.text, "an answer here: "+q.Hint)
	}
	return f.setField(q, q.nothing, q.nothing)
}

// setField logs a value where it is new.
func (f *Flow) setField(q field, value, typed string) (taken, error) {
	before, known := f.record.Last(q.key)
	if known && before.Value == value && int(before.Seq)-1 >= q.since {
		return taken{}, nil
	}
	e := event(q.key, value)
	if typed != value {
		e.Typed = typed
	}
	t := taken{drafts: []leakback.Event{e}}
	if known && before.Value != q.nothing && before.Value != "" && before.Value != value {
		t.said = []string{q.Prompt + ": " + orOpen(strings.TrimPrefix(value, q.nothing)) + " (was " + before.Value + ")"}
	}
	if q.also == nil {
		return t, nil
	}
	more, said, err := q.also(value)
	t.drafts, t.said = append(t.drafts, more...), append(t.said, said...)
	return t, err
}

// orOpen is a value, or the word for none.
func orOpen(value string) string {
	if value == "" {
		return "left open"
	}
	return value
}
