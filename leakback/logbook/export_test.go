package logbook

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leakback/leakback"
)

// export is a logbook as lines.
func export(t testing.TB, b *Book) []string {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, b.Export(t.Context(), &out))
	lines := strings.SplitAfter(out.String(), "\n")
	return lines[:len(lines)-1] // what follows the last line feed
}

// withoutNumbers are the contents of a logbook that are the same in all.
func withoutNumbers(t *testing.T, b *Book) map[string]any {
	all := contents(t, b)
	for _, c := range all {
		e := c.([]any)[0].(Entry)
		e.Number = 0
		c.([]any)[0] = e
	}
	return all
}

// The digest is that of Python's hashlib over the three lines.
func TestExportIsDocumented(t *testing.T) { onEach(t, testExportIsDocumented) }

func testExportIsDocumented(t *testing.T) {
	b := fresh(t)
	drafts := chainedEvents()
	add(t, b, drafts[0].TestID, drafts...)
	want := `{"format":"leakback logbook","version":1,"tests":1,"events":2}
{"test":"01890000-0000-7000-8000-000000000001","seq":1,"at_us":1767225600000000,"elapsed_ms":0,"person":"Ägidius","kind":"set","run":0,"cylinder":0,"line":"","field":"vehicle","value":"AB 12","typed":"","reason":"","hash":"` + firstHash + `"}
{"test":"01890000-0000-7000-8000-000000000001","seq":2,"at_us":1767225601500000,"elapsed_ms":1500,"person":"Ägidius","kind":"reading","run":1,"cylinder":24,"line":"","field":"volume_ml","value":"22.5","typed":"22,5","reason":"typed again","hash":"` + secondHash + `"}
{"end":"leakback logbook","tests":1,"events":2,"sha256":"6bc98e1cebf02006426bfef3aa505e9b210575024f6bbb91f89c49d99dff2ca7"}
`
	got := strings.Join(export(t, b), "")
	assert.Equal(t, want, got)
}

func TestImportGivesAnEqualLogbook(t *testing.T) { onEach(t, testImportGivesAnEqualLogbook) }

func testImportGivesAnEqualLogbook(t *testing.T) {
	a, b := two(t), fresh(t)
	lines := strings.Join(export(t, a), "")
	done, err := b.Import(t.Context(), strings.NewReader(lines))
	require.NoError(t, err)
	assert.Equal(t, Imported{Tests: 2, Events: 6}, done)
	assert.Equal(t, withoutNumbers(t, a), withoutNumbers(t, b))
	assert.Equal(t, lines, strings.Join(export(t, b), ""))
	assert.Empty(t, faults(t, b))

	done, err = b.Import(t.Context(), strings.NewReader(lines))
	require.NoError(t, err)
	assert.Equal(t, Imported{Known: 6}, done, "the second time adds nothing")
}

func TestImportIntoOneThatHasSome(t *testing.T) { onEach(t, testImportIntoOneThatHasSome) }

func testImportIntoOneThatHasSome(t *testing.T) {
	a, b := two(t), fresh(t)
	add(t, b, "", set(1, leakback.FieldVehicle, "another"))
	_, err := b.Import(t.Context(), strings.NewReader(strings.Join(export(t, a), "")))
	require.NoError(t, err)
	add(t, a, idB, reading(9, 4, "33")) // goes on there
	done, err := b.Import(t.Context(), strings.NewReader(strings.Join(export(t, a), "")))
	require.NoError(t, err)
	assert.Equal(t, Imported{Continued: 1, Events: 1, Known: 6}, done)
	e, err := b.Find(t.Context(), idB)
	require.NoError(t, err)
	assert.EqualValues(t, 3, e.Events)
	assert.Empty(t, faults(t, b))

	done, err = a.Import(t.Context(), strings.NewReader(strings.Join(export(t, b), "")))
	require.NoError(t, err)
	assert.Equal(t, Imported{Tests: 1, Events: 1, Known: 7}, done, "and back")
	assert.Equal(t, withoutNumbers(t, a), withoutNumbers(t, b))
}

func TestImportMergesOneFileOfTwoBays(t *testing.T) { onEach(t, testImportMergesOneFileOfTwoBays) }

func testImportMergesOneFileOfTwoBays(t *testing.T) {
	a, b := fresh(t), fresh(t)
	for _, book := range []*Book{a, b} {
		add(t, book, "", set(1, leakback.FieldImportKey, "one file"))
	}
	_, err := b.Import(t.Context(), strings.NewReader(strings.Join(export(t, a), "")))
	require.NoError(t, err)
	entries, err := b.Tests(t.Context(), Filter{})
	require.NoError(t, err)
	assert.Len(t, entries, 2)
	assert.Empty(t, faults(t, b))
}

func TestImportRefusesAnotherStory(t *testing.T) { onEach(t, testImportRefusesAnotherStory) }

