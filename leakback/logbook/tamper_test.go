package logbook

import (
	"database/sql"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
)

// forger changes a logbook behind its back, without the triggers, and puts it back.
type forger struct {
	t    *testing.T
	book *Book
	db   *sql.DB
}

func newForger(t *testing.T, b *Book) *forger {
	forge(t, addressOf(b))
	f := &forger{t, b, rawDB(t, addressOf(b))}
	f.db.SetMaxOpenConns(1)
	t.Cleanup(func() { f.db.Close() })
	if !isPostgres(t) {
		f.run("PRAGMA synchronous = OFF")
	}
	return f
}

func (f *forger) run(query string, args ...any) {
	f.t.Helper()
	_, err := f.db.ExecContext(f.t.Context(), f.book.dialect.bind(query), args...)
	require.NoError(f.t, err, query)
}

// all are the events as they are kept.
func (f *forger) all() []stored {
	f.t.Helper()
	return storedIn(f.t, f.db)
}

// write puts other events in the place of all.
func (f *forger) write(all []stored) {
	f.t.Helper()
	f.run("DELETE FROM events")
	for i := range all {
		f.run("INSERT INTO events ("+eventColumns+") VALUES ("+placeholders(14)+")", all[i].values()...)
	}
}

// rechained gives events the hashes that they would have had, and the list of tests
// what it would say: a forger who knows how the logbook works.
func (f *forger) rechained(all []stored) {
	f.t.Helper()
	byTest := map[string]*row{}
	seq := map[string]int64{}
	for i := range all {
		s := &all[i]
		r := byTest[s.TestID]
		if r == nil {
			r = &row{}
			byTest[s.TestID] = r
		}
		seq[s.TestID]++
		s.Seq = seq[s.TestID]
		hash, err := chained(r.Head, &s.Event)
		require.NoError(f.t, err)
		s.Hash = hash
		r.take(&s.Event, hash)
	}
	f.write(all)
	for id, r := range byTest {
		require.NoError(f.t, f.db.QueryRowContext(f.t.Context(), f.book.dialect.bind("SELECT number FROM tests WHERE id = ?"), id).Scan(&r.Number))
		var set []string
		for _, c := range columns {
			set = append(set, c+" = ?")
		}
		f.run("UPDATE tests SET "+strings.Join(set, ", ")+" WHERE id = ?", append(r.values(), id)...)
	}
}

// told is a logbook in which each column of the events says something.
func told(t *testing.T) *Book {
	b := fresh(t)
	for i, id := range []string{idA, idB} {
		var drafts []leakback.Event
		for k := range 4 {
			e := reading(1_700_000_000_000_000+int64(k), k+1, fmt.Sprint(20+k))
			e.ElapsedMS, e.Person, e.Line, e.Typed, e.Reason = int64(1500*k), "Ä", "a", fmt.Sprint(i, ",5"), "é"
			drafts = append(drafts, e)
		}
		add(t, b, id, drafts...)
	}
	return b
}

// variants are values beside the one that is kept, each a byte or a bit away.
func variants(v any, every bool) []any {
	var all []any
	switch v := v.(type) {
	case int64:
		for bit := range 63 {
			if w := v ^ 1<<bit; every || bit < 8 || bit == 40 {
				all = append(all, w)
			}
		}
	case int:
		for bit := range 31 {
			if every || bit < 4 {
				all = append(all, int64(v^1<<bit))
			}
		}
	case string:
		for at := range len(v) {
			for bit := range 8 {
				if raw := []byte(v); every || bit == 0 && raw[at] < 0x80 {
					raw[at] ^= 1 << bit
					all = append(all, string(raw))
				}
			}
		}
		all = append(all, v+"0", v+" ", v[:max(len(v)-1, 0)])
		all = slices.DeleteFunc(all, func(w any) bool { return w == v || !every && strings.ToValidUTF8(w.(string), "") != w })
	}
	return all
}

