package worklog

import (
	"fmt"
	"slices"
	"strings"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/frame"
	"leakback/leakback/repair"
	"leakback/limits"
	"leakback/limits/quantity"
)

// Reasons that a torque is logged with when its unit was asked about.
const (
	reasonAsTyped = "the unit was asked about: it stands as typed"
	reasonUnit    = "the unit was asked about: it was another"
	reasonAgain   = "the unit was asked about: to be entered again"
)

// Answers to the question about the unit.
const (
	unitTyped = "typed"
	unitMeant = "meant"
	unitAgain = "again"
)

// wordDone ends the tightening of a cylinder.
const wordDone = "done"

// askTightening asks for the sheet's steps at a cylinder whose injector or feed
// tube was touched.
func (f *Flow) askTightening(l *frame.List, cylinder int) {
	p, placed := f.standing().At(cylinder), f.placed(f.standing(), cylinder)
	if len(f.o.Tightening) == 0 || p.Injector == "" && p.FeedTube == "" && len(placed) == 0 {
		return
	}
	last := 0
	for _, d := range placed {
		f.askPlace(l, d)
		last = max(last, d.Place)
	}
	if step, more := f.nextOf(f.Record(), cylinder, placed); more {
		s := f.placeStep(repair.StepDone{Cylinder: cylinder, Place: last + 1}, step)
		s.Done = f.tight(f.Record(), cylinder)
		l.Add(s)
	}
}

// placed are the steps that were carried out at a cylinder, in their order.
func (f *Flow) placed(w *repair.Work, cylinder int) []repair.StepDone {
	return slices.DeleteFunc(w.StepsAt(cylinder), func(d repair.StepDone) bool { return d.Step == 0 })
}

// nextOf is the sheet's first step that was neither carried out nor passed over.
func (f *Flow) nextOf(r *leakback.Record, cylinder int, placed []repair.StepDone) (limits.Step, bool) {
	left := slices.DeleteFunc(slices.Clone(f.o.Tightening), func(s limits.Step) bool { return f.notDone(r, cylinder, s.Step) })
	return repair.NextStep(left, placed)
}

// notDone says that a step is noted as not done.
func (f *Flow) notDone(r *leakback.Record, cylinder, step int) bool {
	return r.Value(f.notDoneKey(cylinder, step)) != ""
}

func (f *Flow) notDoneKey(cylinder, step int) leakback.Key {
	return f.mark(cylinder, fmt.Sprintf("%s %d", markNotDone, step))
}

// tight says that the tightening of a cylinder was ended, and no step was
// entered since.
func (f *Flow) tight(r *leakback.Record, cylinder int) bool {
	end, ok := r.Last(f.mark(cylinder, markTight))
	if !ok || end.Value == "" {
		return false
	}
	return !slices.ContainsFunc(r.Events, func(e leakback.Event) bool {
		return e.Kind == leakback.KindStep && e.Run == f.number && e.Cylinder == cylinder && e.Seq > end.Seq
	})
}

// sheetStep is the sheet's step of that number, and whether there is one.
func (f *Flow) sheetStep(number int) (limits.Step, bool) {
	i := slices.IndexFunc(f.o.Tightening, func(s limits.Step) bool { return s.Step == number })
	if i < 0 {
		return limits.Step{Step: number, Part: "none of the sheet's"}, false
	}
	return f.o.Tightening[i], true
}

// askPlace asks for what a step that was carried out lacks.
func (f *Flow) askPlace(l *frame.List, d repair.StepDone) {
	step, known := f.sheetStep(d.Step)
	if !known {
		return
	}
	s := f.placeStep(d, step)
	s.Done = f.valued(f.Record(), d, step)
	l.Add(s)
	if q := f.inDoubt(f.Record(), d, step); q != nil {
		l.Add(f.unitStep(d, step, q))
	}
	if step.AngleDeg > 0 && step.TorqueNM > 0 {
		l.Add(f.angleStep(d, step))
	}
	if step.NewFastener {
		l.Add(f.fastenerStep(d, step))
	}
}

// valued says that a step's value, or that it was not measured, is down.
func (f *Flow) valued(r *leakback.Record, d repair.StepDone, step limits.Step) bool {
	e, ok := r.Last(repair.StepKey(f.number, d.Cylinder, d.Place, mainField(step)))
	return ok && (e.Value != "" || e.Reason != reasonAgain)
}

// mainField is what a step is about: its torque, or its angle where it has none.
func mainField(step limits.Step) string {
	if step.TorqueNM == 0 && step.AngleDeg > 0 {
		return repair.FieldAngleDeg
	}
	return repair.FieldTorque
}

