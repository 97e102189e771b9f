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
)

const (
	tubesEach = "each" // every cylinder has a tube
	tubesOne  = "one"  // one tube, a cylinder after the other

	orderNumber = "number"
	orderFiring = "firing"

	wordOther = "other" // none of the options
	wordMark  = "mark"  // a scale that is good to one mark
)

// askHow asks how the test is done.
func (f *Flow) askHow(l *frame.List) {
	const section = "The test"
	l.Add(f.frame.Field(frame.Field{Key: setKey(leakback.FieldMethod), Read: f.unread(frame.OneOf(methods, nil)),
		Question: ask.Question{Kind: ask.Choice, Section: section, Prompt: "How the returns are collected",
			Options: methods, Default: string(leakback.MethodIndividual), Required: true}}))
	f.cylinderCount(l)
	if f.method() == leakback.MethodIndividual {
		l.Add(f.tubesStep(section))
	}
	f.askCondition(l, section)
	l.Add(f.frame.Field(frame.Field{Key: setKey(recorded.FieldInjectors), Read: frame.OneOf(injectorStates, nil),
		Question: ask.Question{Kind: ask.Choice, Section: section, Prompt: "Injectors", Options: injectorStates,
			Default: f.usualInjectors(), Hint: "skip leaves it open"}}))
	f.askTube(l, 0)
	if f.method() == leakback.MethodIndividual && len(f.firingOrder()) > 0 {
		l.Add(f.orderStep(section))
	}
}

var methods = []ask.Option{
	{Value: string(leakback.MethodIndividual), Label: "each cylinder's own return"},
	{Value: string(leakback.MethodBlockOff), Label: "the merged return, one cylinder after the other blocked at the rail"},
	{Value: string(leakback.MethodTotal), Label: "the merged return alone: no cylinder is identified"},
}

var injectorStates = []ask.Option{
	{Value: limits.Driven, Label: "the engine's computer opens them"},
	{Value: limits.Off, Label: "disabled: they stay closed"},
}

// unread refuses another answer once something was read.
func (f *Flow) unread(read frame.Reader) frame.Reader {
	return func(text string) (string, string) {
		value, expected := read(text)
		if before := f.Record().Value(setKey(leakback.FieldMethod)); expected == "" && value != before && f.anyReading() {
			return "", before + ", as it was read; give up this test and begin another for another way"
		}
		return value, expected
	}
}

// tubesStep asks whether every cylinder has a tube.
func (f *Flow) tubesStep(section string) frame.Step {
	options := []ask.Option{
		{Value: tubesEach, Label: "a tube for each cylinder, all read in one run"},
		{Value: tubesOne, Label: "a single tube, one cylinder after the other, the first again at the end"},
	}
	s := f.frame.Field(frame.Field{Key: mark(0, markTubes), Question: ask.Question{Kind: ask.Choice, Section: section, Prompt: "Tubes",
		Options: options, Default: f.tubes(), Required: true},
		Read: func(text string) (string, string) {
			value, expected := frame.OneOf(options, nil)(text)
			if expected == "" && f.anyReading() && value != f.tubes() {
				return "", f.tubes() + ", as it was read"
			}
			return value, expected
		}})
	s.Done = s.Done || f.anyReading()
	return s
}

// tubes says whether every cylinder has a tube; where nobody did, the readings do.
func (f *Flow) tubes() string {
	if value := f.Record().Value(mark(0, markTubes)); value != "" {
		return value
	}
	cylinders := map[int]map[int]bool{}
	for _, e := range f.Record().Events {
		if e.Kind == leakback.KindReading && e.Cylinder > 0 {
			if cylinders[e.Run] == nil {
				cylinders[e.Run] = map[int]bool{}
			}
			cylinders[e.Run][e.Cylinder] = true
		}
	}
	for _, in := range cylinders {
		if len(in) > 1 {
			return tubesEach
		}
	}
	if len(cylinders) > 1 {
		return tubesOne
	}
	return tubesEach
}

// oneTube says that a run holds one cylinder's return.
func (f *Flow) oneTube() bool {
	return f.method() == leakback.MethodIndividual && f.tubes() == tubesOne
}

