package leakback

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"leakback/leakback/blockoff"
	"leakback/limits/quantity"
	"leakback/stats"
)

// notes says in sentences what carries no code: how it was measured, what was
// taken for granted, and what was left out.
func (e *evaluation) notes() {
	for _, line := range e.lines {
		for _, text := range line.notes() {
			e.note("%s.", capital(line.prefix()+text))
		}
	}
	if !math.IsNaN(e.driftPerRun) {
		e.note("The cylinders were not all collected in the same runs; those collected again show a drift of %s "+
			"from run to run, which was taken out of every rate.", percentChange(e.driftPerRun))
	}
	if e.densityAssumed() {
		e.note("The fuel was weighed and its density assumed, %s g/mL.", plain(AssumedDensityGML))
	}
	for _, out := range e.res.LeftOut {
		e.note("Run %d was left out: %s.", out.Run, strings.TrimRight(out.Reason, "."))
	}
	e.noteFuel()
}

func (e *evaluation) note(format string, args ...any) {
	e.res.Notes = append(e.res.Notes, fmt.Sprintf(format, args...))
}

// capital begins a text with a capital.
func capital(text string) string { return strings.ToUpper(text[:1]) + text[1:] }

// percentChange prints a relative change with its sign.
func percentChange(x float64) string { return signed(100*x, 1) + " %" }

// rateFigure prints a rate with the digits that an uncertainty leaves.
func rateFigure(x, uncertainty float64) string {
	return quantity.Fixed(x, quantity.Decimals(uncertainty))
}

// signed prints a figure with its sign.
func signed(x, uncertainty float64) string {
	text := rateFigure(math.Abs(x), uncertainty)
	switch {
	case strings.Trim(text, "0.") == "":
		return text
	case x < 0:
		return "-" + text
	}
	return "+" + text
}

// quantile is the two-sided 99 % Student quantile of the line.
func (l *solvedLine) quantile() float64 { return stats.StudentQuantile(0.995, l.SigmaDoF) }

// notes says how the shares of a line came about and how far they are to be
// trusted, each a sentence without its capital and its stop.
func (l *solvedLine) notes() []string {
	fitted := 0
	for i := range l.Residuals {
		if l.Residuals[i].Run.LeftOut == "" {
			fitted++
		}
	}
	list := []string{fmt.Sprintf("the rates are shares of the merged return, solved from %s, each of which repeats within "+
		"%s mL/min (one standard deviation)", count(fitted, "run"), rateFigure(l.SigmaMLMin, l.SigmaMLMin))}
	for _, text := range []string{l.addingUp(), l.measuredConstant(), l.largestConstant(), l.drifted(), l.farOut()} {
		if text != "" {
			list = append(list, text)
		}
	}
	return list
}

// addingUp is how D came out where it is no finding.
func (l *solvedLine) addingUp() string {
	switch d := &l.NotAddingUp; d.Meaning {
	case blockoff.AddsUp:
		return fmt.Sprintf("what came back with nothing blocked differs from what the blocked runs add up to by %s mL/min, "+
			"which is within chance (%s)", signed(d.MLMin, d.CriticalMLMin), rateFigure(d.CriticalMLMin, d.CriticalMLMin))
	case blockoff.NotTested:
		return "whether the shares add up could not be tested, for want of a run with nothing blocked to test them by"
	}
	return ""
}

// measuredConstant is what came back with everything blocked.
func (l *solvedLine) measuredConstant() string {
	c := &l.Constant
	if c.Origin != blockoff.AllBlocked {
		return ""
	}
	return fmt.Sprintf("with every cylinder blocked %s mL/min came back, which no injector makes; the shares are free of it",
		withUncertainty(c.MLMin, l.quantile()*c.SDMLMin, Exact))
}

// largestConstant says what the runs cannot rule out.
func (l *solvedLine) largestConstant() string {
	c := &l.Constant
	if math.IsInf(c.LargestMLMin, 1) {
		return "these runs cannot bound a constant return that no injector makes (relief valve, pump)"
	}
	low, high := slices.Min(c.AddsMLMin), slices.Max(c.AddsMLMin)
	each := rateFigure(high, high)
	if least := rateFigure(low, high); least != each {
		each = least + " to " + each
	}
	return fmt.Sprintf("a constant return that no injector makes (relief valve, pump) of up to %s mL/min would fit these "+
		"runs as well, and each share would then stand here %s mL/min too high", rateFigure(c.LargestMLMin, c.LargestMLMin), each)
}

func (l *solvedLine) drifted() string {
	if !l.Model.Drift {
		return "drift could not be looked for: these runs do not tell it from the cylinders, and the same blocked again " +
			"in reverse order would"
	}
	return fmt.Sprintf("the total changed by %s mL/min from run to run, and the shares are free of it",
		signed(l.DriftMLMinPerRun, l.DriftSDMLMinPerRun))
}

// farOut names the run that lies far from what the others make of it.
func (l *solvedLine) farOut() string {
	switch n := len(l.FarOut); {
	case n == 1:
		return fmt.Sprintf("run %d lies far from what the others make of it (%s mL/min); if it stumbled or spilled, "+
			"leave it out: --leave-out %d --reason TEXT", l.FarOut[0], l.offBy(l.FarOut[0]), l.FarOut[0])
	case n > 1:
		return fmt.Sprintf("runs %s disagree (%s mL/min), and the others cannot tell which of them is off; if one stumbled or "+
			"spilled, leave it out (--leave-out RUN --reason TEXT), else measure two more passes",
			numberedAnd(l.FarOut), l.offBy(l.FarOut[0]))
	}
	return ""
}

// offBy is how far a run lies from the fit.
func (l *solvedLine) offBy(run int) string {
	for i := range l.Residuals {
		if r := &l.Residuals[i]; r.Run.Number == run {
			return signed(r.MLMin, l.SigmaMLMin)
		}
	}
	return ""
}
