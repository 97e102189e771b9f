package worklog_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/worklog"
	"leakback/leakback/repair"
)

// story is a whole work as it is answered, and what is down in the end.
type story struct {
	name   string
	lines  []string
	items  []string
	steps  []string
	faults []string
	said   []string // some of what was said
}

var before = []string{"", "understood", "P0087", "hard hot start"}

var after = []string{"none", "", "not tried", "", "road test tomorrow"}

var stories = []story{
	{
		name: "reused tube replaced, one step in the wrong unit",
		lines: slices.Concat(before, []string{"", // cylinder 4, which failed
			"refitted", "new", "skip", "new", "T-17", "shelf 3", "", "",
			"30 lbf·ft", "meant", "50 N·m", "11 lbf·ft", "62", "yes", "90",
			"done"}, after, []string{""}),
		items: []string{"cylinder 4: injector refitted (old part's tag T-17, old part is shelf 3)", "cylinder 4: feed tube new", "cylinder 4: seals new"},
		steps: []string{"4/1: 1 30 lbf·in NaN ", "4/2: 2 50 N·m NaN ", "4/3: 3 11 lbf·ft 62 yes", "4/4: 4  90 "},
		said:  []string{"cylinder 4: torque of step 1: 30 lbf·in (was 30 lbf·ft); both stay in the record"},
	},
	{
		name: "swap",
		lines: slices.Concat(before, []string{"4",
			"swapped", "2", "A1", "B2", "0412", "0977", "new", "", "new", "", "", "", "of 4", // cylinder 4
			"30 lbf·in", "37 lbf·ft", "11 lbf·ft + 60° new", "90°",
			"", "", "", "", "new", "", "new", "", "", "", "", // cylinder 2, whose numbers follow
			"30 lbf·in", "50 N·m", "15 N·m + 61° new", "90°",
			""}, after, []string{"done"}),
		items: []string{"cylinder 2: injector swapped with cylinder 4 (serial number out B2, serial number in A1, correction code out 0977, correction code in 0412)",
			"cylinder 2: feed tube new", "cylinder 2: seals new",
			"cylinder 4: injector swapped with cylinder 2 (serial number out A1, serial number in B2, correction code out 0412, correction code in 0977)",
			"cylinder 4: feed tube new", "cylinder 4: seals new"},
		steps: []string{"2/1: 1 30 lbf·in NaN ", "2/2: 2 50 N·m NaN ", "2/3: 3 15 N·m 61 yes", "2/4: 4  90 ",
			"4/1: 1 30 lbf·in NaN ", "4/2: 2 37 lbf·ft NaN ", "4/3: 3 11 lbf·ft 60 yes", "4/4: 4  90 "},
	},
	{
		name: "injector replaced, tube reused, steps skipped, out of order and twice",
		lines: slices.Concat(before, []string{"4",
			"1", "X1", "X2", "", "77AB", "yes", "reused", "tightened", "reused", "", "", "new feed tube", "customer waits",
			"step 2: 37 lbf·ft", "30 lbf·in", "2=38 lbf·ft", "40 lbf·ft", "61", "no", "skip",
			"engine", "", "", "checked", "", "done"}, after, []string{"done"}),
		items: []string{"engine: relief valve checked",
			"cylinder 4: injector replaced (serial number out X1, serial number in X2, correction code in 77AB, core to return yes)",
			"cylinder 4: feed tube reused", "cylinder 4: lines tightened", "cylinder 4: seals reused"},
		steps:  []string{"4/1: 2 37 lbf·ft NaN ", "4/2: 1 30 lbf·in NaN ", "4/3: 2 38 lbf·ft NaN ", "4/4: 3 40 lbf·ft 61 no"},
		faults: []string{"step-out-of-order", "step-done-twice", "torque-outside", "fastener-not-new", "step-skipped"},
		said: []string{"cylinder 4: the feed tube went back in", "cylinder 4: the seals went back in",
			"beware, cylinder 4: step 1 (hold-down, snug) was not done", "beware, cylinder 4: step 1 was done after step 2: expected it before",
			"beware, cylinder 4: step 2 was done again (if it was not", "beware, cylinder 4: step 3 (hold-down), 40 lbf·ft: expected 11 lbf·ft",
			"the old fastener went back", "beware, cylinder 4: step 4 (return fitting) was not done"},
	},
	{
		name: "nothing but the engine",
		lines: slices.Concat([]string{"D. Other", "understood", "", ""}, []string{"engine", "new", "", "replaced", "R-1", "", "", "none"},
			[]string{"", "", "", "2024-03-04", "", ""}),
		items: []string{"engine: lines new (old part's tag R-1)", "engine: relief valve replaced"},
	},
}

