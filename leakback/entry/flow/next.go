package flow

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/frame"
)

// What can be chosen after a run.
const (
	nextCollect    = "collect" // what settles the open cylinders
	nextShorter    = "shorter"
	nextTube       = "tube"
	nextPasses     = "passes"
	nextAllBlocked = "all-blocked"
	nextAgain      = "again"
	nextLonger     = "length" // another run of another length
	nextCorrect    = "correct"
	nextState      = "state"
	nextLeaveOut   = "leave-out"
	nextDone       = "done"
)

// choice is one thing to do after a run.
type choice struct {
	ask.Option
	// events are those that begin it, beside the mark of the choice.
	events []leakback.Event
}

// askNext asks what is to be done after the last run, and what that needs to know.
func (f *Flow) askNext(l *frame.List, k int) {
	chosen, at := f.chosen(k)
	s := f.nextStep(k)
	s.Done = chosen != ""
	l.Add(s)
	switch number, leaving := strings.CutPrefix(chosen, nextLeaveOut+" "); {
	case chosen == nextCorrect:
		l.Add(f.correctStep(k))
	case chosen == nextState:
		f.askState(l, at)
	case chosen == nextLeaveOut:
		l.Add(f.whichRunStep(k))
	case leaving:
		l.Add(f.reasonStep(k, atoi(number)))
	case chosen == nextDone:
		l.Add(f.noteStep())
	}
}

// chosen is what was chosen after run k and is not finished, and where in the
// record; "" where the choice is open.
func (f *Flow) chosen(k int) (what string, at int) {
	e, ok := f.Record().Last(mark(k, markNext))
	if !ok {
		return "", -1
	}
	at = int(e.Seq) - 1
	number, leaving := strings.CutPrefix(e.Value, nextLeaveOut+" ")
	switch {
	case leaving && f.frame.Place(leakback.Key{Kind: leakback.KindLeaveOut, Run: atoi(number)}) > at,
		e.Value == nextState && f.stateAnswered(at),
		f.frame.Place(leakback.Key{Kind: leakback.KindEnd}) > at:
		return "", at
	case leaving || slices.Contains([]string{nextCorrect, nextState, nextLeaveOut, nextDone}, e.Value):
		return e.Value, at
	}
	return "", at
}

// stateAnswered says whether the state was asked for once more, and answered,
// behind that place of the record.
func (f *Flow) stateAnswered(at int) bool {
	l := &frame.List{}
	f.askState(l, at)
	return !l.Open
}

// nextStep shows the verdicts and asks what is next.
func (f *Flow) nextStep(k int) frame.Step {
	return frame.Step{ID: runID(k, markNext), Once: true,
		Ask: func() ask.Question {
			choices := f.choices(k)
			q := ask.Question{Kind: ask.Choice, Section: "The result", Prompt: "What next", Required: true,
				Hint: "or a correction, such as " + f.example(k) + " because misread", Default: choices[0].Value, Notes: f.resultNotes(), Table: f.table(), Board: f.board(k)}
			for _, c := range choices {
				q.Options = append(q.Options, c.Option)
			}
			return q
		},
		Take: func(a frame.Answer) (frame.Taken, error) { return f.takeNext(k, a) }}
}

// takeNext takes a choice, or a correction that names what it corrects.
func (f *Flow) takeNext(k int, a frame.Answer) (frame.Taken, error) {
	choices := f.choices(k)
	options := make([]ask.Option, len(choices))
	for i := range choices {
		options[i] = choices[i].Option
	}
	text := a.Text
	if a.Empty() {
		text = options[0].Value
	}
	value, expected := frame.OneOf(options, nil)(text)
	switch {
	case expected != "" && isCorrection(a.Text):
		return f.takeReading(k, outlet{}, a)
	case expected != "":
		return frame.Taken{}, frame.Refuse(a.Text, expected)
	}
	i := slices.IndexFunc(choices, func(c choice) bool { return c.Value == value })
	return f.choose(k, choices[i]), nil
}

// choose logs a choice, and closes the test where a note was given before.
func (f *Flow) choose(k int, c choice) frame.Taken {
	t := frame.Taken{Drafts: append([]leakback.Event{frame.Event(mark(k, markNext), c.Value)}, c.events...)}
	if c.Value == nextDone && f.has(setKey(leakback.FieldNote)) {
		t.Drafts = append(t.Drafts, f.ending())
	}
	return t
}

func (f *Flow) ending() leakback.Event {
	return frame.Event(leakback.Key{Kind: leakback.KindEnd}, leakback.EndDone)
}

// resultNotes say what is open and what would settle it, each once.
func (f *Flow) resultNotes() []string {
	result, err := f.Result()
	if err != nil {
		return []string{"No verdict yet: " + err.Error()}
	}
	var notes []string
	add := func(text string) {
		if !slices.Contains(notes, text) {
			notes = append(notes, text)
		}
	}
	if s := result.Settle; s != nil {
		add("To settle it: " + s.Text + ".")
	}
	for i := range result.Cylinders {
		c := &result.Cylinders[i]
		if c.Settle != nil && (result.Settle == nil || c.Settle.Text != result.Settle.Text) {
			add(fmt.Sprintf("Cylinder %d is %s: %s.", c.Cylinder, c.Verdict, c.Settle.Text))
		}
	}
	return notes
}

