package logbook

import (
	"database/sql"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"leakback/leakback"
)

// BenchmarkOpen opens a logbook and closes it.
func BenchmarkOpen(b *testing.B) {
	path := filepath.Join(b.TempDir(), "logbook.db")
	first := open(b, path, Options{})
	add(b, first, "", set(1, leakback.FieldVehicle, "AB 12 CD"))
	require.NoError(b, first.Close())
	for name, o := range map[string]Options{"write": {}, "read": {ReadOnly: true}} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				book, err := Open(b.Context(), path, o)
				require.NoError(b, err)
				require.NoError(b, book.Close())
			}
		})
	}
	b.Run("new", func(b *testing.B) {
		folder := b.TempDir()
		for i := 0; b.Loop(); i++ {
			book, err := Open(b.Context(), filepath.Join(folder, NewTestID()), Options{})
			require.NoError(b, err)
			require.NoError(b, book.Close())
		}
	})
}

// BenchmarkAppend commits one answer, and beside each a bare insert of such a row
// into a table of its own with the same journal and durability, in turn: the disk
// has its moods. It reports the medians.
func BenchmarkAppend(b *testing.B) {
	b.Run("sqlite", benchmarkAppend)
	b.Run(onPostgres, benchmarkAppend)
}

func benchmarkAppend(b *testing.B) {
	answer, insert := appending(b), inserting(b)
	var answers, inserts []float64
	for i := 0; b.Loop(); i++ {
		answers = append(answers, elapsed(answer))
		inserts = append(inserts, elapsed(func() { insert(i) }))
	}
	slices.Sort(answers)
	slices.Sort(inserts)
	ours, bare := answers[len(answers)/2], inserts[len(inserts)/2]
	b.ReportMetric(ours, "µs/answer")
	b.ReportMetric(bare, "µs/insert")
	b.ReportMetric(ours/bare, "answer/insert")
}

// elapsed is how long f took, in µs.
func elapsed(f func()) float64 {
	start := time.Now()
	f()
	return float64(time.Since(start).Microseconds())
}

// appending appends an answer to a test.
func appending(b *testing.B) func() {
	book := fresh(b)
	id := add(b, book, "", set(1, leakback.FieldVehicle, "AB 12 CD"))
	draft := []leakback.Event{reading(2, 1, "22.5")}
	return func() {
		_, err := book.Append(b.Context(), id, draft)
		require.NoError(b, err)
	}
}

// inserting inserts a row like that of an answer.
// bareTable is a table of events and nothing else.
func bareTable(b *testing.B) (*sql.DB, *dialect) {
	columns, d := eventColumns, sqliteDialect
	driver, address := "sqlite", "file:"+filepath.ToSlash(filepath.Join(b.TempDir(), "bare.db"))+"?_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)"
	if isPostgres(b) {
		driver, address, d = "pgx", newAddress(b), postgresDialect
		open(b, address, Options{}) // makes the schema
		columns = strings.ReplaceAll(eventColumns, ",", " TEXT,") + " TEXT"
		for _, integer := range []string{"seq", "at_us", "elapsed_ms", "run", "cylinder"} {
			columns = strings.Replace(columns, integer+" TEXT", integer+" BIGINT", 1)
		}
	}
	db, err := sql.Open(driver, address)
	require.NoError(b, err)
	b.Cleanup(func() { db.Close() })
	_, err = db.ExecContext(b.Context(), "CREATE TABLE bare ("+columns+", PRIMARY KEY (test_id, seq))")
	require.NoError(b, err)
	return db, d
}

func inserting(b *testing.B) func(int) {
	db, d := bareTable(b)
	insert, err := db.PrepareContext(b.Context(), d.bind("INSERT INTO bare ("+eventColumns+") VALUES ("+placeholders(14)+")"))
	require.NoError(b, err)
	s := stored{reading(2, 1, "22.5"), firstHash}
	s.TestID = NewTestID()
	return func(i int) {
		s.Seq = int64(i)
		_, err := insert.ExecContext(b.Context(), s.values()...)
		require.NoError(b, err)
	}
}

