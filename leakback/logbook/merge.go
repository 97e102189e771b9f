package logbook

import (
	"context"
	"errors"
	"fmt"
	"slices"
)

// Imported is what an import added.
type Imported struct {
	// Tests are those that were new, Continued those that were there in part, and
	// Events all that were added.
	Tests, Continued, Events int64
	// Known are the events that were there already.
	Known int64
}

// DiffersError says that logbook and export tell two stories of one event.
type DiffersError struct {
	// TestID and Seq are the first event that differs.
	TestID string
	Seq    int64
}

// Error names the event.
func (e *DiffersError) Error() string {
	return fmt.Sprintf("test %s, event %d: the logbook has another one: nothing of this test was added", e.TestID, e.Seq)
}

const (
	// A transaction takes whole tests until it has this much. A test that is longer
	// than longTest, or larger than largeTest, takes several.
	batchEvents = 2_000
	batchBytes  = 8 << 20
	longTest    = 20_000
	largeTest   = 32 << 20
)

// merger adds tests to a logbook that may have them already, wholly or in part:
// many tests in one transaction, and no test by halves.
type merger struct {
	book *Book
	done Imported
	// refuse is told of a test that cannot be added, and why; without it that ends
	// the work.
	refuse func(events []stored, why error)

	test    []stored // what was taken of a test and is not in ready
	ready   [][]stored
	bytes   int    // of test and ready
	counted string // the last test that is in done
}

// take takes the next event of a test. That it follows from the one before was
// checked.
func (m *merger) take(ctx context.Context, s stored) error {
	m.test, m.bytes = append(m.test, s), m.bytes+size(&s)
	if len(m.test) < longTest && m.bytes < largeTest {
		return nil
	}
	return m.flush(ctx)
}

// size is about what an event holds in memory.
func size(s *stored) int {
	return 300 + len(s.Person) + len(s.Line) + len(s.Field) + len(s.Value) + len(s.Typed) + len(s.Reason)
}

// close ends a test: what was taken of it can be added.
func (m *merger) close(ctx context.Context) error {
	m.keep()
	waiting := 0
	for _, t := range m.ready {
		waiting += len(t)
	}
	if waiting < batchEvents && m.bytes < batchBytes {
		return nil
	}
	return m.flush(ctx)
}

func (m *merger) keep() {
	if len(m.test) > 0 {
		m.ready, m.test = append(m.ready, m.test), nil
	}
}

// flush adds what was taken in one transaction; where that fails, test by test.
func (m *merger) flush(ctx context.Context) error {
	m.keep()
	ready := m.ready
	m.ready, m.bytes = nil, 0
	if len(ready) == 0 {
		return nil
	}
	err := m.add(ctx, ready)
	if err == nil || ctx.Err() != nil || !aboutATest(err) {
		return err
	}
	for one := range slices.Chunk(ready, 1) {
		if err := m.add(ctx, one); err != nil && (m.refuse == nil || !aboutATest(err)) {
			return err
		} else if err != nil {
			m.refuse(one[0], err)
		}
	}
	return nil
}

// aboutATest says whether an error may be one of a single test's.
func aboutATest(err error) bool {
	var e *Error
	return errors.As(err, new(*DiffersError)) || errors.As(err, &e) && e.Kind == Damaged
}

// add adds tests in one transaction.
func (m *merger) add(ctx context.Context, tests [][]stored) error {
	events, ids := 0, make([]string, len(tests))
	for i, t := range tests {
		events, ids[i] = events+len(t), t[0].TestID
	}
	var done Imported
	counted := m.counted
	err := m.book.changing(ctx, events, func(tx *transaction) error {
		done, m.counted = Imported{}, counted
		if err := m.book.lockRows(ctx, tx, ids); err != nil {
			return err
		}
		for _, events := range tests {
			if err := m.merge(ctx, tx, events, &done); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		m.counted = counted
		return err
	}
	m.done.add(done)
	return nil
}

func (i *Imported) add(more Imported) {
	i.Tests += more.Tests
	i.Continued += more.Continued
	i.Events += more.Events
	i.Known += more.Known
}

// merge adds those events of a test that the logbook does not have. They are a
// chain that was checked, so events with one hash are one event.
func (m *merger) merge(ctx context.Context, tx *transaction, events []stored, done *Imported) error {
	r, err := m.book.row(ctx, tx, events[0].TestID)
	if err != nil {
		return err
	}
	known := 0
	if r.Events >= events[0].Seq {
		if known, err = m.book.known(ctx, tx, events); err != nil {
			return err
		}
	}
	done.Known += int64(known)
	if known == len(events) {
		return nil
	}
	if seq := events[known].Seq; seq != r.Events+1 {
		return m.book.broken(events[0].TestID, fmt.Sprintf("the list of tests says %d events, and event %d is not there", r.Events, seq))
	}
	m.count(&r, events[0].TestID, done)
	return m.continued(ctx, tx, &r, events[known:], done)
}

// count counts a test that is added to, each once.
func (m *merger) count(r *row, testID string, done *Imported) {
	switch {
	case r.Events == 0:
		done.Tests++
	case m.counted != testID:
		done.Continued++
	}
	m.counted = testID
}

// continued adds events to the end of a test, and holds the hashes that they get
// against those that they had.
func (m *merger) continued(ctx context.Context, tx *transaction, r *row, events []stored, done *Imported) error {
	more := part{testID: events[0].TestID}
	for _, s := range events {
		e := s.Event
		e.TestID, e.Seq = "", 0
		more.drafts = append(more.drafts, e)
	}
	added, err := m.book.extend(ctx, tx, r, more)
	if err != nil {
		return err
	}
	done.Events += int64(len(added))
	if last := len(added) - 1; added[last].Hash != events[last].Hash {
		return m.book.broken(r.ID, "the list of tests and its events say two things")
	}
	return nil
}

// known is how many of the events the logbook has, all of them the first ones.
func (b *Book) known(ctx context.Context, tx *transaction, events []stored) (int, error) {
	if err := tx.flush(ctx); err != nil {
		return 0, err
	}
	rows, err := tx.query(ctx, "SELECT seq, hash FROM events WHERE test_id = ? AND seq >= ? AND seq <= ? ORDER BY seq",
		events[0].TestID, events[0].Seq, events[len(events)-1].Seq)
	if err != nil {
		return 0, err
	}
	defer rows.Close()
	n := 0
	for rows.Next() {
		var seq int64
		var hash string
		if err := scan(rows, &seq, &hash); err != nil {
			return 0, err
		}
		if n == len(events) || events[n].Seq != seq {
			return 0, b.broken(events[0].TestID, fmt.Sprintf("its events are not one after the other at event %d", seq))
		}
		if events[n].Hash != hash {
			return 0, &DiffersError{events[n].TestID, seq}
		}
		n++
	}
	return n, rows.Err()
}
