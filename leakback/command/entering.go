package command

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/leakback/logbook"
)

// entering puts what is entered in one sitting into the record of a test. Where
// the logbook's server goes away it goes on in the local logbook.
type entering struct {
	env *environment
	// at is the address of the logbook that is open.
	at   string
	book *logbook.Book
	// flag is what --logbook says; "" where it was not given.
	flag string
	// away is the address of a server that went away; "" while there is none.
	away    string
	notices []string // for the next question

	id     string           // of the test
	number int64            // 0 before its first entry
	events []leakback.Event // that it has
}

// openToEnter opens the logbook to enter into; where that is on a server that is
// away, the local one.
func openToEnter(ctx context.Context, env *environment, o *logbookOptions) (*entering, error) {
	e := &entering{env: env, at: o.where(env), flag: o.address}
	book, err := o.toEnter(ctx, env)
	if e.canGoOn(err) {
		env.say(err.Error())
		if err := e.goLocal(ctx); err != nil {
			return nil, err
		}
		for _, notice := range e.notices {
			env.say(notice)
		}
		e.notices = nil
		return e, nil
	}
	e.book = book
	return e, err
}

// close lets go of the logbook.
func (e *entering) close() {
	if e.book != nil {
		e.book.Close()
	}
}

// canGoOn says whether a failure is a server's that is away, for which the local
// logbook can stand in.
func (e *entering) canGoOn(err error) bool {
	var kept *logbook.Error
	return errors.As(err, &kept) && kept.Kind == logbook.Unreachable && onServer(e.at) && e.env.logbook != ""
}

// onServer says whether an address is a server's; another address with :// is one
// that nobody can read.
func onServer(address string) bool {
	return strings.HasPrefix(address, "postgres://") || strings.HasPrefix(address, "postgresql://")
}

// goLocal goes on in the local logbook, with all that the test has so far: the
// same events, so that a copy puts them together again.
func (e *entering) goLocal(ctx context.Context) error {
	local, err := logbook.Open(ctx, e.env.logbook, logbook.Options{})
	if err != nil {
		return err
	}
	if len(e.events) > 0 {
		if err := continued(ctx, local, e.id, e.events); err != nil {
			local.Close()
			return err
		}
	}
	e.close()
	e.away, e.at, e.book, e.number = e.at, e.env.logbook, local, 0
	e.notices = append(e.notices, "the server is away; what is entered is kept in the local logbook, "+e.env.logbook,
		"deliver it when the server is back: "+e.delivery())
	return nil
}

// continued brings a test in a logbook up to the events given: those that it has
// already are not added again.
func continued(ctx context.Context, book *logbook.Book, id string, events []leakback.Event) error {
	var known []leakback.Event
	var missing *logbook.NotFoundError
	switch _, err := book.Find(ctx, id); {
	case errors.As(err, &missing):
	case err != nil:
		return err
	default:
		if known, err = book.Events(ctx, id); err != nil {
			return err
		}
	}
	if len(known) >= len(events) {
		return nil
	}
	_, err := book.Append(ctx, id, events[len(known):])
	return err
}

// delivery is the command that brings what is kept here to the server.
func (e *entering) delivery() string {
	return fmt.Sprintf("leakback logbook copy %s %s", e.env.logbook, logbook.Shown(e.away))
}

// keep commits what was entered, and says when somebody else entered something
// into the same test meanwhile: both are kept, and this sitting ends.
func (e *entering) keep(ctx context.Context, drafts []leakback.Event) error {
	ctx = context.WithoutCancel(ctx) // what was entered is kept, whoever leaves
	drafts = append([]leakback.Event(nil), drafts...)
	for i := range drafts {
		if drafts[i].Kind == leakback.KindOpen {
			drafts[i].Reason = station()
		}
	}
	kept, err := e.book.Append(ctx, e.id, drafts)
	if e.canGoOn(err) {
		if err := e.goLocal(ctx); err != nil {
			return err
		}
		kept, err = e.book.Append(ctx, e.id, drafts)
	}
	if err != nil {
		return err
	}
	if len(kept) > 0 && kept[0].Seq != int64(len(e.events))+1 {
		return &sharedError{e.number}
	}
	e.events = append(e.events, kept...)
	if e.number == 0 {
		found, err := e.book.Find(ctx, e.id)
		if err != nil {
			return err
		}
		e.number = found.Number
	}
	return nil
}

// sharedError says that somebody else enters into the same test. What was entered
// was kept all the same.
type sharedError struct{ number int64 }

// Error says what was kept.
func (e *sharedError) Error() string {
	return fmt.Sprintf("test %d: somebody else is entering into it as well; both entries are kept", e.number)
}

// named is the flag that names the logbook, where another would be found without it.
func (e *entering) named() string {
	address := e.flag
	if e.away != "" {
		address = e.at
	}
	if address == "" {
		return ""
	}
	address = logbook.Shown(address)
	if strings.ContainsAny(address, " '&;()$") {
		address = `"` + address + `"`
	}
	return " --logbook " + address
}

// telling is a flow that says what became of the logbook beside what it says
// itself.
type telling struct {
	ask.Flow
	e *entering
}

// Said are the messages since the last call.
func (t telling) Said() []string {
	said := append(t.e.notices, t.Flow.Said()...)
	t.e.notices = nil
	return said
}

// sayAway says once more at the end where the entries are, while the server is
// away.
func (e *entering) sayAway() {
	if e.away != "" {
		e.env.say("the server is away; deliver this test when it is back: " + e.delivery())
	}
}
