package logbook

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
)

func TestAppendRefuses(t *testing.T) { onEach(t, testAppendRefuses) }

func testAppendRefuses(t *testing.T) {
	b := fresh(t)
	id := NewTestID()
	good := reading(1, 1, "20")
	with := func(change func(*leakback.Event)) leakback.Event {
		e := good
		change(&e)
		return e
	}
	past := int64(math.MaxInt32) + 1 // on a machine of 32 bits a negative number, as bad
	for name, c := range map[string]struct {
		id    string
		draft leakback.Event
		want  string
	}{
		"a test that is no UUID":  {"test 1", good, `test id: "test 1": expected a UUID`},
		"a UUID in capitals":      {strings.ToUpper(id), good, "expected a UUID in small letters"},
		"a UUID in braces":        {"{" + id + "}", good, "expected a UUID"},
		"another test's event":    {id, with(func(e *leakback.Event) { e.TestID = NewTestID() }), "event 2, test_id"},
		"an unknown kind":         {id, with(func(e *leakback.Event) { e.Kind = "guess" }), `event 2, kind: "guess"`},
		"no time":                 {id, with(func(e *leakback.Event) { e.AtUS = 0 }), "event 2, at_us"},
		"a time out of the world": {id, with(func(e *leakback.Event) { e.AtUS = latestUS + 1 }), "event 2, at_us"},
		"a duration below 0":      {id, with(func(e *leakback.Event) { e.ElapsedMS = -1 }), "event 2, elapsed_ms"},
		"a run below 0":           {id, with(func(e *leakback.Event) { e.Run = -1 }), "event 2, run"},
		"a cylinder out of range": {id, with(func(e *leakback.Event) { e.Cylinder = int(past) }), "event 2, cylinder"},
		"no UTF-8":                {id, with(func(e *leakback.Event) { e.Value = "\xff" }), "event 2, value: \"\\xff\": expected text in UTF-8"},
		"half a surrogate":        {id, with(func(e *leakback.Event) { e.Person = "\xed\xa0\x80" }), "event 2, person"},
		"NUL":                     {id, with(func(e *leakback.Event) { e.Reason = "a\x00" }), "event 2, reason"},
		"a text too long":         {id, with(func(e *leakback.Event) { e.Typed = strings.Repeat("x", maxText+1) }), "event 2, typed"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := b.Append(t.Context(), c.id, []leakback.Event{good, c.draft})
			var invalid *InvalidError
			require.ErrorAs(t, err, &invalid)
			require.ErrorContains(t, err, c.want)
			assert.Less(t, len(err.Error()), 500)
		})
	}
	entries, err := b.Tests(t.Context(), Filter{})
	require.NoError(t, err)
	assert.Empty(t, entries, "none was added by halves")
}

func TestAppendTakesLongTexts(t *testing.T) { onEach(t, testAppendTakesLongTexts) }

func testAppendTakesLongTexts(t *testing.T) {
	b := fresh(t)
	long := strings.Repeat("é", maxText/2)
	id := add(t, b, "", set(1, leakback.FieldLimitsTOML, long))
	events, err := b.Events(t.Context(), id)
	require.NoError(t, err)
	assert.Equal(t, long, events[0].Value)
}

func TestAppendNothing(t *testing.T) { onEach(t, testAppendNothing) }

func testAppendNothing(t *testing.T) {
	b := fresh(t)
	added, err := b.Append(t.Context(), NewTestID(), nil)
	require.NoError(t, err)
	assert.Empty(t, added)
	entries, err := b.Tests(t.Context(), Filter{})
	require.NoError(t, err)
	assert.Empty(t, entries)
}

func TestAppendTakesAFileOnce(t *testing.T) { onEach(t, testAppendTakesAFileOnce) }

func testAppendTakesAFileOnce(t *testing.T) {
	b := fresh(t)
	id := add(t, b, "", set(1, leakback.FieldName, "T1"), set(1, leakback.FieldImportKey, "abc"))
	add(t, b, id, set(2, leakback.FieldImportKey, "abc")) // its own key
	_, err := b.Append(t.Context(), NewTestID(), []leakback.Event{reading(3, 1, "1"), set(3, leakback.FieldImportKey, "abc")})
	var known *KnownError
	require.ErrorAs(t, err, &known)
	assert.Equal(t, id, known.Entry.ID)
	assert.EqualError(t, err, "already in the logbook as test 1")
	add(t, b, "", set(4, leakback.FieldImportKey, "abd"))
	entries, err := b.Tests(t.Context(), Filter{})
	require.NoError(t, err)
	assert.Equal(t, []int64{2, 1}, numbers(entries))
}

func TestProjectionFollowsCorrections(t *testing.T) { onEach(t, testProjectionFollowsCorrections) }

func testProjectionFollowsCorrections(t *testing.T) {
	b := fresh(t)
	id := add(t, b, "", set(5, leakback.FieldVehicle, "AB 12"), set(6, leakback.FieldEngine, "Northmoor Six-90"))
	inRun := set(7, leakback.FieldEngine, "of a run")
	inRun.Run = 1
	add(t, b, id, inRun, set(8, leakback.FieldVehicle, "AB 13"), set(9, leakback.FieldEngine, ""))
	add(t, b, id, leakback.Event{AtUS: 10, Key: leakback.Key{Kind: leakback.KindEnd}, Value: "given up"})
	e, err := b.Find(t.Context(), id)
	require.NoError(t, err)
	assert.Equal(t, []any{"AB 13", "", "given up", int64(5), int64(10), int64(6)},
		[]any{e.Vehicle, e.Engine, e.Ended, e.StartedUS, e.LastUS, e.Events})
	found, err := b.Tests(t.Context(), Filter{Vehicle: "ab 12"})
	require.NoError(t, err)
	assert.Empty(t, found)
}
