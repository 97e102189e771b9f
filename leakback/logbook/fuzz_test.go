package logbook

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"leakback/leakback"
)

// requirePrintable refuses a message that is no single line of plain text.
func requirePrintable(t testing.TB, text string) {
	t.Helper()
	require.True(t, utf8.ValidString(text) && !strings.ContainsFunc(text, func(r rune) bool { return !unicode.IsPrint(r) }), "%q", text)
	require.Less(t, len(text), 1000)
}

// toldEvents are two tests in which each column of the events says something.
func toldEvents(t testing.TB) []stored {
	t.Helper()
	b := inMemory(t)
	add(t, b, idA, set(1_700_000_000_000_000, leakback.FieldVehicle, "NM 12"), reading(1_700_000_000_000_001, 1, "20"),
		leakback.Event{AtUS: 1_700_000_000_000_002, ElapsedMS: 1500, Person: "Ä", Value: "22.5", Typed: "22,5", Reason: "é\n\"<\u2028",
			Key: leakback.Key{Kind: leakback.KindReading, Run: 1, Cylinder: 24, Line: "a", Field: "volume_ml"}},
		set(1_700_000_000_000_003, leakback.FieldImportKey, "one file"))
	add(t, b, idB, set(1_700_000_000_000_004, leakback.FieldVehicle, "NM 34"), reading(1_700_000_000_000_005, 1, "30"),
		leakback.Event{AtUS: 1_700_000_000_000_006, Key: leakback.Key{Kind: leakback.KindEnd}, Value: leakback.EndDone})
	return storedIn(t, b.db)
}

// damagedLines are a text of four lines or more in states that come of sticks, mails
// and people.
func damagedLines(whole string) []string {
	lines := strings.SplitAfter(whole, "\n")
	second := lines[1]
	with := func(line string) string {
		return strings.Join(append(append([]string{lines[0]}, line), lines[2:]...), "")
	}
	return []string{
		"", "\n", "null\n", lines[0], whole + whole, whole + "\n", "\ufeff" + whole,
		whole[:len(whole)/2], whole[:len(whole)-1], strings.Join(lines[1:], ""),
		strings.ReplaceAll(whole, "\n", "\r\n"), strings.ReplaceAll(whole, "\n", ""),
		with(""), with(second + second), with(lines[2] + second), with("{}\n"), with("null\n"), with("[]\n"),
		with(strings.Replace(second, `"`, `"\u0000`, 1)), with(strings.ToUpper(second)),
		with(strings.Replace(second, ":1", ":99999999999999999999", 1)), with(strings.Replace(second, ":1", ":-1", 1)),
		with(strings.Replace(second, ":1", ":1e0", 1)), with(strings.Replace(second, ":1", `:{"a":[[[[]]]]}`, 1)),
		with(strings.Replace(second, ":1", ":1,\"x\":1", 1)), with(strings.Replace(second, "a", "\xff", 1)),
		with(strings.Replace(second, "a", "\\ud800", 1)), with(strings.Replace(second, "a", "\x00", 1)),
		with(strings.Repeat("[", 10_001) + "\n"), with(second[:len(second)-1] + second),
	}
}

// claimed are the events that the lines of an export say, in their order; the zero
// event for a line that says none.
func claimed(text []byte) []stored {
	var all []stored
	for line := range bytes.SplitSeq(text, []byte("\n")) {
		var e exportEvent
		if json.Unmarshal(line, &e) != nil {
			e = exportEvent{}
		}
		all = append(all, e.stored())
	}
	return all
}

// sealed gives the events of an export the places and hashes that they would have
// had, and it the counts and the digest: what is wrong then is what they say.
func sealed(text []byte) []byte {
	var out bytes.Buffer
	lines := newLines(&out)
	header := exportHeader{Format: exportName, Version: exportVersion}
	var events []exportEvent
	var chain head
	for _, s := range claimed(text) {
		if s == (stored{}) {
			continue
		}
		if n := len(events); n == 0 || events[n-1].Test != s.TestID {
			chain = head{}
			header.Tests++
		}
		s.Seq = chain.events + 1
		s.Hash, _ = chained(chain.hash, &s.Event)
		chain = head{s.Seq, s.Hash}
		header.Events++
		events = append(events, exported(&s))
	}
	lines.write(header)
	for _, e := range events {
		lines.write(e)
	}
	lines.write(footer{exportName, header.Tests, header.Events, hex.EncodeToString(lines.sum.Sum(nil))})
	lines.out.Flush()
	return out.Bytes()
}

// Whatever is imported, into a logbook that has nothing of it or some: what was there
// is there still, what was added is events of the file, tests as a whole, and the
// logbook is sound.
func FuzzImport(f *testing.F) {
	told := toldEvents(f)
	book := inMemory(f)
	refill(f, book, told)
	whole := strings.Join(export(f, book), "")
	f.Add([]byte(whole), uint8(3), false)
	for _, text := range append(damagedLines(whole), whole) {
		f.Add([]byte(text), uint8(0), false)
		f.Add([]byte(text), uint8(2), true)
	}
	f.Fuzz(func(t *testing.T, text []byte, had uint8, seal bool) {
		if seal {
			text = sealed(text)
		}
		before := told[:int(had)%(len(told)+1)]
		refill(t, book, before)
		done, err := book.Import(t.Context(), bytes.NewReader(text))
		requireImported(t, before, storedIn(t, book.db), text, done, err)
		require.Empty(t, faults(t, book))
		if err == nil {
			requireExportsAgain(t, book)
		}
	})
}

