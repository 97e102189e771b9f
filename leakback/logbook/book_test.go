package logbook

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
)

// open opens a logbook until the test ends.
func open(t testing.TB, path string, o Options) *Book {
	t.Helper()
	b, err := Open(t.Context(), path, o)
	require.NoError(t, err)
	addresses.Store(b, path)
	t.Cleanup(func() { b.Close() })
	return b
}

// fresh is a logbook in which nothing was entered.
func fresh(t testing.TB) *Book {
	t.Helper()
	return open(t, newAddress(t), Options{})
}

// set is a draft for a field of the whole test.
func set(atUS int64, field, value string) leakback.Event {
	return leakback.Event{AtUS: atUS, Person: "an invented technician", Key: leakback.Key{Kind: leakback.KindSet, Field: field}, Value: value}
}

// reading is a draft of what was read at a cylinder.
func reading(atUS int64, cylinder int, value string) leakback.Event {
	return leakback.Event{AtUS: atUS, ElapsedMS: atUS / 1000, Value: value,
		Key: leakback.Key{Kind: leakback.KindReading, Run: 1, Cylinder: cylinder, Field: "volume_ml"}}
}

// add appends drafts to a test, a new one where the id is "".
func add(t testing.TB, b *Book, id string, drafts ...leakback.Event) string {
	t.Helper()
	if id == "" {
		id = NewTestID()
	}
	_, err := b.Append(t.Context(), id, drafts)
	require.NoError(t, err)
	return id
}

func TestAppendAndRead(t *testing.T) { onEach(t, testAppendAndRead) }

func testAppendAndRead(t *testing.T) {
	path := newAddress(t)
	if !isPostgres(t) {
		path = filepath.Join(t.TempDir(), "new folder", portable("a ?#%.db"))
	}
	b := open(t, path, Options{})
	id := NewTestID()
	added, err := b.Append(t.Context(), id, []leakback.Event{set(1_000, leakback.FieldVehicle, "AB 12 CD"), reading(2_000, 3, "22,5")})
	require.NoError(t, err)
	more, err := b.Append(t.Context(), id, []leakback.Event{reading(3_000, 4, ">100")})
	require.NoError(t, err)
	require.NoError(t, b.Close())

	b = open(t, path, Options{MustExist: true})
	events, err := b.Events(t.Context(), id)
	require.NoError(t, err)
	assert.Equal(t, append(added, more...), events)
	for i, e := range events {
		assert.Equal(t, id, e.TestID)
		assert.EqualValues(t, i+1, e.Seq)
	}
	entry, err := b.Find(t.Context(), "1")
	require.NoError(t, err)
	heads, err := Heads(events)
	require.NoError(t, err)
	assert.Equal(t, Entry{ID: id, Number: 1, Vehicle: "AB 12 CD", StartedUS: 1_000, LastUS: 3_000, Events: 3, Head: heads[2]}, entry)
}

// portable is a name without what Windows takes in none.
func portable(name string) string {
	if runtime.GOOS == "windows" {
		return strings.ReplaceAll(name, "?", "")
	}
	return name
}

func TestNewLogbookIsPrivate(t *testing.T) {
	path := filepath.Join(t.TempDir(), "folder", "logbook.db")
	open(t, path, Options{})
	for name, mode := range map[string]os.FileMode{filepath.Dir(path): 0o700, path: 0o600} {
		info, err := os.Stat(name)
		require.NoError(t, err)
		if runtime.GOOS != "windows" { // it keeps lists of who may do what instead
			assert.Equal(t, mode, info.Mode().Perm(), name)
		}
	}
	names, err := filepath.Glob(filepath.Join(filepath.Dir(path), ".*"))
	require.NoError(t, err)
	assert.Empty(t, names, "what it was built in is gone")
}

func TestPragmasHoldOnEveryConnection(t *testing.T) {
	b := fresh(t)
	for range 3 {
		conn, err := b.db.Conn(t.Context())
		require.NoError(t, err)
		defer conn.Close()
		for pragma, want := range map[string]string{"journal_mode": "wal", "synchronous": "2", "foreign_keys": "1",
			"busy_timeout": "10000", "trusted_schema": "0", "cell_size_check": "1", "application_id": fmt.Sprint(applicationID)} {
			var is string
			require.NoError(t, conn.QueryRowContext(t.Context(), "PRAGMA "+pragma).Scan(&is))
			assert.Equal(t, want, is, pragma)
		}
	}
}

func TestEventsAreNeverChanged(t *testing.T) { onEach(t, testEventsAreNeverChanged) }

func testEventsAreNeverChanged(t *testing.T) {
	b := fresh(t)
	add(t, b, "", reading(1, 1, "20"))
	statements := []string{"UPDATE events SET value = '21'", "UPDATE events SET value = '21' WHERE seq = 9", "DELETE FROM events"}
	if isPostgres(t) {
		statements = append(statements, "TRUNCATE events", "TRUNCATE tests CASCADE")
	} else {
		statements = slices.Delete(statements, 1, 2) // its triggers are there for each row
	}
	for _, statement := range statements {
		_, err := b.db.ExecContext(t.Context(), statement)
		require.ErrorContains(t, err, "events are never", statement)
	}
	_, err := b.db.ExecContext(t.Context(), "DELETE FROM tests")
	require.Regexp(t, "(?i)foreign key", err)
}
