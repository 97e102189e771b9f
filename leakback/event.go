package leakback

import (
	"math"
	"slices"
	"strconv"
)

// Event is one thing that was entered into the record of a test. Events are
// never changed and never removed: what turns out to be wrong is corrected by a
// later event with the same key.
type Event struct {
	// TestID is the UUIDv7 of the test, in its usual text form.
	TestID string
	// Seq is the event's place in its test, from 1, without gaps.
	Seq int64
	// AtUS is when it was entered, by the machine's clock, in microseconds since
	// the beginning of 1970, UTC.
	AtUS int64
	// ElapsedMS is the time since the sitting began (the last KindOpen), by a
	// clock that nobody sets, in ms.
	ElapsedMS int64
	// Person is who entered it; "" where nobody said.
	Person string
	Key
	// Value is what was entered: a reading as it was typed, a figure in the unit
	// that the field's name carries, with a decimal point and without the unit,
	// a word in its usual form. "" takes back what stood there, or says that it
	// is not known.
	Value string
	// Typed is what was typed where that is not Value.
	Typed string
	// Reason is why it was entered, where somebody said; of corrections mostly.
	Reason string
}

// Key is what an event is about. Of the events with one key the last one stands.
type Key struct {
	Kind Kind
	// Run is the run's number, from 1; 0 for the test as a whole.
	Run int
	// Cylinder is the cylinder's number, from 1; 0 for all, and for a merged return.
	Cylinder int
	// Line is the return line of a merged return; "" where there is one.
	Line string
	// Field names what was entered: the column of the readings file where there
	// is one, else a word of the Field constants.
	Field string
}

// Kind is the kind of an event.
type Kind string

// The kinds of events. They are kept in logbooks for good: never rename one.
const (
	// KindOpen begins a sitting: the program was started on this test. Value is
	// the program's version.
	KindOpen Kind = "open"
	// KindSet gives a field of the test, of a run or of a cylinder in a run.
	KindSet Kind = "set"
	// KindReading is a level that was read; its field is the readings file's
	// column (volume_ml, volume_cc, volume_floz, mass_g).
	KindReading Kind = "reading"
	// KindStart says that a collection, or one crank of it, was started: field
	// "collection" or "crank 2".
	KindStart Kind = "start"
	// KindTime is how long the collection or crank of the same field ran, in s,
	// by a clock that nobody sets.
	KindTime Kind = "time"
	// KindMark is something that happened: cautions acknowledged, hoses primed,
	// the machine asleep during a run.
	KindMark Kind = "mark"
	// KindLeaveOut keeps a run out of the evaluation; Reason is why. Value "1",
	// or "" where it takes part again.
	KindLeaveOut Kind = "leave-out"
	// KindEnd closes a test: Value EndDone, or EndGivenUp.
	KindEnd Kind = "end"
	// KindWork is work done on the engine after the test.
	KindWork Kind = "work"
	// KindStep is a tightening step that was carried out after the test.
	KindStep Kind = "step"
)

// Kinds are all of them.
func Kinds() []Kind {
	return []Kind{KindOpen, KindSet, KindReading, KindStart, KindTime, KindMark, KindLeaveOut, KindEnd, KindWork, KindStep}
}

// Values of KindEnd. They are kept in logbooks for good as well.
const (
	EndDone    = "done"
	EndGivenUp = "given up"
)

// Fields of KindSet beside the columns of the readings file, which keep their
// names there (engine, condition, injectors, interval_s, fuel_temp_c …). Those of
// the job are the flags' names with underscores.
const (
	FieldName         = "name" // the test's name among people: Test.ID
	FieldMethod       = "method"
	FieldCylinders    = "cylinders"
	FieldFitDrift     = "fit_drift"
	FieldLimits       = "limits"      // the sheet's name
	FieldLimitsTOML   = "limits_toml" // the sheet as it was read, "" for the built-in one
	FieldLimitsPath   = "limits_path"
	FieldLimitsOrigin = "limits_origin"
	FieldImportKey    = "import_key"    // SHA-256 of what a file's test says
	FieldSourceDigest = "source_digest" // SHA-256 of the file
	FieldBatteryV     = "battery_v"

	FieldWorkshop     = "workshop"
	FieldTechnician   = "technician"
	FieldCustomer     = "customer"
	FieldWorkOrder    = "work_order"
	FieldVehicle      = "vehicle"
	FieldVIN          = "vin"
	FieldOdometer     = "odometer"
	FieldEngine       = "engine"
	FieldEngineSerial = "engine_serial"
	FieldComplaint    = "complaint"
	FieldTested       = "tested"
	FieldNote         = "note"
)

