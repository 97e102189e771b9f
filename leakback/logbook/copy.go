package logbook

import (
	"context"
	"errors"
	"slices"
)

// Copied is what a copy added, and what it could not.
type Copied struct {
	// All is how many tests the logbook has that was copied from.
	All int64
	// Tests are those that were new, Continued those of which the end was missing,
	// and Events all that were added.
	Tests, Continued, Events int64
	// Same are the tests that had nothing to add: the other logbook has all of
	// their events, or more.
	Same int64
	// Refused are the tests that could not be added to; of these nothing was.
	Refused []NotCopied
}

// NotCopied is a test of which the logbooks tell two stories, or that is damaged in
// one of them.
type NotCopied struct {
	// TestID is the test, and Number its number in the logbook that was copied from.
	TestID string
	Number int64
	// Seq is the first event that is in the way; 0 where it is about the test.
	Seq int64
	// What is wrong.
	What string
}

// String is one line.
func (r NotCopied) String() string {
	return Fault(r).String()
}

// testsACopy is how many tests are compared at a time.
const testsACopy = 2_000

// Copy adds to one logbook what another has: tests as a whole, each event once.
// Tests with the same head are left out without a look at their events. Where one
// logbook has the beginning of a test and the other more of it, the longer one
// stands; a test of which they tell two stories is refused and named, and so is one
// that is damaged, and the others are copied still. A copy that was interrupted is
// repeated. progress, which may be nil, is told how many of all events are done.
func Copy(ctx context.Context, from, to *Book, progress func(done, all int64)) (Copied, error) {
	c := &copier{merger: merger{book: to}, from: from, progress: progress}
	c.refuse = c.refused
	err := c.run(ctx)
	c.result.Tests, c.result.Continued, c.result.Events = c.done.Tests, c.done.Continued, c.done.Events
	c.result.Same = c.seen - c.done.Tests - c.done.Continued - int64(len(c.result.Refused))
	return c.result, err
}

type copier struct {
	merger
	from     *Book
	progress func(done, all int64)
	result   Copied
	seen     int64 // tests
	passed   int64 // events
	all      int64 // events
	numbers  map[string]int64
	failed   error // of the logbook that is copied to
}

// listedHead is a line of the list of tests.
type listedHead struct {
	id     string
	number int64
	head
}

func (c *copier) run(ctx context.Context) error {
	err := c.from.reading(ctx, func(tx *transaction) error {
		return tx.QueryRowContext(ctx, "SELECT COUNT(*), CAST(COALESCE(SUM(events), 0) AS BIGINT) FROM tests").Scan(&c.result.All, &c.all)
	})
	if err != nil {
		return err
	}
	c.tell(0)
	for after := ""; ; {
		n, last, err := c.page(ctx, after)
		if err != nil || n < testsACopy {
			return err
		}
		after = last
	}
}

func (c *copier) tell(events int64) {
	c.passed += events
	if c.progress != nil {
		c.progress(c.passed, max(c.all, c.passed)) // what came in meanwhile is copied too
	}
}

// page copies the next tests, and says how many there were and which was the last.
func (c *copier) page(ctx context.Context, after string) (n int, last string, err error) {
	err = c.from.readingLong(ctx, func(tx *transaction) error {
		tests, err := c.from.listedHeads(ctx, tx, after, testsACopy)
		if err != nil || len(tests) == 0 {
			return err
		}
		n, last = len(tests), tests[len(tests)-1].id
		there, err := c.there(ctx, after, last)
		if err != nil {
			return c.failing(err)
		}
		for some := range slices.Chunk(c.different(tests, there), manyIDs) {
			if err := c.tests(ctx, tx, some); err != nil {
				return err
			}
		}
		return c.failing(c.flush(ctx))
	})
	if c.failed != nil {
		err = c.failed
	}
	return n, last, err
}

