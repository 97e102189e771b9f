package report

import (
	"cmp"
	"slices"
	"strconv"
	"time"

	"leakback/leakback"
)

// Record is what a logbook knows of a test beside its evaluation.
type Record struct {
	// Number is the test's number in the logbook, from 1.
	Number int64
	// TestID is the UUIDv7 of the test in its usual text form.
	TestID string
	// Head is the SHA-256 of the chain of its entries in hexadecimal; "" where
	// there is none.
	Head string
	// Record are the entries themselves.
	Record *leakback.Record
	// Zone is the zone that times are shown in; nil is UTC.
	Zone *time.Location
}

// Layouts of times for people. The offset stands with every time or span, so
// that a time never depends on who reads it where.
const (
	dayLayout    = "2006-01-02"
	minuteLayout = "15:04"
	secondLayout = "15:04:05"
	offsetLayout = "-07:00"
)

// localTime is a time of an event in a zone, UTC where there is none.
func localTime(us int64, zone *time.Location) time.Time {
	if zone == nil {
		zone = time.UTC
	}
	return time.UnixMicro(us).In(zone)
}

// stamp is a time to the second: "2024-03-05 09:41:12 +01:00".
func (r *Record) stamp(us int64) string {
	return localTime(us, r.Zone).Format(dayLayout + " " + secondLayout + " " + offsetLayout)
}

// span is a time from one moment to another, as short as it stays clear:
// "2024-03-05 09:41:12 to 09:42:12 +01:00".
func (r *Record) span(fromUS, toUS int64, clock string) string {
	from, to := localTime(fromUS, r.Zone), localTime(toUS, r.Zone)
	first, last := from.Format(dayLayout+" "+clock), to.Format(clock+" "+offsetLayout)
	switch {
	case from.Format(offsetLayout) != to.Format(offsetLayout):
		return from.Format(dayLayout+" "+clock+" "+offsetLayout) + " to " + to.Format(dayLayout+" "+clock+" "+offsetLayout)
	case from.Format(dayLayout) != to.Format(dayLayout):
		return first + " to " + to.Format(dayLayout) + " " + last
	case from.Format(clock) == to.Format(clock):
		return from.Format(dayLayout) + " " + last
	}
	return first + " to " + last
}

// runTime is when a run was taken.
type runTime struct {
	run          *leakback.Run
	fromUS, toUS int64
	// entered says that nobody timed the run: the times are those at which its
	// readings were entered.
	entered bool
}

// fromFile says whether the test came in as a file: its entries' times then
// say when it came in, and nothing of when the engine was tested.
func (r *Record) fromFile() bool { return r.Record.Set(leakback.FieldImportKey) != "" }

// runTimes are the times of the runs as far as they are known, in the order of
// the runs.
func (r *Record) runTimes(runs []leakback.Run) []runTime {
	var times []runTime
	for i := range runs {
		run := &runs[i]
		if rt, ok := r.timed(run); ok {
			times = append(times, rt)
		} else if rt, ok := r.read(run); ok {
			times = append(times, rt)
		}
	}
	return times
}

// runs are the runs that something was entered for, of a test that has no result:
// their numbers, and why some were left out.
func (r *Record) runs() []leakback.Run {
	var runs []leakback.Run
	for _, e := range r.Record.Events {
		if e.Run > 0 && !slices.ContainsFunc(runs, func(run leakback.Run) bool { return run.Number == e.Run }) {
			out, _ := r.Record.Last(leakback.Key{Kind: leakback.KindLeaveOut, Run: e.Run})
			run := leakback.Run{Number: e.Run}
			if out.Value != "" {
				run.LeftOut = cmp.Or(out.Reason, "no reason given")
			}
			runs = append(runs, run)
		}
	}
	slices.SortFunc(runs, func(a, b leakback.Run) int { return cmp.Compare(a.Number, b.Number) })
	return runs
}

// timed is a run by its starts, one or one a crank, and by how long each ran; a
// start that was broken off counts for nothing. The end is reckoned from the
// start, because the machine's clock may be set meanwhile.
func (r *Record) timed(run *leakback.Run) (runTime, bool) {
	rt, found := runTime{run: run}, false
	for _, e := range r.Record.Standing() {
		if e.Kind != leakback.KindStart || e.Run != run.Number {
			continue
		}
		ran := e.Key
		ran.Kind = leakback.KindTime
		s, err := strconv.ParseFloat(r.Record.Value(ran), 64)
		if err != nil || !(s > 0 && s < mostTimedS) {
			continue
		}
		rt.include(e.AtUS, e.AtUS+int64(s*1e6), !found)
		found = true
	}
	return rt, found
}

// mostTimedS is far more than any collection lasts, in s.
const mostTimedS = 1e6

// read is a run by when its readings were entered, the first as well as what
// corrected it.
func (r *Record) read(run *leakback.Run) (runTime, bool) {
	rt, found := runTime{run: run, entered: true}, false
	for _, e := range r.Record.Events {
		if e.Kind == leakback.KindReading && e.Run == run.Number {
			rt.include(e.AtUS, e.AtUS, !found)
			found = true
		}
	}
	return rt, found
}

func (rt *runTime) include(fromUS, toUS int64, first bool) {
	if first {
		rt.fromUS, rt.toUS = fromUS, toUS
		return
	}
	rt.fromUS, rt.toUS = min(rt.fromUS, fromUS), max(rt.toUS, toUS)
}

// tested is when the runs were taken, from the first to the last; "" where the
// record cannot tell.
func (r *Record) tested(t *leakback.Test) string {
	times := r.runTimes(t.Runs)
	if len(times) == 0 || r.fromFile() {
		return ""
	}
	all := times[0]
	for _, rt := range times[1:] {
		all.include(rt.fromUS, rt.toUS, false)
	}
	return r.span(all.fromUS, all.toUS, minuteLayout)
}

// people are who entered something, each once, in the order in which they came.
func (r *Record) people() []string {
	var names []string
	for _, e := range r.Record.Events {
		if e.Person != "" && !slices.Contains(names, e.Person) {
			names = append(names, e.Person)
		}
	}
	return names
}
