package flow

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/frame"
	"leakback/leakback/entry/recorded"
	"leakback/limits/quantity"
)

// wordEnough ends a cranking run with the cranks that it has; wordAgain times a
// collection again.
const (
	wordEnough = "enough"
	wordAgain  = "again"
)

// anyTime says whether a clock timed anything of a run.
func (f *Flow) anyTime(run int) bool {
	for _, field := range f.timedFields(run) {
		if f.Record().Value(timeKey(run, field)) != "" {
			return true
		}
	}
	return false
}

// timedFields are the pieces of a run's collection that were ever timed.
func (f *Flow) timedFields(run int) []string {
	var fields []string
	seen := map[string]bool{}
	for _, e := range f.Record().Events {
		if e.Kind == leakback.KindTime && e.Run == run && !seen[e.Field] {
			seen[e.Field] = true
			fields = append(fields, e.Field)
		}
	}
	return fields
}

// crankTimed says whether a crank of a run was timed.
func (f *Flow) crankTimed(run, crank int) bool {
	return f.Record().Value(timeKey(run, recorded.Crank(crank))) != ""
}

// timed says that the length of a run is known, or known to be unknown.
func (f *Flow) timed(run int) bool {
	switch {
	case f.Record().Value(runSet(run, recorded.FieldIntervalS)) != "", f.untimed(run),
		f.Record().Value(timeKey(run, recorded.FieldCollection)) != "",
		f.set(recorded.FieldIntervalS) != "" && f.readIn(run):
		return true
	case !f.anyTime(run):
		return false
	case !f.cranking():
		return true
	}
	for j := range max(1, f.cranks(run)) {
		if !f.crankTimed(run, j+1) {
			return false
		}
	}
	return true
}

// interval is the length of a run as it stands in s; 0 where it is not known.
func (f *Flow) interval(run int) float64 {
	set := runSet(run, recorded.FieldIntervalS)
	at, total := f.frame.Place(set), 0.0
	for _, field := range f.timedFields(run) {
		key := timeKey(run, field)
		if f.Record().Value(key) != "" && (f.frame.Place(key) > at || f.Record().Value(set) == "") {
			total += f.number(key)
		}
	}
	switch {
	case total > 0:
		return total
	case f.Record().Value(set) != "":
		return f.number(set)
	}
	return f.number(setKey(recorded.FieldIntervalS))
}

// askCollection asks for the collection to be timed, in one piece or crank by
// crank; afterwards its length can be corrected.
func (f *Flow) askCollection(l *frame.List, k int) {
	switch {
	case f.timed(k):
		l.Add(f.intervalStep(k))
		return
	case !f.cranking():
		l.Add(f.timerStep(k, recorded.FieldCollection, "Collect for "+seconds(f.planned(k)), false))
		return
	}
	cranks := max(1, f.cranks(k))
	for j := 1; j <= cranks; j++ {
		if since, ok := f.cranked(k, j); ok {
			l.Add(f.restStep(k, j, since))
		}
		prompt := fmt.Sprintf("Crank for %s", seconds(f.planned(k)))
		if cranks > 1 {
			prompt = fmt.Sprintf("Crank %d of %d, for %s", j, cranks, seconds(f.planned(k)))
		}
		if f.crankTimed(k, j) {
			l.Add(f.crankStep(k, j))
			continue
		}
		l.Add(f.timerStep(k, recorded.Crank(j), prompt, j > 1))
	}
}

// crankStep corrects the length of a crank that was timed. It cannot be cranked
// again alone: its fuel is in the tubes with that of the others.
func (f *Flow) crankStep(k, crank int) frame.Step {
	key := timeKey(k, recorded.Crank(crank))
	return frame.Step{ID: runID(k, key.Field), Done: true,
		Ask: func() ask.Question {
			return ask.Question{Section: runSection(k), Prompt: fmt.Sprintf("Length of crank %d", crank), Default: f.Record().Value(key),
				Required: true, Hint: "as it was timed; another length corrects it, again begins the run again"}
		},
		Take: func(a frame.Answer) (frame.Taken, error) {
			switch {
			case a.Text == "":
				return frame.Taken{}, nil
			case strings.EqualFold(a.Text, wordAgain):
				return f.again(k), nil
			}
			value, expected := figure(quantity.Interval)(a.Text)
			if expected != "" {
				return frame.Taken{}, frame.Refuse(a.Text, expected)
			}
			t := f.renewed(typedEvent(key, value, a.Text))
			if len(t.Drafts) > 0 {
				t.Drafts[0].Typed = a.Text // it was not timed here
				t.Said = []string{f.ranText(k, key.Field, number(value)) + " (was " + f.Record().Value(key) + " s)"}
			}
			return t, nil
		}}
}

