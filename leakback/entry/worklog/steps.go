package worklog

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/frame"
	"leakback/leakback/repair"
)

// Sections of the questions, beside those of the cylinders.
const (
	sectionBefore = "The work"
	sectionParts  = "What was worked on"
	sectionAfter  = "Afterwards"
	sectionEnd    = "The end"
)

// IDs of questions that are no field's.
const (
	idPerson   = "person"
	idCautions = "cautions"
	idNext     = "next"
	idDone     = "done"
)

// steps are the questions that apply, up to the first that is open.
func (f *Flow) steps() []frame.Step {
	l := &frame.List{}
	f.askBefore(l)
	f.askPositions(l)
	f.askAfter(l)
	if f.ended() {
		l.Steps = append(l.Steps, f.doneStep())
	}
	return l.Steps
}

// askBefore asks who works, has the cautions read, and asks how the engine was.
func (f *Flow) askBefore(l *frame.List) {
	person := f.o.Person
	if person == "" {
		person = f.Record().Set(leakback.FieldTechnician)
	}
	l.Add(f.frame.Field(frame.Field{Key: f.mark(0, markPerson), Read: frame.Words(leakback.Longest(leakback.FieldTechnician)), Question: ask.Question{
		ID: idPerson, Section: sectionBefore, Prompt: "Who did the work", Hint: "a name, as the report is to have it", Default: person}}))
	if len(f.o.Cautions) > 0 {
		l.Add(f.frame.Confirm(f.mark(0, markCautions), f.has(f.mark(0, markCautions)), ask.Question{ID: idCautions, Section: "Cautions",
			Prompt: "Read these before a line is opened", Notes: f.o.Cautions,
			Options: []ask.Option{{Value: "understood", Label: "I have read and understood them"}}}))
	}
	f.add(l, sectionBefore, repair.FieldFaultCodesBefore, repair.FieldSymptomBefore)
}

// askAfter asks how the engine is since, and closes the work.
func (f *Flow) askAfter(l *frame.List) {
	f.add(l, sectionAfter, repair.FieldFaultCodesAfter, repair.FieldSymptomAfter, repair.FieldComplaintGone, repair.FieldWorkDone)
	f.add(l, sectionEnd, repair.FieldWorkNote)
	l.Add(f.nextStep())
}

// add asks for fields of the engine.
func (f *Flow) add(l *frame.List, section string, names ...string) {
	for _, name := range names {
		q := f.field(wholeEngine, name, 0)
		q.Section, q.ID = section, name
		l.Add(f.frame.Field(q))
	}
}

// nextStep shows what was entered and closes the work.
func (f *Flow) nextStep() frame.Step {
	options := []ask.Option{{Value: stateDone, Label: "finish: the work is entered as it was done"},
		{Value: "cylinder", Label: "another cylinder, or the engine as a whole"}}
	return frame.Step{ID: idNext, Done: f.ended(),
		Ask: func() ask.Question {
			return ask.Question{Kind: ask.Choice, Section: sectionEnd, Prompt: "What next", Required: true, Options: options,
				Default: stateDone, Hint: "or a correction, such as " + f.example(), Notes: f.summary()}
		},
		Take: func(a frame.Answer) (frame.Taken, error) {
			text := a.Text
			if a.Empty() {
				text = stateDone
			}
			value, expected := frame.OneOf(options, nil)(text)
			switch {
			case expected != "" && isCorrection(text):
				return f.correct(text)
			case expected != "":
				return frame.Taken{}, frame.Refuse(a.Text, expected+", or a correction such as "+f.example())
			case value != stateDone:
				return frame.Taken{Drafts: []leakback.Event{frame.Event(f.mark(0, pick(f.picks()+1)), "")}}, nil
			case f.ended():
				return frame.Taken{}, nil
			}
			return f.finished(), nil
		}}
}

// summary says what was done and what is wrong with it.
func (f *Flow) summary() []string {
	var notes []string
	work := f.standing()
	for _, item := range work.Items() {
		notes = append(notes, item.String())
	}
	if len(notes) == 0 {
		notes = []string{"Nothing is down as done."}
	}
	for _, fault := range work.StepFaults(f.o.Tightening) {
		notes = append(notes, beware(fault))
	}
	return notes
}

