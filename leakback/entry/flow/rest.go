package flow

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/frame"
	"leakback/limits/quantity"
)

// assumedRestS is the starter's rest where the sheet does not say: assumed,
// common practice, no source.
const assumedRestS = 120

// rest is how long the starter is to rest in s, and whether that is assumed.
func (f *Flow) rest() (s float64, assumed bool) {
	if f.sheet != nil && f.sheet.Measurement.RestS > 0 {
		return f.sheet.Measurement.RestS, false
	}
	return assumedRestS, true
}

// cranked is the event by which the starter stopped last before a crank, and
// whether there is one.
func (f *Flow) cranked(run, crank int) (last leakback.Event, ok bool) {
	for _, e := range f.Record().Events {
		number, isCrank := strings.CutPrefix(e.Field, "crank ")
		switch {
		case e.Kind == leakback.KindTime && isCrank && e.Value != "" && (e.Run < run || e.Run == run && atoi(number) < crank),
			e.Kind == leakback.KindMark && e.Run <= run && (e.Field == markLost || e.Field == markAbandoned):
			last, ok = e, true
		}
	}
	return last, ok
}

// restStep lets the starter rest before a crank.
func (f *Flow) restStep(k, crank int, stopped leakback.Event) frame.Step {
	key := mark(k, markRest+strconv.Itoa(crank))
	target, assumed := f.rest()
	since := func() time.Time { return f.momentOf(stopped) }
	rested := f.Record().Value(key) != "" || f.crankTimed(k, crank)
	return frame.Step{ID: runID(k, key.Field), Done: rested, Once: true, Since: since,
		Ask: func() ask.Question {
			q := ask.Question{Kind: ask.Rest, Section: runSection(k), Prompt: "Let the starter rest for " + seconds(target),
				TargetS: target, Hint: "Enter goes on"}
			if crank == 1 && f.lostLast(k) {
				q.Notes = append(q.Notes, lostNote)
			}
			if assumed {
				q.Notes = append(q.Notes, "The limits sheet has no rest_s: "+seconds(target)+" is assumed. The service information has the starter's duty cycle.")
			}
			return q
		},
		Take: func(a frame.Answer) (frame.Taken, error) {
			switch {
			case a.Text != "":
				return frame.Taken{}, frame.Refuse(a.Text, "Enter, which goes on")
			case rested:
				return frame.Taken{}, nil
			}
			s := max(0, a.Now.Sub(since()).Seconds())
			t := frame.Taken{Drafts: []leakback.Event{frame.Event(key, quantity.Plain(s, clockDecimals))}}
			if s < target {
				t.Said = []string{fmt.Sprintf("the starter rested for %s s of %s", quantity.Fixed(s, 0), seconds(target))}
			}
			return t, nil
		}}
}

// momentOf is when an event was entered: by the clock that nobody sets where it
// was in this sitting.
func (f *Flow) momentOf(e leakback.Event) time.Time {
	if opened := f.frame.Place(leakback.Key{Kind: leakback.KindOpen}); int(e.Seq)-1 > opened {
		return f.frame.Opened().Add(time.Duration(e.ElapsedMS) * time.Millisecond)
	}
	return time.UnixMicro(e.AtUS)
}
