package flow

import (
	"cmp"
	"errors"
	"fmt"
	"regexp"
	"strings"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/frame"
	"leakback/leakback/entry/recorded"
	"leakback/limits/quantity"
)

// askReadings asks for what the tubes hold.
func (f *Flow) askReadings(l *frame.List, k int) {
	for _, o := range f.outlets(k) {
		_, read := f.read(k, o)
		l.Add(frame.Step{ID: f.readingID(k, o), Done: read,
			Ask:  func() ask.Question { return f.askReading(k, o) },
			Take: func(a frame.Answer) (frame.Taken, error) { return f.takeReading(k, o, a) }})
	}
}

func (f *Flow) readingID(k int, o outlet) string {
	what := "reading"
	switch {
	case o.cylinder > 0:
		what += fmt.Sprintf(" %d", o.cylinder)
	case o.line != "":
		what += " " + o.line
	}
	return runID(k, what)
}

func (f *Flow) askReading(k int, o outlet) ask.Question {
	q := ask.Question{Kind: ask.Reading, Section: runSection(k), Prompt: "Level of " + o.name(), Required: true,
		Cylinder: o.cylinder, Board: f.board(k), Hint: "22.5, or >100 where it ran over, <2 below the first mark, skip"}
	switch several := len(f.outlets(k)) > 1; {
	case several && f.readIn(k): // the rest was read with the first
		q.Hint = "or " + f.exampleBeside(k, o) + " for another"
	case several:
		q.Hint += "; " + f.exampleBeside(k, o) + " for another"
	}
	if e, ok := f.read(k, o); ok {
		q.Default = cmp.Or(e.Value, frame.WordSkip)
	}
	return q
}

// entryOf is what a line at a reading says: a level of an outlet, or the length
// of the run.
type entryOf struct {
	run      int
	outlet   outlet
	level    string // "" where it is not read
	interval string // "" where a level was given
	reason   string
}

var (
	runWord      = regexp.MustCompile(`(?i)^run\s+(\d+)[\s:,]+(\S.*)$`)
	intervalWord = regexp.MustCompile(`(?i)^interval\s*[=:]?\s*(.*)$`)
	namedLevel   = regexp.MustCompile(`^([^=]*[^=\s])\s*=\s*(.*)$`)
	spacedLevel  = regexp.MustCompile(`(?i)^(\d+)[\s:]+([<>]?\s*\d.*|skip|-)$`)
	weighed      = regexp.MustCompile(`(?i)^([<>]?\s*[\d.,]+)\s*g$`)
)

// isCorrection says whether a line names what it corrects.
func isCorrection(text string) bool {
	for _, form := range []*regexp.Regexp{runWord, intervalWord, namedLevel, spacedLevel} {
		if form.MatchString(text) {
			return true
		}
	}
	return false
}

// parse reads a line at the reading of an outlet of run k: the level of that
// outlet, or which one it is of and the level ("4=22.5", "4 22.5", "run 2 4=22.5"),
// or "interval=61s"; a reason may stand behind "because".
func (f *Flow) parse(k int, o outlet, text string) (entryOf, error) {
	e := entryOf{run: k, outlet: o}
	if own := f.outlets(k); len(own) == 1 {
		e.outlet = own[0]
	}
	rest, reason, err := frame.Because(text)
	if e.reason = reason; err != nil {
		return e, err
	}
	if m := runWord.FindStringSubmatch(rest); m != nil {
		if e.run, rest = atoi(m[1]), m[2]; e.run < 1 || e.run > k || !f.timed(e.run) {
			return e, frame.Refuse(text, fmt.Sprintf("a run from 1 to %d", k))
		}
		if own := f.outlets(e.run); len(own) == 1 {
			e.outlet = own[0]
		}
	}
	if m := intervalWord.FindStringSubmatch(rest); m != nil {
		if e.interval = strings.TrimSpace(m[1]); e.interval == "" {
			return e, frame.Refuse(text, "a length behind interval, such as interval=61s")
		}
		return e, nil
	}
	return f.parseLevel(e, text, rest)
}

// parseLevel reads which outlet it is and its level.
func (f *Flow) parseLevel(e entryOf, text, rest string) (entryOf, error) {
	m := namedLevel.FindStringSubmatch(rest)
	if m == nil && (len(f.outlets(e.run)) > 1 || e.outlet.cylinder > 0) {
		m = spacedLevel.FindStringSubmatch(rest)
	}
	if m != nil {
		o, ok := f.outletNamed(e.run, m[1])
		if !ok {
			return e, frame.Refuse(text, "one of "+f.outletNames(e.run)+" in front of the level, such as "+f.example(e.run))
		}
		e.outlet, rest = o, m[2]
	}
	if e.outlet == (outlet{}) && m == nil && len(f.outlets(e.run)) > 1 {
		return e, frame.Refuse(text, "which one it is of, and its level: "+f.example(e.run))
	}
	e.level = strings.TrimSpace(rest)
	switch {
	case e.level == "":
		return e, frame.Refuse(text, "a level, such as "+f.example(e.run))
	case e.level == "-" || strings.EqualFold(e.level, frame.WordSkip):
		e.level = ""
	}
	return e, nil
}

