package repair

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/limits/quantity"
)

// The work log is events of a test's record (leakback.Record), entered after
// the test: it belongs to the test that led to the work.
//
//	Kind      leakback.KindWork, or leakback.KindStep for a tightening step
//	Run       the number of the work, from 1: what was done in one go. Work on
//	          another day gets the next number. 0 is said of the test itself
//	          (complaint_gone only)
//	Cylinder  the cylinder's number, from 1; 0 for the engine as a whole
//	Line      ""
//	Field     one of the Field constants; for a step with its place behind it:
//	          "step 2", "torque 2", "angle_deg 2" and "new_fastener 2" are the
//	          second thing that was tightened on that cylinder in that work
//	Value     a word of the field in its usual form, a text of one line, or a
//	          torque with its unit as it was typed; "" takes back what stood
//
// Later events with the same key correct earlier ones, as everywhere. These
// names are kept in logbooks for good: never rename one.
const (
	// FieldInjector is what was done to the injector of a cylinder.
	FieldInjector = "injector"
	// FieldSwappedWith is the cylinder that the injector was exchanged with. Said
	// at one of the two it holds for both.
	FieldSwappedWith = "injector_swapped_with"
	// FieldSerialOut and FieldSerialIn are the serial numbers of the injector
	// that came out and of the one that went in.
	FieldSerialOut = "injector_serial_out"
	FieldSerialIn  = "injector_serial_in"
	// FieldCodeOut and FieldCodeIn are the correction codes of the two, as the
	// engine's control unit knew and knows them.
	FieldCodeOut = "correction_code_out"
	FieldCodeIn  = "correction_code_in"
	// FieldCore says whether the old injector goes back as a core.
	FieldCore = "core"
	// FieldFeedTube is what was done to the feed tube through the head.
	FieldFeedTube = "feed_tube"
	// FieldLines are high-pressure and return lines.
	FieldLines = "lines"
	// FieldSeals are the injector's seals and washers.
	FieldSeals = "seals"
	// FieldReliefValve is the rail's relief or regulating valve.
	FieldReliefValve = "relief_valve"
	// FieldOldPartTag and FieldOldPartWhereabouts say how to find what came out.
	FieldOldPartTag         = "old_part_tag"
	FieldOldPartWhereabouts = "old_part_whereabouts"
	// FieldFaultCodesBefore and FieldFaultCodesAfter are the control unit's.
	FieldFaultCodesBefore = "fault_codes_before"
	FieldFaultCodesAfter  = "fault_codes_after"
	// FieldSymptomBefore and FieldSymptomAfter are what was felt, heard or seen.
	FieldSymptomBefore = "symptom_before"
	FieldSymptomAfter  = "symptom_after"
	// FieldDeclined is work that was proposed and that the customer declined.
	FieldDeclined = "declined"
	// FieldComplaintGone says whether the complaint is gone; it never enters the
	// answer about the return.
	FieldComplaintGone = "complaint_gone"
	// FieldWorkNote is anything else.
	FieldWorkNote = "work_note"
	// FieldWorkDone is when the work was done, with its zone, as typed; the
	// events themselves say when it was entered.
	FieldWorkDone = "work_done"
)

// Fields of KindStep, each with the place in the order of doing behind it.
const (
	// FieldStep is the number of the sheet's step that was carried out.
	FieldStep = "step"
	// FieldTorque is the torque that was reached, with its unit, as typed.
	FieldTorque = "torque"
	// FieldAngleDeg is the angle turned, in degrees.
	FieldAngleDeg = "angle_deg"
	// FieldNewFastener says whether the fastener was new.
	FieldNewFastener = "new_fastener"
)

// Words that values are.
const (
	Replaced  = "replaced"
	Swapped   = "swapped"
	Cleaned   = "cleaned"
	Refitted  = "refitted"
	New       = "new"
	Reused    = "reused"
	Reseated  = "reseated"
	Tightened = "tightened"
	Checked   = "checked"
	Yes       = "yes"
	No        = "no"
	Returned  = "returned"
	NotTried  = "not tried"
)

// wholeEngine stands in the place of a cylinder's number.
const wholeEngine = 0

// Place says what a field can be said of.
type Place int8

// A field of one cylinder, of the engine as a whole, or of either.
const (
	OfCylinder Place = iota
	OfEngine
	OfEither
)

// Field is one field of the work log.
type Field struct {
	// Name is the event's field.
	Name string
	// Label is what people read: "Feed tube".
	Label string
	// Place says what it is said of.
	Place Place
	// Words are what it takes, in the order in which they are offered; nil where
	// it takes a text.
	Words []string
	// Most is how many characters a text may have; 0 where it takes words or a
	// cylinder's number.
	Most int
}

const (
	shortText = 60
	longText  = 500
)