// Each bit of each byte that is kept of an event (on a server, one bit of each
// byte), a byte more and a byte less: found, and the test and the event named.
func TestEachChangeOfAnEventIsFoundAndNamed(t *testing.T) {
	onEach(t, func(t *testing.T) {
		f := newForger(t, told(t))
		names := strings.Split(eventColumns, ", ")
		changes := 0
		for _, s := range f.all() {
			for i, v := range s.values() {
				for _, w := range variants(v, !isPostgres(t)) {
					if names[i] == "seq" && w.(int64) >= 1 && w.(int64) <= 4 {
						continue // that place is taken: see the swapped pairs
					}
					text := "?"
					if _, ok := w.(string); ok && !isPostgres(t) {
						text = "CAST(? AS TEXT)" // bytes that are no text too
						w = []byte(w.(string))
					}
					f.run("UPDATE events SET "+names[i]+" = "+text+" WHERE test_id = ? AND seq = ?", w, s.TestID, s.Seq)
					f.requireNamed(s.TestID, s.Seq, fmt.Sprintf("%s of %s, %d: %v for %v", names[i], s.TestID, s.Seq, w, v))
					if i < 2 { // its place
						f.run("UPDATE events SET test_id = ?, seq = ? WHERE hash = ?", s.TestID, s.Seq, s.Hash)
					} else {
						f.run("UPDATE events SET "+names[i]+" = ? WHERE test_id = ? AND seq = ?", v, s.TestID, s.Seq)
					}
					changes++
				}
			}
		}
		t.Log(changes, "changes")
		require.Empty(t, faults(t, f.book), "all was put back")
	})
}

// requireNamed has Check find something at an event.
func (f *forger) requireNamed(testID string, seq int64, what string) {
	f.t.Helper()
	c, err := f.book.Check(f.t.Context(), nil)
	require.NoError(f.t, err, what)
	named := slices.ContainsFunc(c.Faults, func(x Fault) bool { return x.TestID == testID && x.Seq == seq })
	require.True(f.t, named, "%s: %v", what, c.Faults)
}

func TestMovedEventsAreFoundAndNamed(t *testing.T) {
	onEach(t, func(t *testing.T) {
		f := newForger(t, told(t))
		whole := f.all() // four of the first test, four of the second
		named := func(what string, all []stored, at stored) {
			f.write(all)
			f.requireNamed(at.TestID, at.Seq, what)
		}
		for i := range whole {
			for j := i + 1; j < len(whole); j++ {
				swapped := slices.Clone(whole)
				a, b := &swapped[i], &swapped[j]
				a.Event, b.Event = b.Event, a.Event // what they say, without their places
				a.TestID, a.Seq, b.TestID, b.Seq = whole[i].TestID, whole[i].Seq, whole[j].TestID, whole[j].Seq
				named("two that were swapped", swapped, whole[i])
				a.Hash, b.Hash = b.Hash, a.Hash
				named("two that were swapped with their hashes", swapped, whole[i])
			}
			named("one that was removed", slices.Delete(slices.Clone(whole), i, i+1), whole[i])
		}
		for from := range 4 {
			for to := from + 1; to <= 4; to++ {
				if to-from < 4 {
					named("some that were removed", slices.Delete(slices.Clone(whole), from, to), whole[from])
				}
				moved := slices.Clone(whole)
				moved[from].TestID, moved[from].Seq = idB, 5
				named("one that was put at the end of another test", moved, whole[from])
			}
		}
		f.write(whole)
		require.Empty(t, faults(t, f.book))
	})
}

// A forger who makes a whole chain anew, and the list of tests, gets past Check; he
// does not get past heads that somebody else keeps.
func TestRewrittenTestsAreFoundByHeads(t *testing.T) {
	onEach(t, func(t *testing.T) {
		f := newForger(t, told(t))
		list := headsOf(t, f.book)
		whole := f.all()
		for i := range whole {
			for name, forged := range map[string]struct {
				all []stored
				at  int64 // that is named
			}{
				"a value":             {changed(whole, i), 4},
				"one that is gone":    {slices.Delete(slices.Clone(whole), i, i+1), 4},
				"a tail that is gone": {slices.Delete(slices.Clone(whole), i, i/4*4+4), int64(i%4) + 1},
			} {
				if len(forged.all) == 4 {
					continue // a whole test: see TestCheckHeadsFindsATestThatIsGone
				}
				f.rechained(forged.all)
				require.Empty(t, faults(t, f.book), "%s: Check has nothing to hold it against", name)
				found := againstHeads(t, f.book, list)
				require.Len(t, found, 1, name)
				assert.Equal(t, whole[i].TestID, found[0].TestID, name)
				assert.Equal(t, forged.at, found[0].Seq, "%s: %v", name, found)
			}
		}
	})
}

func changed(whole []stored, i int) []stored {
	all := slices.Clone(whole)
	all[i].Value = "99"
	return all
}
