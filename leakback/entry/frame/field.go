package frame

import (
	"cmp"
	"slices"
	"strings"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
)

// Field is a question whose answer is the value of one key.
type Field struct {
	// Question is what is asked.
	ask.Question
	// ID is the question's; the key's field where neither has one.
	ID string
	// Key is what the answer is about.
	Key leakback.Key
	// Name is what messages call it; the prompt where it is "".
	Name string
	// Read makes a value of what was typed.
	Read Reader
	// Known says that the record has the answer, though not in this key; an empty
	// answer leaves it so.
	Known bool
	// Since says that only an answer at or behind this place of the record
	// counts, and that one is logged even where it says the same again.
	Since int
	// Reasons says that a reason may stand behind "because".
	Reasons bool
	// Nothing is the value of an answer that was left open: "", or the word that
	// keeps the value of the whole from standing for a part.
	Nothing string
	// Offer says that earlier answers are offered.
	Offer bool
	// Usual fills in what is known before there is an answer; nil where nothing is.
	Usual func(q *ask.Question)
	// Also is what goes with a value that is new; nil where nothing does.
	Also func(value string) (Beside, error)
}

// Beside is what goes with a value that is new.
type Beside struct {
	// Before and Behind are events that stand before and behind the field's own.
	Before, Behind []leakback.Event
	// Said are messages for people.
	Said []string
}

// Field is the field as a step.
func (f *Frame) Field(q Field) Step {
	id := cmp.Or(q.ID, q.Question.ID, q.Key.Field)
	place := f.Place(q.Key)
	done := place >= 0 && place >= q.Since && !(q.Required && f.record.Value(q.Key) == "")
	return Step{ID: id, Done: done || q.Known,
		Ask:  func() ask.Question { return f.asked(q) },
		Take: func(a Answer) (Taken, error) { return f.takeField(q, a) },
	}
}

// asked is the question with what stands, what is known or what was answered
// earlier.
func (f *Frame) asked(q Field) ask.Question {
	if q.Usual != nil {
		q.Usual(&q.Question)
	}
	switch e, known := f.record.Last(q.Key); {
	case !known || e.Value == "" && q.Required:
	case e.Value != q.Nothing:
		q.Default = e.Value
	case f.Place(q.Key) >= q.Since: // it was left open, and Enter keeps it so
		q.Default = ""
	}
	if q.Offer && f.o.Earlier != nil {
		q.Earlier = f.o.Earlier(q.Key.Field)
	}
	return q.Question
}

// takeField makes events of an answer.
func (f *Frame) takeField(q Field, a Answer) (Taken, error) {
	text, reason := a.Text, ""
	if a.Empty() {
		if q.Known {
			return Taken{}, nil
		}
		text = f.asked(q).Default
	}
	if text == "" {
		if q.Required {
			return Taken{}, Refuse(a.Text, "an answer here: "+q.Hint)
		}
		return f.Set(q, q.Nothing, q.Nothing, "")
	}
	if q.Reasons {
		var err error
		if text, reason, err = Because(text); err != nil {
			return Taken{}, err
		}
	}
	value, expected := q.Read(text)
	if expected != "" {
		return Taken{}, Refuse(a.Text, expected)
	}
	return f.Set(q, value, text, reason)
}

// Set logs a value where it is new.
func (f *Frame) Set(q Field, value, typed, reason string) (Taken, error) {
	before, known := f.record.Last(q.Key)
	if known && before.Value == value && f.Place(q.Key) >= q.Since {
		return Taken{}, nil
	}
	e := Event(q.Key, value)
	if e.Reason = reason; typed != value {
		e.Typed = typed
	}
	t := Taken{Drafts: []leakback.Event{e}}
	if known && before.Value != "" && before.Value != q.Nothing && before.Value != value {
		t.Said = []string{q.name() + ": " + orOpen(strings.TrimPrefix(value, q.Nothing)) + " (was " + before.Value + ")"}
	}
	if q.Also == nil {
		return t, nil
	}
	beside, err := q.Also(value)
	t.Drafts = slices.Concat(beside.Before, t.Drafts, beside.Behind)
	t.Said = append(t.Said, beside.Said...)
	return t, err
}

func (q *Field) name() string {
	if q.Name != "" {
		return q.Name
	}
	return q.Prompt
}

// orOpen is a value, or the word for none.
func orOpen(value string) string {
	if value == "" {
		return "left open"
	}
	return value
}

// Confirm is a question that wants the word of its only option, and logs each
// time that it was given; done says that it was.
func (f *Frame) Confirm(key leakback.Key, done bool, q ask.Question) Step {
	word := q.Options[0].Value
	q.Kind, q.Required, q.Hint = ask.Confirm, true, "type "+word
	return Step{ID: cmp.Or(q.ID, key.Field), Done: done, Once: true, Ask: func() ask.Question { return q }, Take: func(a Answer) (Taken, error) {
		if _, expected := OneOf(q.Options, nil)(a.Text); expected != "" {
			return Taken{}, Refuse(a.Text, "the word "+word)
		}
		return Taken{Drafts: []leakback.Event{Event(key, word)}}, nil
	}}
}
