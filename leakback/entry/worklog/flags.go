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

// Flag is a flag that says something of a work.
type Flag struct {
	// Name is the flag's, without its dashes.
	Name string
	// Field is the field of the work log, or repair.FieldStep.
	Field string
	// Usage says in a line what it takes.
	Usage string
}

// flags are in the order of the fields of the work log.
var flags = []Flag{
	{"injector", repair.FieldInjector, ""},
	{"swapped-with", repair.FieldSwappedWith, "the other cylinder of injectors that were swapped"},
	{"serial-out", repair.FieldSerialOut, "serial number of the injector that came out"},
	{"serial-in", repair.FieldSerialIn, "serial number of the injector that went in"},
	{"code-out", repair.FieldCodeOut, "correction code of the injector that came out"},
	{"code-in", repair.FieldCodeIn, "correction code of the injector that went in"},
	{"core", repair.FieldCore, ""},
	{"feed-tube", repair.FieldFeedTube, ""},
	{"lines", repair.FieldLines, ""},
	{"seals", repair.FieldSeals, ""},
	{"relief-valve", repair.FieldReliefValve, ""},
	{"old-part-tag", repair.FieldOldPartTag, "what is written on the old part"},
	{"old-part-whereabouts", repair.FieldOldPartWhereabouts, "where the old part is kept"},
	{"fault-codes-before", repair.FieldFaultCodesBefore, "the control unit's fault codes before the work"},
	{"fault-codes-after", repair.FieldFaultCodesAfter, "the control unit's fault codes after it"},
	{"symptom-before", repair.FieldSymptomBefore, "what was felt, heard or seen before"},
	{"symptom-after", repair.FieldSymptomAfter, "what is felt, heard or seen now"},
	{"declined", repair.FieldDeclined, "what was proposed and the customer did not want"},
	{"complaint-gone", repair.FieldComplaintGone, ""},
	{"work-done", repair.FieldWorkDone, "when it was done"},
	{"work-note", repair.FieldWorkNote, "anything else, in a line"},
	{FlagStep, repair.FieldStep, `a tightening step with what was reached, in the order of doing: "2=44 lbf·ft", "3=11 lbf·ft + 60° new"`},
}

// FlagStep is the flag of a tightening step.
const FlagStep = "step"

// Flags are the flags that FromFlags takes. One that says where a work was done
// (the cylinder) is the command's own.
func Flags() []Flag {
	list := slices.Clone(flags)
	for i := range list {
		field, _ := repair.FieldNamed(list[i].Field)
		if list[i].Usage == "" {
			list[i].Usage = strings.ToLower(field.Label) + ": " + field.Expected(0)
		}
		if list[i].Field != repair.FieldStep && field.Place == repair.OfCylinder {
			list[i].Usage += " (of the cylinder named before it)"
		}
	}
	return list
}

// Value is what one flag says.
type Value struct {
	// Flag is its name, as Flags has it.
	Flag string
	// Cylinder is the one named before it; 0 for none. What can only be said of
	// the engine does not mind it.
	Cylinder int
	// Text is what was typed.
	Text string
}

// Sheet is what flags are held against.
type Sheet struct {
	// Cylinders is how many the engine has; 0 where that is not known.
	Cylinders int
	// Tightening are the steps of the limits sheet.
	Tightening []limits.Step
}

// FromFlags makes events of what flags say, in their order, for Options.Given.
// Steps get their places in the order in which they stand. Notices say what is
// wrong with a step, or with a part that went back in; the error names the first
// flag that cannot be taken. A torque that would be right in another unit is one:
// it is taken with "as typed" behind it (--step "1=30 lbf·ft as typed").
func FromFlags(values []Value, s Sheet) (drafts []leakback.Event, notices []string, err error) {
	b := &flagBench{f: &Flow{o: Options{Cylinders: s.Cylinders, Tightening: s.Tightening}}, places: map[int]int{}}
	for _, v := range values {
		if err := b.take(v); err != nil {
			return nil, nil, fmt.Errorf("--%s: %w", v.Flag, err)
		}
	}
	if err := b.whole(); err != nil {
		return nil, nil, err
	}
	return b.drafts, append(b.notices, b.faults()...), nil
}

// flagBench gathers what flags say.
type flagBench struct {
	f       *Flow
	drafts  []leakback.Event
	notices []string
	places  map[int]int // how many steps a cylinder has
}

