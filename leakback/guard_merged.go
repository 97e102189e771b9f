package leakback

import (
	"fmt"
	"math"

	"leakback/leakback/blockoff"
	"leakback/limits/quantity"
)

// measuredGuard says what the way of measuring leaves standing.
func (e *evaluation) measuredGuard() {
	g := &e.guard
	if e.sequential {
		g.sequential = true
		g.addWith(Repeat, Sequential, e.sequentialTexts)
	}
	for _, line := range e.lines {
		if line.Pressure.NotHeld {
			g.notHeld = true
			g.add(PressureNotHeld, line.pressureTexts)
		}
		if m := line.NotAddingUp.Meaning; m > blockoff.AddsUp {
			g.otherReturn = true
			g.doubt(m, line.Constant.Origin)
			g.addWith(AllBlocked, OtherReturn, line.otherReturnTexts)
		}
	}
}

// doubt says on which side the true shares lie where the runs with nothing
// blocked do not fit the others. A return that no injector makes was taken out
// of the shares in full: if it was blocking one that raised the others instead,
// they are larger. Where blocking one lowered the others they are larger as
// well; where it raised them, and nothing was taken out, they are smaller.
func (g *guard) doubt(m blockoff.Meaning, taken blockoff.Origin) {
	switch {
	case m == blockoff.LoweredOthers, m == blockoff.OtherReturn && taken == blockoff.FromBaselines:
		g.least = true
	default:
		g.most = true
	}
}

func (e *evaluation) sequentialTexts() (text, settle string) {
	return "the cylinders were collected one after the other and none was collected again: what drifted meanwhile " +
			"cannot be told from the cylinders, so that none fails for standing apart",
		"collect " + e.firstRead() + " once more, last, so that drift shows"
}

func (l *solvedLine) pressureTexts() (text, settle string) {
	return fmt.Sprintf("%sthe rail pressure lay between %s from run to run, more than 5 %% apart: "+
			"what a blocked run lacks is then not the blocked cylinder's share", l.prefix(),
			quantity.Fixed(l.Pressure.LowBar, 0)+" and "+quantity.Format(quantity.Pressure, l.Pressure.HighBar)),
		"hold the rail pressure the same in every run, blocked or not, and measure again"
}

// prefix names the line where there are several.
func (l *solvedLine) prefix() string {
	if l.name == "" {
		return ""
	}
	return "return line " + l.name + ": "
}

// otherReturnTexts say how far the runs with nothing blocked lie from the
// others, and all that it can mean.
func (l *solvedLine) otherReturnTexts() (text, settle string) {
	d := &l.NotAddingUp
	side := "less"
	if d.MLMin > 0 {
		side = "more"
	}
	text = fmt.Sprintf("%swith nothing blocked %s mL/min %s came back than the blocked runs add up to, beyond what "+
		"chance explains (%s)", l.prefix(), rateFigure(math.Abs(d.MLMin), d.CriticalMLMin), side,
		rateFigure(d.CriticalMLMin, d.CriticalMLMin))
	switch {
	case d.Meaning == blockoff.LoweredOthers:
		text += ": with one blocked the others returned less, so that the shares may be larger than they stand here; " +
			"was the pressure held?"
	case d.Meaning == blockoff.RaisedOthers:
		text += ": with one blocked the others returned more, so that the shares may be smaller than they stand here"
	default:
		text += ": either " + l.constantText() + ", or blocking one raised the others (pressure); the two look alike"
	}
	return text, "measure what comes back with every cylinder blocked (cranking, and only where the maker allows it), " +
		"or close the other return off; hold the rail pressure in every run"
}

// constantText says what a constant return would be, taken out of the shares
// or not.
func (l *solvedLine) constantText() string {
	c := &l.Constant
	if c.Origin == blockoff.NotFitted {
		return "something else than an injector returns fuel all the time (relief valve, pump)"
	}
	return fmt.Sprintf("something else than an injector returns %s mL/min all the time (relief valve, pump), "+
		"which was taken out of the shares", withUncertainty(c.MLMin, l.quantile()*c.SDMLMin, Exact))
}
