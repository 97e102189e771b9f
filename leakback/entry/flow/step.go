package flow

import (
	"slices"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/frame"
	"leakback/leakback/repair"
)

// steps are the questions that apply, up to the first that is open. The last one
// always is: it may be that nothing is left to ask.
func (f *Flow) steps() []frame.Step {
	l := &frame.List{}
	f.askJob(l)
	f.askHow(l)
	f.askState(l, 0)
	f.askRuns(l)
	if f.ended() {
		l.Steps = append(l.Steps, f.done())
	}
	return l.Steps
}

// ended says that the test was closed and nothing was entered of it since; what
// was done to the engine afterwards does not open it again.
func (f *Flow) ended() bool {
	for _, e := range slices.Backward(f.Record().Events) {
		switch {
		case e.Kind == leakback.KindEnd:
			return true
		case e.Kind != leakback.KindOpen && repair.OfWork(e) == 0:
			return false
		}
	}
	return false
}

// done has nothing left to ask.
func (f *Flow) done() frame.Step {
	return frame.Step{
		ID: "done",
		Ask: func() ask.Question {
			e, _ := f.Record().Last(leakback.Key{Kind: leakback.KindEnd})
			return ask.Question{Kind: ask.Done, Section: "The end", Prompt: e.Value, Table: f.table()}
		},
		Take: func(a frame.Answer) (frame.Taken, error) {
			return frame.Taken{}, frame.Refuse(a.Text, "nothing more: the test is closed (back opens it again)")
		},
	}
}
