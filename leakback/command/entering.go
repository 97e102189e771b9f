package command

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

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
	// moved says that the logbook is at another place than it was asked for.
	moved bool
	// examined tells how many faults the logbook has; nil where nobody looks, or it
	// was told. giveUp ends the looking.
	examined chan int
	giveUp   context.CancelFunc

	id     string           // of the test
	number int64            // 0 before its first entry
	events []leakback.Event // that it has
	// unbegun says that what opens a new test is held back until its first answer,
	// which it is then kept with: a test that is left at its first question is none.
	unbegun bool
	held    []leakback.Event
}

// openToEnter opens the logbook to enter into; where that is on a server that is
// away, the local one.
func openToEnter(ctx context.Context, env *environment, o *logbookOptions) (*entering, error) {
	e := &entering{env: env, at: o.where(env), flag: o.address}
	book, err := o.toEnter(ctx, env, false)
	if e.canGoOn(err) {
		env.say(err.Error())
		if err := e.goLocal(ctx); err != nil {
			return nil, err
		}
		e.sayNotices()
		return e, nil
	}
	e.book = book
	e.examine(ctx)
	return e, err
}

// examine goes through the whole logbook, a file, beside the questions. That it is
// damaged is said with the next one: entering goes on, as nothing that is entered
// now is to be lost over it.
func (e *entering) examine(ctx context.Context) {
	if e.book == nil || onServer(e.at) {
		return
	}
	ctx, cancel := context.WithCancel(ctx)
	e.examined, e.giveUp = make(chan int, 1), cancel
	go func(book *logbook.Book) {
		defer close(e.examined)
		if checked, err := book.Check(ctx, nil); err == nil {
			e.examined <- len(checked.Faults) + int(checked.More)
		}
	}(e.book)
}

// faultsFound says what examine found, once, and waits so long for it.
func (e *entering) faultsFound(wait time.Duration) []string {
	if e.examined == nil {
		return nil
	}
	select {
	case faults := <-e.examined:
		e.examined = nil
		if faults > 0 {
			return []string{fmt.Sprintf("the logbook is damaged, with %s; what you enter is kept in it all the same, and what is wrong is named by: leakback logbook check",
				counted(faults, "fault")) + e.named()}
		}
	case <-time.After(wait):
	}
	return nil
}

// lastWait is how long the end of a sitting waits to hear that the logbook is sound.
const lastWait = time.Second

// close lets go of the logbook.
func (e *entering) close() {
	if e.book == nil {
		return
	}
	for _, found := range e.faultsFound(lastWait) {
		e.env.say(found)
	}
	e.endExamining()
	e.book.Close()
}

// endExamining waits for the logbook to be let go of.
func (e *entering) endExamining() {
	if e.giveUp != nil {
		e.giveUp()
	}
	if e.examined != nil {
		for range e.examined {
		}
		e.examined = nil
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
	e.noteDamage()
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
	if e.unbegun {
		e.unbegun, e.held = false, drafts
		return nil
	}
	drafts = slices.Concat(e.held, drafts)
	for i := range drafts {
		if drafts[i].Kind == leakback.KindOpen {
			drafts[i].Reason = station()
		}
	}
	kept, err := e.add(ctx, drafts)
	if err != nil {
		return err
	}
	if len(kept) > 0 && kept[0].Seq != int64(len(e.events))+1 {
		return &sharedError{e.number}
	}
	e.events, e.held = append(e.events, kept...), nil
	if e.number == 0 {
		found, err := e.book.Find(ctx, e.id)
		if err != nil {
			return err
		}
		e.number = found.Number
	}
	return nil
}

// add adds to the test, in another logbook where this one is gone.
func (e *entering) add(ctx context.Context, drafts []leakback.Event) ([]leakback.Event, error) {
	kept, err := e.book.Append(ctx, e.id, drafts)
	var gone *logbook.Error
	switch {
	case e.canGoOn(err):
		if err := e.goLocal(ctx); err != nil {
			return nil, err
		}
		return e.book.Append(ctx, e.id, drafts)
	case errors.As(err, &gone) && gone.Kind == logbook.Moved:
		return e.reopen(ctx, drafts)
	}
	return kept, err
}

// reopen goes on with all of the test under the name of a logbook whose file was
// moved, removed or replaced meanwhile, or in the local one where that cannot be.
// That it was is said with the next question.
func (e *entering) reopen(ctx context.Context, drafts []leakback.Event) ([]leakback.Event, error) {
	e.endExamining()
	book, err := e.book.Reopen(ctx)
	if err != nil && e.env.logbook != "" && e.env.logbook != e.at {
		book, err = logbook.Open(ctx, e.env.logbook, logbook.Options{})
	}
	if err != nil {
		return nil, fmt.Errorf("the logbook's file was moved or removed while it was open, and no other can be begun: %w", err)
	}
	all := append(slices.Clone(e.events), drafts...)
	if err := continued(ctx, book, e.id, all); err != nil {
		book.Close()
		return nil, err
	}
	e.moved = e.moved || book.Address() != e.at
	e.book, e.at, e.number = book, book.Address(), 0
	e.noteDamage()
	e.notices = append(e.notices, "the logbook's file was moved, removed or replaced while it was open; all of this test is kept in "+e.at,
		"other tests that the file held and this one does not are put together with: leakback logbook copy FILE "+e.at)
	known, err := book.Events(ctx, e.id)
	return known[min(len(e.events), len(known)):], err
}

// sharedError says that somebody else enters into the same test. What was entered
// was kept all the same.
type sharedError struct{ number int64 }

// Error says what was kept.
func (e *sharedError) Error() string {
	return fmt.Sprintf("test %d: somebody else is entering into it as well; both entries are kept", e.number)
}

// brokenOff ends a sitting before its end: what was kept is said, and the command
// that goes on with it.
func (e *entering) brokenOff(err error, what, command string) error {
	kept := fmt.Sprintf("%s is kept up to the last answer that was taken, in %s", what, shownPath(e.env, e.at))
	again := fmt.Sprintf("go on with: %s %d", command, e.number) + e.named()
	var shared *sharedError
	switch {
	case errors.As(err, &shared):
		return &fileError{&hintedError{shared, "let one of you leave, then " + again}}
	case chosenToLeave(err):
		return &hintedError{&interruptedError{errors.New(kept)}, again}
	}
	e.env.say(kept)
	e.env.say(again)
	return err
}

// chosenToLeave says whether a sitting ended because somebody wanted it to.
func chosenToLeave(err error) bool {
	return errors.Is(err, ask.ErrLeft) || errors.Is(err, context.Canceled)
}

// named is the flag that names the logbook, where another would be found without it.
func (e *entering) named() string {
	address := e.flag
	if e.away != "" || e.moved {
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
	said := append(append(t.e.faultsFound(0), t.e.notices...), t.Flow.Said()...)
	t.e.notices = nil
	return said
}

// noteDamage leaves for the next question what was found wrong with the logbook that
// was opened.
func (e *entering) noteDamage() {
	if notice := e.book.Notice(); notice != "" {
		e.notices = append(e.notices, notice)
	}
}

// sayNotices says what became of the logbook where no question is left to say it
// with.
func (e *entering) sayNotices() {
	for _, notice := range e.notices {
		e.env.say(notice)
	}
	e.notices = nil
}

// sayAway says once more at the end where the entries are, while the server is
// away.
func (e *entering) sayAway() {
	if e.away != "" {
		e.env.say("the server is away; deliver this test when it is back: " + e.delivery())
	}
}
