package leakback

import (
	"fmt"
	"math"

	"leakback/limits"
	"leakback/limits/quantity"
	"leakback/stats"
)

// guard says which decisions against the limit the recorded state leaves
// standing. A rate rises with pressure, temperature and speed: below the
// limit's state a maximum that is exceeded there is exceeded, but one that is
// met proves nothing; above it the reverse.
type guard struct {
	below, above bool // the recorded state lies outside the limit's
	unknown      bool // a state that the limit names was not recorded
	otherPattern bool // another crank pattern than the limit's
	// otherReturn says that the runs with nothing blocked do not fit the others;
	// the shares are then the least that they can be, or the most.
	otherReturn, least, most bool
	// notHeld says that the rail pressure was not held over the runs, sequential
	// that drift may stand between the cylinders.
	notHeld, sequential bool
	// unjudged says that nothing may be judged at all (back-pressure).
	unjudged bool
	// tookWhole says that a verdict of the whole test was taken away.
	tookWhole bool
	findings  []Finding
	// forPeople asks for texts, notes and settle as well.
	full  bool
	notes []string
	// settle asks for the state that is missing or wrong; nil where none is.
	settle *Settle
}

// record notes the state over the runs, as limits.For takes it.
func (e *evaluation) record() {
	s := &e.state
	s.Cranks = 0
	s.RailPressureBar, s.FuelTempC, s.EngineRPM = s.RailPressureBar[:0], s.FuelTempC[:0], s.EngineRPM[:0]
	for i := range e.test.Runs {
		st := &e.test.Runs[i].State
		s.Cranks = max(s.Cranks, st.Cranks)
		s.RailPressureBar = appendKnown(s.RailPressureBar, st.RailPressureBar)
		s.FuelTempC = appendKnown(s.FuelTempC, st.FuelTempC)
		s.EngineRPM = appendKnown(s.EngineRPM, st.EngineRPM)
	}
}

func appendKnown(to []float64, x float64) []float64 {
	if math.IsNaN(x) {
		return to
	}
	return append(to, x)
}

// stateGuard holds the recorded state against the limit's.
func (e *evaluation) stateGuard() {
	t, l, st, g := e.test, e.limit, &e.state, &e.guard
	*g = guard{findings: g.findings[:0], full: e.full}
	g.backPressure(t, e.sheet.BackPressureBar)
	e.measuredGuard()
	if l == nil {
		return
	}
	g.within("rail pressure", quantity.Pressure, l.RailPressureBar, st.RailPressureBar, len(t.Runs))
	g.within("fuel temperature", quantity.Temperature, l.FuelTempC, st.FuelTempC, len(t.Runs))
	g.speed(l.EngineRPM, st.EngineRPM, len(t.Runs))
	if l.Injectors != "" && t.Injectors == "" {
		g.missing("whether the injectors were driven or off")
	}
	g.cranks(t, l)
}

// backPressure judges nothing where the sheet wants the return held up and
// that was not done, or not recorded.
func (g *guard) backPressure(t *Test, want *limits.Range) {
	if want == nil {
		return
	}
	var values []float64
	for i := range t.Runs {
		values = appendKnown(values, t.Runs[i].State.BackPressureBar)
	}
	below, above := want.Side(values)
	if len(values) == len(t.Runs) && !below && !above {
		return
	}
	g.unjudged = true
	g.add(BackPressure, func() (text, settle string) {
		text = fmt.Sprintf("the return of this engine must be held at %s", quantity.FormatRange(quantity.Pressure, want.Low, want.High))
		if len(values) < len(t.Runs) {
			text += "; no back-pressure was recorded, so nothing is judged"
		} else {
			text += "; it was not, so nothing is judged"
		}
		return text, "hold the return at the back-pressure that the sheet names, record it and measure again"
	})
}

func (g *guard) within(what string, k quantity.Kind, want *limits.Range, got []float64, runs int) {
	if want == nil {
		return
	}
	if len(got) < runs {
		if k == quantity.Pressure {
			g.missing("the " + what)
		} else {
			g.note(func() string {
				return fmt.Sprintf("The %s was not recorded; the limit is given for %s.", what, quantity.FormatRange(k, want.Low, want.High))
			})
		}
	}
	g.outside(what, want, got, func() string { return quantity.FormatRange(k, want.Low, want.High) })
}

