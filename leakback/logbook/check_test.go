package logbook

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
)

// faults are what Check finds.
func faults(t testing.TB, b *Book) []string {
	t.Helper()
	c, err := b.Check(t.Context(), nil)
	require.NoError(t, err)
	var all []string
	for _, f := range c.Faults {
		all = append(all, f.String())
	}
	return all
}

const (
	idA = "01890000-0000-7000-8000-00000000000a"
	idB = "01890000-0000-7000-8000-00000000000b"
)

// two is a logbook of two tests.
func two(t *testing.T) *Book {
	b := fresh(t)
	fillTwo(t, b)
	return b
}

// fillTwo enters two tests.
func fillTwo(t testing.TB, b *Book) {
	add(t, b, idA, set(1, leakback.FieldVehicle, "AB 12"), reading(2, 1, "20"), reading(3, 2, "21"), reading(4, 3, "22"))
	add(t, b, idB, set(5, leakback.FieldVehicle, "CD 34"), reading(6, 1, "30"))
}

func TestCheckOfASoundLogbook(t *testing.T) { onEach(t, testCheckOfASoundLogbook) }

func testCheckOfASoundLogbook(t *testing.T) {
	b := two(t)
	var told [][2]int64
	c, err := b.Check(t.Context(), func(done, all int64) { told = append(told, [2]int64{done, all}) })
	require.NoError(t, err)
	assert.Equal(t, &Checked{Tests: 2, Events: 6}, c)
	assert.Equal(t, [][2]int64{{0, 6}, {6, 6}}, told)
}

func TestCheckNamesWhatWasChanged(t *testing.T) { onEach(t, testCheckNamesWhatWasChanged) }

func testCheckNamesWhatWasChanged(t *testing.T) {
	const a, b = "test 1, id " + idA, "test 2, id " + idB
	for name, c := range map[string]struct {
		statement  string
		want       []string
		sqliteOnly bool
	}{
		"a value": {"UPDATE events SET value = '12' WHERE test_id = '" + idA + "' AND seq = 2",
			[]string{a + ", event 2: not what was entered: its hash is another one"}, false},
		"a time": {"UPDATE events SET at_us = at_us + 1 WHERE test_id = '" + idB + "' AND seq = 1",
			[]string{b + ", event 1: not what was entered: its hash is another one",
				b + `: the list of tests says started_us "5", its events say "6"`}, false},
		"a hash": {"UPDATE events SET hash = '" + firstHash + "' WHERE test_id = '" + idA + "' AND seq = 2",
			[]string{a + ", event 2: not what was entered: its hash is another one", a + ", event 3: not what was entered: its hash is another one"}, false},
		"two that were swapped": {"UPDATE events SET seq = CASE seq WHEN 2 THEN 103 ELSE 102 END WHERE test_id = '" + idA + "' AND seq IN (2, 3);" +
			"UPDATE events SET seq = seq - 100 WHERE seq > 100",
			[]string{a + ", event 2: not what was entered: its hash is another one", a + ", event 3: not what was entered: its hash is another one",
				a + ", event 4: not what was entered: its hash is another one"}, false},
		"one that was removed": {"DELETE FROM events WHERE test_id = '" + idA + "' AND seq = 2",
			[]string{a + ", event 2: missing", a + `: the list of tests says events "4", its events say "3"`}, false},
		"the end that was removed": {"DELETE FROM events WHERE test_id = '" + idB + "' AND seq = 2",
			[]string{b + ", event 2: missing: the list of tests says 2 events"}, false},
		"a test that was removed": {"DELETE FROM events WHERE test_id = '" + idA + "'",
			[]string{a + ": none of its events is there"}, false},
		"a test that left the list": {"DELETE FROM tests WHERE id = '" + idA + "'", []string{"id " + idA + ": missing in the list of tests"}, false},
		"the list": {"UPDATE tests SET vehicle = 'AB 13', search_key = '' WHERE number = 1",
			[]string{a + `: the list of tests says vehicle "AB 13", its events say "AB 12"`, a + `: the list of tests says search_key "", its events say "ab12"`}, false},
		"a kind": {"UPDATE events SET kind = 'guess' WHERE test_id = '" + idA + "' AND seq = 4",
			[]string{a + ", event 4: not what was entered", a + `, event 4: event 4, kind: "guess"`}, false},
		"a column that holds something else": {"UPDATE events SET run = 'x' WHERE test_id = '" + idB + "' AND seq = 2",
			[]string{b + ": cannot be read: damaged:"}, true},
	} {
		t.Run(name, func(t *testing.T) {
			if c.sqliteOnly && isPostgres(t) {
				t.Skip("its columns have types")
			}
			book := two(t)
			require.NoError(t, book.Close())
			forge(t, addressOf(book), c.statement)
			book = open(t, addressOf(book), Options{})
			found := faults(t, book)
			require.Len(t, found, len(c.want), "%q", found)
			for i, want := range c.want {
				assert.Contains(t, found[i], want)
			}
		})
	}
}

func TestEventsRefuseWhatWasChanged(t *testing.T) { onEach(t, testEventsRefuseWhatWasChanged) }

func testEventsRefuseWhatWasChanged(t *testing.T) {
	for name, c := range map[string]struct{ statement, want string }{
		"a value":             {"UPDATE events SET value = '12' WHERE seq = 2", "event 2 is not what was entered"},
		"one that is missing": {"DELETE FROM events WHERE seq = 2", "event 2 is missing"},
		"a lost end":          {"DELETE FROM events WHERE seq = 4", "3 events are there, and the list of tests says 4"},
		"no list":             {"DELETE FROM tests", "missing in the list of tests"},
	} {
		t.Run(name, func(t *testing.T) {
			book := two(t)
			require.NoError(t, book.Close())
			forge(t, addressOf(book), c.statement)
			book = open(t, addressOf(book), Options{})
			_, err := book.Events(t.Context(), idA)
			var e *Error
			require.ErrorAs(t, err, &e)
			assert.Equal(t, Damaged, e.Kind)
			assert.ErrorContains(t, err, "test "+idA+": ")
			assert.ErrorContains(t, err, c.want)
			assert.NotEmpty(t, e.Hint())
		})
	}
}

func TestEventsOfAnUnknownTest(t *testing.T) { onEach(t, testEventsOfAnUnknownTest) }

func testEventsOfAnUnknownTest(t *testing.T) {
	_, err := two(t).Events(t.Context(), NewTestID())
	require.ErrorAs(t, err, new(*NotFoundError))
}

func TestCheckGoesPageByPage(t *testing.T) { onEach(t, testCheckGoesPageByPage) }

func testCheckGoesPageByPage(t *testing.T) {
	b := fresh(t)
	var parts []part
	for range 2*testsAPage + 7 {
		parts = append(parts, part{NewTestID(), []leakback.Event{set(1, leakback.FieldVehicle, "AB"), reading(2, 1, "3")}})
	}
	_, err := b.appendParts(t.Context(), parts)
	require.NoError(t, err)
	c, err := b.Check(t.Context(), nil)
	require.NoError(t, err)
	assert.Equal(t, &Checked{Tests: int64(len(parts)), Events: 2 * int64(len(parts))}, c)
	require.NoError(t, b.Close())

	forge(t, addressOf(b), "DELETE FROM tests") // more faults than are kept
	c, err = open(t, addressOf(b), Options{}).Check(t.Context(), nil)
	require.NoError(t, err)
	assert.Len(t, c.Faults, mostFaults)
	assert.EqualValues(t, len(parts)-mostFaults, c.More)
}
