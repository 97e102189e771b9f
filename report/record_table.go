package report

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"leakback/leakback"
	"leakback/limits/quantity"
)

// RecordTable writes one test in full as people read it in a terminal: what
// Table writes, then the record: the job, when and by whom, the runs with their
// times, what was corrected, and runs that were left out. Of a page without a
// record it says so; of one without a result, because the test is not finished
// or cannot be evaluated, it writes the record alone.
func RecordTable(w io.Writer, p *Page, o TableOptions) error {
	var t *table
	if p.Result == nil {
		t = blankTable(o)
		t.page = p
	} else {
		t = newTable(p, o)
		t.all()
		t.line()
	}
	switch {
	case p.Record != nil:
		t.record(p.Record)
	case p.Result != nil:
		t.prose(" ", "Not from a logbook: there is no record of who entered what, and when.", huePlain)
	}
	_, err := w.Write(t.out.Bytes())
	return err
}

// record writes what the logbook knows.
func (t *table) record(r *Record) {
	title := fmt.Sprintf("Record of test %d", r.Number)
	if t.r == nil {
		title += ": no result"
	}
	t.prose(" ", title, hueTitle)
	t.labelled(recordSaid(r))
	t.labelled(jobSaid(t.page.Job))
	if t.r == nil {
		t.labelled(testSaid(r))
		t.list("Readings", r.readingsSaid(), false)
	}
	t.recordRuns(r)
	t.recordCorrections(r)
}

// labelWidth is how wide the labels of a record are, with the space after them.
const labelWidth = 18

// labelled writes facts, the texts below one another; under their labels where
// the terminal is too narrow for that.
func (t *table) labelled(facts []fact) {
	for _, f := range facts {
		if f.text == "" {
			continue
		}
		if t.Width < 2*labelWidth {
			t.prose("   ", f.label+": "+f.text, huePlain)
			continue
		}
		t.prose("   "+f.label+strings.Repeat(" ", max(1, labelWidth-len(f.label))), f.text, huePlain)
	}
}

// recordSaid is which record it is, when and by whom it was entered.
func recordSaid(r *Record) []fact {
	facts := []fact{{"id", r.TestID}, {"digest of entries", r.Head}}
	events := r.Record.Events
	if n := len(events); n > 0 {
		facts = append(facts, fact{"entered",
			r.span(events[0].AtUS, events[n-1].AtUS, secondLayout) + ", " + entriesSaid(n) + r.sittings()})
	}
	if r.fromFile() {
		facts = append(facts, fact{"from", "a file"})
	}
	return append(facts, fact{"by", strings.Join(r.people(), ", ")}, fact{"battery voltage", r.batteryText()})
}

// sittings says in how many sittings a test was entered, where it was not one.
func (r *Record) sittings() string {
	n := 0
	for _, e := range r.Record.Events {
		if e.Kind == leakback.KindOpen {
			n++
		}
	}
	if n < 2 {
		return ""
	}
	return fmt.Sprintf(" in %d sittings", n)
}

// jobSaid is the job, what is known of it.
func jobSaid(j leakback.Job) []fact {
	var facts []fact
	for _, name := range leakback.JobFields() {
		facts = append(facts, fact{fieldSaid(name), *j.Field(name)})
	}
	return facts
}

// testSaid is what a result would say of how the engine was tested.
func testSaid(r *Record) []fact {
	var facts []fact
	for _, field := range []string{leakback.FieldName, leakback.FieldEngine, "condition", "injectors", leakback.FieldMethod} {
		facts = append(facts, fact{fieldSaid(field), r.Record.Set(field)})
	}
	return facts
}

// readingsSaid are the readings that stand, a line a run.
func (r *Record) readingsSaid() []string {
	var lines []string
	for _, run := range r.runs() {
		read := slices.DeleteFunc(r.Record.Standing(), func(e leakback.Event) bool {
			return e.Kind != leakback.KindReading || e.Run != run.Number
		})
		slices.SortStableFunc(read, func(a, b leakback.Event) int { return cmp.Compare(a.Cylinder, b.Cylinder) })
		text := fmt.Sprintf("run %d", run.Number)
		for i, e := range read {
			where := whereSaid(leakback.Key{Cylinder: e.Cylinder, Line: e.Line})
			text += strings.TrimSuffix([]string{", ", "; "}[min(i, 1)]+where, ", ") + ": " + valueSaid(e)
		}
		if len(read) > 0 {
			lines = append(lines, text)
		}
	}
	return lines
}

// recordRuns are the runs with their times, and why some do not take part.
func (t *table) recordRuns(r *Record) {
	runs := r.runs()
	if t.r != nil {
		runs = t.r.Test.Runs
	}
	times := map[int]runTime{}
	for _, rt := range r.runTimes(runs) {
		times[rt.run.Number] = rt
	}
	var lines []string
	for i := range runs {
		rt, ok := times[runs[i].Number]
		text := runSaid(&runs[i])
		if ok {
			text += map[bool]string{false: ", collected ", true: ", readings entered "}[rt.entered] +
				r.span(rt.fromUS, rt.toUS, secondLayout)
		}
		if out := runs[i].LeftOut; out != "" {
			text += ", LEFT OUT: " + out
		}
		lines = append(lines, text)
	}
	for _, e := range r.noted() {
		lines = append(lines, "noted "+r.stamp(e.AtUS)+": "+markSaid(e))
	}
	t.list("Runs", lines, false)
}

// runSaid is a run with its length, as far as that is known.
func runSaid(run *leakback.Run) string {
	text := fmt.Sprintf("run %d", run.Number)
	if run.IntervalS > 0 {
		text += ", " + quantity.Format(quantity.Interval, run.IntervalS)
	}
	return text
}

// recordCorrections are the corrections, each with what stood before.
func (t *table) recordCorrections(r *Record) {
	corrections := r.Record.Corrections()
	if len(corrections) == 0 {
		t.list("Corrections", []string{"none"}, false)
		return
	}
	texts := make([]string, len(corrections))
	for i, c := range corrections {
		texts[i] = r.correctionSaid(c)
	}
	t.list("Corrections", texts, false)
}
