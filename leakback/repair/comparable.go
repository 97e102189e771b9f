package repair

import (
	"fmt"
	"math"
	"slices"

	"leakback/leakback"
	"leakback/limits"
	"leakback/limits/quantity"
	"leakback/stats"
)

// RemarkCode names a difference between two tests, or what was not recorded.
type RemarkCode string

// The codes of remarks.
const (
	OtherCondition     RemarkCode = "other-condition"
	OtherMethod        RemarkCode = "other-method"
	OtherInterval      RemarkCode = "other-interval"
	OtherInjectors     RemarkCode = "other-injectors"
	OtherCranks        RemarkCode = "other-cranks"
	OtherRailPressure  RemarkCode = "other-rail-pressure"
	OtherSpeed         RemarkCode = "other-speed"
	OtherMaximum       RemarkCode = "other-maximum"
	TemperaturesApart  RemarkCode = "fuel-temperatures-apart"
	TakenElsewhere     RemarkCode = "fuel-temperature-elsewhere"
	ConditionUnknown   RemarkCode = "condition-unknown"
	IntervalUnknown    RemarkCode = "interval-unknown"
	InjectorsUnknown   RemarkCode = "injectors-unknown"
	CranksUnknown      RemarkCode = "cranks-unknown"
	PressureUnknown    RemarkCode = "rail-pressure-unknown"
	TemperatureUnknown RemarkCode = "fuel-temperature-unknown"
	PlaceUnknown       RemarkCode = "fuel-temperature-place-unknown"
)

// Remark is one thing that is not the same in two tests, or is not known to be.
type Remark struct {
	Code RemarkCode
	// Text is a clause for people.
	Text string
	// DoubtsPass says that a pass of the later test proves nothing about the
	// earlier one; DoubtsFail that a fail by an absolute limit does not.
	DoubtsPass, DoubtsFail bool
	// settle is what to do about it; "" where nothing needs doing.
	settle string
}

// sameShare is how far rail pressures, and speeds, may differ and count as the
// same: 5 %, as between the runs of one test.
const sameShare = 0.05

// remark says in which ways the two tests are not alike.
func (p *Pair) remark() {
	before, after := p.before.Result, p.after.Result
	b, a := before.Test, after.Test
	p.word(OtherCondition, ConditionUnknown, "condition", b.Condition, a.Condition, true)
	if b.Method != a.Method {
		p.method(b.Method, a.Method)
	}
	p.interval(before.IntervalS, after.IntervalS)
	p.word(OtherInjectors, InjectorsUnknown, "state of the injectors", b.Injectors, a.Injectors, false)
	p.cranks(b, a)
	p.railPressure(before, after)
	p.speed(b, a)
	p.maximum(before.Limit, after.Limit)
	p.temperature()
	p.Comparable = !slices.ContainsFunc(p.Remarks, func(r Remark) bool { return r.DoubtsPass || r.DoubtsFail })
}

func (p *Pair) add(r Remark) { p.Remarks = append(p.Remarks, r) }

// Has says whether there is a remark of that code.
func (p *Pair) Has(code RemarkCode) bool {
	return slices.ContainsFunc(p.Remarks, func(r Remark) bool { return r.Code == code })
}

// differs notes a difference that keeps nothing from being decided.
func (p *Pair) differs(code RemarkCode, what, before, after string) *Remark {
	p.add(Remark{Code: code, Text: fmt.Sprintf("the %s differs: %s in %s, %s in %s", what, before, p.before.Label, after, p.after.Label)})
	return &p.Remarks[len(p.Remarks)-1]
}

// missing notes what was not recorded in one of the tests, or in both.
func (p *Pair) missing(code RemarkCode, what string, before, after bool) {
	where := "in " + p.before.Label
	switch {
	case before && after:
		where = "in either test"
	case after:
		where = "in " + p.after.Label
	}
	p.add(Remark{Code: code, Text: "the " + what + " was not recorded " + where})
}

// word compares a word of the state; always says that its absence from both is
// worth a remark as well.
func (p *Pair) word(other, unknown RemarkCode, what, before, after string, always bool) {
	switch {
	case before == after && (before != "" || !always):
	case before == "" || after == "":
		p.missing(unknown, what, before == "", after == "")
	case limits.SameName(before, after):
	default:
		r := p.differs(other, what, before, after)
		r.DoubtsPass, r.settle = true, "test again with the "+what+" as in "+p.before.Label+" ("+before+")"
	}
}

// method says that another method measures something else: what is solved from
// totals, or read as one, may hold a return that no injector makes. A fail stands
// as each test judges it by itself; a pass proves nothing about the other.
func (p *Pair) method(before, after leakback.Method) {
	r := p.differs(OtherMethod, "method of collecting", string(before), string(after))
	r.Text += "; what is measured merged may hold a return that no injector makes, which what is collected one by one does not"
	r.DoubtsPass, r.settle = true, "test again by the method of "+p.before.Label+" ("+string(before)+")"
}