// again takes back what was timed of a run, so that it is collected again.
func (f *Flow) again(k int) frame.Taken {
	return frame.Taken{Drafts: append([]leakback.Event{frame.Event(mark(k, markAbandoned), wordAgain)}, f.takeBack(k)...)}
}

// timerStep times a collection, or one crank of it.
func (f *Flow) timerStep(k int, piece, prompt string, later bool) frame.Step {
	id := runID(k, piece)
	return frame.Step{ID: id,
		Ask: func() ask.Question {
			q := ask.Question{Kind: ask.Timer, Section: runSection(k), Prompt: prompt, TargetS: f.planned(k), Running: f.running(id),
				Hint: "Enter starts and Enter stops; or the length as another clock has it, such as 60 s", Notes: f.timerNotes(k, piece)}
			if later && !q.Running {
				q.Hint += "; enough ends the run here"
			}
			return q
		},
		Take: func(a frame.Answer) (frame.Taken, error) {
			switch {
			case a.Empty() && f.running(id):
				return f.stop(k, piece, a.Now)
			case a.Empty():
				return frame.Taken{Drafts: []leakback.Event{frame.Event(startKey(k, piece), "")},
					Then: func() { f.timing = &timing{id: id, run: k, began: a.Now} }}, nil
			case later && !f.running(id) && strings.EqualFold(a.Text, wordEnough):
				return f.enoughCranks(k, piece)
			case f.running(id) && isBare(a.Text):
				return frame.Taken{}, frame.Refuse(a.Text, "Enter, which stops the clock; a length as another clock has it with its unit, such as 60 s")
			}
			return f.typedInterval(k, piece, a)
		}}
}

// timerNotes say what is collected, and what to do before that is started.
func (f *Flow) timerNotes(k int, piece string) []string {
	notes := f.setUp(k)
	switch {
	case f.running(runID(k, piece)), piece != recorded.FieldCollection && piece != recorded.Crank(1):
	case f.lostLast(k):
		notes = append(notes, lostNote)
	case k > 1:
		notes = append(notes, "Empty the tubes.")
	}
	return notes
}

const lostNote = "What was collected before is lost: empty the tubes and begin the run again."

// setUp says what of a run is unlike the others. It stands beside the clock, as a
// test that was broken off goes on there.
func (f *Flow) setUp(k int) []string {
	switch blocked := f.Record().Value(runSet(k, recorded.FieldBlocked)); {
	case f.method() == leakback.MethodBlockOff && blocked == "":
		return []string{"Blocked: no cylinder."}
	case f.method() == leakback.MethodBlockOff && strings.Contains(blocked, "+"):
		return []string{"Blocked: cylinders " + blocked + "."}
	case f.method() == leakback.MethodBlockOff:
		return []string{"Blocked: cylinder " + blocked + "."}
	case f.oneTube():
		return []string{fmt.Sprintf("Into the tube: the return of cylinder %d.", f.cylinderOf(k))}
	}
	return nil
}

// lostLast says that the last thing that was started of a run is lost.
func (f *Flow) lostLast(k int) bool {
	last := max(f.frame.Place(mark(k, markLost)), f.frame.Place(mark(k, markAbandoned)))
	for i := len(f.Record().Events) - 1; i >= 0; i-- {
		if e := &f.Record().Events[i]; e.Kind == leakback.KindStart && e.Run == k {
			return last > i
		}
	}
	return false
}

// The shortest and the longest collection, in s.
var leastS, mostS = quantity.Interval.Bounds()

