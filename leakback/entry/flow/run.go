package flow

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/leakback/blockoff"
	"leakback/leakback/entry"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/frame"
	"leakback/leakback/entry/recorded"
	"leakback/limits/quantity"
)

// runID is the ID of a question about a run.
func runID(run int, what string) string { return fmt.Sprintf("run %d %s", run, what) }

func runSection(run int) string { return "Run " + strconv.Itoa(run) }

// askRuns asks for the runs one after the other, and after the last what is next.
func (f *Flow) askRuns(l *frame.List) {
	if l.Open {
		return
	}
	ahead, before := f.ahead(), 1
	if !f.has(mark(0, markCautions)) && !f.has(mark(0, markPriming)) {
		before = ahead
	}
	for k := 1; !l.Open; k++ {
		if k == before {
			f.askCautions(l, ahead > 0)
		}
		f.askRun(l, k)
		if !l.Open && !f.goesOn(k) {
			f.askNext(l, k)
			return
		}
	}
}

// goesOn says whether another run follows without a question.
func (f *Flow) goesOn(k int) bool { return k < f.lastRun() || f.scheduled(k) }

// ahead is the first run that fuel is still to be collected in; 0 for none.
func (f *Flow) ahead() int {
	for k := 1; ; k++ {
		if !f.collected(k) {
			return k
		}
		if !f.goesOn(k) {
			return 0
		}
	}
}

// collected says that the collection of a run is over.
func (f *Flow) collected(run int) bool {
	return f.timed(run) && (!f.untimed(run) || f.readIn(run))
}

// askCautions asks for the cautions to be acknowledged and the hoses primed,
// where fuel is still to be collected.
func (f *Flow) askCautions(l *frame.List, collecting bool) {
	place := f.frame.Place(mark(0, markCautions))
	read := place > max(f.frame.Place(setKey(leakback.FieldMethod)), f.frame.Place(setKey(recorded.FieldCondition)))
	if cautions := f.cautions(); len(cautions) > 0 {
		l.Add(f.frame.Confirm(mark(0, markCautions), read || !collecting, ask.Question{Section: "Cautions",
			Prompt: "Read these before anything is touched", Notes: cautions,
			Options: []ask.Option{{Value: "understood", Label: "I have read and understood them"}}}))
	}
	l.Add(f.frame.Confirm(mark(0, markPriming), f.has(mark(0, markPriming)) || !collecting, ask.Question{Section: "Priming",
		Prompt: "Prime the hoses", Notes: []string{
			"Connect the hoses and run (or crank) until every hose drips without bubbles. Stop. Empty the tubes."},
		Options: []ask.Option{{Value: "primed", Label: "every hose is full and every tube is empty"}}}))
}

func (f *Flow) cautions() []string {
	if f.o.Cautions == nil {
		return nil
	}
	return f.o.Cautions(f.method(), f.set(recorded.FieldCondition))
}

// askRun asks for one run: what is special about it, how long, the collection
// and its readings.
func (f *Flow) askRun(l *frame.List, k int) {
	switch {
	case f.method() == leakback.MethodBlockOff:
		l.Add(f.blockedStep(k))
	case f.oneTube():
		l.Add(f.cylinderStep(k))
	}
	if f.has(mark(k, markOtherTube)) {
		f.askTube(l, k)
	}
	if !f.untimed(k) {
		f.askLength(l, k)
		f.askCollection(l, k)
	}
	f.askReadings(l, k)
}

// schedule is the runs of a block-off test as far as they are planned: which
// cylinders each blocks.
func (f *Flow) schedule() [][]int {
	plan, err := blockoff.Schedule(f.numbers(), f.passes())
	if err != nil { // fewer than two cylinders, which are refused where they are asked for
		return nil
	}
	return plan.Blocked
}

// passes is how often the schedule blocks every cylinder.
func (f *Flow) passes() int {
	passes := 2
	for k := 1; k <= f.lastRun(); k++ {
		if f.Record().Value(mark(k, markNext)) == nextPasses {
			passes += 2
		}
	}
	return min(passes, blockoff.MostPasses)
}