// doneStep has nothing left to ask.
func (f *Flow) doneStep() frame.Step {
	return frame.Step{ID: idDone,
		Ask: func() ask.Question {
			return ask.Question{Kind: ask.Done, Section: sectionEnd, Prompt: f.marked(0, markState), Notes: f.summary()}
		},
		Take: func(a frame.Answer) (frame.Taken, error) { return frame.Taken{}, frame.Refuse(a.Text, closed) },
	}
}

// What can be picked beside a cylinder's number.
const (
	pickEngine = "engine"
	pickDone   = "done"
	pickNone   = "none"
)

// wholeEngine stands in the place of a cylinder's number.
const wholeEngine = 0

// pick is what the k-th pick is noted as.
func pick(k int) string { return fmt.Sprintf("%s %d", markPick, k) }

// picks is how many cylinders were picked before the list was ended.
func (f *Flow) picks() int {
	for k := 1; ; k++ {
		if value := f.marked(0, pick(k)); value == "" || value == pickDone {
			return k - 1
		}
	}
}

// picked is the cylinder that a pick names.
func picked(value string) int {
	if value == pickEngine {
		return wholeEngine
	}
	return atoi(value)
}

// askPositions asks, cylinder by cylinder, what was done: first of those that
// flags or a correction named, then of those that are picked, each with the one
// that it was swapped with.
func (f *Flow) askPositions(l *frame.List) {
	listed := f.strays()
	for _, c := range listed {
		f.askPosition(l, c, 0)
	}
	for k := 1; !l.Open; k++ {
		l.Add(f.pickStep(k, listed))
		value := f.marked(0, pick(k))
		if value == "" || value == pickDone {
			return
		}
		for _, c := range f.together(picked(value)) {
			if !slices.Contains(listed, c) {
				listed = append(listed, c)
				f.askPosition(l, c, f.frame.Place(f.mark(0, pick(k))))
			}
		}
	}
}

// together are a cylinder and the one that its injector was swapped with.
func (f *Flow) together(cylinder int) []int {
	if p := f.standing().At(cylinder); p.Injector == repair.Swapped && p.SwappedWith != 0 {
		return []int{cylinder, p.SwappedWith}
	}
	return []int{cylinder}
}

// strays are the positions of which something is down and that nobody picked.
func (f *Flow) strays() []int {
	var asked, list []int
	for k := 1; k <= f.picks(); k++ {
		asked = append(asked, f.together(picked(f.marked(0, pick(k))))...)
	}
	work := f.standing()
	for _, p := range work.Positions {
		if p != (repair.Position{Cylinder: wholeEngine, Note: p.Note}) {
			list = append(list, p.Cylinder)
		}
	}
	for _, s := range work.Steps {
		list = append(list, s.Cylinder)
	}
	slices.Sort(list)
	return slices.DeleteFunc(slices.Compact(list), func(c int) bool { return slices.Contains(asked, c) })
}

// listed are all positions of the work, in the order in which they are asked for.
func (f *Flow) listed() []int {
	list := f.strays()
	for k := 1; k <= f.picks(); k++ {
		for _, c := range f.together(picked(f.marked(0, pick(k)))) {
			if !slices.Contains(list, c) {
				list = append(list, c)
			}
		}
	}
	return list
}

// pickStep asks what was worked on next; listed are those before it.
func (f *Flow) pickStep(k int, listed []int) frame.Step {
	key := f.mark(0, pick(k))
	q := frame.Field{Key: key, Also: f.unpick(key), Read: f.pickReader(listed), Question: f.pickQuestion(k, listed)}
	s := f.frame.Field(q)
	take := s.Take
	s.Take = func(a frame.Answer) (frame.Taken, error) {
		if isCorrection(a.Text) {
			return f.correct(a.Text)
		}
		return take(a)
	}
	return s
}

func (f *Flow) pickQuestion(k int, listed []int) ask.Question {
	q := ask.Question{ID: pick(k), Kind: ask.Choice, Section: sectionParts, Prompt: "Which cylinder was worked on", Required: true,
		Hint: "its number, engine for what belongs to no cylinder, done where that was all", Default: f.nextFailed(listed)}
	if k > 1 {
		q.Prompt, q.Hint = "Which other cylinder was worked on", q.Hint+"; or a correction, such as "+f.example()
	}
	if f.o.Cylinders == 0 {
		q.Kind = ask.Text
	}
	for c := 1; c <= f.o.Cylinders; c++ {
		q.Options = append(q.Options, ask.Option{Value: strconv.Itoa(c), Label: f.cylinderLabel(c, listed)})
	}
	q.Options = append(q.Options, ask.Option{Value: pickEngine, Label: "the engine as a whole: relief valve, lines"},
		ask.Option{Value: pickDone, Label: "that was all"})
	return q
}

