package worklog

import (
	"fmt"
	"slices"
	"strings"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/frame"
	"leakback/leakback/repair"
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
	p := f.standing().At(cylinder)
	other, complaint := f.standing().At(p.SwappedWith), f.Record().Set(leakback.FieldComplaint)
	switch q.Key.Field {
	case repair.FieldInjector:
		if f.own(cylinder) == "" && p.Injector == repair.Swapped {
			q.Known, q.Default = true, repair.Swapped
		}
	case repair.FieldSwappedWith:
		q.Required = true
		if f.saidElsewhere(cylinder) {
			q.Known, q.Default = true, fmt.Sprint(p.SwappedWith)
		}
	case repair.FieldSerialOut, repair.FieldSerialIn, repair.FieldCodeOut, repair.FieldCodeIn:
		q.Since = max(q.Since, f.fittedAt(cylinder))
		if p.Injector == repair.Swapped && p.SwappedWith != 0 {
			if f.saidElsewhere(cylinder) {
				q.Since = max(q.Since, f.fittedAt(p.SwappedWith))
			}
			q.Default = map[string]string{repair.FieldSerialOut: other.SerialIn, repair.FieldSerialIn: other.SerialOut,
				repair.FieldCodeOut: other.CodeIn, repair.FieldCodeIn: other.CodeOut}[q.Key.Field]
		}
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

// reader reads a field's value.
func (f *Flow) reader(field repair.Field, cylinder int) frame.Reader {
	check := func(text string) (string, string) {
		value, err := field.Check(cylinder, f.o.Cylinders, text)
		if err != nil {
			return "", frame.Expected(err, text)
		}
		return value, ""
	}
	if field.Words == nil {
		return check
	}
	var options []ask.Option
	for _, word := range field.Words {
		options = append(options, ask.Option{Value: word})
	}
	return frame.OneOf(options, func(text string) (value, expected string) {
		if value, expected = check(text); expected != "" && hints[field.Name] == untouched {
			expected += "; " + untouched
		}
		return value, expected
	})
}

// consequences are what a new value of a field brings with it.
func (f *Flow) consequences(cylinder int, field repair.Field) func(string) ([]leakback.Event, []leakback.Event, []string, error) {
	switch field.Name {
	case repair.FieldInjector:
		return func(value string) ([]leakback.Event, []leakback.Event, []string, error) {
			return f.otherInjector(cylinder, value)
		}
	case repair.FieldSwappedWith:
		return func(value string) ([]leakback.Event, []leakback.Event, []string, error) {
			if f.saidElsewhere(cylinder) {
				return nil, nil, nil, f.elsewhere(cylinder, value)
			}
			drafts, said := f.unswap(cylinder)
			return drafts, nil, said, nil
		}
	}
	return func(value string) (_, _ []leakback.Event, said []string, _ error) {
		if notice := notices[field.Name][value]; notice != "" {
			said = []string{lead(cylinder) + notice}
		}
		return nil, nil, said, nil
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
func (f *Flow) otherInjector(cylinder int, value string) (drafts, _ []leakback.Event, said []string, err error) {
	p := f.standing().At(cylinder)
	switch {
	case value == repair.Swapped || p.Injector == "":
		return nil, nil, nil, nil
	case f.saidElsewhere(cylinder):
		return nil, nil, nil, f.elsewhere(cylinder, value)
	}
	drafts, said = f.unswap(cylinder)
	gone := []string{repair.FieldSwappedWith, repair.FieldCore}
	if value != repair.Replaced {
		gone = append(gone, swapFields...)
	}
	return append(drafts, f.takeBackFields(cylinder, gone)...), nil, said, nil
}

// elsewhere refuses what is to be corrected at the other cylinder of a swap.
func (f *Flow) elsewhere(cylinder int, value string) error {
	other := f.standing().At(cylinder).SwappedWith
	return frame.Refuse(value, fmt.Sprintf("the swap to be corrected where it was entered, such as %d injector = refitted", other))
}

// unswap takes back what the other cylinder of a swap says of it.
func (f *Flow) unswap(cylinder int) (drafts []leakback.Event, said []string) {
	p := f.standing().At(cylinder)
	if p.Injector != repair.Swapped || p.SwappedWith == 0 {
		return nil, nil
	}
	gone := slices.Clone(swapFields)
	if f.own(p.SwappedWith) == repair.Swapped {
		gone = append(gone, repair.FieldInjector, repair.FieldSwappedWith)
	}
	drafts = f.takeBackFields(p.SwappedWith, gone)
	return drafts, []string{fmt.Sprintf("cylinder %d: its injector is no longer down as swapped with cylinder %d", p.SwappedWith, cylinder)}
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
