package logbook

import (
	"database/sql"
	"fmt"
	"net/url"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"

	"leakback/leakback/logbook/postgrestest"
)

// onPostgres is the name of a subtest that runs against a PostgreSQL server.
const onPostgres = "postgres"

// onEach runs a test against each database. Which one it runs against stands in
// its name, so that fresh and the others find it there.
func onEach(t *testing.T, f func(t *testing.T)) {
	t.Run("sqlite", f)
	t.Run(onPostgres, func(t *testing.T) {
		postgrestest.Shared(t)
		f(t)
	})
}

func isPostgres(t testing.TB) bool { return strings.Contains(t.Name()+"/", "/"+onPostgres+"/") }

var schemas atomic.Int64

// newAddress is where no logbook is yet.
func newAddress(t testing.TB) string {
	t.Helper()
	if !isPostgres(t) {
		return filepath.Join(t.TempDir(), "logbook.db")
	}
	return newSchema(t, postgrestest.Shared(t))
}

// newSchema is the address of a schema that is not there yet.
func newSchema(t testing.TB, server string) string {
	t.Helper()
	u, err := url.Parse(server)
	require.NoError(t, err)
	schema := fmt.Sprintf("test_%d_%d", testProcess, schemas.Add(1))
	query := u.Query()
	query.Set("search_path", schema)
	u.RawQuery = query.Encode()
	t.Cleanup(func() {
		db := rawDB(t, u.String())
		defer db.Close()
		db.Exec("SET client_min_messages = warning; DROP SCHEMA IF EXISTS " + schema + " CASCADE") // the server may be gone by now
	})
	return u.String()
}

// addresses are what books were opened with.
var addresses sync.Map

// addressOf is an address to open a book's logbook with once more.
func addressOf(b *Book) string {
	a, ok := addresses.Load(b)
	if !ok {
		return b.address
	}
	return a.(string)
}

// rawDB is a database beside the logbook's own connections.
func rawDB(t testing.TB, address string) *sql.DB {
	t.Helper()
	driver := "sqlite"
	if strings.HasPrefix(address, "postgres:") {
		driver, address = "pgx", address+"&default_query_exec_mode=simple_protocol"
	}
	db, err := sql.Open(driver, address)
	require.NoError(t, err)
	return db
}

// forge runs statements that the logbook itself refuses.
func forge(t testing.TB, address string, statements ...string) {
	t.Helper()
	db := rawDB(t, address)
	defer db.Close()
	first := []string{"DROP TRIGGER events_are_not_changed", "DROP TRIGGER events_are_not_removed"}
	if strings.HasPrefix(address, "postgres:") {
		first = []string{"DROP TRIGGER events_are_kept ON events", "ALTER TABLE events DROP CONSTRAINT events_test_id_fkey"}
	}
	for _, s := range append(first, statements...) {
		_, err := db.ExecContext(t.Context(), s)
		require.NoError(t, err, s)
	}
}
