package flow

import (
	"strconv"

	"leakback/leakback"
	"leakback/leakback/entry"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/frame"
	"leakback/leakback/entry/recorded"
	"leakback/limits/quantity"
)

// untimed says that the length of a run is known to be unknown. That of a merged
// return is asked for where a flag called all of them unknown.
func (f *Flow) untimed(run int) bool {
	value := f.Record().Value(runSet(run, recorded.FieldIntervalS))
	if value == "" {
		value = f.set(recorded.FieldIntervalS)
		return value == entry.Unknown && !f.anyTime(run) && f.method() == leakback.MethodIndividual
	}
	return value == entry.Unknown
}

// askLength asks how long a run is to last: the whole of it, or each crank and
// how many. Later runs last as long unless somebody says otherwise.
func (f *Flow) askLength(l *frame.List, k int) {
	if !f.cranking() {
		l.Add(f.lengthStep(k, "seconds", "Length of the collection", "such as 60, 90 s or 1:30", 0))
		return
	}
	cranks := f.frame.Field(frame.Field{Key: mark(k, markCranks), ID: runID(k, "cranks"), Read: whole("the number of cranks", 1, leakback.MostCranks),
		Known: f.timed(k) || f.inherits(k) && f.cranks(k-1) > 0 || f.count(setKey(recorded.FieldCranks)) > 0,
		Usual: func(q *ask.Question) { q.Default = strconv.Itoa(f.usualCranks(k)) },
		Question: ask.Question{Section: runSection(k), Prompt: "Cranks in a run", Required: true,
			Hint: "how often the starter is used, with rests between"}})
	l.Add(cranks)
	most := 0.0
	hint := "such as 10 or 15 s; the service information has the longest that the starter may be used"
	if f.sheet != nil && f.sheet.Measurement.MaxCrankS > 0 {
		most = f.sheet.Measurement.MaxCrankS
		hint = "at most " + seconds(most) + ", as the limits sheet says"
	}
	l.Add(f.lengthStep(k, "crank seconds", "Length of each crank", hint, most))
}

// lengthStep asks how long one collection, or one crank, is to last.
func (f *Flow) lengthStep(k int, what, prompt, hint string, most float64) frame.Step {
	read := func(text string) (string, string) {
		value, expected := figure(quantity.Interval)(text)
		if expected == "" && most > 0 && number(value) > most {
			return "", "at most " + seconds(most) + ", as the limits sheet says of one crank"
		}
		return value, expected
	}
	fits := most == 0 || f.planned(k) <= most
	s := f.frame.Field(frame.Field{Key: mark(k, markSeconds), ID: runID(k, what), Read: read,
		Known:    f.timed(k) || fits && (f.inherits(k) && f.planned(k-1) > 0 || f.plannedByFlag(k) > 0),
		Usual:    func(q *ask.Question) { q.Default = f.usualSeconds(k) },
		Question: ask.Question{Section: runSection(k), Prompt: prompt, Required: true, Hint: hint}})
	s.Done = s.Done && (fits || f.timed(k))
	return s
}

// inherits says that a run is to last as long as the one before.
func (f *Flow) inherits(k int) bool {
	return k > 1 && f.Record().Value(mark(k-1, markNext)) != nextLonger
}

// planned is how long a collection or each crank of a run is to last in s; 0
// where nobody said.
func (f *Flow) planned(k int) float64 {
	for ; k > 0; k-- {
		if s := f.number(mark(k, markSeconds)); s > 0 {
			return s
		}
		if s := f.plannedByFlag(k); s > 0 {
			return s
		}
	}
	return 0
}

// plannedByFlag is what a flag says of all runs, shared out to the cranks.
func (f *Flow) plannedByFlag(k int) float64 {
	s := f.number(setKey(recorded.FieldIntervalS))
	if k > 1 && !f.inherits(k) {
		return 0
	}
	if f.cranking() {
		return s / float64(max(1, f.cranks(k)))
	}
	return s
}

// cranks is how many cranks a run is planned to have; 0 where nobody said.
func (f *Flow) cranks(k int) int {
	for ; k > 0; k-- {
		if n := f.count(mark(k, markCranks)); n > 0 {
			return n
		}
	}
	return f.count(setKey(recorded.FieldCranks))
}

// usualCranks is what is proposed: as the run before, the limit's pattern, or as
// the limit's interval needs.
func (f *Flow) usualCranks(k int) int {
	if n := f.cranks(k - 1); n > 0 {
		return n
	}
	limit := f.limit()
	switch {
	case limit == nil:
		return 1
	case limit.Cranks > 0:
		return limit.Cranks
	case limit.IntervalS != nil && f.sheet.Measurement.MaxCrankS > 0:
		return cranksFor(*limit.IntervalS, f.sheet.Measurement.MaxCrankS)
	}
	return 1
}

// usualSeconds is what is proposed: as the run before, or the limit's interval.
func (f *Flow) usualSeconds(k int) string {
	s := f.planned(k - 1)
	if s == 0 {
		s = f.limitSeconds(k)
	}
	if s == 0 && !f.cranking() {
		s = usualS
	}
	if s == 0 {
		return ""
	}
	return quantity.Plain(s, mostDecimals)
}

// usualS is the collection that is proposed where no book says: our choice, no
// source.
const usualS = 60

// limitSeconds is the limit's interval, shared out to the cranks; 0 where it has
// none.
func (f *Flow) limitSeconds(k int) float64 {
	limit := f.limit()
	if limit == nil || limit.IntervalS == nil {
		return 0
	}
	if !f.cranking() {
		return *limit.IntervalS
	}
	s := *limit.IntervalS / float64(max(1, f.cranks(k)))
	if most := f.sheet.Measurement.MaxCrankS; most > 0 {
		s = min(s, most)
	}
	return s
}
