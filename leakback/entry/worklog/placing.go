package worklog

import (
	"fmt"
	"slices"
	"strings"

	"leakback/leakback"
	"leakback/leakback/entry/frame"
	"leakback/leakback/repair"
	"leakback/limits"
)

// takePlace makes events of what was typed where a step is asked for.
func (f *Flow) takePlace(d repair.StepDone, step limits.Step, a frame.Answer) (frame.Taken, error) {
	switch {
	case a.Skip:
		return f.passOver(d, step, ""), nil
	case a.Text == "" && d.Step != 0 && done(d) != "":
		return frame.Taken{}, nil
	case a.Text == "":
		return frame.Taken{}, frame.Refuse("", "what was reached, such as "+mainText(step)+", or skip where the step was not done")
	case strings.EqualFold(a.Text, wordDone) && d.Step == 0:
		return frame.Taken{Drafts: []leakback.Event{frame.Event(f.mark(d.Cylinder, markTight), wordDone)}}, nil
	}
	return f.takeReached(d, step, a.Text)
}

// takeReached makes events of what was reached, in the step asked for or in one
// that is named. A step named with a reason is corrected where it was entered.
func (f *Flow) takeReached(d repair.StepDone, step limits.Step, typed string) (frame.Taken, error) {
	text, reason, err := frame.Because(typed)
	if err != nil {
		return frame.Taken{}, err
	}
	number, rest := namedStep(text)
	if number != 0 {
		named, ok := f.sheetStep(number)
		if !ok {
			return frame.Taken{}, frame.Refuse(typed, f.stepNumbers())
		}
		if last, carried := f.lastPlace(d.Cylinder, number); carried && reason != "" && number != d.Step {
			d = last
		}
		step = named
	}
	if strings.EqualFold(rest, frame.WordSkip) {
		return f.passOver(d, step, reason), nil
	}
	r, err := readReached(step, typed, rest)
	if err != nil {
		return frame.Taken{}, err
	}
	return f.setPlace(d, step, r, reason), nil
}

// stepNumbers is what is expected of a step's number.
func (f *Flow) stepNumbers() string {
	var list []string
	for _, s := range f.o.Tightening {
		list = append(list, fmt.Sprint(s.Step))
	}
	return "one of the sheet's steps: " + strings.Join(list, ", ")
}

// lastPlace is the last place at which a step was carried out, and whether it was.
func (f *Flow) lastPlace(cylinder, step int) (repair.StepDone, bool) {
	for _, d := range slices.Backward(f.placed(f.standing(), cylinder)) {
		if d.Step == step {
			return d, true
		}
	}
	return repair.StepDone{}, false
}

// setPlace logs what is new of a step at a place.
func (f *Flow) setPlace(d repair.StepDone, step limits.Step, r reached, reason string) frame.Taken {
	p := &placing{f: f, d: d, step: step}
	other := d.Step != 0 && d.Step != step.Step // what stands there is of another step
	p.set(repair.FieldStep, fmt.Sprint(step.Step), "")
	main := mainField(step)
	if r.asTyped && main == repair.FieldTorque && doubt(step, r.torque) != nil {
		p.set(main, r.torque, strings.TrimSuffix(reasonAsTyped+"; "+reason, "; "))
	} else {
		p.set(main, r.main(step), reason)
	}
	for _, rest := range []struct{ field, value string }{{repair.FieldTorque, r.torque}, {repair.FieldAngleDeg, r.angleDeg},
		{repair.FieldNewFastener, r.fastener}} {
		if rest.field != main && (rest.value != "" || other && p.stands(rest.field)) {
			p.set(rest.field, rest.value, reason)
		}
	}
	if f.notDone(f.Record(), d.Cylinder, step.Step) {
		p.Drafts = append(p.Drafts, frame.Event(f.notDoneKey(d.Cylinder, step.Step), ""))
	}
	return p.Taken
}

// placing gathers what is new at a place.
type placing struct {
	f    *Flow
	d    repair.StepDone
	step limits.Step
	frame.Taken
}

func (p *placing) key(field string) leakback.Key {
	return repair.StepKey(p.f.number, p.d.Cylinder, p.d.Place, field)
}

func (p *placing) stands(field string) bool { return p.f.Record().Value(p.key(field)) != "" }

// set logs a field where it says something new, or has a reason.
func (p *placing) set(field, value, reason string) {
	before, known := p.f.Record().Last(p.key(field))
	if known && before.Value == value && before.Reason != reasonAgain && (reason == "" || reason == before.Reason) {
		return
	}
	e := frame.Event(p.key(field), value)
	e.Reason = reason
	p.Drafts = append(p.Drafts, e)
	if before.Value != "" && before.Value != value {
		p.Said = append(p.Said, fmt.Sprintf("%s%s of step %d: %s (was %s)", lead(p.d.Cylinder), fieldWord(field), p.step.Step,
			orNothing(value), before.Value))
	}
}

// main is the value of a step's main field.
func (r *reached) main(step limits.Step) string {
	if mainField(step) == repair.FieldAngleDeg {
		return r.angleDeg
	}
	return r.torque
}

// fieldWord is a field of a step in words.
func fieldWord(field string) string {
	return map[string]string{repair.FieldStep: "number", repair.FieldTorque: "torque", repair.FieldAngleDeg: "angle in degrees",
		repair.FieldNewFastener: "new fastener"}[field]
}

// passOver notes that a step was not done, and takes back what was entered of it.
func (f *Flow) passOver(d repair.StepDone, step limits.Step, reason string) frame.Taken {
	t := frame.Taken{Drafts: f.takeBackPlace(d)}
	e := frame.Event(f.notDoneKey(d.Cylinder, step.Step), "1")
	e.Reason = reason
	t.Drafts = append(t.Drafts, e)
	return t
}

// takeBackPlace are events that take back what stands at a place.
func (f *Flow) takeBackPlace(d repair.StepDone) []leakback.Event {
	var drafts []leakback.Event
	for _, field := range []string{repair.FieldStep, repair.FieldTorque, repair.FieldAngleDeg, repair.FieldNewFastener} {
		if key := repair.StepKey(f.number, d.Cylinder, d.Place, field); f.has(key) {
			drafts = append(drafts, frame.Event(key, ""))
		}
	}
	return drafts
}
