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
)

// What is said at once of a part that goes back in.
const (
	noticeTube  = "the feed tube went back in: a crush-fit tube seats once, so fit a new one, or hold it against the next test (common practice, no source)"
	noticeSeals = "the seals went back in: washers and seals that are crushed or swollen seal once, so fit new ones (common practice, no source)"
)

// notices are what is said of a value of a field.
var notices = map[string]map[string]string{
	repair.FieldFeedTube: {repair.Reused: noticeTube},
	repair.FieldSeals:    {repair.Reused: noticeSeals},
}

// labels say what the words of a field mean.
var labels = map[string]map[string]string{
	repair.FieldInjector: {repair.Replaced: "another one went in", repair.Swapped: "exchanged with that of another cylinder",
		repair.Cleaned: "taken out, cleaned and put back", repair.Refitted: "taken out and put back as it was"},
	repair.FieldCore: {repair.Yes: "the old one is to go back", repair.No: "the old one does not go back",
		repair.Returned: "the old one has gone back"},
	repair.FieldFeedTube: {repair.New: "a new one was fitted", repair.Reused: "taken out and put back",
		repair.Reseated: "left in and tightened on its seat again"},
	repair.FieldLines: {repair.New: "new ones were fitted", repair.Reused: "taken off and put back",
		repair.Tightened: "they were not taken off"},
	repair.FieldSeals:       {repair.New: "new ones were fitted", repair.Reused: "the old ones went back in"},
	repair.FieldReliefValve: {repair.Replaced: "a new one was fitted", repair.Cleaned: "taken out, cleaned and put back", repair.Checked: "it was not taken out"},
	repair.FieldComplaintGone: {repair.Yes: "the customer's complaint is gone", repair.No: "it is still there",
		repair.NotTried: "nobody has tried yet"},
}

// hints say how a field is answered, where its words do not.
var hints = map[string]string{
	repair.FieldSwappedWith:        "the number of the other cylinder",
	repair.FieldSerialOut:          "as it is stamped on the one that came out",
	repair.FieldSerialIn:           "as it is stamped on the one that went in",
	repair.FieldCodeOut:            "as the control unit had it",
	repair.FieldCodeIn:             "as the control unit has it now",
	repair.FieldOldPartTag:         "what is written on what came out",
	repair.FieldOldPartWhereabouts: "where what came out is kept: shelf 3",
	repair.FieldFaultCodesBefore:   "as the control unit had them: P0087, P0201; none",
	repair.FieldFaultCodesAfter:    "as the control unit has them now; none",
	repair.FieldSymptomBefore:      "what was felt, heard or seen: hard to start when hot",
	repair.FieldSymptomAfter:       "what is felt, heard or seen now; none",
	repair.FieldDeclined:           "what was proposed and the customer did not want",
	repair.FieldComplaintGone:      "skip leaves it open until somebody has tried",
	repair.FieldWorkDone:           "date and time, as the report is to have it",
	repair.FieldWorkNote:           "one line; Enter leaves it out",
	repair.FieldInjector:           untouched,
	repair.FieldFeedTube:           untouched,
	repair.FieldLines:              untouched,
	repair.FieldSeals:              untouched,
	repair.FieldReliefValve:        untouched,
	repair.FieldCore:               "skip leaves it open",
}

// prompts ask for a field where its label alone would not do.
var prompts = map[string]string{
	repair.FieldOldPartWhereabouts: "Where the old part is",
	repair.FieldComplaintGone:      "Is the complaint gone",
	repair.FieldWorkDone:           "When it was done",
}

const untouched = "skip where it was not touched"

// askPosition asks what was done at a cylinder, or to the engine as a whole.
// Only answers at or behind that place of the record count.
func (f *Flow) askPosition(l *frame.List, cylinder, since int) {
	for _, field := range repair.Fields() {
		if f.applies(cylinder, field.Name) {
			l.Add(f.fieldStep(cylinder, field.Name, since))
		}
	}
	f.askTightening(l, cylinder)
}

// positionField is the field of that name where it is asked of such a position.
func positionField(cylinder int, name string) (repair.Field, bool) {
	field, ok := repair.FieldNamed(name)
	switch {
	case !ok:
	case cylinder != wholeEngine:
		ok = field.Place != repair.OfEngine
	default:
		ok = name == repair.FieldReliefValve || field.Place == repair.OfEither && name != repair.FieldWorkNote
	}
	return field, ok
}

// swapFields go with an injector that changed places, or was replaced.
var swapFields = []string{repair.FieldSerialOut, repair.FieldSerialIn, repair.FieldCodeOut, repair.FieldCodeIn}

