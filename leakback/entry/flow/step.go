package flow

import (
	"time"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
)

// step is one question with what is done with its answer.
type step struct {
	id string
	// done says that the record has its answer.
	done bool
	// ask makes the question, but for its ID.
	ask func() ask.Question
	// take makes events of an answer; an error is a refusal.
	take func(a answer) (taken, error)
	// since is when a rest began; nil for all but rests.
	since func() time.Time
}

// answer is what was typed, and when.
type answer struct {
	// text is without spaces around it and without the quotes of a literal.
	text string
	// skip says that the question is to be left open.
	skip bool
	now  time.Time
}

// empty says that the answer is an empty line.
func (a answer) empty() bool { return a.text == "" && !a.skip }

// taken is what an answer comes to.
type taken struct {
	drafts []leakback.Event
	said   []string
	// timing is the collection that runs from now on; nil for none.
	timing *timing
}

// list is the questions up to the first that is open.
type list struct {
	steps []step
	// open says that the first open one is among them.
	open bool
}

// add appends a question, unless an open one stands before it.
func (l *list) add(s step) {
	if l.open {
		return
	}
	l.steps = append(l.steps, s)
	l.open = !s.done
}

// steps are the questions that apply, up to the first that is open. The last one
// always is: it may be that nothing is left to ask.
func (f *Flow) steps() []step {
	l := &list{}
	f.askJob(l)
	f.askHow(l)
	f.askState(l, 0)
	f.askRuns(l)
	if f.ended() {
		l.steps = append(l.steps, f.done())
	}
	return l.steps
}

// standing is the question that is asked: the one that "back" went to, else the
// first that is open.
func (f *Flow) standing() *step {
	if f.current == nil {
		steps := f.steps()
		s := steps[f.index(steps)]
		f.current = &s
	}
	return f.current
}

// index is the place of the standing question.
func (f *Flow) index(steps []step) int {
	for i := range steps {
		if steps[i].id == f.at {
			return i
		}
	}
	return len(steps) - 1
}

// ended says that the test was closed and nothing was entered since.
func (f *Flow) ended() bool {
	for i := len(f.record.Events) - 1; i >= 0; i-- {
		switch f.record.Events[i].Kind {
		case leakback.KindEnd:
			return true
		case leakback.KindOpen, leakback.KindWork, leakback.KindStep:
		default:
			return false
		}
	}
	return false
}

// done has nothing left to ask.
func (f *Flow) done() step {
	return step{
		id: "done",
		ask: func() ask.Question {
			e, _ := f.record.Last(leakback.Key{Kind: leakback.KindEnd})
			return ask.Question{Kind: ask.Done, Section: "The end", Prompt: e.Value, Table: f.table()}
		},
		take: func(a answer) (taken, error) {
			return taken{}, refuse(a.text, "nothing more: the test is closed (back opens it again)")
		},
	}
}
