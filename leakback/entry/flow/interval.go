package flow

import (
	"fmt"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/leakback/entry"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/frame"
	"leakback/leakback/entry/recorded"
	"leakback/limits/quantity"
)

// isBare says whether a text is a figure without a unit. Beside a clock that runs
// it is more likely a level that is read too early than a length.
func isBare(text string) bool {
	_, err := quantity.ParseNumber(text, true)
	return err == nil
}

// typedInterval takes a length that another clock timed.
func (f *Flow) typedInterval(k int, piece string, a frame.Answer) (frame.Taken, error) {
	if piece != recorded.FieldCollection {
		value, expected := figure(quantity.Interval)(a.Text)
		if expected != "" {
			return frame.Taken{}, frame.Refuse(a.Text, "Enter, or "+expected)
		}
		e := typedEvent(timeKey(k, piece), value, a.Text)
		e.Typed = a.Text // it was not timed here
		return frame.Taken{Drafts: []leakback.Event{e}, Said: []string{f.ranText(k, piece, number(value))}}, nil
	}
	value, expected := f.readInterval(a.Text)
	if expected != "" {
		return frame.Taken{}, frame.Refuse(a.Text, "Enter, or "+expected)
	}
	return frame.Taken{Drafts: []leakback.Event{typedEvent(runSet(k, recorded.FieldIntervalS), value, a.Text)},
		Said: []string{fmt.Sprintf("run %d: %s", k, intervalText(value))}}, nil
}

// readInterval reads the length of a collection. That of a merged return must be
// known: nothing else can be compared with it.
func (f *Flow) readInterval(text string) (value, expected string) {
	merged := f.method() != leakback.MethodIndividual
	if strings.EqualFold(text, entry.Unknown) {
		if merged {
			return "", "a length, which a merged return is measured by"
		}
		return entry.Unknown, ""
	}
	if value, expected = figure(quantity.Interval)(text); expected != "" && !merged {
		expected += ", or " + entry.Unknown + " where only the ratios matter"
	}
	return value, expected
}

func intervalText(value string) string {
	if value == entry.Unknown {
		return "length unknown"
	}
	return seconds(number(value))
}

// enoughCranks ends a run with the cranks that it has.
func (f *Flow) enoughCranks(k int, piece string) (frame.Taken, error) {
	done := 0
	for f.crankTimed(k, done+1) {
		done++
	}
	return frame.Taken{Drafts: []leakback.Event{frame.Event(mark(k, markCranks), strconv.Itoa(done))},
		Said: []string{fmt.Sprintf("run %d: ended after %d of its cranks", k, done)}}, nil
}

// intervalStep corrects the length of a run that was timed. While nothing has
// been read it may be timed again.
func (f *Flow) intervalStep(k int) frame.Step {
	standing := f.Record().Value(runSet(k, recorded.FieldIntervalS))
	if standing != entry.Unknown {
		standing = quantity.Plain(f.interval(k), mostDecimals)
	}
	return frame.Step{ID: runID(k, "interval"), Done: true,
		Ask: func() ask.Question {
			return ask.Question{Section: runSection(k), Prompt: "Length of the collection", Default: standing, Required: true,
				Hint: "as it was timed; another length corrects it, again times it again"}
		},
		Take: func(a frame.Answer) (frame.Taken, error) {
			switch {
			case a.Text == "":
				return frame.Taken{}, nil
			case strings.EqualFold(a.Text, wordAgain) && f.readIn(k):
				return frame.Taken{}, frame.Refuse(a.Text, "a length, as this run was read; leave it out at the end and collect another")
			case strings.EqualFold(a.Text, wordAgain):
				return f.again(k), nil
			}
			return f.correctInterval(k, a.Text, "")
		}}
}

// correctInterval logs another length of a run.
func (f *Flow) correctInterval(k int, text, reason string) (frame.Taken, error) {
	value, expected := f.readInterval(text)
	if expected != "" {
		return frame.Taken{}, frame.Refuse(text, expected)
	}
	before := f.interval(k)
	if value != entry.Unknown && number(value) == before {
		return frame.Taken{}, nil
	}
	e := typedEvent(runSet(k, recorded.FieldIntervalS), value, text)
	e.Reason = reason
	said := fmt.Sprintf("run %d: %s", k, intervalText(value))
	if before > 0 {
		said += " (was " + seconds(before) + ")"
	}
	return frame.Taken{Drafts: []leakback.Event{e}, Said: []string{said}}, nil
}
