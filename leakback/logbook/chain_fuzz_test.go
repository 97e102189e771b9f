package logbook

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leakback/leakback"
)

// cborHead is the head of an item: its major type and the shortest argument
// (RFC 8949, section 3 and 4.2.1).
func cborHead(major byte, n uint64) []byte {
	switch major <<= 5; {
	case n < 24:
		return []byte{major | byte(n)}
	case n < 1<<8:
		return []byte{major | 24, byte(n)}
	case n < 1<<16:
		return binary.BigEndian.AppendUint16([]byte{major | 25}, uint16(n))
	case n < 1<<32:
		return binary.BigEndian.AppendUint32([]byte{major | 26}, uint32(n))
	}
	return binary.BigEndian.AppendUint64([]byte{major | 27}, n)
}

// cborOf encodes integers, texts and byte strings after RFC 8949.
func cborOf(items ...any) []byte {
	out := cborHead(4, uint64(len(items)))
	for _, item := range items {
		switch v := item.(type) {
		case int64:
			if v < 0 {
				out = append(out, cborHead(1, uint64(-1-v))...)
			} else {
				out = append(out, cborHead(0, uint64(v))...)
			}
		case string:
			out = append(append(out, cborHead(3, uint64(len(v)))...), v...)
		case []byte:
			out = append(append(out, cborHead(2, uint64(len(v)))...), v...)
		}
	}
	return out
}

// cborItems decodes what cborOf encodes, and nothing else: what can be read back is
// the encoding of one array only.
func cborItems(t testing.TB, encoded []byte) []any {
	t.Helper()
	argument := func(head byte) uint64 {
		if head &= 31; head < 24 {
			return uint64(head)
		}
		size := 1 << (head - 24)
		var long [8]byte
		copy(long[8-size:], encoded[:size])
		encoded = encoded[size:]
		return binary.BigEndian.Uint64(long[:])
	}
	take := func() (major byte, n uint64) {
		head := encoded[0]
		encoded = encoded[1:]
		return head >> 5, argument(head)
	}
	_, count := take()
	var items []any
	for range count {
		switch major, n := take(); major {
		case 0:
			items = append(items, int64(n))
		case 1:
			items = append(items, -1-int64(n))
		default:
			text := encoded[:n]
			encoded = encoded[n:]
			if major == 2 {
				items = append(items, text)
			} else {
				items = append(items, string(text))
			}
		}
	}
	require.Empty(t, encoded)
	return items
}

// hashedItems are what the package's documentation says is hashed.
func hashedItems(previous []byte, e *leakback.Event) []any {
	return []any{"leakback event 1", previous, e.TestID, e.Seq, e.AtUS, e.ElapsedMS, e.Person, string(e.Kind),
		int64(e.Run), int64(e.Cylinder), e.Line, e.Field, e.Value, e.Typed, e.Reason}
}

// Whatever an event says, its hash is that of the documented array, encoded here
// without the package's encoder; the array can be read back from the bytes, so that
// no two events have the same; and one that says something else has another hash.
func FuzzChain(f *testing.F) {
	for _, e := range chainedEvents() {
		f.Add(firstHash, e.TestID, e.Seq, e.AtUS, e.ElapsedMS, int64(e.Run), int64(e.Cylinder),
			strings.Join([]string{e.Person, string(e.Kind), e.Line, e.Field, e.Value, e.Typed, e.Reason}, "\x1f"), uint8(9), int64(1))
	}
	f.Add("", "", int64(-1), int64(1)<<32, int64(24), int64(255), int64(65536), strings.Repeat("x", 300)+"\x1f\xff\x00", uint8(0), int64(-1))
	f.Fuzz(func(t *testing.T, previous, id string, seq, at, elapsed, run, cylinder int64, joined string, which uint8, by int64) {
		texts := append(strings.SplitN(joined, "\x1f", 7), "", "", "", "", "", "")
		e := leakback.Event{TestID: id, Seq: seq, AtUS: at, ElapsedMS: elapsed, Person: texts[0], Value: texts[4], Typed: texts[5], Reason: texts[6],
			Key: leakback.Key{Kind: leakback.Kind(texts[1]), Run: int(run), Cylinder: int(cylinder), Line: texts[2], Field: texts[3]}}
		hash, err := chained(previous, &e)
		before, bad := hex.DecodeString(previous)
		if bad != nil || len(before) != 0 && len(before) != sha256.Size {
			require.ErrorContains(t, err, "expected 64 hex digits")
			requirePrintable(t, err.Error())
			return
		}
		require.NoError(t, err)
		items := hashedItems(before, &e)
		encoded := cborOf(items...)
		require.Equal(t, items, cborItems(t, encoded))
		sum := sha256.Sum256(encoded)
		require.Equal(t, hex.EncodeToString(sum[:]), hash)
		if changed := otherwise(e, which, by); changed != e {
			other, err := chained(previous, &changed)
			require.NoError(t, err)
			require.NotEqual(t, hash, other)
		}
	})
}

