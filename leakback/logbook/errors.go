package logbook

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"unicode"
	"unicode/utf8"

	"leakback/limits/quantity"
)

// Kind says what stands in the way of a logbook.
type Kind int

// The kinds of errors.
const (
	// Damaged is a file that is no sound logbook.
	Damaged Kind = iota + 1
	// Newer is a logbook that a newer version of the program wrote.
	Newer
	// Older is a logbook that has to be brought up to date and may not be written.
	Older
	// ReadOnly is a logbook, or a folder, that may not be written.
	ReadOnly
	// Full is a disk that took no more.
	Full
	// Busy is a logbook that others held for longer than the wait.
	Busy
	// Missing is a logbook that is not there.
	Missing
	// Unreachable is a folder or file that cannot be opened, or a server that is away.
	Unreachable
	// Disk is a disk that failed, or refused a write for another reason.
	Disk
	// Refused is a server that does not take the user, the password or the way of
	// connecting.
	Refused
	// Forbidden is what the server does not let this user do.
	Forbidden
	// Moved is a file that was moved, removed or replaced while it was open.
	Moved
)

// Error is a logbook that cannot be used as it was asked to.
type Error struct {
	// Kind is for programs.
	Kind Kind
	// Path is the logbook.
	Path string
	// Detail is what is wrong, on one line.
	Detail string

	hint string
	err  error
}

// Error is one line: the logbook and what is wrong with it.
func (e *Error) Error() string { return "logbook " + quantity.Name(e.Path) + ": " + e.Detail }

// At is the error as one about the file that a copy was to become, where it is about
// a copy under a name of its own in a folder of its own.
func (e *Error) At(path string) *Error {
	about := *e
	about.Path = path
	about.hint = strings.ReplaceAll(e.hint, quantity.Name(filepath.Dir(e.Path)), quantity.Name(filepath.Dir(path)))
	return &about
}

// Hint is what is safe and what to do.
func (e *Error) Hint() string { return e.hint }

// Unwrap is what the database said, nil where it was not asked.
func (e *Error) Unwrap() error { return e.err }

// explained says whether an error says what to do already, or is the end of a
// context.
func explained(err error) bool {
	for _, e := range []any{new(*Error), new(*KnownError), new(*NotFoundError), new(*AmbiguousError),
		new(*InvalidError), new(*DiffersError), new(writeError)} {
		if errors.As(err, e) {
			return true
		}
	}
	return errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded)
}

// firstLower is a text whose first letter is a small one.
func firstLower(text string) string {
	r, n := utf8.DecodeRuneInString(text)
	return string(unicode.ToLower(r)) + text[n:]
}

// KnownError says that a file's test is in the logbook already: nothing was added.
type KnownError struct {
	// Entry is the test that has the import key.
	Entry Entry
}

// Error names the test.
func (e *KnownError) Error() string {
	return fmt.Sprintf("already in the logbook as test %d", e.Entry.Number)
}

// NotFoundError says that there is no such test.
type NotFoundError struct {
	// Ref is what was looked for.
	Ref string
}

// Error says what may be given.
func (e *NotFoundError) Error() string {
	return fmt.Sprintf("test %.80q: not in the logbook: expected a number from the list, a whole id, or at least its last %d digits",
		e.Ref, fewestDigits)
}

// AmbiguousError says that several tests have an id with that end.
type AmbiguousError struct {
	// Ref is what was looked for.
	Ref string
	// Entries are the first of the tests that it may mean.
	Entries []Entry
}

// Error names the tests.
func (e *AmbiguousError) Error() string {
	ids := make([]string, len(e.Entries))
	for i, t := range e.Entries {
		ids[i] = t.ID
	}
	return fmt.Sprintf("test %.80q: expected more digits: it may be %s", e.Ref, strings.Join(ids, " or "))
}

// InvalidError is an event that no logbook takes.
type InvalidError struct {
	// Event is its place among those given, from 1; 0 where it is about the test.
	Event int
	// Field is what is wrong of it.
	Field string
	// Value is what was given.
	Value string
	// Expected is what should have been given.
	Expected string
}

// Error is one line.
func (e *InvalidError) Error() string {
	where := e.Field
	if e.Event > 0 {
		where = fmt.Sprintf("event %d, %s", e.Event, e.Field)
	}
	return fmt.Sprintf("%s: %.80q: expected %s", where, e.Value, e.Expected)
}