// applies says whether a field is asked of a position by what is down of it.
func (f *Flow) applies(cylinder int, name string) bool {
	if _, ok := positionField(cylinder, name); !ok {
		return false
	}
	p := f.standing().At(cylinder)
	switch name {
	case repair.FieldSwappedWith:
		return p.Injector == repair.Swapped
	case repair.FieldSerialOut, repair.FieldSerialIn, repair.FieldCodeOut, repair.FieldCodeIn:
		return p.Injector == repair.Swapped || p.Injector == repair.Replaced
	case repair.FieldCore:
		return p.Injector == repair.Replaced
	case repair.FieldOldPartTag, repair.FieldOldPartWhereabouts:
		return p.Injector == repair.Replaced || p.FeedTube == repair.New || p.Lines == repair.New || p.ReliefValve == repair.Replaced
	}
	return true
}

func (f *Flow) fieldStep(cylinder int, name string, since int) frame.Step {
	return f.frame.Field(f.field(cylinder, name, since))
}

// field is the question for a field of a cylinder, or of the engine.
func (f *Flow) field(cylinder int, name string, since int) frame.Field {
	field, _ := repair.FieldNamed(name)
	q := frame.Field{Key: repair.Key(f.number, cylinder, name), Since: since, Reasons: field.Words != nil,
		Read: f.reader(field, cylinder), Also: f.consequences(cylinder, field)}
	q.ID, q.Section = positionID(cylinder, name), capitalized(positionName(cylinder))
	q.Prompt, q.Hint = field.Label, hints[name]
	if prompt := prompts[name]; prompt != "" {
		q.Prompt = prompt
	}
	q.Name = strings.ToLower(field.Label[:1]) + field.Label[1:]
	if cylinder != wholeEngine {
		q.Name = positionName(cylinder) + ", " + q.Name
	}
	if field.Words != nil {
		q.Kind = ask.Choice
	}
	for _, word := range field.Words {
		q.Options = append(q.Options, ask.Option{Value: word, Label: labels[name][word]})
	}
	f.usual(cylinder, &q)
	return q
}

// positionID is the ID of a question about a position.
func positionID(cylinder int, what string) string {
	if cylinder == wholeEngine {
		return "engine " + what
	}
	return fmt.Sprintf("cylinder %d %s", cylinder, what)
}

// usual fills in what follows from other answers.
func (f *Flow) usual(cylinder int, q *frame.Field) {
	complaint := f.Record().Set(leakback.FieldComplaint)
	switch q.Key.Field {
	case repair.FieldInjector, repair.FieldSwappedWith, repair.FieldSerialOut, repair.FieldSerialIn, repair.FieldCodeOut, repair.FieldCodeIn:
		f.usualOfSwap(cylinder, q)
	case repair.FieldSymptomBefore:
		if complaint != "" {
			q.Earlier = []string{complaint}
		}
	case repair.FieldComplaintGone:
		if complaint != "" {
			q.Notes = []string{"The complaint: " + complaint}
		}
	case repair.FieldWorkDone:
		q.Default = f.o.Now().Format("2006-01-02 15:04 -07:00")
	}
}

// usualOfSwap fills in what the other cylinder of a swap says: it holds for both,
// and what came out of the one went into the other.
func (f *Flow) usualOfSwap(cylinder int, q *frame.Field) {
	p, elsewhere := f.standing().At(cylinder), f.saidElsewhere(cylinder)
	other := f.standing().At(p.SwappedWith)
	switch q.Key.Field {
	case repair.FieldInjector:
		if q.Known = elsewhere && f.own(cylinder) == ""; q.Known {
			q.Default = repair.Swapped
		}
		return
	case repair.FieldSwappedWith:
		if q.Required, q.Known = true, elsewhere; q.Known {
			q.Default = fmt.Sprint(p.SwappedWith)
		}
		return
	}
	q.Since = max(q.Since, f.fittedAt(cylinder))
	if elsewhere {
		q.Since = max(q.Since, f.fittedAt(p.SwappedWith))
	}
	if p.Injector == repair.Swapped && p.SwappedWith != 0 {
		q.Default = map[string]string{repair.FieldSerialOut: other.SerialIn, repair.FieldSerialIn: other.SerialOut,
			repair.FieldCodeOut: other.CodeIn, repair.FieldCodeIn: other.CodeOut}[q.Key.Field]
	}
}

// own is what was said of the injector at the cylinder itself.
func (f *Flow) own(cylinder int) string {
	return f.Record().Value(repair.Key(f.number, cylinder, repair.FieldInjector))
}

