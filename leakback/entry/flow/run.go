package flow

import (
	"fmt"
	"slices"
	"strconv"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/frame"
	"leakback/leakback/entry/recorded"
)

// runID is the ID of a question about a run.
func runID(run int, what string) string { return fmt.Sprintf("run %d %s", run, what) }

func runSection(run int) string { return "Run " + strconv.Itoa(run) }

// askRuns asks for the runs one after the other, and after the last what is next.
func (f *Flow) askRuns(l *frame.List) {
	if l.Open {
		return
	}
	ahead, before := f.ahead(), 1
	if !f.has(mark(0, markCautions)) && !f.has(mark(0, markPriming)) {
		before = ahead
	}
	for k := 1; !l.Open; k++ {
		if k == before {
			f.askCautions(l, ahead > 0)
		}
		f.askRun(l, k)
		if !l.Open && !f.goesOn(k) {
			f.askNext(l, k)
			return
		}
	}
}

// goesOn says whether another run follows without a question.
func (f *Flow) goesOn(k int) bool { return k < f.lastRun() || f.scheduled(k) }

// ahead is the first run that fuel is still to be collected in; 0 for none.
func (f *Flow) ahead() int {
	for k := 1; ; k++ {
		if !f.collected(k) {
			return k
		}
		if !f.goesOn(k) {
			return 0
		}
	}
}

// collected says that the collection of a run is over.
func (f *Flow) collected(run int) bool {
	return f.timed(run) && (!f.untimed(run) || f.readIn(run))
}

// askCautions asks for the cautions to be acknowledged and the hoses primed,
// where fuel is still to be collected.
func (f *Flow) askCautions(l *frame.List, collecting bool) {
	place := f.frame.Place(mark(0, markCautions))
	read := place > max(f.frame.Place(setKey(leakback.FieldMethod)), f.frame.Place(setKey(recorded.FieldCondition)))
	if cautions := f.cautions(); len(cautions) > 0 {
		l.Add(f.frame.Confirm(mark(0, markCautions), read || !collecting, ask.Question{Section: "Cautions",
			Prompt: "Read these before anything is touched", Notes: cautions,
			Options: []ask.Option{{Value: "understood", Label: "I have read and understood them"}}}))
	}
	l.Add(f.frame.Confirm(mark(0, markPriming), f.has(mark(0, markPriming)) || !collecting, ask.Question{Section: "Priming",
		Prompt: "Prime the hoses", Notes: []string{
			"Connect the hoses and run (or crank) until every hose drips without bubbles. Stop. Empty the tubes."},
		Options: []ask.Option{{Value: "primed", Label: "every hose is full and every tube is empty"}}}))
}

func (f *Flow) cautions() []string {
	if f.o.Cautions == nil {
		return nil
	}
	return f.o.Cautions(f.method(), f.set(recorded.FieldCondition))
}

// askRun asks for one run: what is special about it, how long, the collection
// and its readings.
func (f *Flow) askRun(l *frame.List, k int) {
	switch {
	case f.method() == leakback.MethodBlockOff:
		l.Add(f.blockedStep(k))
	case f.oneTube():
		l.Add(f.cylinderStep(k))
	}
	if f.has(mark(k, markOtherTube)) {
		f.askTube(l, k)
	}
	if !f.untimed(k) {
		f.askLength(l, k)
		f.askCollection(l, k)
	}
	f.askReadings(l, k)
}

// cylinderStep asks whose return is collected into the one tube.
func (f *Flow) cylinderStep(k int) frame.Step {
	key := mark(k, markCylinder)
	standing := strconv.Itoa(f.cylinderOf(k))
	if f.cylinderOf(k) == 0 {
		standing = strconv.Itoa(f.nextCylinder(k))
	}
	read := whole("a cylinder's number", 1, max(1, f.cylinders()))
	return frame.Step{ID: runID(k, markCylinder), Done: f.cylinderOf(k) > 0,
		Ask: func() ask.Question {
			return ask.Question{Section: runSection(k), Prompt: "Cylinder", Default: standing, Required: true,
				Hint: "whose return goes into the tube" + f.cutHint(k)}
		},
		Take: func(a frame.Answer) (frame.Taken, error) {
			text := a.Text
			if a.Skip {
				return f.cutSchedule(k, f.cylinderOf(k) > 0)
			}
			if text == "" {
				text = standing
			}
			value, expected := read(text)
			switch {
			case expected != "":
				return frame.Taken{}, frame.Refuse(a.Text, expected)
			case f.readIn(k) && value != standing:
				return frame.Taken{}, frame.Refuse(a.Text, standing+", whose reading was taken; correct the reading or leave the run out")
			}
			return f.renewed(frame.Event(key, value)), nil
		}}
}

// cylinderOf is whose return a run collects into the one tube; 0 where it was
// not said.
func (f *Flow) cylinderOf(run int) int {
	if c := f.count(mark(run, markCylinder)); c > 0 {
		return c
	}
	for _, e := range f.Record().Events {
		if e.Kind == leakback.KindReading && e.Run == run && e.Cylinder > 0 {
			return e.Cylinder
		}
	}
	return 0
}

// nextCylinder is whose return comes next: the first that no earlier run had,
// and the first of all once more at the end.
func (f *Flow) nextCylinder(k int) int {
	order := f.order()
	for _, c := range order {
		if !slices.ContainsFunc(f.runsBefore(k), func(j int) bool { return f.cylinderOf(j) == c && !f.leftOut(j) }) {
			return c
		}
	}
	if len(order) == 0 {
		return 0
	}
	return order[0]
}

func (f *Flow) runsBefore(k int) []int {
	runs := make([]int, k-1)
	for i := range runs {
		runs[i] = i + 1
	}
	return runs
}

// outlets is where fuel is read in a run, in the order in which it is.
func (f *Flow) outlets(run int) []outlet {
	switch {
	case f.oneTube():
		return []outlet{{cylinder: f.cylinderOf(run)}}
	case f.method() == leakback.MethodIndividual:
		var all []outlet
		for _, c := range f.order() {
			all = append(all, outlet{cylinder: c})
		}
		return all
	}
	return f.returnLines()
}

// returnLines are those of a merged return.
func (f *Flow) returnLines() []outlet {
	if f.sheet == nil || len(f.sheet.ReturnLines) == 0 {
		return []outlet{{line: f.set(recorded.FieldReturnLine)}}
	}
	var lines []outlet
	for _, line := range f.sheet.ReturnLines {
		lines = append(lines, outlet{line: line.Name})
	}
	return lines
}
