package flow_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"
	"unsafe"

	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/flow"
	"leakback/limits"
)

// clock is a clock that tests move. Its wall can be set apart from what nobody
// sets.
type clock struct{ now time.Time }

// newClock stands at a whole second, so that intervals come out round.
func newClock() *clock { return &clock{time.Now().Add(-time.Duration(time.Now().Nanosecond()))} }

func (c *clock) tell() time.Time { return c.now }

func (c *clock) pass(d time.Duration) { c.now = c.now.Add(d) }

// setWall moves the wall clock alone. A time with a monotonic reading has its
// wall seconds in bits 30 to 62 of the first word (package time, type Time).
func (c *clock) setWall(seconds int64) {
	word := (*uint64)(unsafe.Pointer(&c.now))
	*word = uint64(int64(*word) + seconds<<30)
}

// bay is where a test is taken: a clock, what was kept, and the flow.
type bay struct {
	t     *testing.T
	clock *clock
	kept  []leakback.Event
	full  bool // nothing can be kept
	flow  *flow.Flow
	said  []string
	sheet *limits.Sheet
	more  func(o *flow.Options)
}

var errFull = errors.New("no space left")

func newBay(t *testing.T, sheet *limits.Sheet, more func(o *flow.Options)) *bay {
	b := &bay{t: t, clock: newClock(), sheet: sheet, more: more}
	f, err := flow.New(b.options())
	require.NoError(t, err)
	b.flow = f
	return b
}

func (b *bay) options() flow.Options {
	o := flow.Options{
		Now: b.clock.tell, Version: "test", Person: "B. Fitter",
		Keep:     b.keep,
		SheetFor: func(string) (*limits.Sheet, error) { return b.sheet, nil },
		Cautions: func(leakback.Method, string) []string { return []string{"Keep clear of jets."} },
		Table:    func(r *leakback.Result, width int) string { return fmt.Sprint("table: ", r.Verdict, "\n") },
	}
	if b.more != nil {
		b.more(&o)
	}
	return o
}

func (b *bay) keep(drafts []leakback.Event) error {
	if b.full {
		return errFull
	}
	for _, e := range drafts {
		e.TestID, e.Seq = "0193f7a2-0000-7000-8000-000000000001", int64(len(b.kept)+1)
		b.kept = append(b.kept, e)
	}
	return nil
}

// answer gives answers. "wait 60s" lets time pass.
func (b *bay) answer(lines ...string) {
	b.t.Helper()
	for _, line := range lines {
		if rest, waits := strings.CutPrefix(line, "wait "); waits {
			d, err := time.ParseDuration(rest)
			require.NoError(b.t, err)
			b.clock.pass(d)
			continue
		}
		id := b.flow.Question().ID
		require.NoError(b.t, b.flow.Answer(line), "%s <- %q", id, line)
		b.said = append(b.said, b.flow.Said()...)
	}
}

// at wants a question to stand.
func (b *bay) at(id string) ask.Question {
	b.t.Helper()
	q := b.flow.Question()
	require.Equal(b.t, id, q.ID)
	return q
}

// refused wants an answer to be refused, with that text in the refusal, and the
// question to stand as it is.
func (b *bay) refused(line, text string) {
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

func (b *bay) result() *leakback.Result {
	b.t.Helper()
	r, err := b.flow.Result()
	require.NoError(b.t, err)
	return r
}

// parse makes a limits sheet of its text.
func parse(t *testing.T, text string) *limits.Sheet {
	t.Helper()
	s, err := limits.Parse([]byte(text), "bay.toml")
	require.NoError(t, err)
	return s
}

// sixSheet is of an invented engine.
const sixSheet = `name = "Bay sheet for the Northmoor Six-90 (invented)"
engine = "Northmoor Six-90"
cylinders = 6
firing_order = [1, 5, 3, 6, 2, 4]
[measurement]
max_crank_s = 15
rest_s = 60
source = "invented"
[[limit]]
condition = "idle"
injectors = "driven"
max_rate_ml_min = 40.0
rail_pressure_bar = [300, 400]
source = "invented"
[[limit]]
condition = "cranking"
max_volume_ml = 10
interval_s = 45
cranks = 3
source = "invented"
`
