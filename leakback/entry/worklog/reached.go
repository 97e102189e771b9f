package worklog

import (
	"fmt"
	"math"
	"regexp"
	"strings"

	"leakback/leakback/entry/frame"
	"leakback/leakback/repair"
	"leakback/limits"
	"leakback/limits/quantity"
)

// reached is what a line says of a step that was carried out: "60 N·m",
// "11 lbf·ft + 60° new", "90°".
type reached struct {
	torque, angleDeg, fastener string // "" for what it does not say
	// asTyped says that the unit is right, though another would fit.
	asTyped bool
	// unmeasured says that the step was done and nobody knows its torque.
	unmeasured bool
}

// String is the line that says the same: "11 lbf·ft + 60° new".
func (r reached) String() string {
	var parts []string
	if r.torque != "" {
		parts = append(parts, r.torque)
	}
	if r.angleDeg != "" {
		parts = append(parts, r.angleDeg+"°")
	}
	word := map[string]string{repair.Yes: " new", repair.No: " old"}[r.fastener]
	return strings.Join(parts, " + ") + word
}

// Words behind a value that was reached.
const (
	wordAsTyped     = "as typed"
	wordNotMeasured = "not measured"
)

var (
	stepWord     = regexp.MustCompile(`(?i)^(?:step\s*(\d+)\s*[:=\s]|(\d+)\s*[:=])\s*(\S.*)$`)
	fastenerWord = regexp.MustCompile(`(?i)^(.*\S)\s+(new|old|reused)(?:\s+fastener)?$`)
	angleEnd     = regexp.MustCompile(`(?i)(°|deg|degrees)$`)
)

// namedStep parts the number of a step in front of a line from what it says: 0
// where none stands there.
func namedStep(text string) (number int, rest string) {
	m := stepWord.FindStringSubmatch(text)
	if m == nil {
		return 0, text
	}
	return atoi(m[1] + m[2]), m[3]
}

// readReached reads what a line says of a step; a refusal quotes text.
func readReached(step limits.Step, text, line string) (r reached, err error) {
	rest := strings.TrimSpace(line)
	if before, ok := cutEnd(rest, wordAsTyped); ok {
		r.asTyped, rest = true, before
	}
	if m := fastenerWord.FindStringSubmatch(rest); m != nil {
		rest, r.fastener = m[1], repair.No
		if strings.EqualFold(m[2], repair.New) {
			r.fastener = repair.Yes
		}
	}
	for part := range strings.SplitSeq(rest, "+") {
		if err := r.part(step, text, strings.TrimSpace(part)); err != nil {
			return reached{}, err
		}
	}
	return r, r.complete(step, text)
}

// cutEnd cuts words off the end of a text, in any case.
func cutEnd(text, words string) (string, bool) {
	at := len(text) - len(words)
	if at < 1 || !strings.EqualFold(text[at:], words) || text[at-1] != ' ' {
		return text, false
	}
	return strings.TrimSpace(text[:at]), true
}

// part reads a torque or an angle.
func (r *reached) part(step limits.Step, text, part string) error {
	field, to := repair.FieldTorque, &r.torque
	switch {
	case part == "":
		return frame.Refuse(text, "what was reached, as in "+asked(step))
	case strings.EqualFold(part, wordNotMeasured):
		r.unmeasured = true
		return nil
	case angleEnd.MatchString(part) || mainField(step) == repair.FieldAngleDeg && !isTorque(part):
		field, to = repair.FieldAngleDeg, &r.angleDeg
	}
	if *to != "" {
		return frame.Refuse(text, "one value of a kind: "+asked(step))
	}
	value, err := repair.CheckStepField(field, part)
	if err != nil {
		return frame.Refuse(text, frame.Expected(err, part)+", as in "+asked(step))
	}
	*to = value
	return nil
}

func isTorque(text string) bool {
	_, err := repair.ParseTorque(text)
	return err == nil
}

// complete refuses a line that lacks what the step is about, or has what it does
// not ask for.
func (r *reached) complete(step limits.Step, text string) error {
	byAngle := mainField(step) == repair.FieldAngleDeg
	switch {
	case r.unmeasured && (r.torque != "" || byAngle && r.angleDeg != ""):
		return frame.Refuse(text, wordNotMeasured+" alone, or what was reached, as in "+asked(step))
	case byAngle && r.torque != "":
		return frame.Refuse(text, fmt.Sprintf("the angle turned, as step %d (%s) has no torque: %s", step.Step, step.Part, asked(step)))
	case !r.unmeasured && r.main(step) == "":
		return frame.Refuse(text, "the torque reached, with its unit, as in "+asked(step))
	}
	return nil
}

// asked is what a step asks for, as it would be typed: "11 lbf·ft + 60° new".
func asked(step limits.Step) string {
	var parts []string
	if step.TorqueNM > 0 {
		parts = append(parts, torqueText(step))
	}
	if step.AngleDeg > 0 {
		parts = append(parts, quantity.Plain(step.AngleDeg, 3)+"°")
	}
	if parts == nil { // no sheet says what it asks for
		parts = []string{"60 N·m"}
	}
	text := strings.Join(parts, " + ")
	if step.NewFastener {
		text += " new"
	}
	return text
}

func torqueText(step limits.Step) string {
	if step.TorqueText != "" {
		return step.TorqueText
	}
	return quantity.Format(quantity.Torque, step.TorqueNM)
}

// doubt is the question whether another unit was meant; nil where there is none.
func doubt(step limits.Step, typed string) *repair.OtherUnit {
	if typed == "" {
		return nil
	}
	torque, err := repair.ParseTorque(typed)
	if err != nil {
		return nil
	}
	return repair.AskUnit(step, torque)
}

// described is a step in a few words: "step 2, feed tube nut: 44 lbf·ft".
func described(step limits.Step) string {
	text := fmt.Sprintf("step %d, %s: ", step.Step, step.Part)
	var parts []string
	if step.TorqueNM > 0 {
		tolerance := ""
		if step.TorqueToleranceNM > 0 {
			tolerance = " ± " + quantity.Format(quantity.Torque, step.TorqueToleranceNM)
		}
		parts = append(parts, torqueText(step)+tolerance)
	}
	if step.AngleDeg > 0 {
		tolerance := ""
		if step.AngleToleranceDeg > 0 {
			tolerance = " ± " + quantity.Plain(step.AngleToleranceDeg, 3) + "°"
		}
		parts = append(parts, quantity.Plain(step.AngleDeg, 3)+"°"+tolerance)
	}
	if step.NewFastener {
		parts = append(parts, "new fastener")
	}
	return text + strings.Join(parts, ", ")
}

// done is a line of what was reached: "30 lbf·in + 60° new".
func done(d repair.StepDone) string {
	var parts []string
	if d.Torque != "" {
		parts = append(parts, d.Torque)
	}
	if !math.IsNaN(d.AngleDeg) {
		parts = append(parts, quantity.Plain(d.AngleDeg, 3)+"°")
	}
	return strings.Join(parts, " + ")
}
