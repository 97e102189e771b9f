package logbook

import (
	"context"
	"errors"
	"fmt"

	"leakback/limits/quantity"
)

// Checked is what Check found.
type Checked struct {
	// Tests and Events are how many were gone through.
	Tests, Events int64
	// Faults are what is wrong, the first ones of it; a sound logbook has none.
	Faults []Fault
	// More is how many faults there are beside.
	More int64
}

// Fault is one thing that is wrong with a logbook.
type Fault struct {
	// TestID is the test, "" where it is about the file.
	TestID string
	// Number is the test's number, 0 where it has none.
	Number int64
	// Seq is the event's place in its test, 0 where it is about the test.
	Seq int64
	// What is wrong.
	What string
}

// String is one line.
func (f Fault) String() string {
	where := ""
	if f.Number > 0 {
		where = fmt.Sprintf("test %d, ", f.Number)
	}
	if f.TestID != "" {
		where += "id " + f.TestID
	}
	if f.Seq > 0 {
		where += fmt.Sprintf(", event %d", f.Seq)
	}
	if where == "" {
		return f.What
	}
	return where + ": " + f.What
}

// mostFaults are kept: a file that lost its first half has millions.
const mostFaults = 1000

// testsAPage is how many tests Check holds at a time.
const testsAPage = 500

// Check goes through the whole logbook: the database's own structure, each test's
// chain from its first event on, gaps, and the projection, which it works out from
// the events again. What is wrong is a finding, not an error. progress, which may
// be nil, is told how many of all events are done.
func (b *Book) Check(ctx context.Context, progress func(done, all int64)) (*Checked, error) {
	c := &checker{book: b, progress: progress}
	if b.readOnly && b.notice != "" {
		c.fault(Fault{What: b.notice})
	}
	err := b.readingLong(ctx, func(tx *transaction) error {
		c.tx = tx
		return c.run(ctx)
	})
	if err != nil {
		return nil, err
	}
	return &c.Checked, nil
}

type checker struct {
	Checked
	book     *Book
	tx       *transaction
	progress func(done, all int64)
	all      int64
	kept     map[string]head // what a list of heads says, by test
	met      map[string]bool // the tests of it that the logbook has
}

func (c *checker) fault(f Fault) {
	if len(c.Faults) < mostFaults {
		c.Faults = append(c.Faults, f)
	} else {
		c.More++
	}
}

// unreadable makes a finding of an error that the damage caused; another one is
// handed back.
func (c *checker) unreadable(f Fault, err error) error {
	var e *Error
	if err = c.book.explain(err); !errors.As(err, &e) || e.Kind != Damaged && e.Kind != Disk {
		return err
	}
	f.What += ": " + e.Detail
	c.fault(f)
	return nil
}

func (c *checker) run(ctx context.Context) error {
	if err := c.structure(ctx); err != nil {
		return err
	}
	after := ""
	for {
		page, err := c.listings(ctx, "WHERE id > ? ORDER BY id LIMIT ?", after, testsAPage)
		if err != nil {
			return c.unreadable(Fault{What: "the list of tests cannot be read from id " + after + " on"}, err)
		}
		last := len(page) < testsAPage
		if err := c.between(ctx, page, after, last); err != nil {
			return err
		}
		if last {
			return nil
		}
		after = page[len(page)-1].ID
	}
}

// structure counts the events and asks the database about itself.
func (c *checker) structure(ctx context.Context) error {
	err := c.tx.attempt(ctx, func() error {
		return c.tx.QueryRowContext(ctx, "SELECT COUNT(*) FROM events").Scan(&c.all)
	})
	if err != nil {
		err = c.unreadable(Fault{What: "the events cannot be counted"}, err)
	}
	if err != nil {
		return err
	}
	c.tell()
	var faults []string
	err = c.tx.attempt(ctx, func() (err error) {
		faults, err = c.book.dialect.integrity(ctx, c.tx)
		return err
	})
	for _, f := range faults {
		c.fault(Fault{What: quantity.Name(f)})
	}
	if err != nil {
		return c.unreadable(Fault{What: "the structure cannot be examined"}, err)
	}
	return nil
}

func (c *checker) tell() {
	if c.progress != nil {
		c.progress(c.Events, c.all)
	}
}

// listing is a row of the projection with all its columns.
type listing struct {
	row
	derived []string
}

// listings reads rows of the projection.
func (c *checker) listings(ctx context.Context, clause string, args ...any) (page []*listing, err error) {
	err = c.tx.attempt(ctx, func() (err error) {
		page, err = c.listed(ctx, clause, args...)
		return err
	})
	return page, err
}

