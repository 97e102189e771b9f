package worklog

import (
	"fmt"
	"regexp"
	"strings"

	"leakback/leakback/entry/frame"
	"leakback/leakback/repair"
)

var (
	namedValue  = regexp.MustCompile(`(?i)^(?:(?:cylinder\s+)?(\d+)\b|engine\b)?[\s,:]*([^=]*[^=\s])\s*=\s*(.*)$`)
	namedOfStep = regexp.MustCompile(`(?i)^step\s*(\d+)(?:\s+(angle|fastener|torque))?$`)
)

// isCorrection says whether a line names what it corrects.
func isCorrection(text string) bool { return namedValue.MatchString(text) }

// example is how something named is corrected.
func (f *Flow) example() string {
	for _, c := range f.listed() {
		if c != wholeEngine {
			return fmt.Sprintf("%d feed tube = reused because misread", c)
		}
	}
	return "fault codes before = P0087"
}

// correct takes a line such as "4 feed tube = reused because misread",
// "4 step 2 = 44 lbf·ft" or "fault codes after = none"; "skip" takes back.
func (f *Flow) correct(line string) (frame.Taken, error) {
	text, reason, err := frame.Because(line)
	if err != nil {
		return frame.Taken{}, err
	}
	m := namedValue.FindStringSubmatch(text)
	if m == nil {
		return frame.Taken{}, frame.Refuse(line, "what is corrected and its value: "+f.example())
	}
	cylinder, what, value := atoi(m[1]), m[2], strings.TrimSpace(m[3])
	if strings.EqualFold(value, frame.WordSkip) || value == "-" {
		value = ""
	}
	if s := namedOfStep.FindStringSubmatch(what); s != nil {
		return f.correctStep(cylinder, atoi(s[1]), strings.ToLower(s[2]), value, line, reason)
	}
	field, ok := fieldCalled(what)
	switch {
	case !ok:
		return frame.Taken{}, frame.Refuse(line, "what the work log has, in front of =: "+f.example())
	case field.Place == repair.OfEngine:
	default:
		if _, err := field.Check(cylinder, f.most(), ""); err != nil {
			return frame.Taken{}, frame.Refuse(line, frame.Expected(err, ""))
		}
		if !f.applies(cylinder, field.Name) && field.Name != repair.FieldWorkNote {
			return frame.Taken{}, frame.Refuse(line, fmt.Sprintf("something else first: %q does not go with what is down of %s", field.Label, positionName(cylinder)))
		}
	}
	return f.correctField(cylinder, field, value, line, reason)
}

// correctField logs the value of a field.
func (f *Flow) correctField(cylinder int, field repair.Field, value, line, reason string) (frame.Taken, error) {
	q := f.field(cylinder, field.Name, 0)
	q.Since = 0
	if value == "" && q.Required {
		return frame.Taken{}, frame.Refuse(line, "a value: "+q.Hint)
	}
	typed := value
	if value != "" {
		read, expected := q.Read(value)
		if expected != "" {
			return frame.Taken{}, frame.Refuse(line, "behind = "+expected)
		}
		value = read
	} else if _, err := field.Check(cylinder, f.most(), ""); err != nil {
		return frame.Taken{}, frame.Refuse(line, frame.Expected(err, ""))
	}
	return f.frame.Set(q, value, typed, reason)
}

// correctStep logs what was reached in a step that was carried out.
func (f *Flow) correctStep(cylinder, number int, what, value, line, reason string) (frame.Taken, error) {
	step, _ := f.sheetStep(number)
	d, ok := f.lastPlace(cylinder, number)
	if !ok {
		return frame.Taken{}, frame.Refuse(line, fmt.Sprintf("a step that was entered at %s", positionName(cylinder)))
	}
	var t frame.Taken
	var err error
	switch {
	case what == "angle":
		t, err = f.angleStep(d, step).Take(frame.Answer{Text: because(value, reason), Skip: value == ""})
	case what == "fastener":
		t, err = f.fastenerStep(d, step).Take(frame.Answer{Text: because(value, reason), Skip: value == ""})
	default:
		t, err = f.takePlace(d, step, frame.Answer{Text: because(value, reason), Skip: value == ""})
		t = f.watched(cylinder, t)
	}
	return t, err
}

// because is a value with its reason behind it.
func because(value, reason string) string {
	if reason == "" || value == "" {
		return value
	}
	return value + " because " + reason
}

// fieldCalled is the field that people call so: by its label or its name, with
// spaces, hyphens or underscores.
func fieldCalled(text string) (repair.Field, bool) {
	for _, field := range repair.Fields() {
		if plain(text) == plain(field.Name) || plain(text) == plain(field.Label) {
			return field, true
		}
	}
	return repair.Field{}, false
}

// plain is a name without what people leave out or write in many ways.
func plain(name string) string {
	return strings.ToLower(strings.NewReplacer(" ", "", "-", "", "_", "", "'", "", "’", "").Replace(name))
}
