package flow

import (
	"fmt"
	"slices"
	"strings"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/frame"
	"leakback/leakback/entry/recorded"
	"leakback/limits"
	"leakback/limits/quantity"
)

// askTube asks for the tubes of the test, or of one run that has others.
func (f *Flow) askTube(l *frame.List, run int) {
	section, id := "The tubes", func(name string) string { return name }
	if run > 0 {
		section, id = runSection(run), func(name string) string { return runID(run, name) }
	}
	graduation, capacity := runSet(run, recorded.FieldGraduationML), runSet(run, recorded.FieldCapacityML)
	own := f.has(mark(run, markOwnTube)) || f.has(graduation) != f.has(capacity)
	nothing := ""
	if run > 0 {
		nothing = recorded.None
	}
	read := f.readIn(run) || run == 0 && f.anyReading() // a file's, which says what tubes it knows of
	add := func(s frame.Step) {
		s.Done = s.Done || read
		l.Add(s)
	}
	if !own || f.has(mark(run, markOwnTube)) {
		add(f.glassStep(run, section, id("tube")))
	}
	if own {
		add(f.frame.Field(frame.Field{Key: graduation, ID: id(recorded.FieldGraduationML), Read: positive(quantity.Volume),
			Question: ask.Question{Section: section, Prompt: "Step between two marks", Required: true, Hint: "such as 1 mL"}}))
		add(f.frame.Field(frame.Field{Key: capacity, ID: id(recorded.FieldCapacityML), Read: positive(quantity.Volume), Nothing: nothing,
			Question: ask.Question{Section: section, Prompt: "Highest mark", Hint: "such as 100 mL; skip leaves it open"}}))
	}
	add(f.scaleStep(run, section, id))
}

// glassStep asks for both at once, of the common sizes.
func (f *Flow) glassStep(run int, section, id string) frame.Step {
	graduation, capacity := runSet(run, recorded.FieldGraduationML), runSet(run, recorded.FieldCapacityML)
	options := glassOptions()
	return frame.Step{ID: id, Done: f.has(mark(run, markOwnTube)) || f.has(graduation) && f.has(capacity),
		Ask: func() ask.Question {
			return ask.Question{Kind: ask.Choice, Section: section, Prompt: "Tube", Options: options, Default: f.glass(run),
				Hint: "highest mark and step between two marks in mL, such as 100/1, or other", Required: true}
		},
		Take: func(a frame.Answer) (frame.Taken, error) { return f.takeGlass(run, options, a) }}
}

func (f *Flow) takeGlass(run int, options []ask.Option, a frame.Answer) (frame.Taken, error) {
	text := a.Text
	if a.Empty() {
		text = f.glass(run)
	}
	value, expected := frame.OneOf(options, ownGlass)(text)
	switch {
	case expected != "" || text == "":
		return frame.Taken{}, frame.Refuse(a.Text, "the tube's highest mark and the step between two marks in mL, such as 100/1, or other")
	case value == wordOther && a.Empty(): // it was said before
		return frame.Taken{}, nil
	case value == wordOther:
		return frame.Taken{Drafts: []leakback.Event{frame.Event(mark(run, markOwnTube), "1")}}, nil
	}
	full, step, _ := strings.Cut(value, "/")
	return f.renewed(typedEvent(runSet(run, recorded.FieldCapacityML), full, text),
		typedEvent(runSet(run, recorded.FieldGraduationML), step, text)), nil
}

// glass is the tube that stands for the test or a run, as it is typed; where none
// does, the one that was used last.
func (f *Flow) glass(run int) string {
	full, step := f.Record().Value(runSet(run, recorded.FieldCapacityML)), f.Record().Value(runSet(run, recorded.FieldGraduationML))
	if run == 0 && full == "" && step == "" {
		full, step = f.latest(recorded.FieldCapacityML), f.latest(recorded.FieldGraduationML)
	}
	switch {
	case full != "" && step != "":
		return full + "/" + step
	case f.has(mark(run, markOwnTube)):
		return wordOther
	}
	return ""
}

// typedEvent is an event with what was typed for it.
func typedEvent(key leakback.Key, value, typed string) leakback.Event {
	e := frame.Event(key, value)
	if typed != value {
		e.Typed = typed
	}
	return e
}

// usualML is the size that is offered first: common practice, no source.
const usualML = 100

