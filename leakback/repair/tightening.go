package repair

import (
	"fmt"
	"math"
	"slices"

	"leakback/limits"
	"leakback/limits/quantity"
)

// StepCode names what is wrong with a tightening step.
type StepCode string

// The codes of step faults.
const (
	OutOfOrder       StepCode = "step-out-of-order"
	Skipped          StepCode = "step-skipped"
	DoneTwice        StepCode = "step-done-twice"
	UnknownStep      StepCode = "step-unknown"
	TorqueMissing    StepCode = "torque-missing"
	TorqueOutside    StepCode = "torque-outside"
	AngleMissing     StepCode = "angle-missing"
	AngleOutside     StepCode = "angle-outside"
	FastenerNotNew   StepCode = "fastener-not-new"
	FastenerNotSaid  StepCode = "fastener-not-said"
	StepsNotRecorded StepCode = "steps-not-recorded"
)

// StepFault is one thing that is wrong with a tightening step.
type StepFault struct {
	// Cylinder is 0 where it was no cylinder's.
	Cylinder int
	// Place is the place in the order of doing; 0 for a step that was not done.
	Place int
	// Step is the sheet's step; 0 where it is about all of them.
	Step int
	Code StepCode
	// Text is a clause for people that names the step.
	Text string
}

// String is the fault as a sentence's beginning: "cylinder 4: step 2 ...".
func (f StepFault) String() string { return cylinderColon(f.Cylinder) + f.Text }

// checkStep holds a step that was carried out against the sheet's: torque and
// angle within the sheet's tolerances, else within 5 % (common practice, no
// source), and a new fastener where one is asked for.
func checkStep(step limits.Step, done StepDone) []StepFault {
	c := stepCheck{step: step, done: done}
	c.torque()
	c.angle()
	c.fastener()
	return c.faults
}

type stepCheck struct {
	step   limits.Step
	done   StepDone
	faults []StepFault
}

func (c *stepCheck) add(code StepCode, format string, args ...any) {
	c.faults = append(c.faults, StepFault{Cylinder: c.done.Cylinder, Place: c.done.Place, Step: c.step.Step, Code: code,
		Text: fmt.Sprintf("step %d (%s), ", c.step.Step, c.step.Part) + fmt.Sprintf(format, args...)})
}

func (c *stepCheck) torque() {
	switch {
	case c.step.TorqueNM == 0:
	case math.IsNaN(c.done.TorqueNM):
		c.add(TorqueMissing, "no torque entered: expected %s", stepTorque(c.step))
	case !withinTorque(c.step, c.done.TorqueNM):
		c.add(TorqueOutside, "%s: expected %s ± %s%s", c.done.Torque, stepTorque(c.step),
			toleranceText(c.step), assumedIf(c.step.TorqueToleranceNM))
	}
}

func (c *stepCheck) angle() {
	switch {
	case c.step.AngleDeg == 0:
	case math.IsNaN(c.done.AngleDeg):
		c.add(AngleMissing, "no angle entered: expected %s°", quantity.Plain(c.step.AngleDeg, 3))
	case !within(c.done.AngleDeg, c.step.AngleDeg, angleToleranceDeg(c.step)):
		c.add(AngleOutside, "%s°: expected %s° ± %s°%s", quantity.Plain(c.done.AngleDeg, 3),
			quantity.Plain(c.step.AngleDeg, 3), quantity.Plain(angleToleranceDeg(c.step), 3), assumedIf(c.step.AngleToleranceDeg))
	}
}

// assumedIf says that a tolerance is not the sheet's.
func assumedIf(sheets float64) string {
	if sheets > 0 {
		return ""
	}
	return " (5 %, assumed; the sheet gives no tolerance)"
}

func (c *stepCheck) fastener() {
	switch {
	case !c.step.NewFastener || c.done.NewFastener == Yes:
	case c.done.NewFastener == No:
		c.add(FastenerNotNew, "the old fastener went back: expected a new one")
	default:
		c.add(FastenerNotSaid, "nobody said whether the fastener was new: expected a new one")
	}
}

