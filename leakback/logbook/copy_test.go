package logbook

import (
	"context"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/logbook/postgrestest"
)

// onPairs runs a test for each pair of databases to copy between.
func onPairs(t *testing.T, f func(t *testing.T, from, to *Book)) {
	file := func(t *testing.T) *Book { return open(t, t.TempDir()+"/file.db", Options{}) }
	server := func(t *testing.T) *Book { return open(t, newSchema(t, postgrestest.Shared(t)), Options{}) }
	t.Run("file to file", func(t *testing.T) { f(t, file(t), file(t)) })
	t.Run("file to server", func(t *testing.T) { f(t, file(t), server(t)) })
	t.Run("server to file", func(t *testing.T) { f(t, server(t), file(t)) })
	t.Run("server to server", func(t *testing.T) { f(t, server(t), server(t)) })
}

// copied copies without an error.
func copied(t testing.TB, from, to *Book) Copied {
	t.Helper()
	c, err := Copy(t.Context(), from, to, nil)
	require.NoError(t, err)
	return c
}

func TestCopyGivesAnEqualLogbook(t *testing.T) {
	onPairs(t, func(t *testing.T, from, to *Book) {
		fillTwo(t, from)
		add(t, to, "", set(1, leakback.FieldVehicle, "another"))
		var told [][2]int64
		c, err := Copy(t.Context(), from, to, func(done, all int64) { told = append(told, [2]int64{done, all}) })
		require.NoError(t, err)
		assert.Equal(t, Copied{All: 2, Tests: 2, Events: 6}, c)
		assert.Equal(t, [2]int64{0, 6}, told[0])
		assert.Equal(t, [2]int64{6, 6}, told[len(told)-1])
		assert.Empty(t, faults(t, to))
		assert.Equal(t, Copied{All: 2, Same: 2}, copied(t, from, to), "the second time adds nothing")

		assert.Equal(t, Copied{All: 3, Tests: 1, Events: 1, Same: 2}, copied(t, to, from), "and back")
		assert.Equal(t, withoutNumbers(t, from), withoutNumbers(t, to))
		assert.Empty(t, faults(t, from))
	})
}

func TestCopyTakesTheLongerSide(t *testing.T) {
	onPairs(t, func(t *testing.T, from, to *Book) {
		fillTwo(t, from)
		copied(t, from, to)
		add(t, from, idA, reading(9, 4, "33"))
		add(t, to, idB, reading(9, 4, "34"))
		assert.Equal(t, Copied{All: 2, Continued: 1, Events: 1, Same: 1}, copied(t, from, to))
		assert.Equal(t, Copied{All: 2, Continued: 1, Events: 1, Same: 1}, copied(t, to, from))
		assert.Equal(t, withoutNumbers(t, from), withoutNumbers(t, to))
		assert.Empty(t, faults(t, to))
	})
}

func TestCopyRefusesAnotherStoryAndGoesOn(t *testing.T) {
	onPairs(t, func(t *testing.T, from, to *Book) {
		fillTwo(t, from)
		add(t, to, idA, set(1, leakback.FieldVehicle, "AB 12"), reading(2, 1, "20"), reading(3, 2, "99"))
		before := contents(t, to)[idA]
		c := copied(t, from, to)
		refused := NotCopied{TestID: idA, Number: 1, Seq: 3, What: "the two logbooks have different ones"}
		assert.Equal(t, Copied{All: 2, Tests: 1, Events: 2, Refused: []NotCopied{refused}}, c)
		assert.Equal(t, "test 1, id "+idA+", event 3: the two logbooks have different ones", refused.String())
		assert.Equal(t, before, contents(t, to)[idA])
		assert.Empty(t, faults(t, to))
	})
}

func TestCopyRefusesWhatIsDamaged(t *testing.T) {
	for name, c := range map[string]struct {
		statement, want string
		seq             int64
	}{
		"a value":  {"UPDATE events SET value = '12' WHERE test_id = '" + idA + "' AND seq = 2", "event 2 is not what was entered", 2},
		"a gap":    {"DELETE FROM events WHERE test_id = '" + idA + "' AND seq = 3", "event 3 is missing", 3},
		"no end":   {"DELETE FROM events WHERE test_id = '" + idA + "' AND seq = 4", "3 events are there, and the list of tests says 4", 4},
		"no event": {"DELETE FROM events WHERE test_id = '" + idA + "'", "0 events are there, and the list of tests says 4", 1},
	} {
		t.Run(name, func(t *testing.T) {
			onEach(t, func(t *testing.T) {
				from, to := two(t), fresh(t)
				forge(t, addressOf(from), c.statement)
				r := copied(t, from, to)
				assert.Equal(t, Copied{All: 2, Tests: 1, Events: 2, Refused: []NotCopied{{TestID: idA, Number: 1, Seq: c.seq,
					What: "damaged in the logbook that is copied from: " + c.want}}}, r)
				assert.Empty(t, faults(t, to))
				assert.Len(t, contents(t, to), 1)
			})
		})
	}
}

