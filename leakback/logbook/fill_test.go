package logbook

import (
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"leakback/leakback"
)

// How the history is measured at other sizes:
//
//	LEAKBACK_BENCH_TESTS=200000 LEAKBACK_BENCH_EVENTS=50 LEAKBACK_BENCH_LOGBOOK=big.db go test -run - -bench History ./leakback/logbook
//
// builds the logbook where it is not there yet, and keeps it; its address may be
// that of a server, which is filled by a copy of the logbook that
// LEAKBACK_BENCH_FROM names, if any.
const (
	benchTests   = "LEAKBACK_BENCH_TESTS"
	benchEvents  = "LEAKBACK_BENCH_EVENTS"
	benchLogbook = "LEAKBACK_BENCH_LOGBOOK"
	benchFrom    = "LEAKBACK_BENCH_FROM"
)

// benchSize is how many tests a benchmark has, of how many events each.
func benchSize(otherwise int) (tests, events int) {
	tests, events = otherwise, 10
	if n, err := strconv.Atoi(os.Getenv(benchTests)); err == nil {
		tests = n
	}
	if n, err := strconv.Atoi(os.Getenv(benchEvents)); err == nil {
		events = n
	}
	return tests, events
}

// filled is a logbook of invented tests, ten tests a vehicle.
func filled(b *testing.B, address string, tests, events int) *Book {
	b.Helper()
	if there, err := Open(b.Context(), address, Options{MustExist: true}); err == nil {
		there.Close()
		return open(b, address, Options{})
	}
	book := open(b, address, Options{})
	if from := os.Getenv(benchFrom); from != "" {
		_, err := Copy(b.Context(), open(b, from, Options{ReadOnly: true}), book, nil)
		require.NoError(b, err)
	} else {
		fill(b, book, tests, events)
	}
	require.NoError(b, book.Close())
	return open(b, address, Options{})
}

func fill(b *testing.B, book *Book, tests, events int) {
	book.db.SetMaxOpenConns(1)
	if book.dialect == sqliteDialect {
		for _, pragma := range []string{"cache_size = -400000", "wal_autocheckpoint = 20000"} {
			_, err := book.db.ExecContext(b.Context(), "PRAGMA "+pragma)
			require.NoError(b, err)
		}
	}
	random := rand.New(rand.NewPCG(1, 2))
	for at := 0; at < tests; {
		var parts []part
		for ; len(parts) < 10_000/events && at < tests; at++ {
			parts = append(parts, part{NewTestID(), inventedTest(random, at, tests, events)})
		}
		_, err := book.appendParts(b.Context(), parts)
		require.NoError(b, err)
	}
}

// When invented tests began: one a minute.
const (
	firstTestUS = int64(1_700_000_000_000_000)
	testEveryUS = int64(60_000_000)
)

// inventedTest is the test number at of so many.
func inventedTest(random *rand.Rand, at, of, events int) []leakback.Event {
	us := firstTestUS + int64(at)*testEveryUS
	car := random.IntN(of/10 + 1)
	drafts := []leakback.Event{
		set(us, leakback.FieldVehicle, fmt.Sprintf("NM %06d", car)),
		set(us, leakback.FieldEngine, fmt.Sprintf("Northmoor Six-%d", 90+car%50)),
		set(us, leakback.FieldEngineSerial, fmt.Sprintf("S%07d", car)),
	}
	for c := 1; len(drafts) < events-1; c++ {
		r := reading(us+int64(c)*5_000_000, (c-1)%6+1, strconv.Itoa(15+random.IntN(20)))
		r.Run = (c-1)/6 + 1
		drafts = append(drafts, r)
	}
	return append(drafts, leakback.Event{AtUS: us + 50_000_000, Key: leakback.Key{Kind: leakback.KindEnd}, Value: "done"})
}
