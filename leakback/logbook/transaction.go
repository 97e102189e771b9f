package logbook

import (
	"context"
	"database/sql"
)

// transaction runs each text of a statement through one preparation.
type transaction struct {
	*sql.Tx
	dialect  *dialect
	prepared map[string]*sql.Stmt
}

// reading runs f in a transaction that sees one state of the logbook.
func (b *Book) reading(ctx context.Context, f func(tx *transaction) error) error {
	tx, err := b.db.BeginTx(ctx, b.dialect.read)
	if err != nil {
		return b.explain(err)
	}
	defer tx.Rollback() // it changed nothing
	return b.explain(f(&transaction{tx, b.dialect, map[string]*sql.Stmt{}}))
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
	if err := f(&transaction{tx, b.dialect, map[string]*sql.Stmt{}}); err != nil {
		tx.Rollback() // the error that counts is f's
		return b.explain(err)
	}
	return b.explain(tx.Commit())
}

func (t *transaction) statement(ctx context.Context, query string) (*sql.Stmt, error) {
	if s, ok := t.prepared[query]; ok {
		return s, nil
	}
	s, err := t.PrepareContext(ctx, t.dialect.bind(query))
	if err == nil {
		t.prepared[query] = s // closed with the transaction
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