// otherwise is an event of which one field, or what divides two of them, is another.
func otherwise(e leakback.Event, which uint8, by int64) leakback.Event {
	texts := []*string{&e.TestID, &e.Person, (*string)(&e.Kind), &e.Line, &e.Field, &e.Value, &e.Typed, &e.Reason}
	i := int(which/8) % (len(texts) - 1)
	switch a, b := texts[i], texts[i+1]; which % 8 {
	case 0:
		e.Seq += by
	case 1:
		e.AtUS += by
	case 2:
		e.ElapsedMS += by
	case 3:
		e.Run, e.Cylinder = e.Cylinder, e.Run
	case 4:
		*a, *b = *b, *a
	case 5: // the last byte of one text begins the next
		if n := len(*a); n > 0 {
			*a, *b = (*a)[:n-1], (*a)[n-1:]+*b
		}
	case 6:
		*a += string(rune(by))
	case 7:
		if n := len(*a); n > 0 {
			*a = (*a)[:n-1]
		}
	}
	return e
}

// Whatever somebody puts into a column of an event behind the logbook's back, of
// whatever type: it is what was there, or Check names the event's test, and neither
// Events nor Copy takes it for what was entered.
func FuzzStored(f *testing.F) {
	told := toldEvents(f)
	book, other := inMemory(f), inMemory(f)
	for column := range 14 {
		f.Add(uint8(2), uint8(column), uint8(0), "x", int64(0))
		f.Add(uint8(column), uint8(column), uint8(1), told[0].Hash, int64(-1))
	}
	for kind := range uint8(5) {
		f.Add(uint8(1), uint8(1), kind, "1", int64(1))
		f.Add(uint8(6), uint8(10), kind, "done\x00", int64(1)<<40)
	}
	f.Fuzz(func(t *testing.T, which, column, kind uint8, text string, number int64) {
		refill(t, book, told)
		refill(t, other, nil)
		s := told[int(which)%len(told)]
		name := strings.Split(eventColumns, ", ")[column%14]
		value := []any{text, []byte(text), number, float64(number) / 7, nil}[kind%5]
		_, err := book.db.ExecContext(t.Context(), "PRAGMA defer_foreign_keys = ON; UPDATE OR IGNORE events SET "+name+" = ? WHERE hash = ?", value, s.Hash)
		if err != nil { // it was not let in
			require.Equal(t, told, storedIn(t, book.db))
			return
		}
		requireFound(t, book, other, told, s.TestID)
	})
}

// requireFound holds a logbook of which one event may have been changed against what
// was entered.
func requireFound(t *testing.T, b, other *Book, told []stored, testID string) {
	t.Helper()
	var entered []leakback.Event
	for _, s := range told {
		if s.TestID == testID {
			entered = append(entered, s.Event)
		}
	}
	checked, err := b.Check(t.Context(), nil)
	require.NoError(t, err)
	events, err := b.Events(t.Context(), testID)
	copied, failed := Copy(t.Context(), b, other, nil)
	want := slices.DeleteFunc(slices.Clone(told), func(s stored) bool { return s.TestID == testID && err != nil })
	require.NoError(t, failed)
	require.Equal(t, want, storedIn(t, other.db))
	if err == nil {
		require.Equal(t, entered, events)
		require.Empty(t, checked.Faults)
		require.Empty(t, copied.Refused)
		return
	}
	requirePrintable(t, err.Error())
	require.True(t, slices.ContainsFunc(checked.Faults, func(x Fault) bool { return x.TestID == testID }), "%v", checked.Faults)
	for _, fault := range checked.Faults {
		requirePrintable(t, fault.String())
	}
	require.Len(t, copied.Refused, 1)
	requirePrintable(t, copied.Refused[0].String())
}

// Wherever a password stands in an address, it is not shown, nor said by the error
// that refuses the address.
func FuzzShown(f *testing.F) {
	for _, v := range []string{"PGPASSWORD", "PGUSER", "PGSERVICE", "PGHOST"} {
		f.Setenv(v, "")
	}
	for _, c := range [][4]string{
		{"postgres", "bay", "", "db.example/shop"}, {"postgresql", "", "/", "db.example:5433/shop?sslmode=require"},
		{"postgres", "bay", "?", "a.example,b.example:5433/shop"}, {"postgres", "bay", "5432/", "[::1]/shop?host=/run"},
		{"https", "bay", "#", "db.example"}, {"postgres", "bay", "%zz", "db.example/shop?search_path=second&password="},
		{"postgres", "bay", "@", "db.example/shop"}, {"postgres", "bay:", ":", "/shop"}, {"POSTGRES", "", "\n", ""},
	} {
		f.Add(c[0], c[1], c[2], c[3])
	}
	f.Fuzz(func(t *testing.T, scheme, user, begins, rest string) {
		const password = "s3cr3t"
		if strings.Contains(scheme+user+begins+rest, password) || strings.Contains(scheme, "://") {
			return
		}
		for _, address := range []string{
			scheme + "://" + user + ":" + begins + password + "@" + rest,
			scheme + "://" + rest + "?user=" + user + "&password=" + begins + password,
			scheme + "://" + rest + "?sslpassword=" + password + begins,
			"postgres:/" + user + ":" + begins + password + "@" + rest,
		} {
			require.NotContains(t, Shown(address), password, address)
			if _, err := parsePostgres(address); err != nil {
				requireNoSecret(t, err, password)
				requirePrintable(t, fmt.Sprint(err))
			}
		}
	})
}
