package logbook

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
)

// headsOf is the list of heads of a logbook.
func headsOf(t testing.TB, b *Book) string {
	t.Helper()
	var out bytes.Buffer
	_, err := b.WriteHeads(t.Context(), &out)
	require.NoError(t, err)
	return out.String()
}

func TestHeadsOfALineThatCannotBeRead(t *testing.T) {
	b := two(t)
	forge(t, addressOf(b), "UPDATE tests SET events = 'x' WHERE id = '"+idA+"'")
	_, err := b.WriteHeads(t.Context(), &bytes.Buffer{})
	requireKind(t, Damaged, err)
	require.ErrorContains(t, err, idA+": its line in the list of tests cannot be read")
}

// headOf is the head that stands in a line of a list.
func headOf(t testing.TB, line string) string {
	t.Helper()
	var h headLine
	require.NoError(t, json.Unmarshal([]byte(line), &h))
	return h.Head
}

// againstHeads is what CheckHeads finds.
func againstHeads(t testing.TB, b *Book, list string) []Fault {
	t.Helper()
	c, err := b.CheckHeads(t.Context(), strings.NewReader(list))
	require.NoError(t, err)
	return c.Faults
}

// The digest is that of Python's hashlib over the first two lines.
func TestHeadsAreDocumented(t *testing.T) {
	onEach(t, func(t *testing.T) {
		b := fresh(t)
		events := chainedEvents()
		add(t, b, events[0].TestID, events...)
		assert.Equal(t, `{"format":"leakback heads","version":1}
{"test":"01890000-0000-7000-8000-000000000001","number":1,"events":2,"head":"`+secondHash+`"}
{"end":"leakback heads","tests":1,"events":2,"sha256":"1b77ffacfc4c48017ac8aa1835b92794dc9af65aaf5c47846c35b1a7c530d6ba"}
`, headsOf(t, b))
		for h, err := range b.Heads(t.Context()) {
			require.NoError(t, err)
			assert.Equal(t, Head{events[0].TestID, 1, 2, secondHash}, h)
		}
	})
}

func TestCheckHeadsOfALogbookThatGrew(t *testing.T) {
	onEach(t, func(t *testing.T) {
		b := fresh(t)
		empty := headsOf(t, b)
		fillTwo(t, b)
		list := headsOf(t, b)
		add(t, b, idA, reading(9, 4, "33"))
		add(t, b, "", reading(9, 4, "33"))
		c, err := b.CheckHeads(t.Context(), strings.NewReader(list))
		require.NoError(t, err)
		assert.Equal(t, &Checked{Tests: 2, Events: 7}, c)
		assert.Empty(t, againstHeads(t, b, empty))
		assert.Len(t, againstHeads(t, b, headsOf(t, two(t))), 0, "of another logbook with the same tests")
	})
}

func TestCheckHeadsFindsATestThatIsGone(t *testing.T) {
	onEach(t, func(t *testing.T) {
		b := two(t)
		list := headsOf(t, b)
		forge(t, addressOf(b), "DELETE FROM events WHERE test_id = '"+idA+"'", "DELETE FROM tests WHERE id = '"+idA+"'")
		assert.Empty(t, faults(t, b), "nothing in the logbook tells of it")
		assert.Equal(t, []Fault{{TestID: idA, Seq: 1, What: "missing, and those up to event 4: the list of heads has the test"}}, againstHeads(t, b, list))
	})
}

func TestCheckHeadsGoesPageByPage(t *testing.T) {
	onEach(t, func(t *testing.T) {
		b := fresh(t)
		var parts []part
		for range testsACopy + 7 {
			parts = append(parts, part{NewTestID(), []leakback.Event{set(1, leakback.FieldVehicle, "AB"), reading(2, 1, "3")}})
		}
		_, err := b.appendParts(t.Context(), parts)
		require.NoError(t, err)
		list := headsOf(t, b)
		last := parts[len(parts)-1].testID
		forge(t, addressOf(b), "UPDATE events SET value = '4' WHERE test_id = '"+last+"' AND seq = 2")
		c, err := b.CheckHeads(t.Context(), strings.NewReader(list))
		require.NoError(t, err)
		assert.EqualValues(t, len(parts), c.Tests)
		assert.Equal(t, []Fault{{last, int64(len(parts)), 2, "not what was entered: its hash is another one"}}, c.Faults)
	})
}

func TestCheckHeadsRefusesAListThatIsNotWhole(t *testing.T) {
	b := two(t)
	good := strings.SplitAfter(headsOf(t, b), "\n")[:4]
	edit := func(line int, from, to string) []string {
		lines := append([]string{}, good...)
		require.Contains(t, lines[line], from)
		lines[line] = strings.Replace(lines[line], from, to, 1)
		return lines
	}
	for name, c := range map[string]struct {
		lines []string
		want  string
	}{
		"nothing":             {nil, "line 1: expected the last line of a list of heads: the file was cut off"},
		"an export":           {export(t, b), "line 1: expected a line of a list of heads: json: unknown field"},
		"another format":      {edit(0, "heads", "toes"), `line 1: expected the first line of a list of heads, with the format "leakback heads"`},
		"a newer format":      {edit(0, "1", "2"), "line 1: expected version 1 of the format, not 2"},
		"a line less":         {append(good[:2:2], good[3]), "line 3: expected 1 tests, 4 events and the digest"},
		"no end":              {good[:3], "line 4: expected the last line of a list of heads"},
		"a number":            {edit(1, `"events":4`, `"events":3`), "line 4: expected 2 tests, 5 events and the digest"},
		"a head":              {edit(2, `"head":"`, `"head":"0`), "line 3: expected a head of 64 hex digits"},
		"a head in capitals":  {edit(1, good[1], strings.Replace(good[1], headOf(t, good[1]), strings.ToUpper(headOf(t, good[1])), 1)), "line 2: expected a head of 64 hex digits, in small letters"},
		"a digest in a test":  {edit(1, `"number"`, `"sha256":"x","number"`), "line 2: expected 0 tests, 0 events and the digest"},
		"the digest":          {edit(3, `"sha256":"`, `"sha256":"0`), "line 4: expected 2 tests, 6 events and the digest"},
		"no events":           {edit(1, `"events":4`, `"events":0`), "line 2: expected 1 event or more"},
		"no test":             {edit(1, idA, "x"), "line 2: expected the id of a test"},
		"a test twice":        {[]string{good[0], good[1], good[1], good[3]}, "line 3: expected tests in the order of their ids"},
		"something after it":  {append(good[:4:4], "{}\n"), "line 4: expected nothing after the last line of a list of heads"},
		"a line without end":  {[]string{good[0], strings.Repeat("x", 1<<17)}, "line 2: expected at most 1000 bytes"},
		"a test and an end":   {edit(3, `{"end"`, `{"test":"x","end"`), "line 4: expected 2 tests"},
		"cut off in the line": {[]string{good[0], good[1][:40]}, "line 2: expected the last line"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := b.CheckHeads(t.Context(), strings.NewReader(strings.Join(c.lines, "")))
			require.ErrorContains(t, err, c.want)
			require.ErrorAs(t, err, new(*ImportError))
		})
	}
}
