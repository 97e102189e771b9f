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

// askJob asks what is tested, for whom and by whom.
func (f *Flow) askJob(l *frame.List) {
	for _, q := range []struct {
		field, prompt, hint string
		offer               bool
	}{
		{leakback.FieldTechnician, "Technician", "your name, as the report is to have it", true},
		{leakback.FieldVehicle, "Vehicle", "its plate or fleet number", true},
		{leakback.FieldVIN, "Vehicle identification number", "the 17 characters, or what the plate has", false},
		{leakback.FieldOdometer, "Odometer or hours", "with its unit: 182,400 km, 5310 h", false},
		{leakback.FieldCustomer, "Customer", "a name", true},
		{leakback.FieldWorkOrder, "Work order", "its number", false},
		{leakback.FieldComplaint, "Complaint", "in the customer's words: hard to start when hot", false},
		{leakback.FieldWorkshop, "Workshop", "its name, as the report is to have it", true},
	} {
		var also func(string) (frame.Beside, error)
		if q.field == leakback.FieldVehicle {
			also = f.tellBefore
		}
		l.Add(f.frame.Field(frame.Field{Key: setKey(q.field), Read: frame.Words(leakback.Longest(q.field)), Offer: q.offer, Usual: f.usual(q.field), Also: also,
			Question: ask.Question{Section: "The job", Prompt: q.prompt, Hint: q.hint}}))
	}
	l.Add(f.frame.Field(frame.Field{Key: setKey(leakback.FieldEngine), Read: frame.Words(leakback.LongestName), Offer: true, Also: f.findSheet,
		Usual: f.usual(leakback.FieldEngine), Question: ask.Question{Section: "The engine", Prompt: "Engine",
			Hint: "its name, by which the limits sheet is found"}}))
	l.Add(f.frame.Field(frame.Field{Key: setKey(leakback.FieldEngineSerial), Read: frame.Words(leakback.Longest(leakback.FieldEngineSerial)),
		Usual:    f.usual(leakback.FieldEngineSerial),
		Question: ask.Question{Section: "The engine", Prompt: "Engine serial number", Hint: "as it is stamped"}}))
}

// tellBefore says what was done to the vehicle before.
func (f *Flow) tellBefore(vehicle string) (frame.Beside, error) {
	if f.o.Before == nil || vehicle == "" {
		return frame.Beside{}, nil
	}
	return frame.Beside{Said: f.o.Before(vehicle)}, nil
}

// usual fills in what is known of a field of the job before the test. It is
// shown with the question and never taken silently; a figure that changes from
// test to test is only told.
func (f *Flow) usual(name string) func(q *ask.Question) {
	return func(q *ask.Question) {
		switch name {
		case leakback.FieldTechnician:
			q.Default = f.o.Person
		case leakback.FieldWorkshop:
			q.Default = f.latest(name)
		case leakback.FieldVIN, leakback.FieldCustomer, leakback.FieldEngine, leakback.FieldEngineSerial:
			q.Default = f.knownOf(name)
		case leakback.FieldOdometer:
			if last := f.knownOf(name); last != "" {
				q.Hint += "; " + last + " last time"
			}
		}
	}
}

// latest is the latest earlier answer for a field.
func (f *Flow) latest(name string) string {
	if f.o.Earlier != nil {
		if earlier := f.o.Earlier(name); len(earlier) > 0 {
			return earlier[0]
		}
	}
	return ""
}

// knownOf is what earlier tests say of the vehicle.
func (f *Flow) knownOf(name string) string {
	vehicle := f.set(leakback.FieldVehicle)
	if f.o.Known == nil || vehicle == "" {
		return ""
	}
	known, asked := f.known[vehicle]
	if !asked {
		known = f.o.Known(vehicle)
		f.known[vehicle] = known
	}
	return known[name]
}