// CheckSteps holds the steps that were carried out at one cylinder, in the order
// of doing, against the sheet's steps in theirs. Every step that was carried out
// is checked, also one that was done again. A step that was passed over is
// skipped at once; finished says that no more will come, so that those behind
// the last are skipped as well.
func CheckSteps(steps []limits.Step, done []StepDone, finished bool) []StepFault {
	var faults []StepFault
	furthest := 0
	for i, d := range done {
		at := slices.IndexFunc(steps, func(s limits.Step) bool { return s.Step == d.Step })
		if at < 0 {
			faults = append(faults, orderFault(d, UnknownStep, "step %d is none of the sheet's steps", d.Step))
			continue
		}
		if f, wrong := order(d, done[:i], furthest); wrong {
			faults = append(faults, f)
		}
		faults = append(faults, checkStep(steps[at], d)...)
		furthest = max(furthest, d.Step)
	}
	return append(faults, skipped(steps, done, furthest, finished)...)
}

// order says whether a step comes again, or behind one that it belongs before.
func order(d StepDone, before []StepDone, furthest int) (StepFault, bool) {
	switch {
	case slices.ContainsFunc(before, func(b StepDone) bool { return b.Step == d.Step }):
		return orderFault(d, DoneTwice, "step %d was done again", d.Step), true
	case d.Step < furthest:
		return orderFault(d, OutOfOrder, "step %d was done after step %d: expected it before", d.Step, furthest), true
	}
	return StepFault{}, false
}

func orderFault(d StepDone, code StepCode, format string, args ...any) StepFault {
	return StepFault{Cylinder: d.Cylinder, Place: d.Place, Step: d.Step, Code: code, Text: fmt.Sprintf(format, args...)}
}

func skipped(steps []limits.Step, done []StepDone, furthest int, finished bool) []StepFault {
	var faults []StepFault
	for _, s := range steps {
		isDone := slices.ContainsFunc(done, func(d StepDone) bool { return d.Step == s.Step })
		if isDone || s.Step > furthest && !finished {
			continue
		}
		f := orderFault(StepDone{Step: s.Step}, Skipped, "step %d (%s) was not done", s.Step, s.Part)
		if len(done) > 0 {
			f.Cylinder = done[0].Cylinder
		}
		faults = append(faults, f)
	}
	return faults
}

// NextStep is the sheet's first step that was not carried out yet, and whether
// there is one.
func NextStep(steps []limits.Step, done []StepDone) (limits.Step, bool) {
	for _, s := range steps {
		if !slices.ContainsFunc(done, func(d StepDone) bool { return d.Step == s.Step }) {
			return s, true
		}
	}
	return limits.Step{}, false
}

// StepsAt are the steps that were carried out at a cylinder, in their order.
func (w *Work) StepsAt(cylinder int) []StepDone {
	var list []StepDone
	for _, s := range w.Steps {
		if s.Cylinder == cylinder {
			list = append(list, s)
		}
	}
	return list
}

// StepFaults is what is wrong with the tightening of a finished work by the
// sheet's steps, by cylinder: also that none was recorded where an injector or
// its tube was out. A sheet without steps finds nothing.
func (w *Work) StepFaults(steps []limits.Step) []StepFault {
	if len(steps) == 0 {
		return nil
	}
	var faults []StepFault
	for _, cylinder := range w.cylinders() {
		done := w.StepsAt(cylinder)
		if len(done) > 0 {
			faults = append(faults, CheckSteps(steps, done, true)...)
			continue
		}
		if p := w.At(cylinder); p.opened() && len(w.StepsAt(wholeEngine)) == 0 {
			faults = append(faults, StepFault{Cylinder: cylinder, Code: StepsNotRecorded,
				Text: fmt.Sprintf("none of the sheet's %d tightening steps was recorded", len(steps))})
		}
	}
	return faults
}

// cylinders are those of which the work says something, in their order.
func (w *Work) cylinders() []int {
	var list []int
	for _, p := range w.Positions {
		list = append(list, p.Cylinder)
	}
	for _, s := range w.Steps {
		list = append(list, s.Cylinder)
	}
	slices.Sort(list)
	return slices.Compact(list)
}