// scheduled says whether the schedule has a run behind run k.
func (f *Flow) scheduled(k int) bool {
	if f.has(mark(k, markLast)) || f.lastCut() {
		return false
	}
	switch {
	case f.method() == leakback.MethodBlockOff:
		return k < len(f.schedule())
	case f.oneTube():
		return k <= f.cylinders()
	}
	return false
}

// lastCut says whether the schedule was cut short after some run.
func (f *Flow) lastCut() bool {
	for k := 1; k <= f.lastRun(); k++ {
		if f.has(mark(k, markLast)) {
			return true
		}
	}
	return false
}

// blockedStep asks which cylinders are blocked.
func (f *Flow) blockedStep(k int) frame.Step {
	key := runSet(k, recorded.FieldBlocked)
	standing := func() string {
		if e, ok := f.Record().Last(key); ok {
			return blockedWord(e.Value)
		}
		return blockedWord(f.nextBlocked(k))
	}
	return frame.Step{ID: runID(k, recorded.FieldBlocked), Done: f.has(key),
		Ask: func() ask.Question {
			return ask.Question{Section: runSection(k), Prompt: "Blocked cylinders", Required: true, Default: standing(),
				Hint: "joined by +, such as 2 or 1+2, or none" + f.cutHint(k), Notes: f.scheduleNote(k)}
		},
		Take: func(a frame.Answer) (frame.Taken, error) {
			text := a.Text
			switch {
			case a.Skip:
				return f.cutSchedule(k, f.has(key))
			case text == "":
				text = standing()
			}
			value, expected := f.blocked(text)
			if expected != "" {
				return frame.Taken{}, frame.Refuse(a.Text, expected)
			}
			return f.renewed(typedEvent(key, value, text)), nil
		}}
}

// wordNone stands for no blocked cylinder.
const wordNone = "none"

func blockedWord(value string) string {
	if value == "" {
		return wordNone
	}
	return value
}

// blocked reads the cylinders that are blocked.
func (f *Flow) blocked(text string) (value, expected string) {
	if strings.EqualFold(text, wordNone) {
		return "", ""
	}
	var list []int
	for part := range strings.SplitSeq(text, "+") {
		n, err := strconv.Atoi(strings.TrimSpace(part))
		if err != nil || n < 1 || n > f.cylinders() || slices.Contains(list, n) {
			return "", fmt.Sprintf("cylinders from 1 to %d, each once, joined by + (such as 1+2), or none", f.cylinders())
		}
		list = append(list, n)
	}
	slices.Sort(list)
	return joined(list), ""
}

// joined is a list of cylinders as its cell holds it.
func joined(list []int) string {
	words := make([]string, len(list))
	for i, c := range list {
		words[i] = strconv.Itoa(c)
	}
	return strings.Join(words, "+")
}

// nextBlocked is what run k is to block: the first of the schedule that no
// earlier run has done.
func (f *Flow) nextBlocked(k int) string {
	left := f.leftToDo(k)
	if len(left) == 0 {
		return ""
	}
	return left[0]
}

// leftToDo is the schedule without what the runs before k have done.
func (f *Flow) leftToDo(k int) []string {
	var left []string
	for _, list := range f.schedule() {
		left = append(left, joined(list))
	}
	for j := 1; j < k; j++ {
		if f.leftOut(j) {
			continue
		}
		if i := slices.Index(left, f.Record().Value(runSet(j, recorded.FieldBlocked))); i >= 0 {
			left = slices.Delete(left, i, i+1)
		}
	}
	return left
}

// leftOut says whether a run is kept out of the evaluation.
func (f *Flow) leftOut(run int) bool {
	return f.Record().Value(leakback.Key{Kind: leakback.KindLeaveOut, Run: run}) != ""
}