func testImportRefusesAnotherStory(t *testing.T) {
	a, b := two(t), fresh(t)
	add(t, b, idB, set(5, leakback.FieldVehicle, "CD 34"), reading(6, 1, "31"))
	done, err := b.Import(t.Context(), strings.NewReader(strings.Join(export(t, a), "")))
	var differs *DiffersError
	require.ErrorAs(t, err, &differs)
	assert.Equal(t, DiffersError{idB, 2}, *differs)
	assert.Equal(t, Imported{Tests: 1, Events: 4}, done, "the test before stays")
	events, err := b.Events(t.Context(), idB)
	require.NoError(t, err)
	assert.Equal(t, "31", events[1].Value)
}

func TestImportRefuses(t *testing.T) { onEach(t, testImportRefuses) }

func testImportRefuses(t *testing.T) {
	good := export(t, two(t))
	edit := func(line int, from, to string) []string {
		lines := append([]string{}, good...)
		lines[line] = strings.Replace(lines[line], from, to, 1)
		return lines
	}
	drop := func(line int) []string { return append(append([]string{}, good[:line]...), good[line+1:]...) }
	for name, c := range map[string]struct {
		lines []string
		want  string
		tests int64 // that were added before
	}{
		"nothing":                    {nil, "line 1: expected the last line of an export: the file was cut off", 0},
		"another file":               {[]string{"cylinder,volume_ml\n"}, "line 1: expected a line of an export", 0},
		"another format":             {edit(0, "leakback logbook", "log"), "line 1: expected the first line", 0},
		"a newer format":             {edit(0, `"version":1`, `"version":2`), "line 1: expected version 1 of the format, not 2", 0},
		"no last line":               {good[:7], "line 8: expected the last line of an export", 1},
		"cut off in a test":          {good[:4], "line 5: expected the last line of an export", 0},
		"cut off in a line":          {append(good[:3:3], good[3][:40]), "line 4: expected the last line", 0},
		"a value":                    {edit(3, `"value":"21"`, `"value":"20"`), "line 4, test \"" + idA + "\", event 3: expected the hash", 0},
		"a hash":                     {edit(6, `"hash":"`, `"hash":"0`), "line 7, test \"" + idB + "\", event 2: expected the hash", 1},
		"a line less":                {drop(2), "line 3, test \"" + idA + "\", event 3: expected event 2", 0},
		"the end of a test less":     {drop(4), "line 7: expected 2 tests, 5 events and the digest", 1},
		"a test less":                {drop(6)[:6], "line 7: expected the last line", 1},
		"tests out of order":         {append(append([]string{good[0]}, good[5:7]...), good[1]), "line 4: expected tests in the order of their ids", 0},
		"the header's counts":        {edit(0, `"events":6`, `"events":7`), "line 8: expected 2 tests, 6 events", 1},
		"the digest":                 {edit(7, `"sha256":"`, `"sha256":"0`), "line 8: expected 2 tests, 6 events", 1},
		"an event in the last line":  {edit(7, `{"end"`, `{"seq":7,"end"`), "line 8: expected an event or the last line, and not both in one", 1},
		"a digest in an event":       {edit(2, `"seq"`, `"sha256":"x","seq"`), "line 3: expected an event or the last line, and not both in one", 0},
		"something after it":         {append(good[:8:8], "{}\n"), "line 8: expected nothing after the last line", 1},
		"an unknown name":            {edit(2, `"seq"`, `"sequence"`), `line 3: expected a line of an export: json: unknown field "sequence"`, 0},
		"another type":               {edit(2, `"seq":2`, `"seq":"2"`), "line 3: expected a line of an export", 0},
		"two objects":                {edit(2, "}\n", "}{}\n"), "line 3: expected one object a line", 0},
		"no UTF-8":                   {edit(2, "20", "\xff"), "line 3: expected text in UTF-8", 0},
		"an unknown kind":            {edit(2, `"reading"`, `"guess"`), "expected a sound event: event 1, kind", 0},
		"no test id":                 {edit(1, idA, "x"), "expected a sound event: test id", 0},
		"a number that is too large": {edit(2, `"run":1`, `"run":99999999999999999999`), "line 3: expected a line of an export", 0},
	} {
		t.Run(name, func(t *testing.T) {
			b := fresh(t)
			done, err := b.Import(t.Context(), strings.NewReader(strings.Join(c.lines, "")))
			require.ErrorContains(t, err, c.want)
			require.ErrorAs(t, err, new(*ImportError))
			assert.Equal(t, c.tests, done.Tests)
			assert.Empty(t, faults(t, b), "what was added is sound")
			if c.tests > 0 || name == "cut off in a test" {
				_, err = b.Import(t.Context(), strings.NewReader(strings.Join(good, "")))
				require.NoError(t, err, "it can be repeated")
				assert.Len(t, contents(t, b), 2)
			}
		})
	}
}

// endless is a line without an end.
type endless struct{ read int }

func (e *endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = 'x'
	}
	e.read += len(p)
	return len(p), nil
}

func TestImportBoundsALine(t *testing.T) {
	e := &endless{}
	_, err := fresh(t).Import(t.Context(), e)
	require.ErrorContains(t, err, "line 1: expected at most")
	assert.Less(t, e.read, 2*maxLine)
}