// inDoubt is the question about a torque's unit that nobody has answered.
func (f *Flow) inDoubt(r *leakback.Record, d repair.StepDone, step limits.Step) *repair.OtherUnit {
	e, _ := r.Last(repair.StepKey(f.number, d.Cylinder, d.Place, repair.FieldTorque))
	if strings.HasPrefix(e.Reason, reasonAsTyped) {
		return nil
	}
	return doubt(step, e.Value)
}

// placeID is the ID of a question about what was tightened at a place.
func placeID(d repair.StepDone, what string) string {
	return strings.TrimSpace(positionID(d.Cylinder, fmt.Sprintf("tightening %d %s", d.Place, what)))
}

func (f *Flow) section(cylinder int) string {
	return "Tightening of " + positionName(cylinder)
}

// placeStep asks for the value that was reached in a step; d has no step where
// it was not carried out yet.
func (f *Flow) placeStep(d repair.StepDone, step limits.Step) frame.Step {
	return frame.Step{ID: placeID(d, ""),
		Ask: func() ask.Question {
			q := ask.Question{Section: f.section(d.Cylinder), Prompt: capitalized(described(step)), Required: true,
				Hint:  "what was reached, such as " + mainText(step) + "; skip where the step was not done" + f.otherStep(step),
				Notes: f.stepNotes(d, step)}
			if d.Step != 0 {
				q.Default = done(d)
			}
			return q
		},
		Take: func(a frame.Answer) (frame.Taken, error) {
			t, err := f.takePlace(d, step, a)
			return f.watched(d.Cylinder, t), err
		}}
}

// otherStep is how another step than the one asked for is entered.
func (f *Flow) otherStep(step limits.Step) string {
	for _, s := range slices.Backward(f.o.Tightening) {
		if s.Step != step.Step {
			return fmt.Sprintf("; step %d: %s for another one", s.Step, mainText(s))
		}
	}
	return ""
}

// mainText is what a step's first answer looks like.
func mainText(step limits.Step) string {
	if step.TorqueNM == 0 && step.AngleDeg > 0 {
		return quantity.Plain(step.AngleDeg, 3) + "°"
	}
	return torqueText(step)
}

// stepNotes list the steps before the first, and say where a step's figures are
// from.
func (f *Flow) stepNotes(d repair.StepDone, step limits.Step) []string {
	var notes []string
	if d.Place == 1 {
		for _, s := range f.o.Tightening {
			notes = append(notes, capitalized(described(s)))
		}
		notes = append(notes, "Enter them in the order in which they were done; done ends the list where the rest was not.")
	}
	if step.Source != "" {
		notes = append(notes, fmt.Sprintf("Step %d is from: %s", step.Step, step.Source))
	}
	return notes
}

// unitStep asks which unit was meant.
func (f *Flow) unitStep(d repair.StepDone, step limits.Step, q *repair.OtherUnit) frame.Step {
	options := []ask.Option{
		{Value: unitMeant, Label: q.Meant + ", as the step has it"},
		{Value: unitTyped, Label: q.Typed + ", as typed: outside the step's tolerance"},
		{Value: unitAgain, Label: "neither: enter it again"},
	}
	return frame.Step{ID: placeID(d, "unit"),
		Ask: func() ask.Question {
			return ask.Question{Kind: ask.Choice, Section: f.section(d.Cylinder), Prompt: "Which was it", Required: true, Options: options,
				Hint: "a torque in the wrong unit breaks a bolt, or leaves it loose", Notes: []string{capitalized(q.Text)}}
		},
		Take: func(a frame.Answer) (frame.Taken, error) {
			value, expected := frame.OneOf(options, nil)(a.Text)
			t, err := f.takeUnit(d, step, q, value, a)
			if err != nil {
				return t, frame.Refuse(a.Text, expected+", or the torque with its unit")
			}
			return f.watched(d.Cylinder, t), nil
		}}
}

// takeUnit logs which unit it was, or the torque once more; an error says that
// the answer is neither.
func (f *Flow) takeUnit(d repair.StepDone, step limits.Step, q *repair.OtherUnit, value string, a frame.Answer) (frame.Taken, error) {
	switch value {
	case unitTyped:
		return f.retorque(d, d.Torque, reasonAsTyped), nil
	case unitMeant:
		return f.retorque(d, q.Meant, reasonUnit), nil
	case unitAgain:
		return f.retorque(d, "", reasonAgain), nil
	}
	r, err := readReached(step, a.Text, a.Text)
	if err != nil {
		return frame.Taken{}, err
	}
	return f.setPlace(d, step, r, reasonUnit), nil
}

// capitalized is a text that begins a sentence.
func capitalized(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + text[1:]
}

// retorque logs a torque again with the reason.
func (f *Flow) retorque(d repair.StepDone, value, reason string) frame.Taken {
	e := frame.Event(repair.StepKey(f.number, d.Cylinder, d.Place, repair.FieldTorque), value)
	e.Reason = reason
	t := frame.Taken{Drafts: []leakback.Event{e}}
	if value != d.Torque {
		t.Said = []string{fmt.Sprintf("%storque of step %d: %s (was %s); both stay in the record", lead(d.Cylinder), d.Step, orNothing(value), d.Torque)}
	}
	return t
}