// stop logs how long a collection ran. A stop that could not be kept keeps its
// time for when it is tried again.
func (f *Flow) stop(k int, piece string, now time.Time) (frame.Taken, error) {
	t := f.timing
	if !t.stopped.IsZero() {
		now = t.stopped
	}
	ran := now.Sub(t.began).Seconds()
	switch {
	case ran < leastS:
		return frame.Taken{}, frame.Refuse("", fmt.Sprintf("%s at least: that was the same press, and the clock runs on", seconds(leastS)))
	case ran > mostS:
		return frame.Taken{}, frame.Refuse("", "at most "+seconds(mostS)+": type how long it ran, or back to start again")
	}
	t.stopped = now
	value := quantity.Plain(ran, clockDecimals)
	out := frame.Taken{Drafts: []leakback.Event{frame.Event(timeKey(k, piece), value)},
		Said: []string{f.ranText(k, piece, ran)}}
	if name, off := clockFault(t.began, now); name != "" {
		out.Drafts = append(out.Drafts, frame.Event(mark(k, name), quantity.Plain(off, clockDecimals)))
		out.Said = append(out.Said, faultText(name, off))
	}
	return out, nil
}

// clockDecimals is how finely a collection is logged: pressing a key is good to
// a tenth of a second at best.
const clockDecimals = 3

// ranText says how long a collection ran, and where a crank was too long for the
// starter.
func (f *Flow) ranText(k int, piece string, ran float64) string {
	text := fmt.Sprintf("run %d, %s: %s s", k, piece, quantity.Fixed(ran, 1))
	if f.cranking() && f.sheet.Measurement.MaxCrankS > 0 && ran > f.sheet.Measurement.MaxCrankS+1 {
		text += ", longer than the " + seconds(f.sheet.Measurement.MaxCrankS) + " that the sheet allows the starter"
	}
	return text
}

// mostOff is how far wall clock and monotonic clock may part during a collection
// before it is said, in s: a clock that is kept in step moves by less.
const mostOff = 2

// clockFault says whether the wall clock moved otherwise than the clock that
// nobody sets, and by how many seconds: ahead where the machine slept, as the
// latter stands still then.
func clockFault(began, ended time.Time) (name string, off float64) {
	wall := ended.Round(0).Sub(began.Round(0))
	off = (wall - ended.Sub(began)).Seconds()
	switch {
	case off > mostOff:
		return markAsleep, off
	case off < -mostOff:
		return markStepped, off
	}
	return "", 0
}

func faultText(name string, off float64) string {
	shift := quantity.Fixed(math.Abs(off), 0)
	if name == markAsleep {
		return "the machine slept, or its clock was set ahead, by " + shift + " s during the collection: if it slept, " +
			"the collection was longer by that; correct it (interval=…) or collect again"
	}
	return "the machine's clock was set back by " + shift + " s during the collection; the time that ran was taken by another clock"
}

// takeBack takes back what was timed of a run.
func (f *Flow) takeBack(k int) []leakback.Event {
	var drafts []leakback.Event
	for _, field := range f.timedFields(k) {
		if key := timeKey(k, field); f.Record().Value(key) != "" {
			drafts = append(drafts, frame.Event(key, ""))
		}
	}
	if key := runSet(k, recorded.FieldIntervalS); f.Record().Value(key) != "" {
		drafts = append(drafts, frame.Event(key, ""))
	}
	for j := range leakback.MostCranks {
		if key := mark(k, markRest+strconv.Itoa(j+1)); f.Record().Value(key) != "" {
			drafts = append(drafts, frame.Event(key, ""))
		}
	}
	return drafts
}

// lost are the events that say that a collection of a run was started and not
// timed to its end; none where that is not so. What was collected before it
// stands in the same tubes and is lost with it.
func (f *Flow) lost(k int, name string) []leakback.Event {
	if f.timed(k) {
		return nil
	}
	last, started := -1, ""
	for i, e := range f.Record().Events {
		switch {
		case e.Run != k:
		case e.Kind == leakback.KindStart:
			last, started = i, e.Field
		case e.Kind == leakback.KindTime && e.Field == started, e.Kind == leakback.KindMark && (e.Field == markLost || e.Field == markAbandoned):
			last = -1
		}
	}
	if last < 0 {
		return nil
	}
	return append([]leakback.Event{frame.Event(mark(k, name), started)}, f.takeBack(k)...)
}
