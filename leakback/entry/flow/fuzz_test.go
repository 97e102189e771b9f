package flow_test

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/flow"
	"leakback/leakback/entry/recorded"
	"leakback/limits/quantity"
)

// brokenOff is the line at which the program ends and is started again.
const brokenOff = "broken off"

// Whatever lines are answered, with time between them, and wherever the program ends
// and begins again: nothing breaks, a refusal is one line and keeps nothing, what was
// kept is a sound test, and the record gives the question that stood.
func FuzzFlow(f *testing.F) {
	for i, s := range stories {
		text := strings.Join(s.lines, "\n")
		f.Add(uint8(i), uint8(0), text)
		f.Add(uint8(i), uint8(30), strings.Join(s.lines[min(30, len(s.lines)):], "\n"))
		f.Add(uint8(i), uint8(20), "back\nback\n"+brokenOff+"\nskip\n\"skip\"\n4=22.5 because \x1b[2J\ngive up\nback\n")
		f.Add(uint8(i), uint8(0), strings.Join(s.lines, "\n"+brokenOff+"\n"))
	}
	f.Add(uint8(0), uint8(24), "\nwait 60s\n\n1=>100\n2=<1\n3=\xff\n4=0\n5=1e400\n6=22,5 mL\ncorrect\nrun 1 2=23 because foam\nagain\n"+brokenOff)
	f.Fuzz(func(t *testing.T, which, far uint8, text string) {
		s := stories[int(which)%len(stories)]
		b := s.bay(t)
		b.answer(s.lines[:int(far)%(len(s.lines)+1)]...)
		lines := strings.Split(text, "\n")
		for _, line := range lines[:min(len(lines), 100)] {
			rest, waits := strings.CutPrefix(line, "wait ")
			switch d, err := time.ParseDuration(rest); {
			case waits && err == nil:
				b.clock.pass(min(max(d, 0), 48*time.Hour))
			case line == brokenOff:
				b.breakOff()
			default:
				b.answerAny(line)
			}
		}
		b.answer("forward")
		stands(t, b)
		b.requireSound()
	})
}

// breakOff ends the sitting and begins another one.
func (b *bay) breakOff() {
	b.t.Helper()
	b.answer("forward")
	q := b.flow.Question()
	resumed, err := flow.Resume(b.options(), b.kept)
	require.NoError(b.t, err)
	if !q.Running {
		require.Equal(b.t, asked(q), asked(resumed.Question()))
	}
	b.flow = resumed
}

// answerAny answers with whatever line.
func (b *bay) answerAny(line string) {
	b.t.Helper()
	q, before := b.flow.Question(), slices.Clone(b.kept)
	err := b.flow.Answer(line)
	require.True(b.t, slices.Equal(before, b.kept[:len(before)]), "an event was changed")
	if err == nil {
		for _, e := range b.kept[len(before):] {
			requirePlain(b.t, e)
		}
		return
	}
	refusal := new(ask.Refusal)
	require.ErrorAs(b.t, err, &refusal, "%s <- %q", q.ID, line)
	require.True(b.t, quantity.Printable(err.Error()), "%s <- %q: %q", q.ID, line, err)
	require.Len(b.t, b.kept, len(before), "%s <- %q: refused and kept", q.ID, line)
	require.Equal(b.t, q.ID, b.flow.Question().ID)
}

// requirePlain refuses an event that no logbook takes, or that plays with a terminal.
func requirePlain(t testing.TB, e leakback.Event) {
	t.Helper()
	for _, text := range []string{e.Person, e.Line, e.Field, e.Value, e.Typed, e.Reason} {
		require.True(t, quantity.Printable(text) || e.Field == leakback.FieldLimitsTOML, "%q", text)
	}
}

// requireSound wants the record to be a test, once anything was read, and a result of
// it or one line that says what it takes: the runs of a block-off test, say.
func (b *bay) requireSound() {
	b.t.Helper()
	_, err := recorded.Test(leakback.NewRecord(b.kept))
	if !errors.Is(err, recorded.ErrNoReadings) {
		require.NoError(b.t, err)
		if _, err = b.flow.Result(); err != nil {
			require.True(b.t, quantity.Printable(err.Error()), "%q", err)
		}
	}
}
