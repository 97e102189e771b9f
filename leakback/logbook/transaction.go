package logbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math/rand/v2"
	"time"
)

// transaction runs each text of a statement through one preparation: the book's,
// where an earlier transaction ran it, or its own.
type transaction struct {
	*sql.Tx
	dialect *dialect
	earlier map[string]*sql.Stmt
	ready   map[string]*sql.Stmt // of this transaction, closed with it
	own     []string             // the texts that it had to prepare
	last    *stored              // the last event that it added
	list    bool                 // it has the list of tests for itself
	bulk    bulk
}

func (b *Book) transaction(tx *sql.Tx, earlier map[string]*sql.Stmt) *transaction {
	return &transaction{Tx: tx, dialect: b.dialect, earlier: earlier, ready: map[string]*sql.Stmt{}}
}

// reading runs f in a transaction that sees one state of the logbook.
func (b *Book) reading(ctx context.Context, f func(tx *transaction) error) error {
	return b.explain(b.within(ctx, b.wait+statementWithin, func(ctx context.Context) error { return b.read(ctx, f) }))
}

// readingLong is reading for what may take as long as it needs.
func (b *Book) readingLong(ctx context.Context, f func(tx *transaction) error) error {
	return b.explain(b.within(ctx, 0, func(ctx context.Context) error {
		return b.read(ctx, func(tx *transaction) error {
			if s := b.dialect.server; s != nil {
				if err := tx.exec(ctx, s.long); err != nil {
					return err
				}
			}
			return f(tx)
		})
	}))
}

func (b *Book) read(ctx context.Context, f func(tx *transaction) error) error {
	var tx *sql.Tx
	err := b.again(ctx, func() (err error) {
		tx, err = b.db.BeginTx(ctx, b.dialect.read)
		return err
	})
	if err != nil {
		return err
	}
	defer tx.Rollback() // it changed nothing
	return f(b.transaction(tx, nil))
}

// changing runs f in a transaction that writes about so many events: all that f
// did is on the disk afterwards, or nothing. Where there is a server f may run
// several times; what it did the last time is what counts.
func (b *Book) changing(ctx context.Context, events int, f func(tx *transaction) error) error {
	if b.readOnly {
		return &Error{Kind: ReadOnly, Path: b.address, Detail: "opened for reading only", hint: "open it for writing"}
	}
	b.writing.Lock()
	defer b.writing.Unlock()
	unanswered := new(*stored)
	err := b.explain(b.again(ctx, func() error {
		return b.within(ctx, b.patience(events), func(ctx context.Context) error { return b.change(ctx, f, unanswered) })
	}))
	if e := new(*Error); *unanswered != nil && errors.As(err, e) {
		(*e).Detail += "; whether the last entry arrived is not known"
	}
	return err
}

// change tries f once. Where an earlier try was committed and the answer to that
// got lost, it is found by the last event, and nothing is done a second time.
func (b *Book) change(ctx context.Context, f func(tx *transaction) error, unanswered **stored) error {
	tx, err := b.db.BeginTx(ctx, b.dialect.write)
	if err != nil {
		return err
	}
	defer tx.Rollback() // does nothing after a commit
	t := b.transaction(tx, b.prepared)
	if *unanswered != nil {
		if arrived, err := b.arrived(ctx, t, *unanswered); arrived || err != nil {
			return err
		}
		*unanswered = nil
	}
	if err := f(t); err != nil {
		return err
	}
	if err := t.flush(ctx); err != nil {
		return err
	}
	if err := tx.Commit(); err != nil {
		*unanswered = t.last
		return err
	}
	b.keep(ctx, t)
	return b.files.stay(b.address)
}

// arrived says whether an event was committed. The transaction that added it may
// still be at work: it holds the test's row, or the list where the test is new, so
// that this one waits for its end. A transaction is all or nothing, so that one
// event stands for all that it added.
func (b *Book) arrived(ctx context.Context, tx *transaction, s *stored) (bool, error) {
	if err := tx.lockList(ctx); err != nil {
		return false, err
	}
	if _, err := b.row(ctx, tx, s.TestID); err != nil {
		return false, err
	}
	rows, err := tx.query(ctx, "SELECT hash FROM events WHERE test_id = ? AND seq = ? AND hash = ?", s.TestID, s.Seq, s.Hash)
	if err != nil {
		return false, err
	}
	defer rows.Close()
	return rows.Next(), rows.Err()
}

// again tries until it works, fails for good, or the wait is over.
func (b *Book) again(ctx context.Context, try func() error) error {
	deadline := time.Now().Add(b.wait)
	for pause := 10 * time.Millisecond; ; pause = min(2*pause, 500*time.Millisecond) {
		err := try()
		s := b.dialect.server
		if err == nil || s == nil || !s.passing(err) || ctx.Err() != nil || time.Now().Add(pause).After(deadline) {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(pause/2 + rand.N(pause/2)): // apart from others that wait for the same
		}
	}
}

