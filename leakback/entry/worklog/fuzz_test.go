package worklog_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/worklog"
	"leakback/leakback/repair"
	"leakback/limits/quantity"
)

// brokenOff is the line at which the program ends and is started again.
const brokenOff = "broken off"

// Whatever lines are answered, and wherever the program ends and begins again:
// nothing breaks, a refusal is one line and keeps nothing, what was kept is read as
// works, and the record gives the question that stood.
func FuzzWork(f *testing.F) {
	for i, s := range stories {
		f.Add(uint8(i), uint8(0), strings.Join(s.lines, "\n"))
		f.Add(uint8(i), uint8(12), strings.Join(s.lines[min(12, len(s.lines)):], "\n"+brokenOff+"\n"))
		f.Add(uint8(i), uint8(15), "back\nback\n"+brokenOff+"\nskip\n\"skip\"\nnew because \x1b[2J\ngive up\nback\n4 step 2 = 38 N·m")
	}
	f.Add(uint8(1), uint8(18), "30 lbf·in\n4 feed tube = reused because misread\n2 injector = swapped\nstep 2: 1e400 N·m\n3=-1 lbf·ft + 400°\n\xff\ndone")
	f.Fuzz(func(t *testing.T, which, far uint8, text string) {
		s := stories[int(which)%len(stories)]
		b := newBench(t, nil)
		b.answer(s.lines[:int(far)%(len(s.lines)+1)]...)
		lines := strings.Split(text, "\n")
		for _, line := range lines[:min(len(lines), 100)] {
			if line != brokenOff {
				b.answerAny(line)
				continue
			}
			b.answer("forward")
			if b.flow.Question().Kind != ask.Done {
				stands(t, b)
			}
			b.resume() // behind the end it is another work
		}
		b.answer("forward")
		if b.flow.Question().Kind != ask.Done {
			stands(t, b)
		}
		works, err := repair.Works(leakback.NewRecord(b.kept))
		require.NoError(t, err)
		for _, w := range works {
			for _, fault := range w.StepFaults(sheetSteps(t)) {
				require.NotEmpty(t, fault.Code)
			}
		}
	})
}

// answerAny answers with whatever line.
func (b *bench) answerAny(line string) {
	b.t.Helper()
	q, before := b.flow.Question(), slices.Clone(b.kept)
	err := b.flow.Answer(line)
	b.clock.now = b.clock.now.Add(time.Millisecond)
	require.True(b.t, slices.Equal(before, b.kept[:len(before)]), "an event was changed")
	if err == nil {
		for _, e := range b.kept[len(before):] {
			for _, text := range []string{e.Person, e.Field, e.Value, e.Typed, e.Reason} {
				require.True(b.t, quantity.Printable(text), "%q", text)
			}
		}
		return
	}
	refusal := new(ask.Refusal)
	require.ErrorAs(b.t, err, &refusal, "%s <- %q", q.ID, line)
	require.True(b.t, quantity.Printable(err.Error()), "%s <- %q: %q", q.ID, line, err)
	require.Len(b.t, b.kept, len(before), "%s <- %q: refused and kept", q.ID, line)
	require.Equal(b.t, q.ID, b.flow.Question().ID)
}

// Whatever a flag of the work log says, it is taken as sound events, or refused in
// one line that names the flag.
func FuzzFlags(f *testing.F) {
	names := worklog.Flags()
	for i := range names {
		for _, text := range []string{"new", "replaced", "2", "2=44 lbf·ft", "3=11 lbf·ft + 60° new", "1=30 lbf·ft as typed", "\x1b[2J", "\xff", "2024-03-04"} {
			f.Add(uint8(i), 4, text, uint8(len(names)-1), 2, "2=50 N·m")
		}
	}
	f.Fuzz(func(t *testing.T, first uint8, cylinder int, text string, second uint8, other int, more string) {
		values := []worklog.Value{{names[int(first)%len(names)].Name, cylinder, text}, {names[int(second)%len(names)].Name, other, more}}
		drafts, notices, err := worklog.FromFlags(values, worklog.Sheet{Cylinders: 6, Tightening: sheetSteps(t)})
		if err != nil {
			require.Empty(t, drafts)
			require.True(t, quantity.Printable(err.Error()), "%q", err)
			require.Contains(t, err.Error(), "--")
			return
		}
		for _, n := range notices {
			require.True(t, quantity.Printable(n), "%q", n)
		}
		b := newBench(t, func(o *worklog.Options) { o.Given = drafts })
		_, err = repair.Works(leakback.NewRecord(b.kept))
		require.NoError(t, err)
	})
}