// different are the tests whose heads are not the same on both sides.
func (c *copier) different(tests []listedHead, there map[string]head) []listedHead {
	c.numbers = map[string]int64{}
	var different []listedHead
	same := int64(0)
	for _, t := range tests {
		c.numbers[t.id] = t.number
		if t.head != (head{}) && there[t.id] == t.head {
			c.seen++
			same += t.events
		} else {
			different = append(different, t)
		}
	}
	c.tell(same)
	return different
}

// there are the heads of the other logbook between two ids.
func (c *copier) there(ctx context.Context, after, last string) (map[string]head, error) {
	heads := map[string]head{}
	err := c.book.reading(ctx, func(tx *transaction) (err error) {
		heads, err = c.book.heads(ctx, tx, "id > ? AND id <= ?", []any{after, last})
		return err
	})
	return heads, err
}

// listedHeads are the next tests in the order of their ids. Where a line cannot be
// read it has the zero head.
func (b *Book) listedHeads(ctx context.Context, tx *transaction, after string, most int) ([]listedHead, error) {
	rows, err := tx.query(ctx, "SELECT id, number, events, head FROM tests WHERE id > ? ORDER BY id LIMIT ?", after, most)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var tests []listedHead
	for rows.Next() {
		var t listedHead
		err := scan(rows, &t.id, &t.number, &t.events, &t.hash)
		if err != nil {
			t.head = head{}
		}
		if err := unlessContent(err); err != nil {
			return nil, err
		}
		tests = append(tests, t)
	}
	return tests, rows.Err()
}

// tests copies tests that are in the order of their ids.
func (c *copier) tests(ctx context.Context, tx *transaction, tests []listedHead) error {
	args := make([]any, len(tests))
	for i, t := range tests {
		args[i] = t.id
	}
	rows, err := tx.query(ctx, "SELECT "+eventColumns+" FROM events WHERE test_id IN ("+placeholders(len(args))+") ORDER BY test_id, seq", args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	next := func() (*stored, error) {
		if !rows.Next() {
			return nil, rows.Err()
		}
		s := &stored{}
		return s, unlessContent(scan(rows, s.targets()...)) // without its hash, the last column, it follows nothing
	}
	s, err := next()
	for i := 0; err == nil && i < len(tests); i++ {
		s, err = c.one(ctx, &tests[i], s, next)
	}
	return err
}

// one takes a test's events, the first of them given, and returns the first event
// of the next test. The chain is worked out on the way.
func (c *copier) one(ctx context.Context, t *listedHead, s *stored, next func() (*stored, error)) (*stored, error) {
	c.seen++
	var chain head
	var wrong string
	var err error
	for ; s != nil && s.TestID == t.id && err == nil; s, err = next() {
		if wrong == "" {
			wrong = chain.follow(s)
		}
		if wrong != "" {
			continue
		}
		if err := c.take(ctx, *s); err != nil {
			return nil, c.failing(err)
		}
	}
	if err != nil {
		return nil, err
	}
	if wrong == "" {
		wrong = chain.unlike(t.head)
	}
	if wrong != "" {
		c.test = nil
		c.result.Refused = append(c.result.Refused, NotCopied{TestID: t.id, Number: t.number, Seq: chain.events + 1,
			What: "damaged in the logbook that is copied from: " + wrong})
	}
	c.tell(t.events)
	return s, c.failing(c.close(ctx))
}

// failing marks an error as one of the logbook that is copied to.
func (c *copier) failing(err error) error {
	c.failed = err
	return err
}

// refused keeps a test that the other logbook does not take.
func (c *copier) refused(events []stored, why error) {
	id := events[0].TestID
	if n := len(c.result.Refused); n > 0 && c.result.Refused[n-1].TestID == id {
		return // a part of a long test
	}
	r := NotCopied{TestID: id, Number: c.numbers[id]}
	var differs *DiffersError
	var e *Error
	switch {
	case errors.As(why, &differs):
		r.Seq, r.What = differs.Seq, "the two logbooks have different ones"
	case errors.As(why, &e):
		r.What = "damaged in the logbook that is copied to: " + e.Detail
	}
	c.result.Refused = append(c.result.Refused, r)
}