// choices are what can be done after run k, what is proposed first.
func (f *Flow) choices(k int) []choice {
	all := f.proposals(k)
	add := func(c choice) {
		if !slices.ContainsFunc(all, func(o choice) bool { return o.Value == c.Value }) {
			all = append(all, c)
		}
	}
	rest := []choice{
		f.another(k, nextAgain, "another run of the same length", 0, 0),
		f.another(k, nextLonger, "another run of another length", 0, 0),
		{Option: ask.Option{Value: nextTube, Label: "another run with other tubes"}, events: []leakback.Event{frame.Event(mark(k+1, markOtherTube), "1")}},
		{Option: ask.Option{Value: nextCorrect, Label: "correct a reading, or the length of a run"}},
		{Option: ask.Option{Value: nextState, Label: "record the state (temperature, pressure, speed)"}},
		{Option: ask.Option{Value: nextLeaveOut, Label: "leave a run out, or take it back in"}},
	}
	done := choice{Option: ask.Option{Value: nextDone, Label: "finish: the test is complete"}}
	if len(all) == 0 {
		add(done)
	}
	for _, c := range rest {
		add(c)
	}
	add(done)
	if k >= leakback.HighestRun {
		all = slices.DeleteFunc(all, func(c choice) bool { return len(c.events) > 0 })
	}
	return all
}

// correctStep takes corrections until an empty line.
func (f *Flow) correctStep(k int) frame.Step {
	return frame.Step{ID: runID(k, nextCorrect),
		Ask: func() ask.Question {
			q := ask.Question{Kind: ask.Reading, Section: "The result", Prompt: "Correction", Table: f.table(), Board: f.board(k),
				Hint: f.example(k) + " because misread, interval=61s; Enter ends the corrections"}
			if k > 1 {
				q.Hint = fmt.Sprintf("%s because misread, run 1 %s, interval=61s; Enter ends the corrections", f.example(k), f.example(1))
			}
			return q
		},
		Take: func(a frame.Answer) (frame.Taken, error) {
			if a.Text == "" {
				return frame.Taken{Drafts: []leakback.Event{frame.Event(mark(k, markNext), "")}}, nil
			}
			return f.takeReading(k, outlet{}, a)
		}}
}

// whichRunStep asks which run is left out, or taken back in.
func (f *Flow) whichRunStep(k int) frame.Step {
	var options []ask.Option
	for j := 1; j <= k; j++ {
		label := fmt.Sprintf("leave run %d out", j)
		if f.leftOut(j) {
			label = fmt.Sprintf("take run %d back in", j)
		}
		options = append(options, ask.Option{Value: strconv.Itoa(j), Label: label})
	}
	return frame.Step{ID: runID(k, nextLeaveOut),
		Ask: func() ask.Question {
			return ask.Question{Kind: ask.Choice, Section: "The result", Prompt: "Which run", Options: options,
				Hint: "skip leaves all as they are", Table: f.table()}
		},
		Take: func(a frame.Answer) (frame.Taken, error) {
			if a.Text == "" {
				return frame.Taken{Drafts: []leakback.Event{frame.Event(mark(k, markNext), "")}}, nil
			}
			value, expected := frame.OneOf(options, nil)(a.Text)
			if expected != "" {
				return frame.Taken{}, frame.Refuse(a.Text, expected)
			}
			return frame.Taken{Drafts: []leakback.Event{frame.Event(mark(k, markNext), nextLeaveOut+" "+value)}}, nil
		}}
}

// reasonStep asks why.
func (f *Flow) reasonStep(k, run int) frame.Step {
	value, prompt, said := "1", "Why run %d is left out", "run %d is left out: "
	if f.leftOut(run) {
		value, prompt, said = "", "Why run %d takes part again", "run %d takes part again: "
	}
	key := leakback.Key{Kind: leakback.KindLeaveOut, Run: run}
	return frame.Step{ID: runID(k, "reason"),
		Ask: func() ask.Question {
			return ask.Question{Section: "The result", Prompt: fmt.Sprintf(prompt, run), Hint: "such as a tube was knocked over", Required: true}
		},
		Take: func(a frame.Answer) (frame.Taken, error) {
			if a.Text == "" {
				return frame.Taken{}, frame.Refuse("", "a reason, which stands in the report")
			}
			reason, expected := frame.Words(leakback.LongestSentence)(a.Text)
			if expected != "" {
				return frame.Taken{}, frame.Refuse(a.Text, expected)
			}
			e := frame.Event(key, value)
			e.Reason = reason
			return frame.Taken{Drafts: []leakback.Event{e}, Said: []string{fmt.Sprintf(said, run) + reason}}, nil
		}}
}

// noteStep asks for a note and closes the test.
func (f *Flow) noteStep() frame.Step {
	return frame.Step{ID: leakback.FieldNote,
		Ask: func() ask.Question {
			return ask.Question{Section: "The end", Prompt: "Note", Hint: "one line for the report; Enter leaves it out"}
		},
		Take: func(a frame.Answer) (frame.Taken, error) {
			value, expected := frame.Words(leakback.LongestSentence)(a.Text)
			if expected != "" {
				return frame.Taken{}, frame.Refuse(a.Text, expected)
			}
			return frame.Taken{Drafts: []leakback.Event{frame.Event(setKey(leakback.FieldNote), value), f.ending()}}, nil
		}}
}
