package command

import (
	"cmp"
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/logbook"
)

// offer asks which of the tests that were broken off to go on with; "" is a
// new one.
func (r *recording) offer(ctx context.Context) (string, error) {
	const most, looked = 5, 50
	open, err := r.book.Tests(ctx, logbook.Filter{Open: true, Most: looked})
	if err != nil {
		return "", err
	}
	choice := &resumeChoice{}
	records, err := recordsOf(ctx, r.book, open)
	if err != nil {
		return "", err
	}
	for i, t := range open {
		if damage := records[i].damage; damage != nil {
			r.env.say(damage.Error())
			continue
		}
		opened, _ := records[i].Last(leakback.Key{Kind: leakback.KindOpen})
		if len(choice.options) < most && abandoned(opened.Reason) && !untouched(records[i].Record) {
			choice.add(r.env, t, records[i].Record)
		}
	}
	if len(choice.options) == 0 {
		return "", nil
	}
	choice.options = append(choice.options, ask.Option{Value: newTest, Label: "begin a new test"})
	if err := r.o.skin.ask(ctx, r.env, choice); err != nil {
		return "", err
	}
	return choice.ref, nil
}

// untouched says that no question was answered: all that stands in a record was kept
// as its sittings began.
func untouched(record *leakback.Record) bool {
	began := int64(0)
	for _, e := range record.Events {
		if e.Kind == leakback.KindOpen {
			began = e.AtUS
		}
		if e.AtUS != began || e.Kind == leakback.KindReading {
			return false
		}
	}
	return true
}

// newTest is the answer that begins a new test.
const newTest = "new"

// resumeChoice is the one question whether to go on with a test.
type resumeChoice struct {
	options []ask.Option
	done    bool
	ref     string
}

func (c *resumeChoice) add(env *environment, t logbook.Entry, record *leakback.Record) {
	c.options = append(c.options, ask.Option{Value: fmt.Sprintf("test %d", t.Number), Label: "go on with " + described(env, t, record)})
}

// described is a test in a few words: what it is of, how far it is.
func described(env *environment, t logbook.Entry, record *leakback.Record) string {
	last := time.UnixMicro(t.LastUS).In(env.zone()).Format("2006-01-02 15:04")
	return fmt.Sprintf("%s, %s, last entry %s",
		cmp.Or(t.Vehicle, t.Engine, "nothing entered of the vehicle"), progressOf(record), last)
}

// progressOf is how far a test that is not finished is.
func progressOf(record *leakback.Record) string {
	readings, run := 0, 0
	for _, e := range record.Standing() {
		if e.Kind == leakback.KindReading && e.Value != "" {
			readings, run = readings+1, max(run, e.Run)
		}
	}
	if readings == 0 {
		return "nothing read yet"
	}
	return fmt.Sprintf("%s, run %d", counted(readings, "reading"), run)
}

// Question asks which test to go on with, the latest first.
func (c *resumeChoice) Question() ask.Question {
	if c.done {
		return ask.Question{Kind: ask.Done}
	}
	return ask.Question{ID: "resume", Kind: ask.Choice, Section: "Broken off earlier",
		Prompt: "Go on, or begin a new test", Default: c.options[0].Value, Options: c.options, Required: true}
}

// Answer takes an option by its value or its number, or the test's.
func (c *resumeChoice) Answer(text string) error {
	text = strings.TrimSpace(text)
	if text == "" {
		text = "1"
	}
	for i, o := range c.options {
		if strings.EqualFold(text, o.Value) || text == strconv.Itoa(i+1) {
			c.done = true
			c.ref, _ = strings.CutPrefix(o.Value, "test ")
			if o.Value == newTest {
				c.ref = ""
			}
			return nil
		}
	}
	return &ask.Refusal{Value: text, Expected: ask.Alternatives(c.options)}
}

// Elapsed is nothing: no clock runs.
func (c *resumeChoice) Elapsed() time.Duration { return 0 }

// Said is nothing.
func (c *resumeChoice) Said() []string { return nil }