func TestImportOfALongTest(t *testing.T) { onEach(t, testImportOfALongTest) }

func testImportOfALongTest(t *testing.T) {
	a, b := fresh(t), fresh(t)
	drafts := make([]leakback.Event, longTest+5)
	for i := range drafts {
		drafts[i] = reading(int64(i+1), 1, "2")
	}
	id := add(t, a, "", drafts...)
	add(t, a, "", reading(1, 1, "3"))
	lines := strings.Join(export(t, a), "")
	done, err := b.Import(t.Context(), strings.NewReader(lines))
	require.NoError(t, err)
	assert.Equal(t, Imported{Tests: 2, Events: longTest + 6}, done)
	done, err = b.Import(t.Context(), strings.NewReader(lines))
	require.NoError(t, err)
	assert.Equal(t, Imported{Known: longTest + 6}, done)
	e, err := b.Find(t.Context(), id)
	require.NoError(t, err)
	assert.EqualValues(t, len(drafts), e.Events)
}

func TestImportOfManyTestsStopsWhereItIsInterrupted(t *testing.T) {
	a, b := fresh(t), fresh(t)
	var parts []part
	for range 1500 {
		parts = append(parts, part{NewTestID(), []leakback.Event{reading(1, 1, "2"), reading(2, 2, "3")}})
	}
	_, err := a.appendParts(t.Context(), parts)
	require.NoError(t, err)
	lines := strings.Join(export(t, a), "")
	ctx, cancel := context.WithCancel(t.Context())
	r := io.MultiReader(strings.NewReader(lines[:len(lines)*9/10]), readerFunc(func([]byte) (int, error) {
		cancel()
		return 0, errors.New("the stick was pulled out")
	}))
	done, err := b.Import(ctx, r)
	require.Error(t, err)
	assert.Positive(t, done.Tests)
	assert.Less(t, done.Tests, int64(1500))
	again, err := b.Import(t.Context(), strings.NewReader(lines))
	require.NoError(t, err)
	assert.Equal(t, Imported{Tests: 1500 - done.Tests, Events: 3000 - done.Events, Known: done.Events}, again)
	assert.Equal(t, lines, strings.Join(export(t, b), ""))
}

type readerFunc func([]byte) (int, error)

func (f readerFunc) Read(p []byte) (int, error) { return f(p) }

func TestExportTellsOfItsWriter(t *testing.T) {
	broken := errors.New("no room")
	err := two(t).Export(t.Context(), writerFunc(func([]byte) (int, error) { return 0, broken }))
	require.ErrorIs(t, err, broken)
	assert.EqualError(t, err, "no room")
}

type writerFunc func([]byte) (int, error)

func (f writerFunc) Write(p []byte) (int, error) { return f(p) }

func TestAnyTextSurvivesExportAndImport(t *testing.T) { onEach(t, testAnyTextSurvivesExportAndImport) }

func testAnyTextSurvivesExportAndImport(t *testing.T) {
	a, b := fresh(t), fresh(t)
	text := rapid.StringOfN(rapid.Rune().Filter(func(r rune) bool { return r != 0 && r != 0xfffd }), 0, 12, -1)
	want := map[string][]leakback.Event{}
	rapid.Check(t, func(rt *rapid.T) {
		e := reading(rapid.Int64Range(1, latestUS).Draw(rt, "at"), rapid.IntRange(0, 1<<31-1).Draw(rt, "cylinder"), text.Draw(rt, "value"))
		e.Typed, e.Reason, e.Person, e.Line, e.Field = text.Draw(rt, "typed"), text.Draw(rt, "reason"), text.Draw(rt, "person"), text.Draw(rt, "line"), text.Draw(rt, "field")
		id := NewTestID()
		added, err := a.Append(context.Background(), id, []leakback.Event{e})
		if err != nil {
			rt.Fatal(err)
		}
		want[id] = added
	})
	lines := export(t, a)
	for _, l := range lines {
		require.True(t, json.Valid([]byte(l)))
	}
	_, err := b.Import(t.Context(), strings.NewReader(strings.Join(lines, "")))
	require.NoError(t, err)
	for id, events := range want {
		got, err := b.Events(t.Context(), id)
		require.NoError(t, err)
		require.Equal(t, events, got)
	}
}

// A disk that fails is no fault of what stands on it.
func TestImportFromADiskThatFails(t *testing.T) {
	b := two(t)
	lines := strings.Join(export(t, b), "")
	broken := errors.New("the disk failed")
	for _, read := range []int{0, 1, len(lines) / 2, len(lines)} {
		_, err := fresh(t).Import(t.Context(), io.MultiReader(strings.NewReader(lines[:read]), iotest.ErrReader(broken)))
		require.ErrorIs(t, err, broken, "after %d bytes", read)
	}
	_, err := b.CheckHeads(t.Context(), io.MultiReader(strings.NewReader(headsOf(t, b)), iotest.ErrReader(broken)))
	require.ErrorIs(t, err, broken)
}