// jobFields are the fields of a job in the order in which people say them.
var jobFields = []struct {
	name string
	of   func(*Job) *string
}{
	{FieldWorkshop, func(j *Job) *string { return &j.Workshop }},
	{FieldTechnician, func(j *Job) *string { return &j.Technician }},
	{FieldCustomer, func(j *Job) *string { return &j.Customer }},
	{FieldWorkOrder, func(j *Job) *string { return &j.WorkOrder }},
	{FieldVehicle, func(j *Job) *string { return &j.Vehicle }},
	{FieldVIN, func(j *Job) *string { return &j.VIN }},
	{FieldOdometer, func(j *Job) *string { return &j.Odometer }},
	{FieldEngineSerial, func(j *Job) *string { return &j.EngineSerial }},
	{FieldComplaint, func(j *Job) *string { return &j.Complaint }},
	{FieldTested, func(j *Job) *string { return &j.Tested }},
	{FieldNote, func(j *Job) *string { return &j.Note }},
}

// JobFields are the names of a job's fields in the order in which people say
// them.
func JobFields() []string {
	names := make([]string, len(jobFields))
	for i, f := range jobFields {
		names[i] = f.name
	}
	return names
}

// Field is where a job keeps the field of that name; nil where it has none.
func (j *Job) Field(name string) *string {
	for _, f := range jobFields {
		if f.name == name {
			return f.of(j)
		}
	}
	return nil
}

// Record is what was entered in one test: its events, and what stands of them.
// The zero Record is one of a test in which nothing was entered.
type Record struct {
	// Events are in their order.
	Events []Event
	last   map[Key]int // of the events that stand, by key
}

// NewRecord is the record of events that are in their order.
func NewRecord(events []Event) *Record {
	r := &Record{}
	for _, e := range events {
		r.Add(e)
	}
	return r
}

// Add takes the next event.
func (r *Record) Add(e Event) {
	if r.last == nil {
		r.last = map[Key]int{}
	}
	r.last[e.Key] = len(r.Events)
	r.Events = append(r.Events, e)
}

// Last is the event that stands for a key, and whether there is one.
func (r *Record) Last(k Key) (Event, bool) {
	i, ok := r.last[k]
	if !ok {
		return Event{}, false
	}
	return r.Events[i], true
}

// Value is what stands for a key; "" where nothing does.
func (r *Record) Value(k Key) string {
	e, _ := r.Last(k)
	return e.Value
}

// Set is what stands for a field of the test as a whole.
func (r *Record) Set(field string) string { return r.Value(Key{Kind: KindSet, Field: field}) }

// Job is what the record says of the work order.
func (r *Record) Job() Job {
	var j Job
	for _, f := range jobFields {
		*f.of(&j) = r.Set(f.name)
	}
	return j
}

// Standing are the events that stand, in the order in which they were entered.
func (r *Record) Standing() []Event {
	var events []Event
	for i, e := range r.Events {
		if r.last[e.Key] == i {
			events = append(events, e)
		}
	}
	return events
}

// Correction is an entry that took the place of another.
type Correction struct {
	// Before is what stood, and After what was entered in its place.
	Before, After Event
}

// Corrections are the entries that took the place of others which said something
// else, in their order. A length that was typed for a run corrects the clock that
// had timed it. What comes again by its nature (a sitting that begins, a start, a
// mark, an end) is none.
func (r *Record) Corrections() []Correction {
	var corrections []Correction
	before := map[Key]int{}
	for i, e := range r.Events {
		j, ok := before[e.Key]
		if ok && e.corrects(r.Events[j]) {
			corrections = append(corrections, Correction{r.Events[j], e})
		} else if ran, timed := clocked(r.Events[:i], before, e); timed && !(ok && e.Value == r.Events[j].Value) {
			corrections = append(corrections, Correction{ran, e})
		}
		before[e.Key] = i
	}
	return corrections
}

// corrects says whether an event takes something back that an earlier one said.
// A question left open at first is answered later, not corrected.
func (e Event) corrects(before Event) bool {
	if slices.Contains([]Kind{KindOpen, KindStart, KindMark, KindEnd}, e.Kind) {
		return false
	}
	return e.Value != before.Value && (before.Value != "" || e.Kind == KindReading)
}

// fieldInterval is the readings file's column for the length of a collection.
const fieldInterval = "interval_s"

// clocked is what a clock had timed of the run whose length an event says, in one
// entry: the last, of all cranks together. It is in events, of which last has the
// place of the latest by key.
func clocked(events []Event, last map[Key]int, e Event) (ran Event, timed bool) {
	if e.Kind != KindSet || e.Field != fieldInterval || e.Run == 0 || e.Value == "" {
		return Event{}, false
	}
	var total float64
	for i, t := range events {
		if s, err := strconv.ParseFloat(t.Value, 64); err == nil && t.Kind == KindTime && t.Run == e.Run && last[t.Key] == i {
			total, ran, timed = total+s, t, true
		}
	}
	ran.Value = strconv.FormatFloat(math.Round(total*1e6)/1e6, 'f', -1, 64)
	return ran, timed && ran.Value != e.Value
}