// A server holds each column to its type; SQLite takes what it is given.
func TestCopyGoesOnAfterAColumnOfAnotherType(t *testing.T) {
	event, listed := " = 'x' WHERE seq = 2 AND test_id = '"+idA+"'", " = 'x' WHERE id = '"+idA+"'"
	for statement, want := range map[string]string{
		"UPDATE events SET at_us" + event:    "event 2: damaged in the logbook that is copied from: event 2 is not what was entered",
		"UPDATE events SET seq" + event:      "event 2: damaged in the logbook that is copied from: event 2 is missing",
		"UPDATE events SET cylinder" + event: "event 2: damaged in the logbook that is copied from: event 2 is not what was entered",
		"UPDATE tests SET events" + listed:   "event 5: damaged in the logbook that is copied from: its line in the list of tests cannot be read",
		"UPDATE tests SET number" + listed:   "event 5: damaged in the logbook that is copied from: its line in the list of tests cannot be read",
	} {
		from, to := two(t), fresh(t)
		forge(t, addressOf(from), statement)
		c := copied(t, from, to)
		require.Len(t, c.Refused, 1, statement)
		assert.Contains(t, c.Refused[0].String(), idA+", "+want, statement)
		assert.EqualValues(t, 1, c.Tests, statement)
		assert.Len(t, contents(t, to), 1, statement)

		again := two(t)
		add(t, again, idA, reading(9, 4, "33"))
		add(t, again, idB, reading(9, 4, "33"))
		into := copied(t, again, from)
		assert.EqualValues(t, 2, into.Continued+int64(len(into.Refused)), "into it: %s", statement)
		assert.GreaterOrEqual(t, into.Continued, int64(1), "into it: %s", statement)
	}
}

func TestCopyIntoADamagedLogbook(t *testing.T) {
	onEach(t, func(t *testing.T) {
		from, to := two(t), two(t)
		add(t, from, idA, reading(9, 4, "33"))
		add(t, from, idB, reading(9, 4, "33"))
		forge(t, addressOf(to), "DELETE FROM events WHERE test_id = '"+idA+"' AND seq > 2")
		c := copied(t, from, to)
		require.Len(t, c.Refused, 1)
		assert.Contains(t, c.Refused[0].String(), "damaged in the logbook that is copied to: damaged: test "+idA)
		assert.EqualValues(t, 1, c.Continued)
	})
}

func TestCopyOfManyTestsAndALongOne(t *testing.T) {
	onPairs(t, func(t *testing.T, from, to *Book) {
		long := make([]leakback.Event, longTest+5)
		for i := range long {
			long[i] = reading(int64(i+1), 1, "2")
		}
		parts := []part{{NewTestID(), long}}
		for range testsACopy + 7 {
			parts = append(parts, part{NewTestID(), []leakback.Event{reading(1, 1, "3"), reading(2, 2, "4")}})
		}
		_, err := from.appendParts(t.Context(), parts)
		require.NoError(t, err)
		n := int64(len(parts))
		assert.Equal(t, Copied{All: n, Tests: n, Events: 2*(n-1) + longTest + 5}, copied(t, from, to))
		add(t, from, parts[0].testID, reading(1, 1, "5"))
		assert.Equal(t, Copied{All: n, Continued: 1, Events: 1, Same: n - 1}, copied(t, from, to))
		assert.Empty(t, faults(t, to))
	})
}

func TestCopyThatIsInterrupted(t *testing.T) {
	onPairs(t, func(t *testing.T, from, to *Book) {
		var parts []part
		for i := range 1200 {
			parts = append(parts, part{NewTestID(), []leakback.Event{reading(int64(i+1), 1, fmt.Sprint(i)), reading(int64(i+2), 2, "4"), reading(int64(i+2), 3, "5")}})
		}
		_, err := from.appendParts(t.Context(), parts)
		require.NoError(t, err)
		ctx, cancel := context.WithCancel(t.Context())
		first, err := Copy(ctx, from, to, func(done, all int64) {
			if done > all/2 {
				cancel()
			}
		})
		require.ErrorIs(t, err, context.Canceled)
		assert.Empty(t, faults(t, to))
		assert.Equal(t, Copied{All: 1200, Tests: 1200 - first.Tests, Events: 3600 - first.Events, Same: first.Tests}, copied(t, from, to))
		assert.Equal(t, withoutNumbers(t, from), withoutNumbers(t, to))
	})
}
