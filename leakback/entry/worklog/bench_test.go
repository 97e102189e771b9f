package worklog_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/worklog"
	"leakback/leakback/repair"
	"leakback/limits"
)

// clock is a clock that tests move.
type clock struct{ now time.Time }

func (c *clock) tell() time.Time { return c.now }

// bench is where a work is entered: a clock, the record, and the flow.
type bench struct {
	t     testing.TB
	clock *clock
	kept  []leakback.Event
	full  bool // nothing can be kept
	flow  *worklog.Flow
	said  []string
	more  func(o *worklog.Options)
}

var errFull = errors.New("no space left")

// testRecord is the end of the test that the work comes after.
func testRecord() []leakback.Event {
	set := func(field, value string) leakback.Event {
		return leakback.Event{Key: leakback.Key{Kind: leakback.KindSet, Field: field}, Value: value}
	}
	events := []leakback.Event{
		{Key: leakback.Key{Kind: leakback.KindOpen}, Value: "test"},
		set(leakback.FieldTechnician, "B. Fitter"), set(leakback.FieldComplaint, "hard to start when hot"),
		{Key: leakback.Key{Kind: leakback.KindMark, Field: "cautions"}, Value: "understood"},
		{Key: leakback.Key{Kind: leakback.KindEnd}, Value: "done"},
	}
	for i := range events {
		events[i].Seq = int64(i + 1)
	}
	return events
}

// judged is a result in which the cylinders named failed.
func judged(failed ...int) *leakback.Result {
	r := &leakback.Result{}
	for c := 1; c <= 6; c++ {
		r.Cylinders = append(r.Cylinders, leakback.Cylinder{Cylinder: c})
	}
	for _, c := range failed {
		r.Cylinders[c-1].Verdict = leakback.Fail
	}
	return r
}

// tightening is of an invented engine: three steps in the trade's units.
const tightening = `name = "Bay sheet for the Northmoor Six-90 (invented)"
engine = "Northmoor Six-90"
cylinders = 6
[[tightening]]
step = 1
part = "hold-down, snug"
torque = "30 lbf·in"
source = "invented service information"
[[tightening]]
step = 2
part = "feed tube nut"
torque = "37 lbf·ft"
torque_tolerance_nm = 3
source = "invented service information"
[[tightening]]
step = 3
part = "hold-down"
torque = "11 lbf·ft"
angle_deg = 60
angle_tolerance_deg = 5
new_fastener = true
source = "invented service information"
[[tightening]]
step = 4
part = "return fitting"
angle_deg = 90
source = "invented service information"
`

func sheetSteps(t testing.TB) []limits.Step {
	s, err := limits.Parse([]byte(tightening), "bay.toml")
	require.NoError(t, err)
	return s.Tightening
}

func newBench(t testing.TB, more func(o *worklog.Options)) *bench {
	b := &bench{t: t, more: more, kept: testRecord(),
		clock: &clock{time.Date(2024, 3, 5, 9, 40, 0, 0, time.FixedZone("", 3600))}}
	b.resume()
	return b
}

// resume begins a sitting.
func (b *bench) resume() {
	b.t.Helper()
	f, err := worklog.New(b.options())
	require.NoError(b.t, err)
	b.flow = f
	b.said = append(b.said, f.Said()...)
}

func (b *bench) options() worklog.Options {
	o := worklog.Options{Now: b.clock.tell, Keep: b.keep, Version: "test", Person: "C. Wrench",
		Events: append([]leakback.Event(nil), b.kept...), Result: judged(4), Tightening: sheetSteps(b.t), Cylinders: 6,
		Cautions: []string{"Opening lines: make sure that the pressure has gone."}}
	if b.more != nil {
		b.more(&o)
	}
	return o
}

func (b *bench) keep(drafts []leakback.Event) error {
	if b.full {
		return errFull
	}
	for _, e := range drafts {
		e.TestID, e.Seq = "0193f7a2-0000-7000-8000-000000000001", int64(len(b.kept)+1)
		b.kept = append(b.kept, e)
	}
	return nil
}

// answer gives answers.
func (b *bench) answer(lines ...string) {
	b.t.Helper()
	for _, line := range lines {
		id := b.flow.Question().ID
		require.NoError(b.t, b.flow.Answer(line), "%s <- %q", id, line)
		b.said = append(b.said, b.flow.Said()...)
		b.clock.now = b.clock.now.Add(time.Millisecond)
	}
}

// at wants a question to stand.
func (b *bench) at(id string) ask.Question {
	b.t.Helper()
	q := b.flow.Question()
	require.Equal(b.t, id, q.ID)
	return q
}

// refused wants an answer to be refused, with that text in the refusal, and the
// question to stand as it is.
func (b *bench) refused(line, text string) {
	b.t.Helper()
	id, events := b.flow.Question().ID, len(b.kept)
	err := b.flow.Answer(line)
	var refusal *ask.Refusal
	require.ErrorAs(b.t, err, &refusal, "%s <- %q", id, line)
	require.Contains(b.t, err.Error(), text)
	require.NotContains(b.t, err.Error(), "\n")
	require.Equal(b.t, id, b.flow.Question().ID)
	require.Len(b.t, b.kept, events)
}

// heard wants a message that contains the text.
func (b *bench) heard(text string) {
	b.t.Helper()
	require.Contains(b.t, strings.Join(b.said, "\n"), text)
}

func (b *bench) work() *repair.Work {
	b.t.Helper()
	w, err := b.flow.Work()
	require.NoError(b.t, err)
	return w
}

// last is the event kept last.
func (b *bench) last() leakback.Event { return b.kept[len(b.kept)-1] }
