package flow

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/leakback/blockoff"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/frame"
	"leakback/leakback/entry/recorded"
)

// schedule is the runs of a block-off test as far as they are planned: which
// cylinders each blocks.
func (f *Flow) schedule() [][]int {
	plan, err := blockoff.Schedule(f.numbers(), f.passes())
	if err != nil { // fewer than two cylinders, which are refused where they are asked for
		return nil
	}
	return plan.Blocked
}

// passes is how often the schedule blocks every cylinder.
func (f *Flow) passes() int {
	passes := 2
	for k := 1; k <= f.lastRun(); k++ {
		if f.Record().Value(mark(k, markNext)) == nextPasses {
			passes += 2
		}
	}
	return min(passes, blockoff.MostPasses)
}

// scheduled says whether the schedule has a run behind run k.
func (f *Flow) scheduled(k int) bool {
	if f.has(mark(k, markLast)) || f.lastCut() {
		return false
	}
	switch {
	case f.method() == leakback.MethodBlockOff:
		return k < len(f.schedule())
	case f.oneTube():
		return k <= f.cylinders()
	}
	return false
}

// lastCut says whether the schedule was cut short after some run.
func (f *Flow) lastCut() bool {
	for k := 1; k <= f.lastRun(); k++ {
		if f.has(mark(k, markLast)) {
			return true
		}
	}
	return false
}

// blockedStep asks which cylinders are blocked.
func (f *Flow) blockedStep(k int) frame.Step {
	key := runSet(k, recorded.FieldBlocked)
	standing := func() string {
		if e, ok := f.Record().Last(key); ok {
			return blockedWord(e.Value)
		}
		return blockedWord(f.nextBlocked(k))
	}
	return frame.Step{ID: runID(k, recorded.FieldBlocked), Done: f.has(key),
		Ask: func() ask.Question {
			return ask.Question{Section: runSection(k), Prompt: "Blocked cylinders", Required: true, Default: standing(),
				Hint: "joined by +, such as 2 or 1+2, or none" + f.cutHint(k), Notes: f.scheduleNote(k)}
		},
		Take: func(a frame.Answer) (frame.Taken, error) {
			text := a.Text
			switch {
			case a.Skip:
				return f.cutSchedule(k, f.has(key))
			case text == "":
				text = standing()
			}
			value, expected := f.blocked(text)
			if expected != "" {
				return frame.Taken{}, frame.Refuse(a.Text, expected)
			}
			return f.renewed(typedEvent(key, value, text)), nil
		}}
}

// wordNone stands for no blocked cylinder.
const wordNone = "none"

func blockedWord(value string) string {
	if value == "" {
		return wordNone
	}
	return value
}

// blocked reads the cylinders that are blocked.
func (f *Flow) blocked(text string) (value, expected string) {
	if strings.EqualFold(text, wordNone) {
		return "", ""
	}
	var list []int
	for part := range strings.SplitSeq(text, "+") {
		n, err := strconv.Atoi(strings.TrimSpace(part))
		if err != nil || n < 1 || n > f.cylinders() || slices.Contains(list, n) {
			return "", fmt.Sprintf("cylinders from 1 to %d, each once, joined by + (such as 1+2), or none", f.cylinders())
		}
		list = append(list, n)
	}
	slices.Sort(list)
	return joined(list), ""
}

// joined is a list of cylinders as its cell holds it.
func joined(list []int) string {
	words := make([]string, len(list))
	for i, c := range list {
		words[i] = strconv.Itoa(c)
	}
	return strings.Join(words, "+")
}

// nextBlocked is what run k is to block: the first of the schedule that no
// earlier run has done.
func (f *Flow) nextBlocked(k int) string {
	left := f.leftToDo(k)
	if len(left) == 0 {
		return ""
	}
	return left[0]
}

// leftToDo is the schedule without what the runs before k have done.
func (f *Flow) leftToDo(k int) []string {
	var left []string
	for _, list := range f.schedule() {
		left = append(left, joined(list))
	}
	for j := 1; j < k; j++ {
		if f.leftOut(j) {
			continue
		}
		if i := slices.Index(left, f.Record().Value(runSet(j, recorded.FieldBlocked))); i >= 0 {
			left = slices.Delete(left, i, i+1)
		}
	}
	return left
}

// leftOut says whether a run is kept out of the evaluation.
func (f *Flow) leftOut(run int) bool {
	return f.Record().Value(leakback.Key{Kind: leakback.KindLeaveOut, Run: run}) != ""
}

// scheduleNote says what is left of the schedule.
func (f *Flow) scheduleNote(k int) []string {
	left := f.leftToDo(k)
	if len(left) < 2 {
		return nil
	}
	for i := range left {
		left[i] = blockedWord(left[i])
	}
	return []string{fmt.Sprintf("Runs to come, by what is blocked: %s. In this order drift cancels. Wait for the pressure to go "+
		"before a line is opened, every time.", strings.Join(left, ", "))}
}

// cutHint says how to end a schedule before its last run.
func (f *Flow) cutHint(k int) string {
	if k == 1 {
		return ""
	}
	return "; skip ends the runs here"
}

// cutSchedule ends the schedule with the run before.
func (f *Flow) cutSchedule(k int, begun bool) (frame.Taken, error) {
	if k == 1 || begun {
		return frame.Taken{}, frame.Refuse(frame.WordSkip, "an answer here: the run has begun")
	}
	return frame.Taken{Drafts: []leakback.Event{frame.Event(mark(k-1, markLast), "cut")}}, nil
}