// saidElsewhere says that a swap is known from the other cylinder alone.
func (f *Flow) saidElsewhere(cylinder int) bool {
	p := f.standing().At(cylinder)
	return p.Injector == repair.Swapped && p.SwappedWith != 0 &&
		f.Record().Value(repair.Key(f.number, cylinder, repair.FieldSwappedWith)) == ""
}

// fittedAt is where in the record it was last said what came of an injector.
func (f *Flow) fittedAt(cylinder int) int {
	return max(f.frame.Place(repair.Key(f.number, cylinder, repair.FieldInjector)),
		f.frame.Place(repair.Key(f.number, cylinder, repair.FieldSwappedWith)))
}

// reader reads a field's value: a word may be named by its number.
func (f *Flow) reader(field repair.Field, cylinder int) frame.Reader {
	var options []ask.Option
	for _, word := range field.Words {
		options = append(options, ask.Option{Value: word})
	}
	numbered := frame.OneOf(options, func(text string) (string, string) { return text, "" })
	return func(text string) (string, string) {
		word, _ := numbered(text)
		value, err := field.Check(cylinder, f.most(), word)
		if err == nil {
			return value, ""
		}
		expected := frame.Expected(err, word)
		if hints[field.Name] == untouched && expected == field.Expected(f.most()) {
			expected += "; " + untouched
		}
		return "", expected
	}
}

// most is the highest number that a cylinder can have.
func (f *Flow) most() int {
	if f.o.Cylinders > 0 {
		return f.o.Cylinders
	}
	return limits.MostCylinders
}

// consequences are what a new value of a field brings with it.
func (f *Flow) consequences(cylinder int, field repair.Field) func(string) (frame.Beside, error) {
	switch field.Name {
	case repair.FieldInjector:
		return func(value string) (frame.Beside, error) { return f.otherInjector(cylinder, value) }
	case repair.FieldSwappedWith:
		return func(value string) (frame.Beside, error) {
			if f.saidElsewhere(cylinder) {
				return frame.Beside{}, f.elsewhere(cylinder, value)
			}
			return f.unswap(cylinder), nil
		}
	}
	return func(value string) (beside frame.Beside, err error) {
		if notice := notices[field.Name][value]; notice != "" {
			beside.Said = []string{lead(cylinder) + notice}
		}
		return beside, nil
	}
}

func lead(cylinder int) string {
	if cylinder == wholeEngine {
		return ""
	}
	return positionName(cylinder) + ": "
}

// otherInjector takes back what went with an injector of which something else is
// said now. What the other cylinder of a swap said is corrected there.
func (f *Flow) otherInjector(cylinder int, value string) (frame.Beside, error) {
	p := f.standing().At(cylinder)
	switch {
	case value == repair.Swapped || p.Injector == "":
		return frame.Beside{}, nil
	case f.saidElsewhere(cylinder):
		return frame.Beside{}, f.elsewhere(cylinder, value)
	}
	gone := []string{repair.FieldSwappedWith, repair.FieldCore}
	if value != repair.Replaced {
		gone = append(gone, swapFields...)
	}
	beside := f.unswap(cylinder)
	beside.Before = append(beside.Before, f.takeBackFields(cylinder, gone)...)
	return beside, nil
}

// elsewhere refuses what is to be corrected at the other cylinder of a swap.
func (f *Flow) elsewhere(cylinder int, value string) error {
	other := f.standing().At(cylinder).SwappedWith
	return frame.Refuse(value, fmt.Sprintf("the swap to be corrected where it was entered, such as %d injector = refitted", other))
}

// unswap takes back what the other cylinder of a swap says of it.
func (f *Flow) unswap(cylinder int) frame.Beside {
	p := f.standing().At(cylinder)
	if p.Injector != repair.Swapped || p.SwappedWith == 0 {
		return frame.Beside{}
	}
	gone := slices.Clone(swapFields)
	if f.own(p.SwappedWith) == repair.Swapped {
		gone = append(gone, repair.FieldInjector, repair.FieldSwappedWith)
	}
	return frame.Beside{Before: f.takeBackFields(p.SwappedWith, gone),
		Said: []string{fmt.Sprintf("cylinder %d: its injector is no longer down as swapped with cylinder %d", p.SwappedWith, cylinder)}}
}

// takeBackFields are events that take back what stands of fields of a position.
func (f *Flow) takeBackFields(cylinder int, names []string) []leakback.Event {
	var drafts []leakback.Event
	for _, name := range names {
		if key := repair.Key(f.number, cylinder, name); f.Record().Value(key) != "" {
			drafts = append(drafts, frame.Event(key, ""))
		}
	}
	return drafts
}
