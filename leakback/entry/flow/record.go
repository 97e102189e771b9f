package flow

import (
	"slices"
	"strconv"

	"leakback/leakback"
	"leakback/leakback/entry"
	"leakback/leakback/entry/recorded"
	"leakback/leakback/repair"
	"leakback/limits/quantity"
)

// What a flow logs beside the fields of a test: marks, which no evaluation reads.
const (
	markCautions  = "cautions" // acknowledged
	markPriming   = "priming"
	markTubes     = "tubes"          // one for each cylinder, or one after another
	markOrder     = "order"          // of the readings
	markOwnWord   = "own condition"  // a condition of the shop's own is to be named
	markOwnTube   = "own tube"       // a tube is none of the common ones
	markOwnScale  = "own tolerance"  // its scale is as good as somebody says
	markSeconds   = "planned_s"      // how long a collection, or a crank, is to last
	markCranks    = "planned cranks" // how many
	markCylinder  = "cylinder"       // whose return a run collects into the one tube
	markOtherTube = "other tube"     // the run has tubes of its own
	markLast      = "schedule"       // cut after this run
	markNext      = "next"           // what was chosen after this run
	markLost      = "lost"           // a collection that nobody timed to its end
	markAbandoned = "abandoned"      // a collection that was broken off
	markAsleep    = "asleep"         // the machine slept while it timed
	markStepped   = "clock stepped"  // its clock was set while it timed
	markRest      = "rest "          // behind a crank's number: how long the starter rested
)

func setKey(field string) leakback.Key { return leakback.Key{Kind: leakback.KindSet, Field: field} }

func runSet(run int, field string) leakback.Key {
	return leakback.Key{Kind: leakback.KindSet, Run: run, Field: field}
}

func mark(run int, field string) leakback.Key {
	return leakback.Key{Kind: leakback.KindMark, Run: run, Field: field}
}

func timeKey(run int, field string) leakback.Key {
	return leakback.Key{Kind: leakback.KindTime, Run: run, Field: field}
}

func startKey(run int, field string) leakback.Key {
	return leakback.Key{Kind: leakback.KindStart, Run: run, Field: field}
}

// keyOf is the key of a field that flags give: a mark for what no evaluation
// reads.
func keyOf(field string) leakback.Key {
	if field == markTubes || field == markOrder {
		return mark(0, field)
	}
	return setKey(field)
}

// has says whether anything was entered for a key, if only that it is open.
func (f *Flow) has(key leakback.Key) bool {
	_, ok := f.Record().Last(key)
	return ok
}

// set is what stands for a field of the test.
func (f *Flow) set(field string) string { return f.Record().Set(field) }

// number is what stands for a key as a number; 0 where nothing does.
func (f *Flow) number(key leakback.Key) float64 {
	x, err := quantity.ParseNumber(f.Record().Value(key), false)
	if err != nil {
		return 0
	}
	return x
}

// count is what stands for a key as a whole number; 0 where nothing does.
func (f *Flow) count(key leakback.Key) int { return int(f.number(key)) }

func (f *Flow) method() leakback.Method { return leakback.Method(f.set(leakback.FieldMethod)) }

func (f *Flow) cranking() bool { return f.set(recorded.FieldCondition) == leakback.Cranking }

// cylinders is how many the engine has; 0 where nobody said.
func (f *Flow) cylinders() int {
	if f.sheet != nil && f.sheet.Cylinders > 0 {
		return f.sheet.Cylinders
	}
	return f.count(setKey(leakback.FieldCylinders))
}

// lastRun is the highest run that anything was entered for.
func (f *Flow) lastRun() int {
	last := 0
	for _, e := range f.Record().Events {
		if repair.OfWork(e) == 0 { // a work's number is no run's
			last = max(last, e.Run)
		}
	}
	return last
}

// anyReading says whether anything was read.
func (f *Flow) anyReading() bool {
	return slices.ContainsFunc(f.Record().Events, func(e leakback.Event) bool {
		return e.Kind == leakback.KindReading && e.Value != ""
	})
}

// read is the event that stands for a reading, whatever its unit, and whether
// there is one.
func (f *Flow) read(run int, o outlet) (last leakback.Event, ok bool) {
	for _, column := range entry.ReadingColumns() {
		if e, found := f.Record().Last(o.key(run, column)); found && (!ok || e.Seq > last.Seq) {
			last, ok = e, true
		}
	}
	return last, ok
}

// readIn says whether anything was read in a run.
func (f *Flow) readIn(run int) bool {
	return slices.ContainsFunc(f.Record().Events, func(e leakback.Event) bool {
		return e.Kind == leakback.KindReading && e.Run == run && e.Value != ""
	})
}

// outlet is where fuel is read: a cylinder's own return, or a return line.
type outlet struct {
	cylinder int
	line     string
}

func (o outlet) key(run int, column string) leakback.Key {
	return leakback.Key{Kind: leakback.KindReading, Run: run, Cylinder: o.cylinder, Line: o.line, Field: column}
}

// name is the outlet in a sentence.
func (o outlet) name() string {
	switch {
	case o.cylinder > 0:
		return "cylinder " + strconv.Itoa(o.cylinder)
	case o.line != "":
		return "return line " + o.line
	}
	return "the return"
}