// outletNamed finds an outlet by its number or its line's name.
func (f *Flow) outletNamed(run int, name string) (outlet, bool) {
	for _, o := range f.outlets(run) {
		if o.cylinder > 0 && fmt.Sprint(o.cylinder) == name || o.cylinder == 0 && strings.EqualFold(o.line, name) && name != "" {
			return o, true
		}
	}
	return outlet{}, false
}

func (f *Flow) outletNames(run int) string {
	var names []string
	for _, o := range f.outlets(run) {
		names = append(names, o.name())
	}
	return strings.Join(names, ", ")
}

// example is how a level of a named outlet is typed.
func (f *Flow) example(run int) string { return f.exampleBeside(run, outlet{}) }

// exampleBeside is an example of another outlet than the one that is asked for.
func (f *Flow) exampleBeside(run int, asked outlet) string {
	outlets := f.outlets(run)
	if n := len(outlets); n > 1 && outlets[n-1] == asked {
		outlets = outlets[:n-1]
	}
	if len(outlets) == 0 {
		return "22.5"
	}
	switch o := outlets[len(outlets)-1]; {
	case o.cylinder > 0:
		return fmt.Sprintf("%d=22.5", o.cylinder)
	case o.line != "":
		return o.line + "=22.5"
	}
	return "22.5"
}

// takeReading logs a level, or what else was typed at a reading.
func (f *Flow) takeReading(k int, o outlet, a frame.Answer) (frame.Taken, error) {
	_, read := f.read(k, o)
	switch {
	case a.Skip:
		return f.setReading(entryOf{run: k, outlet: o}, "")
	case a.Text == "" && read:
		return frame.Taken{}, nil
	case a.Text == "":
		return frame.Taken{}, frame.Refuse("", "a level such as 22.5, >100 or <2, or skip where it is not read")
	}
	e, err := f.parse(k, o, a.Text)
	if err != nil {
		return frame.Taken{}, err
	}
	if e.interval != "" {
		return f.correctInterval(e.run, e.interval, e.reason)
	}
	return f.setReading(e, a.Text)
}

// setReading logs a level where it says something new.
func (f *Flow) setReading(e entryOf, typed string) (frame.Taken, error) {
	column, value := recorded.FieldVolumeML, e.level
	if m := weighed.FindStringSubmatch(value); m != nil {
		column, value = recorded.FieldMassG, m[1]
	}
	if expected := ambiguous(value); expected != "" && column == recorded.FieldVolumeML {
		return frame.Taken{}, frame.Refuse(typed, expected)
	}
	before, read := f.read(e.run, e.outlet)
	if read && before.Value == value && (before.Field == column || value == "") {
		return frame.Taken{Said: []string{e.outlet.name() + ": " + levelText(column, value) + ", as before"}}, nil
	}
	draft := frame.Event(e.outlet.key(e.run, column), value)
	if column == recorded.FieldMassG {
		draft.Typed = e.level
	}
	draft.Reason = e.reason
	said := e.outlet.name() + ": " + levelText(column, value)
	if f.lastRun() > 1 {
		said = fmt.Sprintf("run %d, %s", e.run, said)
	}
	if read {
		said += " (was " + levelText(before.Field, before.Value) + ")"
	}
	return frame.Taken{Drafts: []leakback.Event{draft}, Said: []string{said}}, nil
}

// ambiguous says what to type in the place of a figure that a file may hold and
// people may mean otherwise: 22,500 is 22.5 to the one half of them.
func ambiguous(level string) (expected string) {
	figure := strings.TrimLeft(level, "<> ")
	if _, err := quantity.ParseNumber(figure, true); err != nil {
		return ""
	}
	if _, err := quantity.Parse(quantity.Volume, figure); err != nil {
		return frame.Expected(err, figure)
	}
	return ""
}

// levelText is a level as it was typed, with its unit.
func levelText(column, value string) string {
	unit := map[string]string{recorded.FieldVolumeML: " mL", recorded.FieldVolumeCC: " cc",
		recorded.FieldVolumeFlOz: " fl oz", recorded.FieldMassG: " g"}[column]
	switch {
	case value == "":
		return "not read"
	case strings.ContainsFunc(value, isLetter):
		return value
	}
	return value + unit
}

func isLetter(r rune) bool { return r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' }

// expectedBy is what a fault of the record expects in the place of an answer that
// came to drafts. Where it is about something else than the level that was typed
// it says about what.
func expectedBy(err error, drafts []leakback.Event) string {
	var faults *recorded.FaultError
	if !errors.As(err, &faults) {
		return "what fits the record: " + err.Error()
	}
	first := faults.Faults[0]
	for _, e := range drafts {
		if e.Kind == leakback.KindReading && e.Run == first.Run && e.Cylinder == first.Cylinder && e.Field == first.Field {
			return first.Expected
		}
	}
	return "what fits the record, which has " + first.Error()
}
