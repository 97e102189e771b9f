package logbook

import (
	"context"
	"database/sql"
)

// transaction runs each text of a statement through one preparation: the book's,
// where an earlier transaction ran it, or its own.
type transaction struct {
	*sql.Tx
	dialect *dialect
	earlier map[string]*sql.Stmt
	ready   map[string]*sql.Stmt // of this transaction, closed with it
	own     []string             // the texts that it had to prepare
}

func (b *Book) transaction(tx *sql.Tx, earlier map[string]*sql.Stmt) *transaction {
	return &transaction{Tx: tx, dialect: b.dialect, earlier: earlier, ready: map[string]*sql.Stmt{}}
}

// reading runs f in a transaction that sees one state of the logbook.
func (b *Book) reading(ctx context.Context, f func(tx *transaction) error) error {
	tx, err := b.db.BeginTx(ctx, b.dialect.read)
	if err != nil {
		return b.explain(err)
	}
	defer tx.Rollback() // it changed nothing
	return b.explain(f(b.transaction(tx, nil)))
}

// changing runs f in a transaction that writes: all that f did is on the disk
// afterwards, or nothing.
func (b *Book) changing(ctx context.Context, f func(tx *transaction) error) error {
	if b.readOnly {
		return &Error{Kind: ReadOnly, Path: b.address, Detail: "opened for reading only", hint: "open it for writing"}
	}
	b.writing.Lock()
	defer b.writing.Unlock()
	tx, err := b.db.BeginTx(ctx, b.dialect.write)
	if err != nil {
		return b.explain(err)
	}
	t := b.transaction(tx, b.prepared)
	if err := f(t); err != nil {
		tx.Rollback() // the error that counts is f's
		return b.explain(err)
	}
	if err := tx.Commit(); err != nil {
		return b.explain(err)
	}
	b.keep(ctx, t)
	return nil
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
	s, err := t.statement(ctx, query)
	if err != nil {
		return err
	}
	_, err = s.ExecContext(ctx, args...)
	return err
}

func (t *transaction) query(ctx context.Context, query string, args ...any) (*sql.Rows, error) {
	s, err := t.statement(ctx, query)
	if err != nil {
		return nil, err
	}
	return s.QueryContext(ctx, args...)
}

// contentError is a column that holds what was never written there.
type contentError struct{ error }

// scan takes the columns of a row.
func scan(rows *sql.Rows, targets ...any) error {
	if err := rows.Scan(targets...); err != nil {
		return contentError{err}
	}
	return nil
}
