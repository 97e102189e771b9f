package logbook

import (
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"

	"leakback/leakback"
)

// Entry is what the logbook lists of a test.
type Entry struct {
	// ID is the test's UUIDv7, the same in every logbook.
	ID string
	// Number is local to this logbook, from 1, in the order of arrival.
	Number int64
	// Name and the texts that follow are what stands in the events of the fields
	// with their names; "" where nothing does.
	Name, Vehicle, VIN, Engine, EngineSerial, Customer string
	// WorkOrder, Odometer, Technician, Condition and Method likewise.
	WorkOrder, Odometer, Technician, Condition, Method string
	// StartedUS and LastUS are the times of the first and the last event, in
	// microseconds since the beginning of 1970, UTC.
	StartedUS, LastUS int64
	// Events is how many there are.
	Events int64
	// Ended is the value of the last KindEnd; "" while the test is open.
	Ended string
	// Head is the hash of the last event.
	Head string
}

// row is a line of the table tests.
type row struct {
	Entry
	importKey string
}

// fieldColumns are the columns that say what stands for a field of the whole test.
var fieldColumns = []struct {
	column, field string
	of            func(*row) *string
}{
	{"name", leakback.FieldName, func(r *row) *string { return &r.Name }},
	{"vehicle", leakback.FieldVehicle, func(r *row) *string { return &r.Vehicle }},
	{"vin", leakback.FieldVIN, func(r *row) *string { return &r.VIN }},
	{"engine", leakback.FieldEngine, func(r *row) *string { return &r.Engine }},
	{"engine_serial", leakback.FieldEngineSerial, func(r *row) *string { return &r.EngineSerial }},
	{"customer", leakback.FieldCustomer, func(r *row) *string { return &r.Customer }},
	{"work_order", leakback.FieldWorkOrder, func(r *row) *string { return &r.WorkOrder }},
	{"odometer", leakback.FieldOdometer, func(r *row) *string { return &r.Odometer }},
	{"technician", leakback.FieldTechnician, func(r *row) *string { return &r.Technician }},
	{"condition", "condition", func(r *row) *string { return &r.Condition }},
	{"method", leakback.FieldMethod, func(r *row) *string { return &r.Method }},
	{"import_key", leakback.FieldImportKey, func(r *row) *string { return &r.importKey }},
}

// columns are those of the table tests in the order of values and targets; those
// from derivedFrom on follow from the others.
var columns, derivedFrom = func() ([]string, int) {
	all := []string{"id", "number", "started_us", "last_us", "events", "ended", "head"}
	for _, c := range fieldColumns {
		all = append(all, c.column)
	}
	return append(all, "vehicle_key", "vin_key", "engine_key", "engine_serial_key", "search_key", "tail"), len(all)
}()

// entryColumns is what a statement selects to fill targets.
var entryColumns = strings.Join(columns[:derivedFrom], ", ")

// targets are where the columns of entryColumns go.
func (r *row) targets() []any {
	all := []any{&r.ID, &r.Number, &r.StartedUS, &r.LastUS, &r.Events, &r.Ended, &r.Head}
	for _, c := range fieldColumns {
		all = append(all, c.of(r))
	}
	return all
}

// values are what stands in the columns.
func (r *row) values() []any {
	all := []any{r.ID, r.Number, r.StartedUS, r.LastUS, r.Events, r.Ended, r.Head}
	for _, c := range fieldColumns {
		all = append(all, *c.of(r))
	}
	return append(all, key(r.Vehicle), key(r.VIN), key(r.Engine), key(r.EngineSerial), r.searchKey(), tail(r.ID))
}

// longestKey is how much of a text an index holds, in bytes: PostgreSQL's take
// 2,700 for an entry.
const longestKey = 600

// key is what a text is found by.
func key(text string) string {
	k := fold(text)
	if len(k) <= longestKey {
		return k
	}
	return strings.ToValidUTF8(k[:longestKey], "")
}

// take brings the row up to an event and the hash of it.
func (r *row) take(e *leakback.Event, hash string) {
	if r.Events == 0 {
		r.ID, r.StartedUS = e.TestID, e.AtUS
	}
	r.LastUS, r.Events, r.Head = e.AtUS, r.Events+1, hash
	if (e.Key == leakback.Key{Kind: leakback.KindSet, Field: e.Field}) {
		for _, c := range fieldColumns {
			if c.field == e.Field {
				*c.of(r) = e.Value
			}
		}
	}
	if e.Kind == leakback.KindEnd {
		r.Ended = e.Value
	}
}

// searchKey is what Filter.Text is looked for in.
func (r *row) searchKey() string {
	parts := []string{r.Name, r.Vehicle, r.VIN, r.Engine, r.EngineSerial, r.Customer, r.WorkOrder, r.Technician}
	for i, p := range parts {
		parts[i] = fold(p)
	}
	return strings.Join(slices.DeleteFunc(parts, func(p string) bool { return p == "" }), "\n")
}

// fold is a text without its spaces, its case and the ways of writing one
// character: number plates and serial numbers are typed in many ways.
func fold(text string) string {
	if text == "" {
		return ""
	}
	folded := cases.Fold().String(norm.NFKC.String(text))
	return strings.Map(func(r rune) rune {
		if unicode.IsSpace(r) {
			return -1
		}
		return r
	}, norm.NFKC.String(folded))
}

// tailDigits is how much of the end of an id is indexed: its random part.
const tailDigits = 12

// tail is the end of an id backwards, so that an index finds ids by their end.
func tail(id string) string {
	digits := []byte(strings.ReplaceAll(id, "-", ""))
	slices.Reverse(digits)
	return string(digits[:min(len(digits), tailDigits)])
}
