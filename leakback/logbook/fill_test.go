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
//	LEAKBACK_BENCH_TESTS=1000000 LEAKBACK_BENCH_LOGBOOK=big.db go test -run - -bench History ./leakback/logbook
//
// builds the logbook where it is not there yet, and keeps it.
const (
	benchTests   = "LEAKBACK_BENCH_TESTS"
	benchLogbook = "LEAKBACK_BENCH_LOGBOOK"
)

// filled is a logbook of invented tests, ten events each, ten tests a vehicle.
func filled(b *testing.B, path string, tests int) *Book {
	b.Helper()
	if _, err := os.Stat(path); err == nil {
		return open(b, path, Options{})
	}
	book := open(b, path, Options{})
	book.db.SetMaxOpenConns(1)
	for _, pragma := range []string{"cache_size = -400000", "wal_autocheckpoint = 20000"} {
		_, err := book.db.ExecContext(b.Context(), "PRAGMA "+pragma)
		require.NoError(b, err)
	}
	random := rand.New(rand.NewPCG(1, 2))
	for at := 0; at < tests; {
		var parts []part
		for ; len(parts) < 1000 && at < tests; at++ {
			parts = append(parts, part{NewTestID(), inventedTest(random, at, tests)})
		}
		_, err := book.appendParts(b.Context(), parts)
		require.NoError(b, err)
	}
	require.NoError(b, book.Close())
	return open(b, path, Options{})
}

// inventedTest is the test number at of so many.
func inventedTest(random *rand.Rand, at, of int) []leakback.Event {
	us := int64(1_700_000_000_000_000) + int64(at)*60_000_000
	car := random.IntN(of/10 + 1)
	drafts := []leakback.Event{
		set(us, leakback.FieldVehicle, fmt.Sprintf("NM %06d", car)),
		set(us, leakback.FieldEngine, fmt.Sprintf("Northmoor Six-%d", 90+car%50)),
		set(us, leakback.FieldEngineSerial, fmt.Sprintf("S%07d", car)),
	}
	for c := 1; c <= 6; c++ {
		drafts = append(drafts, reading(us+int64(c)*5_000_000, c, strconv.Itoa(15+random.IntN(20))))
	}
	return append(drafts, leakback.Event{AtUS: us + 50_000_000, Key: leakback.Key{Kind: leakback.KindEnd}, Value: "done"})
}