// fields are in the order in which they are asked for.
var fields = []Field{
	{Name: FieldInjector, Label: "Injector", Words: []string{Replaced, Swapped, Cleaned, Refitted}},
	{Name: FieldSwappedWith, Label: "Swapped with cylinder"},
	{Name: FieldSerialOut, Label: "Serial number out", Most: shortText},
	{Name: FieldSerialIn, Label: "Serial number in", Most: shortText},
	{Name: FieldCodeOut, Label: "Correction code out", Most: shortText},
	{Name: FieldCodeIn, Label: "Correction code in", Most: shortText},
	{Name: FieldCore, Label: "Core to return", Words: []string{Yes, No, Returned}},
	{Name: FieldFeedTube, Label: "Feed tube", Words: []string{New, Reused, Reseated}},
	{Name: FieldLines, Label: "Lines", Place: OfEither, Words: []string{New, Reused, Tightened}},
	{Name: FieldSeals, Label: "Seals", Place: OfEither, Words: []string{New, Reused}},
	{Name: FieldReliefValve, Label: "Relief valve", Place: OfEngine, Words: []string{Replaced, Cleaned, Checked}},
	{Name: FieldOldPartTag, Label: "Old part's tag", Place: OfEither, Most: shortText},
	{Name: FieldOldPartWhereabouts, Label: "Old part is", Place: OfEither, Most: shortText},
	{Name: FieldFaultCodesBefore, Label: "Fault codes before", Place: OfEngine, Most: longText},
	{Name: FieldFaultCodesAfter, Label: "Fault codes after", Place: OfEngine, Most: longText},
	{Name: FieldSymptomBefore, Label: "Symptom before", Place: OfEngine, Most: longText},
	{Name: FieldSymptomAfter, Label: "Symptom after", Place: OfEngine, Most: longText},
	{Name: FieldDeclined, Label: "Declined", Place: OfEither, Most: longText},
	{Name: FieldComplaintGone, Label: "Complaint gone", Place: OfEngine, Words: []string{Yes, No, NotTried}},
	{Name: FieldWorkDone, Label: "Done", Place: OfEngine, Most: shortText},
	{Name: FieldWorkNote, Label: "Note", Place: OfEither, Most: longText},
}

// Fields are the fields of the work log in the order in which they are asked for.
func Fields() []Field { return slices.Clone(fields) }

// FieldNamed is the field of that name, and whether there is one.
func FieldNamed(name string) (Field, bool) {
	i := slices.IndexFunc(fields, func(f Field) bool { return f.Name == name })
	if i < 0 {
		return Field{}, false
	}
	return fields[i], true
}

// Expected says what the field takes, to stand behind "expected"; cylinders is
// how many the engine has, 0 where that is not known.
func (f Field) Expected(cylinders int) string {
	switch {
	case f.Words != nil:
		return quantity.Listed(f.Words, "or")
	case f.Name == FieldSwappedWith:
		return "the number of another cylinder" + upTo(cylinders)
	}
	return fmt.Sprintf("one line of at most %d characters", f.Most)
}

func upTo(cylinders int) string {
	if cylinders == 0 {
		return ""
	}
	return ", up to " + strconv.Itoa(cylinders)
}

// Check takes a value as it was typed for a cylinder (0 for the engine) of an
// engine with so many (0 where not known) and gives it in its usual form. An
// empty value takes back what stood. The error is an *Invalid.
func (f Field) Check(cylinder, cylinders int, typed string) (string, error) {
	value := strings.TrimSpace(typed)
	if where := f.wrongPlace(cylinder, cylinders); where != "" {
		return "", &Invalid{Value: value, Expected: where}
	}
	ok := true
	switch {
	case value == "":
	case f.Words != nil:
		value, ok = word(value, f.Words)
	case f.Name == FieldSwappedWith:
		value, ok = otherCylinder(value, cylinder, cylinders)
	default:
		ok = oneLine(value, f.Most)
	}
	if !ok {
		return "", &Invalid{Value: typed, Expected: f.Expected(cylinders)}
	}
	return value, nil
}

// wrongPlace says what was expected where a field is not said of such a
// cylinder; "" where it is.
func (f Field) wrongPlace(cylinder, cylinders int) string {
	switch {
	case cylinder == wholeEngine && f.Place == OfCylinder:
		return fmt.Sprintf("a cylinder's number: %q is said of one cylinder", f.Label)
	case cylinder != wholeEngine && f.Place == OfEngine:
		return fmt.Sprintf("no cylinder: %q is said of the engine", f.Label)
	case cylinders > 0 && cylinder > cylinders:
		return fmt.Sprintf("a cylinder from 1 to %d, not %d", cylinders, cylinder)
	case cylinder < 0:
		return fmt.Sprintf("a cylinder from 1, not %d", cylinder)
	}
	return ""
}