func (c *checker) listed(ctx context.Context, clause string, args ...any) ([]*listing, error) {
	all := entryColumns
	for _, column := range columns[derivedFrom:] {
		all += ", " + column
	}
	rows, err := c.tx.query(ctx, "SELECT "+all+" FROM tests "+clause, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var page []*listing
	for rows.Next() {
		l := &listing{derived: make([]string, len(columns)-derivedFrom)}
		targets := l.targets()
		for i := range l.derived {
			targets = append(targets, &l.derived[i])
		}
		if err := scan(rows, targets...); err != nil {
			return nil, err
		}
		page = append(page, l)
	}
	return page, rows.Err()
}

// between goes through the events of a page, those of tests that are missing in
// the list among them.
func (c *checker) between(ctx context.Context, page []*listing, after string, last bool) error {
	query, args := "test_id > ?", []any{after}
	if !last {
		query, args = query+" AND test_id <= ?", append(args, page[len(page)-1].ID)
	}
	return c.events(ctx, page, query, args...)
}

// events goes through the events of a page.
func (c *checker) events(ctx context.Context, page []*listing, query string, args ...any) error {
	before := c.Checked
	err := c.tx.attempt(ctx, func() error { return c.walk(ctx, page, query, args...) })
	if err == nil {
		return nil
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	c.Checked = before
	return c.oneByOne(ctx, page, err)
}

// oneByOne finds out which tests of a page can be read still.
func (c *checker) oneByOne(ctx context.Context, page []*listing, why error) error {
	before := len(c.Faults)
	for _, l := range page {
		err := c.tx.attempt(ctx, func() error { return c.walk(ctx, []*listing{l}, "test_id = ?", l.ID) })
		if err != nil {
			if err := c.unreadable(Fault{TestID: l.ID, Number: l.Number, What: "cannot be read"}, err); err != nil {
				return err
			}
		}
	}
	if len(c.Faults) == before {
		return c.unreadable(Fault{What: "events cannot be read in one go"}, why)
	}
	return nil
}

// walk streams events beside the rows of the projection that they belong to.
func (c *checker) walk(ctx context.Context, page []*listing, condition string, args ...any) error {
	rows, err := c.tx.query(ctx, "SELECT "+eventColumns+" FROM events WHERE "+condition+" ORDER BY test_id, seq", args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	byID := map[string]*listing{}
	for _, l := range page {
		byID[l.ID] = l
	}
	var chain recomputed
	for rows.Next() {
		var s stored
		if err := scan(rows, s.targets()...); err != nil {
			return err
		}
		if s.TestID != chain.id {
			c.finish(&chain)
			chain = recomputed{id: s.TestID, listed: byID[s.TestID]}
			delete(byID, s.TestID)
		}
		c.event(&chain, &s)
	}
	if err := rows.Err(); err != nil {
		return err
	}
	c.finish(&chain)
	for _, l := range page {
		if byID[l.ID] != nil {
			c.Tests++
			c.meet(l.ID)
			c.fault(Fault{TestID: l.ID, Number: l.Number, What: "none of its events is there"})
		}
	}
	c.tell()
	return nil
}

func (c *checker) meet(id string) {
	if c.met != nil {
		c.met[id] = true
	}
}

// recomputed is a test as its events say it is.
type recomputed struct {
	id     string
	listed *listing // nil where the list of tests has none
	row    row
	last   int64 // seq
}

func (r *recomputed) fault(seq int64, format string, args ...any) Fault {
	f := Fault{TestID: r.id, Seq: seq, What: fmt.Sprintf(format, args...)}
	if r.listed != nil {
		f.Number = r.listed.Number
	}
	return f
}

// event holds an event against the one before. The chain goes on with the hash
// that is kept, so that one change is one fault.
func (c *checker) event(r *recomputed, s *stored) {
	c.Events++
	if s.Seq > r.last+1 {
		c.fault(r.fault(r.last+1, "missing%s", upTo(r.last+1, s.Seq-1)))
	} else if hash, err := chained(r.row.Head, &s.Event); err != nil || hash != s.Hash {
		c.fault(r.fault(s.Seq, "not what was entered: its hash is another one"))
	}
	if err := validEvent(int(s.Seq), s.TestID, &s.Event); err != nil {
		c.fault(r.fault(s.Seq, "%v", err))
	}
	c.atHead(r, s)
	r.last = s.Seq
	r.row.take(&s.Event, s.Hash)
}

// upTo says how far a gap goes that begins with an event.
func upTo(first, last int64) string {
	if first == last {
		return ""
	}
	return fmt.Sprintf(", and those up to event %d", last)
}

// finish holds the projection against what the events say.
func (c *checker) finish(r *recomputed) {
	if r.id == "" {
		return
	}
	c.Tests++
	c.meet(r.id)
	c.atEnd(r)
	if r.listed == nil {
		c.fault(r.fault(0, "missing in the list of tests"))
		return
	}
	if end := r.listed.Events; r.last < end {
		c.fault(r.fault(r.last+1, "missing%s: the list of tests says %d events", upTo(r.last+1, end), end))
		return // what else differs follows from it
	}
	r.row.Number = r.listed.Number
	for i, want := range r.row.values() {
		if is := r.listed.column(i); is != want {
			c.fault(r.fault(0, "the list of tests says %s %.80q, its events say %.80q", columns[i], fmt.Sprint(is), fmt.Sprint(want)))
		}
	}
}

// column is what a column of the projection holds.
func (l *listing) column(i int) any {
	if i >= derivedFrom {
		return l.derived[i-derivedFrom]
	}
	return l.values()[i]
}
