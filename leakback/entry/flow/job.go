package flow

import (
	"fmt"
	"slices"
	"strings"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/recorded"
	"leakback/limits"
)

// askJob asks what is tested, for whom and by whom.
func (f *Flow) askJob(l *list) {
	for _, q := range []struct {
		field, prompt, hint string
		longest             int
		offer               bool
	}{
		{leakback.FieldTechnician, "Technician", "your name, as the report is to have it", longestName, true},
		{leakback.FieldVehicle, "Vehicle", "its plate or fleet number", longestName, true},
		{leakback.FieldVIN, "Vehicle identification number", "the 17 characters, or what the plate has", longestName, false},
		{leakback.FieldOdometer, "Odometer or hours", "with its unit: 182,400 km, 5310 h", longestName, false},
		{leakback.FieldCustomer, "Customer", "a name", longestName, true},
		{leakback.FieldWorkOrder, "Work order", "its number", longestName, false},
		{leakback.FieldComplaint, "Complaint", "in the customer's words: hard to start when hot", longestSentence, false},
		{leakback.FieldWorkshop, "Workshop", "its name, as the report is to have it", longestName, true},
	} {
		l.add(f.step(field{key: setKey(q.field), read: words(q.longest), offer: q.offer, usual: f.usual(q.field),
			Question: ask.Question{Section: "The job", Prompt: q.prompt, Hint: q.hint}}))
	}
	l.add(f.step(field{key: setKey(leakback.FieldEngine), read: words(longestName), offer: true, also: f.findSheet,
		usual: f.usual(leakback.FieldEngine), Question: ask.Question{Section: "The engine", Prompt: "Engine",
			Hint: "its name, by which the limits sheet is found"}}))
	l.add(f.step(field{key: setKey(leakback.FieldEngineSerial), read: words(longestName), usual: f.usual(leakback.FieldEngineSerial),
		Question: ask.Question{Section: "The engine", Prompt: "Engine serial number", Hint: "as it is stamped"}}))
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
func (f *Flow) findSheet(engine string) ([]leakback.Event, []string, error) {
	sheet, err := f.o.SheetFor(engine)
	if err != nil {
		first, _, _ := strings.Cut(err.Error(), "\n")
		return nil, nil, refuse(engine, "an engine whose limits sheet can be used: "+first)
	}
	if most := f.highestRead(); sheet.Cylinders > 0 && most > sheet.Cylinders {
		return nil, nil, refuse(engine, fmt.Sprintf("an engine that has cylinder %d, which was read; the limits sheet %s is for %d cylinders",
			most, sheet.Name, sheet.Cylinders))
	}
	drafts := sheetDrafts(sheet, f.record)
	if sheet.Cylinders > 0 && f.set(leakback.FieldCylinders) != "" {
		drafts = append(drafts, event(setKey(leakback.FieldCylinders), ""))
	}
	return drafts, sheetText(sheet), nil
}

// sheetFields are the fields that a limits sheet is logged in.
var sheetFields = []string{leakback.FieldLimits, leakback.FieldLimitsPath, leakback.FieldLimitsOrigin, leakback.FieldLimitsTOML}

// sheetDrafts are the events of a limits sheet, as far as the record does not
// say the same.
func sheetDrafts(sheet *limits.Sheet, r *leakback.Record) []leakback.Event {
	said := recorded.Events(&leakback.Test{}, leakback.Job{}, sheet)
	var drafts []leakback.Event
	for _, name := range sheetFields {
		e := event(setKey(name), "")
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
func (f *Flow) cylinderCount(l *list) {
	if f.sheet == nil || f.sheet.Cylinders > 0 || f.method() == leakback.MethodTotal {
		return
	}
	least := 1
	if f.method() == leakback.MethodBlockOff {
		least = 2
	}
	l.add(f.step(field{key: setKey(leakback.FieldCylinders), read: f.enough(whole("the number of cylinders", least, limits.MostCylinders)),
		Question: ask.Question{Section: "The test", Prompt: "Cylinders", Required: true,
			Hint: fmt.Sprintf("how many the engine has, from %d to %d", least, limits.MostCylinders)}}))
}

// enough refuses fewer cylinders than were read.
func (f *Flow) enough(read reader) reader {
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
	for _, e := range f.record.Standing() {
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
