package flow

import (
	"strings"
	"time"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/entry/recorded"
)

// The commands that are taken at every question.
const (
	wordBack   = "back"
	wordSkip   = "skip"
	wordGiveUp = "give up"
)

// Answer takes a line as it was typed. "back", "skip" and "give up" are commands;
// between double quotes they are what they say. An error that is no *ask.Refusal
// says why the answer could not be kept; the same question stands then.
func (f *Flow) Answer(text string) error {
	now := f.o.Now()
	a := answer{text: strings.TrimSpace(text), now: now}
	literal, quoted := unquoted(a.text)
	switch word := strings.ToLower(strings.Join(strings.Fields(a.text), " ")); {
	case quoted:
		a.text, a.skip = literal, literal == ""
	case word == wordBack:
		return f.back(now)
	case word == wordGiveUp:
		return f.giveUp(now)
	case word == wordSkip:
		a.text, a.skip = "", true
	}
	t, err := f.standing().take(a)
	if err != nil {
		return err
	}
	if err := f.sound(t.drafts, text); err != nil {
		return err
	}
	return f.settle(t, now)
}

// unquoted is what stands between double quotes.
func unquoted(text string) (literal string, ok bool) {
	if len(text) < 2 || text[0] != '"' || text[len(text)-1] != '"' {
		return "", false
	}
	return strings.TrimSpace(text[1 : len(text)-1]), true
}

// settle keeps what an answer came to and goes on to the next question.
func (f *Flow) settle(t taken, now time.Time) error {
	if err := f.keep(t.drafts, now); err != nil {
		return err
	}
	f.timing = t.timing
	if err := f.readSheet(); err != nil {
		return err
	}
	f.said = append(f.said, t.said...)
	f.at, f.current, f.question = "", nil, nil
	return nil
}

// sound refuses what would spoil the test: readings that do not fit a tube that
// is corrected, say. What was unsound before is not this answer's fault.
func (f *Flow) sound(drafts []leakback.Event, typed string) error {
	if len(drafts) == 0 || !f.anyReading() && !hasReading(drafts) {
		return nil
	}
	_, err := recorded.Test(f.with(drafts))
	if err == nil {
		return nil
	}
	if f.anyReading() {
		if _, before := recorded.Test(f.record); before != nil {
			return nil
		}
	}
	return refuse(strings.TrimSpace(typed), expectedBy(err, drafts))
}

func hasReading(drafts []leakback.Event) bool {
	for _, e := range drafts {
		if e.Kind == leakback.KindReading && e.Value != "" {
			return true
		}
	}
	return false
}

// back goes to the question before. A collection that runs is broken off, and
// its question stands again.
func (f *Flow) back(now time.Time) error {
	if f.running(f.standing().id) {
		return f.settle(taken{drafts: f.lost(f.timing.run, markAbandoned), said: []string{
			"broken off: empty the tubes before the collection is started again"}}, now)
	}
	steps := f.steps()
	i := f.index(steps)
	if i == 0 {
		return refuse(wordBack, "an answer: no question stands before this one")
	}
	f.at, f.current, f.question = steps[i-1].id, nil, nil
	return nil
}

// giveUp closes the test where it stands. What was entered stays.
func (f *Flow) giveUp(now time.Time) error {
	if f.ended() {
		return refuse(wordGiveUp, "nothing more: the test is closed (back opens it again)")
	}
	return f.settle(taken{drafts: []leakback.Event{event(leakback.Key{Kind: leakback.KindEnd}, "given up")},
		said: []string{"given up; what was entered stays in the record"}}, now)
}

// refuse is an answer that cannot be taken.
func refuse(value, expected string) error { return &ask.Refusal{Value: value, Expected: expected} }