// eachForBench runs a benchmark on each database, or on the one that the
// environment names.
func eachForBench(b *testing.B, f func(b *testing.B, address string)) {
	if address := os.Getenv(benchLogbook); address != "" {
		f(b, address)
		return
	}
	b.Run("sqlite", func(b *testing.B) { f(b, newAddress(b)) })
	b.Run(onPostgres, func(b *testing.B) { f(b, newAddress(b)) })
}

// BenchmarkHistoryOfOneVehicle lists the newest tests of a vehicle, without and
// with their events. Its logbook is small; fill_test.go says how to take another.
func BenchmarkHistoryOfOneVehicle(b *testing.B) { eachForBench(b, benchmarkHistory) }

func benchmarkHistory(b *testing.B, address string) {
	tests, events := benchSize(2_000)
	book := filled(b, address, tests, events)
	random := rand.New(rand.NewPCG(3, 4))
	vehicle := func() string { return fmt.Sprintf("nm%06d", random.IntN(tests/10)) }
	list := func(b *testing.B, f Filter) []Entry {
		entries, err := book.Tests(b.Context(), f)
		require.NoError(b, err)
		return entries
	}
	b.Run("list", func(b *testing.B) {
		for b.Loop() {
			list(b, Filter{Vehicle: vehicle(), Most: 50})
		}
	})
	b.Run("list with events", func(b *testing.B) {
		for b.Loop() {
			var ids []string
			for _, e := range list(b, Filter{Vehicle: vehicle(), Most: 50}) {
				ids = append(ids, e.ID)
			}
			_, err := book.EventsOf(b.Context(), ids)
			require.NoError(b, err)
		}
	})
	for name, f := range map[string]Filter{
		"newest 50": {Most: 50}, "engine": {Engine: "Northmoor Six-95", Most: 50}, "open": {Open: true, Most: 50},
		"text": {Text: "NM 000017", Most: 50},
	} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				list(b, f)
			}
		})
	}
	b.Run("earlier vehicles", func(b *testing.B) {
		for b.Loop() {
			_, err := book.Earlier(b.Context(), leakback.FieldVehicle, 20)
			require.NoError(b, err)
		}
	})
	b.Run("earlier workshops", func(b *testing.B) {
		for b.Loop() {
			_, err := book.Earlier(b.Context(), leakback.FieldWorkshop, 20)
			require.NoError(b, err)
		}
	})
	b.Run("a page in the middle", func(b *testing.B) {
		var last Entry
		for _, e := range list(b, Filter{SinceUS: firstTestUS + int64(tests/2)*testEveryUS, UntilUS: firstTestUS + int64(tests/2+1)*testEveryUS}) {
			last = e
		}
		for b.Loop() {
			list(b, Filter{Before: &last, Most: 50})
		}
	})
	b.Run("by number", func(b *testing.B) {
		for b.Loop() {
			_, err := book.Find(b.Context(), strconv.Itoa(1+random.IntN(tests)))
			require.NoError(b, err)
		}
	})
}

// BenchmarkCopy copies a logbook for the first time, and when nothing changed.
func BenchmarkCopy(b *testing.B) {
	tests, events := benchSize(1_000)
	path := b.TempDir() + "/from.db"
	if from := os.Getenv(benchFrom); from != "" {
		path = from
	}
	from := filled(b, path, tests, events)
	b.Run("sqlite", func(b *testing.B) { benchmarkCopy(b, from) })
	b.Run(onPostgres, func(b *testing.B) { benchmarkCopy(b, from) })
}

func benchmarkCopy(b *testing.B, from *Book) {
	address := newAddress(b)
	b.Run("first", func(b *testing.B) {
		for b.Loop() {
			to := open(b, newAddress(b), Options{})
			b.ReportMetric(float64(copied(b, from, to).Events), "events/op")
		}
	})
	to := open(b, address, Options{})
	copied(b, from, to)
	b.Run("unchanged", func(b *testing.B) {
		for b.Loop() {
			require.Zero(b, copied(b, from, to).Events)
		}
	})
}