// angleStep asks for the angle turned after the torque.
func (f *Flow) angleStep(d repair.StepDone, step limits.Step) frame.Step {
	return f.stepField(d, repair.FieldAngleDeg, ask.Question{Prompt: fmt.Sprintf("Step %d, %s: angle turned", step.Step, step.Part),
		Hint: fmt.Sprintf("in degrees; the step asks for %s°; skip leaves it open", quantity.Plain(step.AngleDeg, 3))})
}

// fastenerStep asks whether a new fastener was fitted.
func (f *Flow) fastenerStep(d repair.StepDone, step limits.Step) frame.Step {
	return f.stepField(d, repair.FieldNewFastener, ask.Question{Kind: ask.Choice,
		Prompt: fmt.Sprintf("Step %d, %s: new fastener", step.Step, step.Part), Hint: "the step asks for one; skip leaves it open",
		Options: []ask.Option{{Value: repair.Yes, Label: "a new one was fitted"}, {Value: repair.No, Label: "the old one went back in"}}})
}

// stepField asks for a field of a step that was carried out.
func (f *Flow) stepField(d repair.StepDone, field string, question ask.Question) frame.Step {
	question.ID, question.Section = placeID(d, field), f.section(d.Cylinder)
	check := func(text string) (string, string) {
		value, err := repair.CheckStepField(field, text)
		if err != nil {
			return "", frame.Expected(err, text)
		}
		return value, ""
	}
	s := f.frame.Field(frame.Field{Question: question, Key: repair.StepKey(f.number, d.Cylinder, d.Place, field), Reasons: true,
		Name: fmt.Sprintf("%sstep %d, %s", lead(d.Cylinder), d.Step, fieldWord(field)), Read: frame.OneOf(question.Options, check)})
	take := s.Take
	s.Take = func(a frame.Answer) (frame.Taken, error) {
		t, err := take(a)
		return f.watched(d.Cylinder, t), err
	}
	return s
}

// watched adds what an answer shows to be wrong with the tightening.
func (f *Flow) watched(cylinder int, t frame.Taken) frame.Taken {
	if len(t.Drafts) == 0 {
		return t
	}
	before := f.faults(f.Record(), cylinder)
	for _, fault := range f.faults(f.frame.With(t.Drafts), cylinder) {
		if slices.Contains(before, fault) {
			continue
		}
		text := beware(fault)
		if fault.Code == repair.DoneTwice {
			text += fmt.Sprintf(" (if it was not: %d step %d = what was reached, because of what)", cylinder, fault.Step)
		}
		t.Said = append(t.Said, text)
	}
	return t
}

// beware is a fault as a message.
func beware(fault repair.StepFault) string { return "beware, " + fault.String() }

// faults are what is wrong with the tightening of a cylinder as far as it was
// entered: what is still to be asked is not missing yet.
func (f *Flow) faults(r *leakback.Record, cylinder int) []repair.StepFault {
	work, err := workOf(r, f.number)
	if err != nil || len(f.o.Tightening) == 0 {
		return nil
	}
	placed, tight := f.placed(work, cylinder), f.tight(r, cylinder)
	early := repair.CheckSteps(f.o.Tightening, placed, false)
	var list []repair.StepFault
	for _, fault := range repair.CheckSteps(f.o.Tightening, placed, true) {
		late := fault.Code == repair.Skipped && !tight && !f.notDone(r, cylinder, fault.Step) && !slices.Contains(early, fault)
		if late || f.stillAsked(r, work, cylinder, fault) {
			continue
		}
		fault.Cylinder = cylinder
		list = append(list, fault)
	}
	return list
}

// stillAsked says that a fault is about a value that is to be asked for.
func (f *Flow) stillAsked(r *leakback.Record, work *repair.Work, cylinder int, fault repair.StepFault) bool {
	i := slices.IndexFunc(work.Steps, func(d repair.StepDone) bool { return d.Cylinder == cylinder && d.Place == fault.Place })
	if i < 0 {
		return false
	}
	d := work.Steps[i]
	step, _ := f.sheetStep(d.Step)
	down := func(field string) bool {
		_, ok := r.Last(repair.StepKey(f.number, cylinder, d.Place, field))
		return ok
	}
	switch fault.Code {
	case repair.TorqueMissing:
		return !f.valued(r, d, step)
	case repair.TorqueOutside:
		return f.inDoubt(r, d, step) != nil
	case repair.AngleMissing:
		return !down(repair.FieldAngleDeg)
	case repair.FastenerNotSaid:
		return !down(repair.FieldNewFastener)
	}
	return false
}