func (g *guard) speed(want *limits.Range, got []float64, runs int) {
	if want == nil {
		return
	}
	text := func() string {
		return quantity.Fixed(want.Low, 0) + " to " + quantity.Fixed(want.High, 0) + " rpm"
	}
	if len(got) < runs {
		g.note(func() string {
			return "The engine speed was not recorded; the limit is given for " + text() + "."
		})
	}
	g.outside("engine speed", want, got, text)
}

func (g *guard) outside(what string, want *limits.Range, got []float64, wanted func() string) {
	below, above := want.Side(got)
	settle := func() string { return fmt.Sprintf("measure again with the %s at %s", what, wanted()) }
	if below {
		g.below = true
		g.add(OutsideLimitState, func() (string, string) {
			return fmt.Sprintf("the %s was below the %s that the limit is given for: "+
				"being within it there proves nothing, being over it does", what, wanted()), settle()
		})
	}
	if above {
		g.above = true
		g.add(OutsideLimitState, func() (string, string) {
			return fmt.Sprintf("the %s was above the %s that the limit is given for: "+
				"being over it there proves nothing, being within it does", what, wanted()), settle()
		})
	}
}

func (g *guard) missing(what string) {
	g.unknown = true
	g.add(StateUnknown, func() (string, string) {
		return fmt.Sprintf("the limit is given for a certain state, and %s was not recorded: "+
			"being within it proves nothing", what), "record " + what
	})
}

// cranks refuses to hold one crank pattern against another's limit. A test
// that does not say is taken as one crank.
func (g *guard) cranks(t *Test, l *limits.Limit) {
	if l.Cranks == 0 {
		return
	}
	for i := range t.Runs {
		got := max(1, t.Runs[i].State.Cranks)
		if t.Runs[i].State.Cranks == 0 && i == 0 {
			g.note(func() string { return "The number of cranks was not recorded and is taken as one." })
		}
		if got != l.Cranks {
			g.otherPattern = true
			g.add(OtherCrankPattern, func() (string, string) {
				return fmt.Sprintf("collected over %s, the limit is given for %s: the two cannot be compared",
					count(got, "crank"), count(l.Cranks, "crank")), "collect again over " + count(l.Cranks, "crank")
			})
			return
		}
	}
}

func (g *guard) note(text func() string) {
	if g.full {
		g.notes = append(g.notes, text())
	}
}

// add notes a finding, one of each code, and asks for the state that would
// settle it.
func (g *guard) add(code Code, texts func() (text, settle string)) {
	g.addWith(RecordState, code, texts)
}

// addWith notes a finding, one of each code, and asks for what would settle it.
func (g *guard) addWith(action Action, code Code, texts func() (text, settle string)) {
	var text string
	if g.full {
		var settle string
		text, settle = texts()
		if g.settle == nil {
			g.settle = newSettle(action, settle)
		}
	}
	g.findings = filed(g.findings, code, text)
}

// heldAgainst says what a limit is given for.
type heldAgainst int8

const (
	ofRate heldAgainst = iota
	ofRatio
	ofDifference
	ofTotal
)

// doubtsRatios says that a cylinder may stand apart for another reason than its
// own return.
func (g *guard) doubtsRatios() bool { return g.sequential || g.otherReturn }

// judge turns a decision against a limit of some kind into a verdict: fails
// names the decision that fails, Above for a maximum and Below for a minimum.
// Where the state takes a decided verdict away, taken is true.
func (g *guard) judge(d, fails stats.Decision, of heldAgainst) (v Verdict, taken bool) {
	low, high := g.below, g.above
	if of == ofRate {
		low, high = low || g.least, high || g.most
	}
	passOpen, failOpen := low, high
	if fails == stats.Below { // a minimum is the mirror image
		passOpen, failOpen = high, low
	}
	if of == ofRatio || of == ofDifference {
		failOpen = failOpen || g.doubtsRatios()
		passOpen = passOpen || g.otherReturn && of == ofDifference
	}
	switch {
	case d == stats.Open:
		return Undecided, false
	case g.otherPattern, d == fails && failOpen, d != fails && (passOpen || g.unknown):
		return Undecided, true
	case d == fails:
		return Fail, false
	}
	return Pass, false
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
