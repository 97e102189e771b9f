package repair

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/limits/quantity"
)

// Work is what was done to an engine in one go.
type Work struct {
	// Number is the work's place after its test, from 1.
	Number int
	// Positions are what was done at each cylinder, in their order; that of the
	// engine as a whole (cylinder 0) comes first.
	Positions []Position
	// Steps are the tightening steps that were carried out, by cylinder and in
	// the order of doing.
	Steps []StepDone
	// What follows is said of the engine; "" where nobody said.
	FaultCodesBefore, FaultCodesAfter string
	SymptomBefore, SymptomAfter       string
	// Done is when it was done, as typed.
	Done string
	// ComplaintGone is Yes, No, NotTried or "".
	ComplaintGone string
	// FirstUS and LastUS are when the first and the last of it was entered, in
	// microseconds since the beginning of 1970, UTC.
	FirstUS, LastUS int64
	// People entered it, each once, the first to do so first.
	People []string
}

// Position is what was done at one cylinder, or to the engine as a whole. What
// nobody said is "".
type Position struct {
	// Cylinder is 0 for the engine as a whole.
	Cylinder int
	// Injector is Replaced, Swapped, Cleaned or Refitted.
	Injector string
	// SwappedWith is the other cylinder of a swap; 0 where there is none.
	SwappedWith                    int
	SerialOut, SerialIn            string
	CodeOut, CodeIn                string
	Core                           string // Yes, No or Returned
	FeedTube                       string // New, Reused or Reseated
	Lines                          string // New, Reused or Tightened
	Seals                          string // New or Reused
	ReliefValve                    string // Replaced, Cleaned or Checked
	OldPartTag, OldPartWhereabouts string
	Declined                       string
	Note                           string
}

// StepDone is one tightening step that was carried out.
type StepDone struct {
	// Cylinder is 0 where it was no cylinder's.
	Cylinder int
	// Place is the step's place in the order of doing at that cylinder, from 1.
	Place int
	// Step is the number of the sheet's step; 0 where nobody said.
	Step int
	// Torque is as typed, with its unit; "" where none was entered. TorqueNM is
	// the same in N·m, NaN without.
	Torque   string
	TorqueNM float64
	// AngleDeg is NaN where none was entered.
	AngleDeg float64
	// NewFastener is Yes, No or "".
	NewFastener string
	// AtUS is when its number was entered, and Person who did.
	AtUS   int64
	Person string
}

// set puts a value where the field belongs.
func (w *Work) set(cylinder int, field, value string) {
	if to := w.ofEngine(field); to != nil {
		*to = value
		return
	}
	p := w.at(cylinder)
	if field == FieldSwappedWith {
		p.SwappedWith, _ = strconv.Atoi(value) // checked
		return
	}
	*p.of(field) = value
}

// ofEngine is where a field of the engine is kept; nil for any other.
func (w *Work) ofEngine(field string) *string {
	switch field {
	case FieldFaultCodesBefore:
		return &w.FaultCodesBefore
	case FieldFaultCodesAfter:
		return &w.FaultCodesAfter
	case FieldSymptomBefore:
		return &w.SymptomBefore
	case FieldSymptomAfter:
		return &w.SymptomAfter
	case FieldComplaintGone:
		return &w.ComplaintGone
	case FieldWorkDone:
		return &w.Done
	}
	return nil
}

// at is the position of a cylinder, made where there is none.
func (w *Work) at(cylinder int) *Position {
	i, found := slices.BinarySearchFunc(w.Positions, cylinder, func(p Position, c int) int { return p.Cylinder - c })
	if !found {
		w.Positions = slices.Insert(w.Positions, i, Position{Cylinder: cylinder})
	}
	return &w.Positions[i]
}

// At is what was done at a cylinder; the zero Position with that cylinder where
// nothing was.
func (w *Work) At(cylinder int) Position {
	for _, p := range w.Positions {
		if p.Cylinder == cylinder {
			return p
		}
	}
	return Position{Cylinder: cylinder}
}

