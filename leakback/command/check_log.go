package command

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"leakback/leakback"
	"leakback/leakback/entry/recorded"
	"leakback/leakback/logbook"
	"leakback/report"
)

// loggedCount is how many tests went into the logbook, and how many it had.
type loggedCount struct {
	added, known int
	// first and last are the numbers that were added, or the one that was known.
	first, last int64
	// entry is the last one of them all.
	entry logbook.Entry
}

// logAll keeps tests in the logbook, where one is open. One that it has already
// is not added again.
func (c *check) logAll(ctx context.Context, jobs []job) error {
	if c.book == nil {
		return nil
	}
	for i := range jobs {
		if err := c.log(ctx, &jobs[i]); err != nil {
			return err
		}
	}
	return nil
}

func (c *check) log(ctx context.Context, j *job) error {
	drafts := c.drafts(j)
	id := logbook.NewTestID()
	var known *logbook.KnownError
	switch _, err := c.book.Append(ctx, id, drafts); {
	case errors.As(err, &known):
		c.logged.note(known.Entry.Number, false)
		c.logged.entry = known.Entry
		return nil
	case err != nil:
		return err
	}
	added, err := c.book.Find(ctx, id)
	if err != nil {
		return err
	}
	c.logged.note(added.Number, true)
	c.logged.entry = added
	return nil
}

// loggedPage is the page of the only test with its record, as the logbook makes
// it of the entries that the file made. A test that was in the logbook already and
// is judged otherwise there has none: nil.
func (c *check) loggedPage(ctx context.Context, j *job) (*report.Page, error) {
	if c.book == nil {
		return nil, nil
	}
	in := c.logged.entry
	events, err := c.book.Events(ctx, in.ID)
	if err != nil {
		return nil, err
	}
	drafts := c.drafts(j)
	if len(events) < len(drafts) || recorded.Key(said(events[:len(drafts)])) != recorded.Key(said(drafts)) {
		return nil, nil
	}
	t, err := loggedUpTo(in, events, len(drafts))
	if err != nil {
		return nil, err
	}
	return t.page(c.env), nil
}

// said are events without the sittings, which say by which program and where.
func said(events []leakback.Event) []leakback.Event {
	return slices.DeleteFunc(slices.Clone(events), func(e leakback.Event) bool { return e.Kind == leakback.KindOpen })
}

// drafts are the events that a file's test makes, entered now.
func (c *check) drafts(j *job) []leakback.Event {
	said := append(recorded.Events(j.test, j.info, j.sheet), j.more...)
	open := leakback.Event{Key: leakback.Key{Kind: leakback.KindOpen}, Value: version(), Reason: station()}
	set := func(field, value string) leakback.Event {
		return leakback.Event{Key: leakback.Key{Kind: leakback.KindSet, Field: field}, Value: value}
	}
	drafts := append([]leakback.Event{open, set(leakback.FieldImportKey, importKey(said))}, said...)
	if c.alone { // a report of this test alone names the whole of its input
		drafts = append(drafts, set(leakback.FieldSourceDigest, j.digest()))
	}
	drafts = append(drafts, leakback.Event{Key: leakback.Key{Kind: leakback.KindEnd}, Value: leakback.EndDone})
	now := c.env.clock().UnixMicro()
	for i := range drafts {
		drafts[i].AtUS, drafts[i].Person = now, j.info.Technician
	}
	return drafts
}

// importKey identifies what a file says, whatever sheet it is judged by: the
// sheet names the number of cylinders too.
func importKey(said []leakback.Event) string {
	return recorded.Key(slices.DeleteFunc(slices.Clone(said), func(e leakback.Event) bool {
		return e.Kind == leakback.KindSet && (e.Field == leakback.FieldCylinders || strings.HasPrefix(e.Field, leakback.FieldLimits))
	}))
}

func (l *loggedCount) note(number int64, added bool) {
	if !added {
		l.known++
		if l.known == 1 && l.added == 0 {
			l.first = number
		}
		return
	}
	l.added++
	if l.added == 1 {
		l.first = number
	}
	l.last = number
}

// sayLogged says what went into the logbook.
func (c *check) sayLogged() {
	l, where := &c.logged, shownPath(c.env, c.o.logbook.where(c.env))
	switch {
	case l.added == 0 && l.known == 1:
		c.env.say(fmt.Sprintf("already in the logbook as test %d; nothing was added to %s", l.first, where))
	case l.added == 0 && l.known > 1:
		c.env.say(fmt.Sprintf("all %d tests are in the logbook already; nothing was added to %s", l.known, where))
	case l.added == 1:
		c.env.say(fmt.Sprintf("logged as test %d in %s", l.first, where) + l.others())
	case l.added > 1:
		c.env.say(fmt.Sprintf("logged %d tests, %d to %d, in %s", l.added, l.first, l.last, where) + l.others())
	}
}

// others tells of the tests that were there already.
func (l *loggedCount) others() string {
	if l.known == 0 {
		return ""
	}
	return fmt.Sprintf("; %d more were there already", l.known)
}