// word finds what was typed among words, whatever its case; a hyphen stands for
// a space.
func word(typed string, words []string) (string, bool) {
	typed = strings.Join(strings.Fields(strings.ReplaceAll(typed, "-", " ")), " ")
	i := slices.IndexFunc(words, func(w string) bool { return strings.EqualFold(w, typed) })
	if i < 0 {
		return typed, false
	}
	return words[i], true
}

func otherCylinder(typed string, cylinder, cylinders int) (string, bool) {
	n, err := strconv.Atoi(typed)
	ok := err == nil && n >= 1 && n != cylinder && (cylinders == 0 || n <= cylinders)
	return strconv.Itoa(n), ok
}

// stepFields are the fields of a step.
var stepFields = []string{FieldStep, FieldTorque, FieldAngleDeg, FieldNewFastener}

// CheckStepField takes what was typed for a field of a step (FieldStep,
// FieldTorque, FieldAngleDeg, FieldNewFastener) and gives it in its usual form;
// a torque stays as it was typed, with its unit. The error is an *Invalid, or
// for a torque that of quantity.Parse.
func CheckStepField(field, typed string) (string, error) {
	value := strings.TrimSpace(typed)
	if value == "" {
		return "", nil
	}
	switch field {
	case FieldStep:
		if n, err := strconv.Atoi(value); err == nil && n >= 1 {
			return strconv.Itoa(n), nil
		}
		return "", &Invalid{Value: typed, Expected: "the number of a tightening step, from 1"}
	case FieldTorque:
		_, err := ParseTorque(value)
		return value, err
	case FieldAngleDeg:
		return parseAngle(value)
	case FieldNewFastener:
		if w, ok := word(value, []string{Yes, No}); ok {
			return w, nil
		}
		return "", &Invalid{Value: typed, Expected: quantity.Listed([]string{Yes, No}, "or")}
	}
	return "", &Invalid{Value: field, Expected: "a field of a step: " + quantity.Listed(stepFields, "or")}
}

// mostAngleDeg is three turns, as far as a limits sheet goes.
const mostAngleDeg = 1080

func parseAngle(typed string) (string, error) {
	number := typed
	for _, unit := range []string{"°", "degrees", "deg"} {
		number = strings.TrimSuffix(number, unit)
	}
	x, err := quantity.ParseNumber(number, true)
	if err != nil || x < 0 || x > mostAngleDeg {
		return "", &Invalid{Value: typed, Expected: fmt.Sprintf("an angle from 0 to %s degrees", quantity.Grouped(mostAngleDeg))}
	}
	return quantity.Plain(x, -1), nil
}

// Key is what an event of the work log is about: the work's number from 1, the
// cylinder (0 for the engine) and the field.
func Key(work, cylinder int, field string) leakback.Key {
	return leakback.Key{Kind: leakback.KindWork, Run: work, Cylinder: cylinder, Field: field}
}

// StepKey is what an event about a tightening step is about: the work's number,
// the cylinder, the place in the order in which things were tightened there,
// from 1, and the field.
func StepKey(work, cylinder, place int, field string) leakback.Key {
	return leakback.Key{Kind: leakback.KindStep, Run: work, Cylinder: cylinder, Field: field + " " + strconv.Itoa(place)}
}

// markLead stands in front of what is noted while a work is entered.
const markLead = "work "

// MarkKey is what a mark about a work is about: the work's number, the cylinder
// (0 for none) and what is noted. Marks say how a work was entered (who, cautions
// read, what is asked next, whether it is finished) and nothing of what was done.
// They have no run, so that nobody takes them for those of a run.
func MarkKey(work, cylinder int, what string) leakback.Key {
	return leakback.Key{Kind: leakback.KindMark, Cylinder: cylinder, Field: strings.TrimSpace(markLead + strconv.Itoa(work) + " " + what)}
}

// OfWork is the number of the work that an event belongs to: what was done, a
// tightening step or a mark; 0 where it belongs to the test.
func OfWork(e leakback.Event) int {
	switch rest, marks := strings.CutPrefix(e.Field, markLead); {
	case e.Kind == leakback.KindWork || e.Kind == leakback.KindStep:
		return e.Run
	case e.Kind == leakback.KindMark && e.Run == 0 && marks:
		number, _, _ := strings.Cut(rest, " ")
		n, err := strconv.Atoi(number)
		if err != nil {
			return 0
		}
		return max(n, 0)
	}
	return 0
}

// stepField parts a step's field from its place.
func stepField(field string) (name string, place int, ok bool) {
	name, number, _ := strings.Cut(field, " ")
	place, err := strconv.Atoi(number)
	return name, place, err == nil && place >= 1 && slices.Contains(stepFields, name)
}