// askCondition asks for the running state: a usual one, one that the sheet has
// limits for, or the shop's own word.
func (f *Flow) askCondition(l *frame.List, section string) {
	key := setKey(recorded.FieldCondition)
	own := f.frame.Place(mark(0, markOwnWord)) > f.frame.Place(key)
	options := f.conditions()
	choice := f.frame.Field(frame.Field{Key: key, Read: frame.OneOf(options, frame.Words(leakback.LongestName)), Question: ask.Question{
		Kind: ask.Choice, Section: section, Prompt: "Condition", Options: options, Default: f.usualCondition(),
		Hint: "one of these or your own word; skip leaves it open, and then no absolute limit applies"}})
	take := choice.Take
	choice.Done = choice.Done || own
	choice.Take = func(a frame.Answer) (frame.Taken, error) {
		if own && a.Empty() {
			return frame.Taken{}, nil
		}
		if value, _ := frame.OneOf(options, frame.Words(leakback.LongestName))(a.Text); value == wordOther {
			return frame.Taken{Drafts: []leakback.Event{frame.Event(mark(0, markOwnWord), "1")}}, nil
		}
		return take(a)
	}
	l.Add(choice)
	if !own {
		return
	}
	word := f.frame.Field(frame.Field{Key: key, ID: "condition word", Read: frame.Words(leakback.LongestName), Since: f.frame.Place(mark(0, markOwnWord)),
		Question: ask.Question{Section: section, Prompt: "Condition in your own word", Hint: "such as warm idle, lights on"}})
	l.Add(word)
}

// conditions are the ones to choose from: the sheet's first.
func (f *Flow) conditions() []ask.Option {
	var limited, options []ask.Option
	if f.sheet != nil {
		for _, name := range limitConditions(f.sheet) {
			limited = append(limited, ask.Option{Value: name, Label: name})
		}
	}
	for _, o := range usualConditions {
		i := slices.IndexFunc(limited, func(l ask.Option) bool { return strings.EqualFold(l.Value, o.Value) })
		if i < 0 {
			options = append(options, o)
			continue
		}
		limited[i].Label = o.Label + " (the sheet has a limit)"
	}
	return append(limited, options...)
}

var usualConditions = []ask.Option{
	{Value: "idle", Label: "the engine idles"},
	{Value: leakback.Cranking, Label: "the starter turns the engine"},
	{Value: "raised-idle", Label: "idle, held at a higher speed"},
	{Value: "commanded-pressure", Label: "rail pressure set by a tester"},
	{Value: wordOther, Label: "another, in your own word"},
}

// usualCondition is the one that the sheet has limits for, where it is one.
func (f *Flow) usualCondition() string {
	if f.sheet == nil {
		return ""
	}
	if names := limitConditions(f.sheet); len(names) == 1 {
		return names[0]
	}
	return ""
}

// usualInjectors is the state that the limit names, else driven where the engine
// runs by itself.
func (f *Flow) usualInjectors() string {
	if limit := f.limit(); limit != nil && limit.Injectors != "" {
		return limit.Injectors
	}
	if condition := f.set(recorded.FieldCondition); condition == "" || f.cranking() {
		return ""
	}
	return limits.Driven
}

// limit is the limit that applies as far as the state is known; nil where none
// does.
func (f *Flow) limit() *limits.Limit {
	if f.sheet == nil {
		return nil
	}
	return f.sheet.For(f.set(recorded.FieldCondition), f.set(recorded.FieldInjectors), limits.State{}).Limit
}

// firingOrder is the sheet's, where it has every cylinder.
func (f *Flow) firingOrder() []int {
	if f.sheet == nil || len(f.sheet.FiringOrder) != f.cylinders() {
		return nil
	}
	return f.sheet.FiringOrder
}

// orderStep asks in which order the tubes are read.
func (f *Flow) orderStep(section string) frame.Step {
	numbers := make([]string, len(f.firingOrder()))
	for i, c := range f.firingOrder() {
		numbers[i] = fmt.Sprint(c)
	}
	options := []ask.Option{
		{Value: orderNumber, Label: "by number in the engine"},
		{Value: orderFiring, Label: "along the firing order, " + strings.Join(numbers, "-")},
	}
	s := f.frame.Field(frame.Field{Key: mark(0, markOrder), Read: frame.OneOf(options, nil), Question: ask.Question{Kind: ask.Choice,
		Section: section, Prompt: "Order of the readings", Options: options, Default: orderNumber, Required: true}})
	s.Done = s.Done || f.anyReading()
	return s
}

// order is the cylinders in the order in which they are read.
func (f *Flow) order() []int {
	if f.Record().Value(mark(0, markOrder)) == orderFiring && len(f.firingOrder()) > 0 {
		return f.firingOrder()
	}
	return f.numbers()
}

// numbers is the cylinders by number.
func (f *Flow) numbers() []int {
	numbers := make([]int, f.cylinders())
	for i := range numbers {
		numbers[i] = i + 1
	}
	return numbers
}