// of is where a text of the position is kept.
func (p *Position) of(field string) *string {
	return map[string]*string{
		FieldInjector: &p.Injector, FieldSerialOut: &p.SerialOut, FieldSerialIn: &p.SerialIn,
		FieldCodeOut: &p.CodeOut, FieldCodeIn: &p.CodeIn, FieldCore: &p.Core, FieldFeedTube: &p.FeedTube,
		FieldLines: &p.Lines, FieldSeals: &p.Seals, FieldReliefValve: &p.ReliefValve, FieldOldPartTag: &p.OldPartTag,
		FieldOldPartWhereabouts: &p.OldPartWhereabouts, FieldDeclined: &p.Declined, FieldWorkNote: &p.Note,
	}[field]
}

// Works are the works that a record holds, in the order of their numbers, with
// what stands of each after corrections. The error names the first entry that
// no work log takes.
func Works(r *leakback.Record) ([]Work, error) {
	byNumber := map[int]*Work{}
	for _, e := range r.Standing() {
		if e.Kind != leakback.KindWork && e.Kind != leakback.KindStep || e.Run == 0 || e.Value == "" {
			continue
		}
		w := byNumber[e.Run]
		if w == nil {
			w = &Work{Number: e.Run, FirstUS: e.AtUS}
			byNumber[e.Run] = w
		}
		if err := w.take(e); err != nil {
			return nil, fmt.Errorf("work %d, %s%s: %w", e.Run, cylinderLead(e.Cylinder), quantity.Name(e.Field), err)
		}
		w.stamp(e)
	}
	var list []Work
	for _, w := range byNumber {
		w.mirrorSwaps()
		list = append(list, *w)
	}
	slices.SortFunc(list, func(a, b Work) int { return a.Number - b.Number })
	return list, nil
}

func cylinderLead(cylinder int) string {
	if cylinder == wholeEngine {
		return ""
	}
	return fmt.Sprintf("cylinder %d, ", cylinder)
}

// ComplaintGone is what a record says of the complaint: of the test itself, or
// of the last work that says so; Yes, No, NotTried or "".
func ComplaintGone(r *leakback.Record) string {
	said := ""
	var last int64
	for _, e := range r.Standing() {
		if e.Kind == leakback.KindWork && e.Field == FieldComplaintGone && e.Value != "" && e.Seq >= last {
			said, last = e.Value, e.Seq
		}
	}
	return said
}

func (w *Work) take(e leakback.Event) error {
	if e.Kind == leakback.KindStep {
		return w.takeStep(e)
	}
	f, ok := FieldNamed(e.Field)
	if !ok {
		return &Invalid{Value: e.Field, Expected: "a field of the work log"}
	}
	value, err := f.Check(e.Cylinder, 0, e.Value)
	if err != nil {
		return err
	}
	w.set(e.Cylinder, e.Field, value)
	return nil
}

func (w *Work) takeStep(e leakback.Event) error {
	name, place, ok := stepField(e.Field)
	if !ok {
		return &Invalid{Value: e.Field, Expected: "a field of a step with its place: " + FieldStep + " 1"}
	}
	value, err := CheckStepField(name, e.Value)
	if err != nil {
		return err
	}
	s := w.step(e.Cylinder, place)
	switch name {
	case FieldStep:
		s.Step, _ = strconv.Atoi(value)
		s.AtUS, s.Person = e.AtUS, e.Person
	case FieldTorque:
		s.Torque = value
		s.TorqueNM, _ = quantity.Parse(quantity.Torque, value)
	case FieldAngleDeg:
		s.AngleDeg, _ = quantity.ParseNumber(value, false)
	case FieldNewFastener:
		s.NewFastener = value
	}
	return nil
}

// step is the step at a place of a cylinder, made where there is none.
func (w *Work) step(cylinder, place int) *StepDone {
	i, found := slices.BinarySearchFunc(w.Steps, [2]int{cylinder, place}, func(s StepDone, at [2]int) int {
		return slices.Compare([]int{s.Cylinder, s.Place}, at[:])
	})
	if !found {
		nan := math.NaN()
		w.Steps = slices.Insert(w.Steps, i, StepDone{Cylinder: cylinder, Place: place, TorqueNM: nan, AngleDeg: nan})
	}
	return &w.Steps[i]
}