func (b *flagBench) take(v Value) error {
	typed := v.Text
	v.Text = frame.Plain(typed)
	i := slices.IndexFunc(flags, func(f Flag) bool { return f.Name == v.Flag })
	switch {
	case i < 0:
		return frame.Refuse(v.Text, "a flag of the work log")
	case v.Text == "":
		return frame.Refuse(typed, "a value; what is not said is left out")
	case v.Flag == FlagStep:
		return b.step(v)
	}
	field, _ := repair.FieldNamed(flags[i].Field)
	if field.Place == repair.OfEngine {
		v.Cylinder = wholeEngine
	}
	value, err := field.Check(v.Cylinder, b.f.most(), v.Text)
	if err != nil {
		return b.wrong(v, err)
	}
	e := frame.Event(repair.Key(0, v.Cylinder, field.Name), value)
	if slices.ContainsFunc(b.drafts, func(d leakback.Event) bool { return d.Key == e.Key }) {
		return frame.Refuse(v.Text, "it once for "+positionName(v.Cylinder))
	}
	b.drafts = append(b.drafts, e)
	if notice := notices[field.Name][value]; notice != "" {
		b.notices = append(b.notices, lead(v.Cylinder)+notice)
	}
	return nil
}

// wrong says that a flag lacks its cylinder, or what its value is.
func (b *flagBench) wrong(v Value, err error) error {
	if field, _ := repair.FieldNamed(b.fieldOf(v.Flag)); field.Place == repair.OfCylinder && v.Cylinder == wholeEngine {
		return frame.Refuse(v.Text, "--cylinder with its number in front of it")
	}
	return err
}

func (b *flagBench) fieldOf(flag string) string {
	return flags[slices.IndexFunc(flags, func(f Flag) bool { return f.Name == flag })].Field
}

// step takes "2=44 lbf·ft".
func (b *flagBench) step(v Value) error {
	number, rest := namedStep(v.Text)
	if number == 0 {
		return frame.Refuse(v.Text, `the step's number in front of what was reached: "2=44 lbf·ft"`)
	}
	if most := b.f.most(); v.Cylinder < 0 || v.Cylinder > most {
		return frame.Refuse(v.Text, fmt.Sprintf("a cylinder from 1 to %d in front of it, not %d", most, v.Cylinder))
	}
	step, known := b.f.sheetStep(number)
	if !known && len(b.f.o.Tightening) > 0 {
		return frame.Refuse(v.Text, b.f.stepNumbers())
	}
	r, err := readReached(step, v.Text, rest)
	if err != nil {
		return err
	}
	q := doubt(step, r.torque)
	if q != nil && !r.asTyped {
		meant, typed := r, r
		meant.torque, typed.torque = q.Meant, q.Typed
		return frame.Refuse(v.Text, fmt.Sprintf(`the unit made sure of: %s Type "%d=%s", or "%d=%s %s" where it was that`,
			q.Text, number, meant, number, typed, wordAsTyped))
	}
	b.places[v.Cylinder]++
	b.drafts = append(b.drafts, r.events(v.Cylinder, b.places[v.Cylinder], number, q != nil)...)
	return nil
}

// events are what was reached as events of a work without a number.
func (r *reached) events(cylinder, place, number int, asTyped bool) []leakback.Event {
	var list []leakback.Event
	add := func(field, value string) {
		if value != "" {
			list = append(list, frame.Event(repair.StepKey(0, cylinder, place, field), value))
		}
	}
	add(repair.FieldStep, fmt.Sprint(number))
	add(repair.FieldTorque, r.torque)
	if asTyped {
		list[len(list)-1].Reason = reasonAsTyped
	}
	if r.unmeasured {
		list = append(list, frame.Event(repair.StepKey(0, cylinder, place, repair.FieldTorque), ""))
	}
	add(repair.FieldAngleDeg, r.angleDeg)
	add(repair.FieldNewFastener, r.fastener)
	return list
}

// whole refuses a swap that is said by half, and one that the other cylinder
// denies.
func (b *flagBench) whole() error {
	w := b.work()
	for _, e := range b.drafts {
		switch p := w.At(e.Cylinder); {
		case e.Field == repair.FieldSwappedWith && p.Injector != repair.Swapped:
			return fmt.Errorf("--swapped-with: %w", frame.Refuse(e.Value, "--injector swapped beside it"))
		case e.Field == repair.FieldInjector && e.Value == repair.Swapped && p.SwappedWith == 0:
			return fmt.Errorf("--injector: %w", frame.Refuse(e.Value, "--swapped-with and the other cylinder beside it"))
		}
	}
	if text := denied(w); text != "" {
		return fmt.Errorf("--swapped-with: expected %s", text)
	}
	return nil
}

// work is what the flags say so far.
func (b *flagBench) work() *repair.Work {
	r := &leakback.Record{}
	for _, e := range b.drafts {
		e.Run = 1
		r.Add(e)
	}
	w, err := workOf(r, 1)
	if err != nil { // every value was checked
		return &repair.Work{}
	}
	return w
}

// faults are what is wrong with the steps so far.
func (b *flagBench) faults() []string {
	var list []string
	if len(b.f.o.Tightening) == 0 {
		return nil
	}
	w := b.work()
	for c := range b.places {
		for _, fault := range repair.CheckSteps(b.f.o.Tightening, w.StepsAt(c), false) {
			list = append(list, beware(fault))
		}
	}
	slices.Sort(list)
	return list
}