// cylinderLabel is a cylinder with what the test says of it.
func (f *Flow) cylinderLabel(cylinder int, listed []int) string {
	text := fmt.Sprintf("cylinder %d", cylinder)
	if verdict, ok := f.verdict(cylinder); ok {
		text += ", " + verdict.String()
	}
	if slices.Contains(listed, cylinder) {
		text += ", entered"
	}
	return text
}

func (f *Flow) verdict(cylinder int) (leakback.Verdict, bool) {
	if f.o.Result == nil {
		return 0, false
	}
	for i := range f.o.Result.Cylinders {
		if c := &f.o.Result.Cylinders[i]; c.Cylinder == cylinder {
			return c.Verdict, true
		}
	}
	return 0, false
}

// nextFailed is the first cylinder that failed and is not listed; done where
// there is none and something is listed.
func (f *Flow) nextFailed(listed []int) string {
	if f.o.Result != nil {
		for i := range f.o.Result.Cylinders {
			c := &f.o.Result.Cylinders[i]
			if c.Cylinder > 0 && c.Verdict == leakback.Fail && !slices.Contains(listed, c.Cylinder) {
				return strconv.Itoa(c.Cylinder)
			}
		}
	}
	if len(listed) == 0 {
		return ""
	}
	return pickDone
}

// pickReader reads a pick that is not listed yet. Numbers are cylinders, not
// places in the list of options.
func (f *Flow) pickReader(listed []int) frame.Reader {
	return func(text string) (string, string) {
		word := strings.ToLower(strings.TrimSpace(text))
		if word == pickNone {
			word = pickDone
		}
		word = strings.TrimSpace(strings.TrimPrefix(word, "cylinder "))
		if word == pickDone {
			return word, ""
		}
		most := f.most()
		n, err := strconv.Atoi(word)
		if word != pickEngine && (err != nil || n < 1 || n > most) {
			return "", fmt.Sprintf("a cylinder from 1 to %d, engine or done", most)
		}
		if word != pickEngine {
			word = strconv.Itoa(n)
		}
		if slices.Contains(listed, picked(word)) {
			return "", "one that is not entered yet; what is entered is corrected by back, or by name: " + f.example()
		}
		return word, ""
	}
}

// unpick takes back what was entered of a position that turns out to be another.
func (f *Flow) unpick(key leakback.Key) func(string) (frame.Beside, error) {
	return func(string) (beside frame.Beside, err error) {
		value := f.Record().Value(key)
		if value == "" || value == pickDone {
			return beside, nil
		}
		for _, c := range f.together(picked(value)) {
			drafts := f.takeBack(c)
			if c != picked(value) && f.isPicked(c) {
				drafts = f.takeBackFields(c, swapFields)
			}
			if len(drafts) > 0 {
				beside.Said = append(beside.Said, positionName(c)+": what was entered of it is taken back")
			}
			beside.Before = append(beside.Before, drafts...)
		}
		return beside, nil
	}
}

// isPicked says whether a cylinder was picked by itself.
func (f *Flow) isPicked(cylinder int) bool {
	for k := 1; k <= f.picks(); k++ {
		if picked(f.marked(0, pick(k))) == cylinder {
			return true
		}
	}
	return false
}

// takeBack are events that take back everything that stands of a position.
func (f *Flow) takeBack(cylinder int) []leakback.Event {
	var drafts []leakback.Event
	for _, e := range f.Record().Standing() {
		_, isField := positionField(cylinder, e.Field)
		ofPosition := e.Kind == leakback.KindStep || e.Kind == leakback.KindWork && isField || e.Kind == leakback.KindMark && cylinder != wholeEngine
		if repair.OfWork(e) == f.number && e.Cylinder == cylinder && e.Value != "" && ofPosition {
			drafts = append(drafts, frame.Event(e.Key, ""))
		}
	}
	return drafts
}

// positionName is "cylinder 4" or "the engine".
func positionName(cylinder int) string {
	if cylinder == wholeEngine {
		return "the engine"
	}
	return fmt.Sprintf("cylinder %d", cylinder)
}

// atoi is a whole number that was read before; 0 where it is none.
func atoi(text string) int {
	n, err := strconv.Atoi(text)
	if err != nil {
		return 0
	}
	return n
}