func stepLines(w *repair.Work) []string {
	var list []string
	for _, s := range w.Steps {
		list = append(list, fmt.Sprintf("%d/%d: %d %s %v %s", s.Cylinder, s.Place, s.Step, s.Torque, s.AngleDeg, s.NewFastener))
	}
	return list
}

// told holds what was entered against the story.
func (s *story) told(t *testing.T, b *bench) {
	t.Helper()
	require.Equal(t, ask.Done, b.at("done").Kind)
	w, err := repair.Works(leakback.NewRecord(b.kept))
	require.NoError(t, err)
	require.Len(t, w, 1)
	var items, faults []string
	for _, i := range w[0].Items() {
		items = append(items, i.String())
	}
	for _, f := range w[0].StepFaults(sheetSteps(t)) {
		faults = append(faults, string(f.Code))
	}
	require.Equal(t, s.items, items)
	require.Equal(t, s.steps, stepLines(&w[0]))
	require.Equal(t, s.faults, faults)
}

func TestStories(t *testing.T) {
	for _, s := range stories {
		t.Run(s.name, func(t *testing.T) {
			b := newBench(t, nil)
			b.answer(s.lines...)
			s.told(t, b)
			for _, text := range s.said {
				b.heard(text)
			}
			for i, e := range b.kept {
				assert.Equal(t, e.Key, b.flow.Record().Events[i].Key)
			}
			assert.Equal(t, 1, b.flow.Number())
			assert.Equal(t, "done", b.last().Value)
		})
	}
}

// asked is a question without what cannot be compared.
func asked(q ask.Question) string { return fmt.Sprintf("%+v", q) }

// A work that was broken off anywhere goes on with the same question, and ends
// as the same work.
func TestResumeAnywhere(t *testing.T) {
	for _, s := range stories {
		t.Run(s.name, func(t *testing.T) {
			for i := range s.lines {
				b := newBench(t, nil)
				b.answer(s.lines[:i]...)
				before := asked(b.flow.Question())
				b.resume()
				require.Equal(t, before, asked(b.flow.Question()), "before line %d, %q", i, s.lines[i])
				b.answer(s.lines[i:]...)
				s.told(t, b)
				require.Equal(t, 1, b.flow.Number())
			}
		})
	}
}

// An answer that cannot be kept changes nothing, and can be given again.
func TestNothingIsTakenThatIsNotKept(t *testing.T) {
	for _, s := range stories {
		t.Run(s.name, func(t *testing.T) {
			b := newBench(t, nil)
			for _, line := range s.lines {
				before, events := asked(b.flow.Question()), len(b.kept)
				b.full = true
				err := b.flow.Answer(line)
				b.full = false
				if err == nil { // nothing to keep: the same was said before
					continue
				}
				require.ErrorIs(t, err, errFull)
				require.Equal(t, before, asked(b.flow.Question()))
				require.Len(t, b.kept, events)
				require.Len(t, b.flow.Record().Events, events)
				b.answer(line)
			}
			s.told(t, b)
		})
	}
	b := newBench(t, nil)
	b.full = true
	_, err := worklog.New(b.options())
	require.ErrorIs(t, err, errFull)
	require.ErrorIs(t, b.flow.Finish(), errFull)
	require.Equal(t, "person", b.flow.Question().ID)
}

// back leads from every question to the first, and empty answers lead back to it
// without an entry.
func TestBackFromEverywhere(t *testing.T) {
	for _, s := range stories {
		t.Run(s.name, func(t *testing.T) {
			b := newBench(t, nil)
			for i, line := range s.lines {
				start, events, seen := asked(b.flow.Question()), len(b.kept), map[string]bool{b.flow.Question().ID: true}
				for b.flow.Question().ID != "person" {
					b.answer("back")
					id := b.flow.Question().ID
					require.False(t, seen[id], "%s comes again", id)
					seen[id] = true
				}
				b.refused("back", "no question stands before")
				if i > 0 {
					for range seen {
						if asked(b.flow.Question()) != start {
							b.answer("")
						}
					}
					require.Equal(t, events, len(b.kept))
					require.Equal(t, start, asked(b.flow.Question()))
					b.answer("back", "forward")
					require.Equal(t, start, asked(b.flow.Question()))
				}
				b.answer(line)
			}
			b.at("done")
			b.answer("back")
			b.at("next")
			b.answer("done")
			s.told(t, b)
		})
	}
}
