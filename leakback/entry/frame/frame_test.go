package frame_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/frame"
	"leakback/limits/quantity"
)

var errFull = errors.New("no space left")

// pair is a flow of two questions, of which the second offers earlier answers.
func pair(full *bool) *frame.Frame {
	var f *frame.Frame
	key := func(field string) leakback.Key { return leakback.Key{Kind: leakback.KindSet, Field: field} }
	f = frame.New(frame.Options{
		Now:    func() time.Time { return time.Unix(1_700_000_000, 0) },
		Person: func(drafts []leakback.Event) string { return "A. Example" },
		Keep: func([]leakback.Event) error {
			if *full {
				return errFull
			}
			return nil
		},
		GiveUp:  func() (frame.Taken, error) { return frame.Taken{Said: []string{"given up"}}, nil },
		Earlier: func(field string) []string { return []string{"earlier " + field} },
		Steps: func() []frame.Step {
			l := &frame.List{}
			l.Add(f.Field(frame.Field{Key: key("first"), Read: frame.Words(10), Reasons: true, Question: ask.Question{Prompt: "First", Required: true, Hint: "a word"}}))
			l.Add(f.Field(frame.Field{Key: key("second"), Read: frame.Words(10), Offer: true, Nothing: "none", Question: ask.Question{Prompt: "Second"}}))
			l.Add(frame.Step{ID: "done", Ask: func() ask.Question { return ask.Question{Kind: ask.Done} }})
			return l.Steps
		}})
	return f
}

func TestFrame(t *testing.T) {
	full := false
	f := pair(&full)
	require.EqualError(t, f.Answer(""), "expected an answer here: a word")
	require.EqualError(t, f.Answer("back"), `"back": expected an answer: no question stands before this one`)
	require.EqualError(t, f.Answer(strings.Repeat("x", 11)), `"xxxxxxxxxxx": expected one line of at most 10 printable characters`)
	full = true
	require.ErrorIs(t, f.Answer("one"), errFull)
	require.Empty(t, f.Record().Events)
	full = false
	require.NoError(t, f.Answer(` "skip" `))
	require.Equal(t, "skip", f.Record().Set("first"))
	require.Equal(t, []string{"earlier second"}, f.Question().Earlier)
	require.NoError(t, f.Answer("Skip"))
	require.Equal(t, "none", f.Record().Set("second"), "the word for nothing")
	require.Equal(t, ask.Done, f.Question().Kind)
	require.NoError(t, f.Answer("back"))
	require.Empty(t, f.Question().Default, "nothing is no answer to propose")
	require.NoError(t, f.Answer("back"))
	require.Equal(t, "skip", f.Question().Default)
	require.NoError(t, f.Answer("two because misread"))
	e := f.Record().Events[2]
	require.Equal(t, []string{"two", "misread", "A. Example"}, []string{e.Value, e.Reason, e.Person})
	require.Equal(t, int64(3), e.Seq)
	require.Equal(t, []string{"back: Enter keeps an answer and goes on, forward goes to the first question that is open",
		"First: two (was skip)"}, f.Said(), "said once, however often one goes back")
	require.Equal(t, "second", f.Question().ID, "one goes forward as one went back")
	require.NoError(t, f.Answer(""))
	require.Len(t, f.Record().Events, 3, "Enter leaves open what was left open")
	require.Equal(t, ask.Done, f.Question().Kind)
	require.NoError(t, f.Answer("back"))
	require.NoError(t, f.Answer("back"))
	require.NoError(t, f.Answer("forward"))
	require.Equal(t, ask.Done, f.Question().Kind, "forward leaves out what was passed")
	f.Said()
	require.NoError(t, f.Answer("give  up"))
	require.Equal(t, []string{"given up"}, f.Said())
	require.Len(t, f.With([]leakback.Event{frame.Event(e.Key, "three")}).Corrections(), 2)
	require.Len(t, f.Record().Events, 3, "nothing is entered by looking ahead")
}

func TestReaders(t *testing.T) {
	options := []ask.Option{{Value: "idle"}, {Value: "2"}, {Value: "off"}}
	read := frame.OneOf(options, nil)
	for typed, want := range map[string]string{"IDLE": "idle", "1": "idle", "2": "2", "3": "off"} {
		value, expected := read(typed)
		assert.Equal(t, want, value)
		assert.Empty(t, expected)
	}
	_, expected := read("4")
	assert.Equal(t, "idle, 2 or off", expected)
	_, err := quantity.Parse(quantity.Pressure, "abc")
	assert.Equal(t, "a pressure in bar, psi, kPa or MPa (a plain number is in bar)", frame.Expected(err, "abc"))
	assert.Equal(t, "x", frame.Expected(frame.Refuse("abc", "x"), "abc"))
	rest, reason, err := frame.Because("4=22 BECAUSE  it was because of foam")
	require.NoError(t, err)
	assert.Equal(t, []string{"4=22", "it was because of foam"}, []string{rest, reason})
	_, _, err = frame.Because("4=22 because \a")
	assert.ErrorContains(t, err, "as a reason one line of at most 1,000 printable characters")
}