// scheduleNote says what is left of the schedule.
func (f *Flow) scheduleNote(k int) []string {
	left := f.leftToDo(k)
	if len(left) < 2 {
		return nil
	}
	for i := range left {
		left[i] = blockedWord(left[i])
	}
	return []string{fmt.Sprintf("Runs to come, by what is blocked: %s. In this order drift cancels. Wait for the pressure to go "+
		"before a line is opened, every time.", strings.Join(left, ", "))}
}

// cutHint says how to end a schedule before its last run.
func (f *Flow) cutHint(k int) string {
	if k == 1 {
		return ""
	}
	return "; skip ends the runs here"
}

// cutSchedule ends the schedule with the run before.
func (f *Flow) cutSchedule(k int, begun bool) (frame.Taken, error) {
	if k == 1 || begun {
		return frame.Taken{}, frame.Refuse(frame.WordSkip, "an answer here: the run has begun")
	}
	return frame.Taken{Drafts: []leakback.Event{frame.Event(mark(k-1, markLast), "cut")}}, nil
}

// cylinderStep asks whose return is collected into the one tube.
func (f *Flow) cylinderStep(k int) frame.Step {
	key := mark(k, markCylinder)
	standing := strconv.Itoa(f.cylinderOf(k))
	if f.cylinderOf(k) == 0 {
		standing = strconv.Itoa(f.nextCylinder(k))
	}
	read := whole("a cylinder's number", 1, max(1, f.cylinders()))
	return frame.Step{ID: runID(k, markCylinder), Done: f.cylinderOf(k) > 0,
		Ask: func() ask.Question {
			return ask.Question{Section: runSection(k), Prompt: "Cylinder", Default: standing, Required: true,
				Hint: "whose return goes into the tube" + f.cutHint(k)}
		},
		Take: func(a frame.Answer) (frame.Taken, error) {
			text := a.Text
			if a.Skip {
				return f.cutSchedule(k, f.cylinderOf(k) > 0)
			}
			if text == "" {
				text = standing
			}
			value, expected := read(text)
			switch {
			case expected != "":
				return frame.Taken{}, frame.Refuse(a.Text, expected)
			case f.readIn(k) && value != standing:
				return frame.Taken{}, frame.Refuse(a.Text, standing+", whose reading was taken; correct the reading or leave the run out")
			}
			return f.renewed(frame.Event(key, value)), nil
		}}
}

// cylinderOf is whose return a run collects into the one tube; 0 where it was
// not said.
func (f *Flow) cylinderOf(run int) int {
	if c := f.count(mark(run, markCylinder)); c > 0 {
		return c
	}
	for _, e := range f.Record().Events {
		if e.Kind == leakback.KindReading && e.Run == run && e.Cylinder > 0 {
			return e.Cylinder
		}
	}
	return 0
}

// nextCylinder is whose return comes next: the first that no earlier run had,
// and the first of all once more at the end.
func (f *Flow) nextCylinder(k int) int {
	order := f.order()
	for _, c := range order {
		if !slices.ContainsFunc(f.runsBefore(k), func(j int) bool { return f.cylinderOf(j) == c && !f.leftOut(j) }) {
			return c
		}
	}
	if len(order) == 0 {
		return 0
	}
	return order[0]
}

func (f *Flow) runsBefore(k int) []int {
	runs := make([]int, k-1)
	for i := range runs {
		runs[i] = i + 1
	}
	return runs
}

// outlets is where fuel is read in a run, in the order in which it is.
func (f *Flow) outlets(run int) []outlet {
	switch {
	case f.oneTube():
		return []outlet{{cylinder: f.cylinderOf(run)}}
	case f.method() == leakback.MethodIndividual:
		var all []outlet
		for _, c := range f.order() {
			all = append(all, outlet{cylinder: c})
		}
		return all
	}
	return f.returnLines()
}

// returnLines are those of a merged return.
func (f *Flow) returnLines() []outlet {
	if f.sheet == nil || len(f.sheet.ReturnLines) == 0 {
		return []outlet{{line: f.set(recorded.FieldReturnLine)}}
	}
	var lines []outlet
	for _, line := range f.sheet.ReturnLines {
		lines = append(lines, outlet{line: line.Name})
	}
	return lines
}

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
