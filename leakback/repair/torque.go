package repair

import (
	"fmt"
	"math"
	"slices"

	"leakback/limits"
	"leakback/limits/quantity"
	"leakback/stats"
)

// Torque is a torque as it was typed.
type Torque struct {
	// Typed is the text, and Number and Unit its two halves.
	Typed, Number, Unit string
	// NM is the same in N·m.
	NM float64
}

// torqueUnits are the units that people mix up.
var torqueUnits = []string{"N·m", "lbf·ft", "lbf·in", "kgf·m"}

// ParseTorque reads a torque that was reached; it must name its unit and be
// more than nothing. The error is that of quantity.Parse, or an *Invalid.
func ParseTorque(typed string) (Torque, error) {
	nm, err := quantity.Parse(quantity.Torque, typed)
	if err != nil {
		return Torque{}, err
	}
	if nm <= 0 {
		return Torque{}, &Invalid{Value: typed, Expected: "a torque above 0"}
	}
	t := Torque{Typed: typed, NM: nm}
	t.Number, t.Unit = quantity.Split(typed)
	for _, unit := range torqueUnits { // whatever people wrote for it
		if in(t.Number, unit) == nm {
			t.Unit = unit
		}
	}
	return t, nil
}

// in is that number of a unit in N·m; NaN where it is beyond the bounds of a
// torque.
func in(number, unit string) float64 {
	nm, err := quantity.Parse(quantity.Torque, number+" "+unit)
	if err != nil {
		return math.NaN()
	}
	return nm
}

// OtherUnit is the question whether another unit was meant: the torque as typed
// is not the step's, and the same number of the other unit is.
type OtherUnit struct {
	// Typed is the torque as it was typed.
	Typed string
	// Meant is the same number with the other unit.
	Meant string
	// Times is how many times the step's torque was typed.
	Times float64
	// Text is the question: "30 lbf·ft is 12 times the step's 30 lbf·in: did you
	// mean 30 lbf·in?"
	Text string
}

// AskUnit is the question to ask before a torque is taken for a step; nil where
// it is the step's as typed, or is not in any other unit either. Whoever
// answers that the unit is right gets the torque taken as typed, which is then
// outside the step's tolerance.
func AskUnit(step limits.Step, typed Torque) *OtherUnit {
	if step.TorqueNM == 0 || withinTorque(step, typed.NM) {
		return nil
	}
	best := math.Inf(1)
	var ask *OtherUnit
	for _, unit := range torqueUnits {
		nm := in(typed.Number, unit)
		if off := math.Abs(nm - step.TorqueNM); unit != typed.Unit && withinTorque(step, nm) && off < best {
			best, ask = off, newOtherUnit(step, typed, typed.Number+" "+unit)
		}
	}
	return ask
}

func newOtherUnit(step limits.Step, typed Torque, meant string) *OtherUnit {
	q := &OtherUnit{Typed: typed.Number + " " + typed.Unit, Meant: meant, Times: typed.NM / step.TorqueNM}
	decimals := max(0, 1-int(math.Floor(math.Log10(q.Times))))
	q.Text = fmt.Sprintf("%s is %s times the step's %s: did you mean %s?",
		q.Typed, quantity.Plain(q.Times, decimals), stepTorque(step), q.Meant)
	return q
}

// stepTorque is the step's torque as the sheet has it.
func stepTorque(step limits.Step) string {
	if step.TorqueText != "" {
		return step.TorqueText
	}
	return quantity.Format(quantity.Torque, step.TorqueNM)
}

// toleranceShare is how far a value may lie from the step's where the sheet
// gives no tolerance: 5 % (common practice, no source).
const toleranceShare = 0.05

// torqueToleranceNM is how far a torque may lie from the step's.
func torqueToleranceNM(step limits.Step) float64 {
	if step.TorqueToleranceNM > 0 {
		return step.TorqueToleranceNM
	}
	return toleranceShare * step.TorqueNM
}

// toleranceFigures are the significant figures of a tolerance in another unit.
const toleranceFigures = 3

// toleranceText is how far a torque may lie from the step's: as the sheet gives it,
// else in the unit of the step, so that nobody has to convert at the wrench.
func toleranceText(step limits.Step) string {
	tolerance := torqueToleranceNM(step)
	t, err := ParseTorque(stepTorque(step))
	if step.TorqueToleranceNM == 0 && err == nil && slices.Contains(torqueUnits[1:], t.Unit) {
		figure := tolerance / in("1", t.Unit)
		decimals := max(0, toleranceFigures-1-int(math.Floor(math.Log10(figure))))
		return quantity.Plain(figure, decimals) + " " + t.Unit
	}
	return quantity.Format(quantity.Torque, tolerance)
}

// angleToleranceDeg is how far an angle may lie from the step's.
func angleToleranceDeg(step limits.Step) float64 {
	if step.AngleToleranceDeg > 0 {
		return step.AngleToleranceDeg
	}
	return toleranceShare * step.AngleDeg
}

func withinTorque(step limits.Step, nm float64) bool {
	return within(nm, step.TorqueNM, torqueToleranceNM(step))
}

// within compares as everything that decides, after rounding to 6 decimals.
func within(value, wanted, tolerance float64) bool {
	return stats.Round6(math.Abs(value-wanted)) <= stats.Round6(tolerance)
}