// glassOptions are the common sizes of tubes.
func glassOptions() []ask.Option {
	var options []ask.Option
	for _, g := range limits.CommonGlass() {
		full, step := quantity.Plain(g.CapacityML, -1), quantity.Plain(g.GraduationML, -1)
		o := ask.Option{Value: full + "/" + step, Label: full + " mL, marks " + step + " mL apart"}
		if g.CapacityML == usualML {
			options = slices.Insert(options, 0, o)
			continue
		}
		options = append(options, o)
	}
	return append(options, ask.Option{Value: wordOther, Label: "another, or without a known highest mark"})
}

// ownGlass reads a tube that is none of the common ones, as 120/2.
func ownGlass(text string) (value, expected string) {
	full, step, found := strings.Cut(text, "/")
	read := positive(quantity.Volume)
	f, wrongFull := read(strings.TrimSpace(full))
	s, wrongStep := read(strings.TrimSpace(step))
	if !found || wrongFull != "" || wrongStep != "" || number(s) > number(f) {
		return "", "a tube"
	}
	return f + "/" + s, ""
}

// scaleStep asks how good the scale is: a class of glass, a figure, or one mark.
func (f *Flow) scaleStep(run int, section string, id func(string) string) frame.Step {
	class, tolerance := runSet(run, recorded.FieldTubeClass), runSet(run, recorded.FieldToleranceML)
	if own := f.frame.Place(mark(run, markOwnScale)); own > max(f.frame.Place(class), f.frame.Place(tolerance)) {
		return f.frame.Field(frame.Field{Key: tolerance, ID: id(recorded.FieldToleranceML), Read: figure(quantity.Volume), Question: ask.Question{
			Section: section, Prompt: "Largest error of the scale", Required: true, Hint: "such as 0.5 mL"}})
	}
	options, standing := f.scales(run), wordMark
	for _, key := range []leakback.Key{class, tolerance} {
		if value := f.Record().Value(key); value != "" && value != recorded.None {
			standing = value
		}
	}
	read := frame.OneOf(options, figure(quantity.Volume))
	done := f.has(class) || f.has(tolerance)
	return frame.Step{ID: id(recorded.FieldTubeClass), Done: done,
		Ask: func() ask.Question {
			return ask.Question{Kind: ask.Choice, Section: section, Prompt: "How good the scale is", Options: options,
				Default: standing, Required: true, Hint: "one of these, or the largest error such as 0.5 mL"}
		},
		Take: func(a frame.Answer) (frame.Taken, error) {
			text := a.Text
			switch {
			case done && a.Empty():
				return frame.Taken{}, nil
			case text == "":
				text = standing
			}
			value, expected := read(text)
			if expected != "" {
				return frame.Taken{}, frame.Refuse(a.Text, ask.Alternatives(options)+", or the largest error of the scale such as 0.5 mL")
			}
			return f.takeScale(run, value, text), nil
		}}
}

// scales are the kinds of scale that a tube of its size may have.
func (f *Flow) scales(run int) []ask.Option {
	options := []ask.Option{{Value: wordMark, Label: "to one mark: workshop plastic, or not known"}}
	capacity := f.number(runSet(run, recorded.FieldCapacityML))
	for _, class := range []string{"A", "B"} {
		if tolerance, err := limits.GlassToleranceML(capacity, class); err == nil {
			options = append(options, ask.Option{Value: class, Label: fmt.Sprintf("class %s of ASTM E1272: to %s", class,
				quantity.Format(quantity.Volume, tolerance))})
		}
	}
	return append(options, ask.Option{Value: wordOther, Label: "to a figure of its own"})
}

// takeScale logs how good a scale is. Of one run it takes the place of the test's.
func (f *Flow) takeScale(run int, value, typed string) frame.Taken {
	class, tolerance := runSet(run, recorded.FieldTubeClass), runSet(run, recorded.FieldToleranceML)
	nothing := ""
	if run > 0 {
		nothing = recorded.None
	}
	switch value {
	case wordOther:
		return frame.Taken{Drafts: []leakback.Event{frame.Event(mark(run, markOwnScale), "1")}}
	case wordMark:
		return f.renewed(frame.Event(class, nothing), frame.Event(tolerance, nothing))
	case "A", "B":
		return f.renewed(frame.Event(class, value), frame.Event(tolerance, nothing))
	}
	return f.renewed(typedEvent(tolerance, value, typed), frame.Event(class, nothing))
}

// renewed are those of the events that say something new.
func (f *Flow) renewed(events ...leakback.Event) frame.Taken {
	var t frame.Taken
	for _, e := range events {
		if before, known := f.Record().Last(e.Key); !known || before.Value != e.Value {
			t.Drafts = append(t.Drafts, e)
		}
	}
	return t
}