// requireImported holds what a logbook has after an import against what it had and
// what the file says.
func requireImported(t *testing.T, before, after []stored, text []byte, done Imported, err error) {
	t.Helper()
	says, has, had, news := claimed(text), map[stored]bool{}, map[stored]bool{}, map[string]stored{}
	line := map[stored]int{}
	for i := len(says) - 1; i >= 0; i-- {
		line[says[i]] = i // the first one that says it
	}
	for _, s := range before {
		had[s] = true
	}
	tests := int64(0)
	for _, s := range after {
		has[s] = true
		if had[s] {
			continue
		}
		require.Contains(t, line, s, "nothing is in the logbook that the file does not say")
		news[s.TestID] = s
		if s.Seq == 1 {
			tests++
		}
	}
	for _, s := range before {
		require.True(t, has[s], "what was there stays: %v", s)
	}
	require.Equal(t, int64(len(after)-len(before)), done.Events)
	require.Equal(t, [2]int64{tests, int64(len(news)) - tests}, [2]int64{done.Tests, done.Continued})
	for id, s := range news {
		require.NotEqual(t, id, says[line[s]+1].TestID, "a test is added as a whole")
	}
	if err == nil {
		for _, s := range says[1 : len(says)-2] {
			require.True(t, has[s], "all of it was added: %v", s)
		}
		return
	}
	requirePrintable(t, err.Error())
	if bad := new(ImportError); errors.As(err, &bad) {
		require.True(t, bad.Line >= 1 && bad.Line <= len(says), "line %d of %d", bad.Line, len(says))
		require.Contains(t, err.Error(), fmt.Sprintf("line %d", bad.Line))
	} else {
		require.ErrorAs(t, err, new(*DiffersError))
	}
}

// requireExportsAgain writes a logbook and takes it in again: nothing is new.
func requireExportsAgain(t *testing.T, b *Book) {
	t.Helper()
	kept := storedIn(t, b.db)
	text := strings.Join(export(t, b), "")
	done, err := b.Import(t.Context(), strings.NewReader(text))
	require.NoError(t, err)
	require.Equal(t, Imported{Known: int64(len(kept))}, done)
	refill(t, b, nil)
	_, err = b.Import(t.Context(), strings.NewReader(text))
	require.NoError(t, err)
	require.Equal(t, kept, storedIn(t, b.db))
}

// sealedHeads gives a list of heads the footer that it would have had.
func sealedHeads(text []byte) []byte {
	end := footer{End: headsName}
	var out bytes.Buffer
	for line := range bytes.SplitSeq(bytes.TrimSuffix(text, []byte("\n")), []byte("\n")) {
		var h headLine
		if json.Unmarshal(line, &h) == nil && h.Test != "" {
			end.Tests, end.Events = end.Tests+1, end.Events+h.Events
		}
		if !bytes.Contains(line, []byte(`"end"`)) {
			out.Write(append(line, '\n'))
		}
	}
	sum := sha256.Sum256(out.Bytes())
	end.SHA256 = hex.EncodeToString(sum[:])
	json.NewEncoder(&out).Encode(end)
	return out.Bytes()
}

// Whatever list of heads is held against a logbook: it is refused by its line, or
// each test of it that does not go through its head is named, and no other one.
func FuzzHeads(f *testing.F) {
	book := inMemory(f)
	refill(f, book, toldEvents(f))
	kept := storedIn(f, book.db)
	whole := headsOf(f, book)
	for _, text := range append(damagedLines(whole), whole) {
		f.Add([]byte(text), false)
		f.Add([]byte(text), true)
	}
	f.Fuzz(func(t *testing.T, text []byte, seal bool) {
		if seal {
			text = sealedHeads(text)
		}
		list, err := readHeads(bytes.NewReader(text))
		checked, same := book.CheckHeads(t.Context(), bytes.NewReader(text))
		require.Equal(t, err, same)
		if err != nil {
			require.Nil(t, list)
			bad := new(ImportError)
			require.ErrorAs(t, err, &bad)
			require.True(t, bad.Line >= 1 && bad.Line <= bytes.Count(text, []byte("\n"))+1)
			requirePrintable(t, err.Error())
			return
		}
		named := map[string]bool{}
		for _, fault := range checked.Faults {
			requirePrintable(t, fault.String())
			named[fault.TestID] = true
		}
		for _, h := range list {
			require.Equal(t, !goesThrough(kept, h), named[h.TestID], "%v", h)
			delete(named, h.TestID)
		}
		require.Empty(t, named)
	})
}

// goesThrough says whether an event is the one that a head stands for.
func goesThrough(kept []stored, h Head) bool {
	for _, s := range kept {
		if s.TestID == h.TestID && s.Seq == h.Events {
			return s.Hash == h.Hash
		}
	}
	return false
}