// patience is how long a transaction may take that writes about so many events.
func (b *Book) patience(events int) time.Duration {
	return b.wait + 5*time.Second + time.Duration(events)*10*time.Millisecond
}

// within bounds what waits for another machine, where limit is not 0: a cable that
// was pulled out says nothing. The end of a context is handed on as that, without
// what the driver says of its connection.
func (b *Book) within(ctx context.Context, limit time.Duration, f func(context.Context) error) error {
	if b.dialect.server == nil {
		return f(ctx)
	}
	bounded, cancel := ctx, func() {}
	if limit > 0 {
		bounded, cancel = context.WithTimeout(ctx, limit)
	}
	defer cancel()
	err := f(bounded)
	ended := errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) || b.dialect.server.passing(err)
	switch {
	case err == nil || explained(err) && !ended:
		return err
	case ended && ctx.Err() != nil:
		return ctx.Err()
	case ended && bounded.Err() != nil:
		return away(b.address, fmt.Sprintf("the server did not answer within %v", limit.Round(time.Second)), nil)
	case errors.Is(err, context.DeadlineExceeded): // the driver's own limit on connecting
		return away(b.address, "the server did not answer in time", nil)
	}
	return err
}

// mostPrepared bounds the statements that are kept.
const mostPrepared = 20

// keep prepares what a transaction ran for those that follow: the next answer is
// committed in two thirds of the time.
func (b *Book) keep(ctx context.Context, t *transaction) {
	for _, query := range t.own {
		if len(b.prepared) == mostPrepared {
			return
		}
		s, err := b.db.PrepareContext(ctx, b.dialect.bind(query))
		if err != nil {
			return // the next transaction prepares its own, and meets the error
		}
		if b.prepared == nil {
			b.prepared = map[string]*sql.Stmt{}
		}
		b.prepared[query] = s // closed with the database
	}
}

func (t *transaction) statement(ctx context.Context, query string) (*sql.Stmt, error) {
	if s, ok := t.ready[query]; ok {
		return s, nil
	}
	if s, ok := t.earlier[query]; ok {
		t.ready[query] = t.StmtContext(ctx, s)
		return t.ready[query], nil
	}
	s, err := t.PrepareContext(ctx, t.dialect.bind(query))
	if err == nil {
		t.ready[query], t.own = s, append(t.own, query)
	}
	return s, err
}

func (t *transaction) exec(ctx context.Context, query string, args ...any) error {
	if t.dialect.prepares {
		_, err := t.ExecContext(ctx, t.dialect.bind(query), args...)
		return err
	}
	s, err := t.statement(ctx, query)
	if err != nil {
		return err
	}
	_, err = s.ExecContext(ctx, args...)
	return err
}

func (t *transaction) query(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	if t.dialect.prepares {
		return t.QueryContext(ctx, t.dialect.bind(query), args...)
	}
	s, err := t.statement(ctx, query)
	if err != nil {
		return nil, err
	}
	return s.QueryContext(ctx, args...)
}

// lockList keeps the list of tests from growing, but by this transaction.
func (t *transaction) lockList(ctx context.Context) error {
	s := t.dialect.server
	if s == nil || t.list {
		return nil
	}
	t.list = true
	return t.exec(ctx, s.lockList)
}

// attempt runs f so that its error does not end the transaction.
func (t *transaction) attempt(ctx context.Context, f func() error) error {
	s := t.dialect.server
	if s == nil {
		return f()
	}
	if err := t.exec(ctx, s.savepoint); err != nil {
		return err
	}
	if err := f(); err != nil {
		t.exec(ctx, s.undo) // where that fails too, the next statement meets it
		return err
	}
	return t.exec(ctx, s.keep)
}

// contentError is a column that holds what was never written there.
type contentError struct{ error }

// Error is the beginning of a text that may hold all of the column.
func (e contentError) Error() string { return fmt.Sprintf("%.300v", e.error) }

func (e contentError) Unwrap() error { return e.error }

// unlessContent is an error that is none of a single column.
func unlessContent(err error) error {
	if errors.As(err, new(contentError)) {
		return nil
	}
	return err
}

// scan takes the columns of a row, up to the first that cannot be taken.
func scan(rows *sql.Rows, targets ...any) error {
	err := rows.Scan(targets...)
	if err == nil {
		return nil
	}
	if ended := rows.Err(); ended != nil { // the context's end, or the connection's
		return ended
	}
	return contentError{err}
}