func (p *Pair) interval(beforeS, afterS float64) {
	switch {
	case math.IsNaN(beforeS) && math.IsNaN(afterS):
	case p.before.Result.Has(leakback.NoInterval) || p.after.Result.Has(leakback.NoInterval):
		p.missing(IntervalUnknown, "length of the collection", math.IsNaN(beforeS), math.IsNaN(afterS))
	case !math.IsNaN(beforeS) && !math.IsNaN(afterS) && stats.Round6(beforeS) != stats.Round6(afterS):
		p.differs(OtherInterval, "interval", quantity.Format(quantity.Interval, beforeS), quantity.Format(quantity.Interval, afterS))
	}
}

// cranks compares the crank patterns, which matter where the starter turns the
// engine.
func (p *Pair) cranks(b, a *leakback.Test) {
	most := func(t *leakback.Test) (n int) {
		for _, r := range counted(t) {
			n = max(n, r.State.Cranks)
		}
		return n
	}
	before, after := most(b), most(a)
	switch {
	case before == after && (before != 0 || b.Condition != leakback.Cranking):
	case before == 0 || after == 0:
		if b.Condition == leakback.Cranking || a.Condition == leakback.Cranking {
			p.missing(CranksUnknown, "number of cranks", before == 0, after == 0)
		}
	default:
		r := p.differs(OtherCranks, "number of cranks", fmt.Sprint(before), fmt.Sprint(after))
		r.DoubtsPass, r.settle = true, fmt.Sprintf("test again over as many cranks as in %s (%d)", p.before.Label, before)
	}
}

// railPressure compares the pressures. A rate rises with pressure: a pass at
// less of it, or a fail at more, proves little, unless the limit says that it is
// given for such pressures.
func (p *Pair) railPressure(before, after *leakback.Result) {
	of := func(s *leakback.State) float64 { return s.RailPressureBar }
	b, a := meanOf(counted(before.Test), of), meanOf(counted(after.Test), of)
	if math.IsNaN(b) || math.IsNaN(a) {
		p.missing(PressureUnknown, "rail pressure", math.IsNaN(b), math.IsNaN(a))
		return
	}
	if sameFigure(b, a) {
		return
	}
	r := p.differs(OtherRailPressure, "rail pressure", bar(b), bar(a))
	if l := after.Limit; l != nil && covers(l.RailPressureBar, a) {
		return
	}
	r.DoubtsPass, r.DoubtsFail = a < b, a > b
	r.settle = "test again at the rail pressure of " + p.before.Label + " (" + bar(b) + ")"
}

func bar(x float64) string { return quantity.Plain(x, 1) + " " + quantity.Pressure.Unit() }

func sameFigure(b, a float64) bool {
	return stats.Round6(math.Abs(a-b)) <= stats.Round6(sameShare*b)
}

// covers says whether a limit is given for a range that holds the figure.
func covers(r *limits.Range, x float64) bool { return r != nil && x >= r.Low && x <= r.High }

func (p *Pair) speed(b, a *leakback.Test) {
	of := func(s *leakback.State) float64 { return s.EngineRPM }
	before, after := meanOf(counted(b), of), meanOf(counted(a), of)
	if !math.IsNaN(before) && !math.IsNaN(after) && !sameFigure(before, after) {
		p.differs(OtherSpeed, "engine speed", quantity.Fixed(before, 0)+" rpm", quantity.Fixed(after, 0)+" rpm")
	}
}

// maximum compares what the two tests were judged by.
func (p *Pair) maximum(before, after *limits.Limit) {
	text := func(l *limits.Limit) string {
		if most, ok := l.MaxMLMin(); ok {
			return quantity.Format(quantity.Rate, stats.Round6(most))
		}
		return "none"
	}
	if text(before) != text(after) {
		p.differs(OtherMaximum, "maximum of one cylinder", text(before), text(after))
	}
}

func (p *Pair) temperature() {
	t := &p.Temperature
	if !t.Known() {
		p.missing(TemperatureUnknown, "fuel temperature", math.IsNaN(t.BeforeC), math.IsNaN(t.AfterC))
		return
	}
	if t.Elsewhere {
		r := p.differs(TakenElsewhere, "place where the fuel temperature was taken", t.BeforeAt, t.AfterAt)
		r.Text += "; fuel can be tens of kelvin warmer at one than at the other"
		r.DoubtsPass, r.DoubtsFail = true, true
		r.settle = "test again and take the fuel temperature where it was taken in " + p.before.Label + " (" + t.BeforeAt + ")"
	} else if t.BeforeAt == "" || t.AfterAt == "" {
		p.missing(PlaceUnknown, "place where the fuel temperature was taken", t.BeforeAt == "", t.AfterAt == "")
	}
	if t.warmer() {
		r := p.differs(TemperaturesApart, "fuel temperature", degrees(t.BeforeC), degrees(t.AfterC))
		r.Text += fmt.Sprintf("; by %s the same healthy injector returns up to %s times as much in the warmer of the two",
			p.fuel, quantity.Fixed(math.Max(t.Scale(), 1/t.Scale()), 2))
	}
}

func degrees(x float64) string { return quantity.Plain(x, 1) + " " + quantity.Temperature.Unit() }
