package flow

import (
	"cmp"
	"fmt"
	"math"
	"strconv"

	"leakback/leakback"
	"leakback/leakback/blockoff"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/frame"
	"leakback/leakback/entry/recorded"
	"leakback/limits/quantity"
	"leakback/stats"
)

// another is a run more, of that length in s (0 for the same), in so many cranks
// (0 where nobody says).
func (f *Flow) another(k int, value, label string, seconds float64, cranks int) choice {
	c := choice{Option: ask.Option{Value: value, Label: label}}
	if seconds == 0 { // a mark is enough to begin the run
		c.events = []leakback.Event{frame.Event(mark(k+1, markNext), "")}
		return c
	}
	if f.cranking() {
		cranks = f.cranksIn(k, cranks, seconds)
		c.events = append(c.events, frame.Event(mark(k+1, markCranks), strconv.Itoa(cranks)))
		seconds /= float64(cranks)
	}
	c.events = append(c.events, frame.Event(mark(k+1, markSeconds), quantity.Plain(seconds, clockDecimals)))
	return c
}

// collectS is how long an advice says to collect: what is done is what was read.
func collectS(s *leakback.Settle) float64 {
	if !math.IsNaN(s.SaidS) {
		return s.SaidS
	}
	return math.Ceil(stats.Round6(s.CollectS))
}

// cranksIn is how many cranks make a collection of that length: as the advice
// says, as the limit has them, or as many as the starter needs.
func (f *Flow) cranksIn(k, advised int, seconds float64) int {
	if advised > 0 {
		return advised
	}
	if limit := f.limit(); limit != nil && limit.Cranks > 0 {
		return limit.Cranks
	}
	return cranksFor(seconds, f.longestCrank(k))
}

// longestCrank is how long the starter may be used at once, as far as is known.
func (f *Flow) longestCrank(k int) float64 {
	if most := f.sheet.Measurement.MaxCrankS; most > 0 {
		return most
	}
	return max(leastS, f.planned(k))
}

// cranksFor is how many cranks of at most that length make a collection.
func cranksFor(seconds, most float64) int {
	return min(leakback.MostCranks, max(1, int(math.Ceil(stats.Round6(seconds/most)))))
}

// proposals are what settles the open cylinders, as far as it can be done here.
func (f *Flow) proposals(k int) []choice {
	result, err := f.Result()
	if err != nil {
		return nil
	}
	if left := f.missing(k); left != "" {
		return []choice{f.another(k, nextAgain, left, 0, 0)}
	}
	s := cmp.Or(result.Settle, widest(result))
	if s == nil {
		return nil
	}
	switch s.Action {
	case leakback.Collect, leakback.Repeat:
		return f.collectMore(k, s, result)
	case leakback.LargerTube, leakback.FinerTube:
		return f.otherTube(k, s)
	case leakback.CheckHose:
		return []choice{f.another(k, nextAgain, s.Text, 0, 0)}
	case leakback.ReadAll:
		if f.oneTube() {
			return []choice{f.another(k, nextAgain, s.Text, 0, 0)}
		}
		return []choice{{Option: ask.Option{Value: nextCorrect, Label: s.Text}}}
	case leakback.RecordState:
		return []choice{{Option: ask.Option{Value: nextState, Label: s.Text}}, f.another(k, nextAgain, "another run of the same length", 0, 0)}
	case leakback.AllBlocked:
		if f.method() == leakback.MethodBlockOff && f.cranking() { // an engine with every injector blocked does not run
			return []choice{{Option: ask.Option{Value: nextAllBlocked, Label: s.Text},
				events: []leakback.Event{frame.Event(runSet(k+1, recorded.FieldBlocked), joined(f.numbers()))}}}
		}
	}
	return nil
}

// widest is what takes longest of all that settles a cylinder, where the test as
// a whole needs nothing: another cylinder of it may have failed. Nil for none.
func widest(r *leakback.Result) *leakback.Settle {
	var most *leakback.Settle
	effort := func(s *leakback.Settle) float64 {
		if math.IsNaN(s.CollectS) {
			return 0
		}
		return s.CollectS * float64(max(1, s.Runs))
	}
	for i := range r.Cylinders {
		if s := r.Cylinders[i].Settle; s != nil && (most == nil || effort(s) > effort(most)) {
			most = s
		}
	}
	return most
}

// missing says which run of the schedule was left out and not done again.
func (f *Flow) missing(k int) string {
	if f.lastCut() {
		return ""
	}
	switch left := f.leftToDo(k + 1); {
	case f.method() == leakback.MethodBlockOff && len(left) > 0:
		return "the run that is missing: blocked " + blockedWord(left[0])
	case f.oneTube() && f.nextCylinder(k+1) != f.order()[0]:
		return fmt.Sprintf("the run that is missing: cylinder %d", f.nextCylinder(k+1))
	}
	return ""
}

// collectMore proposes the run that would settle it: longer, or once more.
func (f *Flow) collectMore(k int, s *leakback.Settle, result *leakback.Result) []choice {
	switch {
	case f.method() == leakback.MethodBlockOff && s.Runs > len(result.Test.Runs)+1:
		if f.passes() < blockoff.MostPasses {
			return []choice{f.another(k, nextPasses, s.Text, 0, 0)}
		}
		return nil
	case math.IsNaN(s.CollectS):
		return []choice{f.another(k, nextAgain, s.Text, 0, 0)}
	}
	return []choice{f.another(k, nextCollect, s.Text, collectS(s), s.Cranks)}
}

// otherTube proposes a run with other tubes or, where one ran over, a shorter one.
func (f *Flow) otherTube(k int, s *leakback.Settle) []choice {
	tube := f.another(k, nextTube, s.Text, 0, 0)
	if !math.IsNaN(s.CollectS) && !math.IsNaN(s.GraduationML) {
		tube = f.another(k, nextTube, s.Text, collectS(s), s.Cranks)
	}
	tube.events = append(tube.events, frame.Event(mark(k+1, markOtherTube), "1"))
	overflow := s.Action == leakback.LargerTube && math.IsNaN(s.GraduationML)
	if shorter := collectS(s); overflow && shorter >= leastS {
		return []choice{f.another(k, nextShorter, "collect for "+seconds(shorter)+" with these tubes", shorter, 0), tube}
	}
	return []choice{tube}
}