// stamp notes when something was entered, and by whom.
func (w *Work) stamp(e leakback.Event) {
	w.FirstUS, w.LastUS = min(w.FirstUS, e.AtUS), max(w.LastUS, e.AtUS)
	if e.Person != "" && !slices.Contains(w.People, e.Person) {
		w.People = append(w.People, e.Person)
	}
}

// mirrorSwaps says at the other cylinder what was said of a swap at one only.
func (w *Work) mirrorSwaps() {
	for _, p := range slices.Clone(w.Positions) {
		if p.Injector != Swapped || p.SwappedWith == 0 {
			continue
		}
		other := w.at(p.SwappedWith)
		if other.SwappedWith == 0 && (other.Injector == "" || other.Injector == Swapped) {
			other.Injector, other.SwappedWith = Swapped, p.Cylinder
		}
	}
}

// Item is one thing that was done, for a list of the work.
type Item struct {
	// Cylinder is 0 for the engine as a whole.
	Cylinder int
	// Part is the label of what it was done to: "Injector".
	Part string
	// Action is the word for it: "replaced".
	Action string
	// With is the other cylinder of a swap; 0 without.
	With int
	// Detail is what was written down beside it, "" where nothing was: serial
	// numbers, correction codes, the core, the old part's tag.
	Detail string
}

// String is "cylinder 4: injector swapped with cylinder 2 (serial number in A)".
func (i Item) String() string {
	text := cylinderColon(i.Cylinder) + strings.ToLower(i.Part) + " " + i.Action
	if i.With != 0 {
		text += fmt.Sprintf(" with cylinder %d", i.With)
	}
	if i.Detail != "" {
		text += " (" + i.Detail + ")"
	}
	return text
}

func cylinderColon(cylinder int) string {
	if cylinder == wholeEngine {
		return "engine: "
	}
	return fmt.Sprintf("cylinder %d: ", cylinder)
}

// parts are the fields that say what was done to a part.
var parts = []string{FieldInjector, FieldFeedTube, FieldLines, FieldSeals, FieldReliefValve}

// Items are the things that were done, by cylinder.
func (w *Work) Items() []Item {
	var list []Item
	for i := range w.Positions {
		list = append(list, w.Positions[i].items()...)
	}
	return list
}

// items are the things done at a position; the first has the detail.
func (p *Position) items() []Item {
	var list []Item
	for _, name := range parts {
		f, _ := FieldNamed(name)
		if action := *p.of(name); action != "" {
			list = append(list, Item{Cylinder: p.Cylinder, Part: f.Label, Action: action})
		}
	}
	if len(list) > 0 {
		list[0].Detail = p.detail()
	}
	if p.Injector != "" {
		list[0].With = p.SwappedWith
	}
	return list
}

// detail is what was written down beside the parts.
func (p *Position) detail() string {
	var list []string
	for _, name := range []string{FieldSerialOut, FieldSerialIn, FieldCodeOut, FieldCodeIn, FieldCore,
		FieldOldPartTag, FieldOldPartWhereabouts} {
		if value := *p.of(name); value != "" {
			f, _ := FieldNamed(name)
			list = append(list, strings.ToLower(f.Label[:1])+f.Label[1:]+" "+value)
		}
	}
	return strings.Join(list, ", ")
}

// WorkedOn are the cylinders at which something was done that can change their
// return, in their order; cylinders are those of the engine, at each of which
// its lines or seals were worked on where that was said of the engine as a whole.
func WorkedOn(works []Work, cylinders ...int) []int {
	var list []int
	for i := range works {
		for _, p := range works[i].everywhere(cylinders) {
			if p.Cylinder != wholeEngine && p.touched() && !slices.Contains(list, p.Cylinder) {
				list = append(list, p.Cylinder)
			}
		}
	}
	slices.Sort(list)
	return list
}

func (p *Position) touched() bool {
	return p.Injector != "" || p.FeedTube != "" || p.Lines != "" || p.Seals != ""
}

// opened says that the injector or its tube was taken out or loosened, which
// the tightening steps put right.
func (p *Position) opened() bool { return p.Injector != "" || p.FeedTube != "" }