// findSheet gets the limits sheet for an engine.
func (f *Flow) findSheet(engine string) (frame.Beside, error) {
	sheet, err := f.o.SheetFor(engine)
	if err != nil {
		first, _, _ := strings.Cut(err.Error(), "\n")
		return frame.Beside{}, frame.Refuse(engine, "an engine whose limits sheet can be used: "+first)
	}
	if most := f.highestRead(); sheet.Cylinders > 0 && most > sheet.Cylinders {
		return frame.Beside{}, frame.Refuse(engine, fmt.Sprintf("an engine that has cylinder %d, which was read; the limits sheet %s is for %d cylinders",
			most, sheet.Name, sheet.Cylinders))
	}
	drafts := sheetDrafts(sheet, f.Record())
	if sheet.Cylinders > 0 && f.set(leakback.FieldCylinders) != "" {
		drafts = append(drafts, frame.Event(setKey(leakback.FieldCylinders), ""))
	}
	return frame.Beside{Behind: drafts, Said: sheetText(sheet)}, nil
}

// sheetFields are the fields that a limits sheet is logged in.
var sheetFields = []string{leakback.FieldLimits, leakback.FieldLimitsPath, leakback.FieldLimitsOrigin, leakback.FieldLimitsTOML}

// sheetDrafts are the events of a limits sheet, as far as the record does not
// say the same.
func sheetDrafts(sheet *limits.Sheet, r *leakback.Record) []leakback.Event {
	said := recorded.Events(&leakback.Test{}, leakback.Job{}, sheet)
	var drafts []leakback.Event
	for _, name := range sheetFields {
		e := frame.Event(setKey(name), "")
		if i := slices.IndexFunc(said, func(s leakback.Event) bool { return s.Key == e.Key }); i >= 0 {
			e = said[i]
		}
		if r.Value(e.Key) != e.Value {
			drafts = append(drafts, e)
		}
	}
	return drafts
}

// sheetText says which sheet it is and what it judges by.
func sheetText(s *limits.Sheet) []string {
	text := "limits sheet: " + s.Name
	if s.Origin != "" {
		text += " (" + string(s.Origin) + ")"
	}
	if names := limitConditions(s); len(names) > 0 {
		return []string{text + ", absolute limits for " + strings.Join(names, ", ")}
	}
	return []string{text + ", no absolute limit: a set that is worn evenly looks healthy against itself"}
}

// limitConditions are the conditions that a sheet has limits for, each once.
func limitConditions(s *limits.Sheet) []string {
	var names []string
	for i := range s.Limits {
		if name := s.Limits[i].Condition; !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	return names
}

// cylinderCount asks how many cylinders there are, where the sheet does not say.
func (f *Flow) cylinderCount(l *frame.List) {
	if f.sheet == nil || f.sheet.Cylinders > 0 || f.method() == leakback.MethodTotal {
		return
	}
	least := 1
	if f.method() == leakback.MethodBlockOff {
		least = 2
	}
	l.Add(f.frame.Field(frame.Field{Key: setKey(leakback.FieldCylinders), Read: f.enough(whole("the number of cylinders", least, limits.MostCylinders)),
		Question: ask.Question{Section: "The test", Prompt: "Cylinders", Required: true,
			Hint: fmt.Sprintf("how many the engine has, from %d to %d", least, limits.MostCylinders)}}))
}

// enough refuses fewer cylinders than were read.
func (f *Flow) enough(read frame.Reader) frame.Reader {
	return func(text string) (string, string) {
		value, expected := read(text)
		if most := f.highestRead(); expected == "" && most > atoi(value) {
			return "", fmt.Sprintf("%d or more, as cylinder %d was read", most, most)
		}
		return value, expected
	}
}

// highestRead is the highest cylinder that was read or blocked; 0 for none.
func (f *Flow) highestRead() int {
	most := 0
	for _, e := range f.Record().Standing() {
		switch {
		case e.Kind == leakback.KindReading && e.Value != "":
			most = max(most, e.Cylinder)
		case e.Kind == leakback.KindSet && e.Field == recorded.FieldBlocked:
			for number := range strings.SplitSeq(e.Value, "+") {
				most = max(most, atoi(number))
			}
		}
	}
	return most
}
