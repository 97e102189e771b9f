package logbook

import (
	"context"
	"database/sql"
	"strconv"
	"strings"

	"github.com/pressly/goose/v3"
)

// dialect is what differs between the databases. Everything else is one text for
// all: TEXT, BIGINT and INTEGER, and statements that each of them takes.
type dialect struct {
	goose goose.Dialect
	// numbered placeholders are $1, $2; others are ?.
	numbered bool
	// prepares says that the driver keeps statements prepared by itself.
	prepares bool
	// own are the statements of the migration that each database has of its own:
	// they make it refuse to change or remove an event.
	own []string
	// write and read are how transactions begin; one that reads sees one state.
	write, read *sql.TxOptions
	// integrity is what the database finds wrong with its own structure.
	integrity func(context.Context, querier) ([]string, error)
	// backup writes a copy to a file that holds nothing yet.
	backup func(context.Context, *Book, string) error
	// explain turns the database's error into one that says what to do.
	explain func(address string, err error) error
	// server is what one that has many writers needs beside; nil for a file.
	server *server
}

// server is what differs where several transactions write at the same time, on
// another machine.
type server struct {
	// lockRow ends a statement that reads a test's row: until the transaction ends
	// no other one adds to the test.
	lockRow string
	// lockList is a statement after which no other transaction begins a test.
	lockList string
	// long is a statement for transactions that may take as long as they need.
	long string
	// savepoint begins what may fail without ending a transaction; keep or undo end it.
	savepoint, keep, undo string
	// passing says whether an error may be gone when the transaction is tried again.
	passing func(error) bool
}

// querier is a database, a connection or a transaction.
type querier interface {
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// bind writes a statement's placeholders as the database wants them. No text of
// the statements holds a question mark otherwise.
func (d *dialect) bind(query string) string {
	if !d.numbered {
		return query
	}
	var b strings.Builder
	for n := 1; ; n++ {
		before, after, found := strings.Cut(query, "?")
		b.WriteString(before)
		if !found {
			return b.String()
		}
		b.WriteString("$" + strconv.Itoa(n))
		query = after
	}
}

// placeholders are n of them, with commas.
func placeholders(n int) string { return strings.TrimSuffix(strings.Repeat("?, ", n), ", ") }
