package logbook

import (
	"database/sql"
	"testing"

	"github.com/stretchr/testify/require"
)

// inMemory is a logbook that no disk makes slow. Its events can be taken out again
// (refill), so that one of them serves many tests.
func inMemory(t testing.TB) *Book {
	t.Helper()
	db, err := sql.Open("sqlite", ":memory:?_pragma=foreign_keys(1)&_txlock=immediate")
	require.NoError(t, err)
	db.SetMaxOpenConns(1) // each connection has a memory of its own
	t.Cleanup(func() { db.Close() })
	require.NoError(t, migrate(t.Context(), db, sqliteDialect))
	for _, statement := range []string{"DROP TRIGGER events_are_not_changed", "DROP TRIGGER events_are_not_removed"} {
		_, err := db.ExecContext(t.Context(), statement)
		require.NoError(t, err)
	}
	return &Book{db: db, dialect: sqliteDialect, address: "memory.db", wait: DefaultWait}
}

// refill has a logbook in memory hold these events and no others.
func refill(t testing.TB, b *Book, events []stored) {
	t.Helper()
	for _, statement := range []string{"DELETE FROM events", "DELETE FROM tests"} {
		_, err := b.db.ExecContext(t.Context(), statement)
		require.NoError(t, err)
	}
	var parts []part
	for _, s := range events {
		if n := len(parts); n == 0 || parts[n-1].testID != s.TestID {
			parts = append(parts, part{testID: s.TestID})
		}
		e := s.Event
		e.TestID, e.Seq = "", 0
		last := &parts[len(parts)-1]
		last.drafts = append(last.drafts, e)
	}
	_, err := b.appendParts(t.Context(), parts)
	require.NoError(t, err)
}

// storedIn are the events of a database as they are kept.
func storedIn(t testing.TB, db *sql.DB) []stored {
	t.Helper()
	rows, err := db.QueryContext(t.Context(), "SELECT "+eventColumns+" FROM events ORDER BY test_id, seq")
	require.NoError(t, err)
	defer rows.Close()
	var all []stored
	for rows.Next() {
		var s stored
		require.NoError(t, scan(rows, s.targets()...))
		all = append(all, s)
	}
	require.NoError(t, rows.Err())
	return all
}
