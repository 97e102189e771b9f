package logbook

import (
	"bytes"
	"io"
	"net"
	"net/url"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/logbook/postgrestest"
)

// proxy stands between a logbook and its server, and breaks connections.
type proxy struct {
	server string
	// breakAt breaks connections when the client's next message has this in it.
	breakAt atomic.Pointer[breaking]
	broken  atomic.Int64
}

// commitMessage is the text of a commit with the byte that ends it
// (https://www.postgresql.org/docs/current/protocol-message-formats.html, Query).
const commitMessage = "commit\x00"

// breaking is where a proxy breaks a connection.
type breaking struct {
	message string
	// after is after the server has had the message, and before its answer comes
	// back; otherwise the server never gets it.
	after bool
	times atomic.Int64
	// forGood breaks all connections from then on.
	forGood bool
}

// newProxy listens for a logbook and returns its address there.
func newProxy(t *testing.T) (*proxy, string) {
	server := postgrestest.SharedServer(t)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { l.Close() })
	p := &proxy{}
	address := server.With(func(u *url.URL) { p.server, u.Host = u.Host, l.Addr().String() })
	go func() {
		for {
			client, err := l.Accept()
			if err != nil {
				return
			}
			go p.serve(client)
		}
	}()
	return p, newSchema(t, address)
}

func (p *proxy) breakConnections(message string, after bool, times int64) {
	b := &breaking{message: message, after: after}
	b.times.Store(times)
	p.breakAt.Store(b)
}

// goAway breaks a connection like that, and each one after it.
func (p *proxy) goAway(message string, after bool) {
	b := &breaking{message: message, after: after, forGood: true}
	b.times.Store(1)
	p.breakAt.Store(b)
}

func (p *proxy) serve(client net.Conn) {
	defer client.Close()
	server, err := net.Dial("tcp", p.server)
	if err != nil {
		return
	}
	defer server.Close()
	var silent atomic.Bool
	var group sync.WaitGroup
	group.Go(func() { // answers
		defer client.Close()
		buffer := make([]byte, 1<<16)
		for {
			n, err := server.Read(buffer)
			if err != nil {
				return
			}
			if !silent.Load() {
				client.Write(buffer[:n])
			}
		}
	})
	buffer := make([]byte, 1<<16)
	for {
		n, err := client.Read(buffer)
		if err != nil {
			break
		}
		b := p.breakAt.Load()
		if b == nil || !bytes.Contains(buffer[:n], []byte(b.message)) || b.times.Add(-1) < 0 {
			server.Write(buffer[:n])
			continue
		}
		p.broken.Add(1)
		if b.forGood {
			p.breakConnections("", false, 1<<40)
		}
		if silent.Store(true); b.after {
			server.Write(buffer[:n])
			time.Sleep(20 * time.Millisecond)
		}
		break
	}
	server.Close()
	group.Wait()
	io.Copy(io.Discard, client)
}

// An answer that got lost, and a message that never arrived: each append is there
// once, and was reported.
func TestAppendWhoseAnswerIsLost(t *testing.T) {
	p, address := newProxy(t)
	b := open(t, address, Options{})
	fillTwo(t, b)
	for name, c := range map[string]struct {
		message string
		after   bool
		times   int64
	}{
		"after the commit":              {commitMessage, true, 1},
		"after the commit, three times": {commitMessage, true, 3},
		"before the commit":             {commitMessage, false, 1},
		"before the first statement":    {"begin", false, 2},
		"in the insert":                 {"invented in the middle", true, 1},
	} {
		t.Run(name, func(t *testing.T) {
			for _, id := range []string{idA, NewTestID()} {
				before, _ := b.Find(t.Context(), id)
				drafts := []leakback.Event{reading(9, 4, "33"), reading(10, 5, "invented in the middle")}
				broken := p.broken.Load()
				p.breakConnections(c.message, c.after, c.times)
				added, err := b.Append(t.Context(), id, drafts)
				p.breakAt.Store(nil)
				require.NoError(t, err)
				assert.Positive(t, p.broken.Load()-broken)
				events, err := b.Events(t.Context(), id)
				require.NoError(t, err)
				require.Len(t, events, int(before.Events)+2, "once")
				assert.Equal(t, added, events[before.Events:])
			}
			assert.Empty(t, faults(t, b))
		})
	}
}

func TestCopyWhoseAnswerIsLost(t *testing.T) {
	p, address := newProxy(t)
	from, to := open(t, t.TempDir()+"/file.db", Options{}), open(t, address, Options{})
	fillTwo(t, from)
	p.breakConnections(commitMessage, true, 2)
	c, err := Copy(t.Context(), from, to, nil)
	require.NoError(t, err)
	assert.Positive(t, p.broken.Load())
	assert.Equal(t, Copied{All: 2, Tests: 2, Events: 6}, c)
	assert.Equal(t, withoutNumbers(t, from), withoutNumbers(t, to))
}

func TestAppendWhenTheServerGoesAway(t *testing.T) {
	p, address := newProxy(t)
	b := open(t, address, Options{Wait: 300 * time.Millisecond})
	fillTwo(t, b)
	p.goAway(commitMessage, true)
	_, err := b.Append(t.Context(), idA, []leakback.Event{reading(9, 4, "33")})
	requireKind(t, Unreachable, err)
	require.ErrorContains(t, err, "whether the last entry arrived is not known")
	began := time.Now()
	_, err = b.Append(t.Context(), idB, []leakback.Event{reading(9, 4, "33")})
	e := requireKind(t, Unreachable, err)
	assert.NotContains(t, err.Error(), "not known")
	assert.Contains(t, e.Hint(), "leakback logbook copy")
	assert.Less(t, time.Since(began), 3*time.Second)
	requireNoSecret(t, err, postgrestest.Password)
	_, err = b.Events(t.Context(), idB)
	requireKind(t, Unreachable, err)

	// What the bay goes on with in its own logbook is delivered once.
	p.breakAt.Store(nil)
	local := open(t, t.TempDir()+"/local.db", Options{})
	fillTwo(t, local)
	add(t, local, idA, reading(9, 4, "33"))
	c := copied(t, local, b)
	assert.Equal(t, Copied{All: 2, Same: 2}, c, "the entry whose answer was lost had arrived")
	assert.Equal(t, withoutNumbers(t, local), withoutNumbers(t, b))
}

// What the server asks to try again is tried again, as a whole.
func TestAppendIsTriedAgain(t *testing.T) {
	b := open(t, newSchema(t, postgrestest.Shared(t)), Options{})
	raise := func(code string) string {
		return "DO $$ BEGIN RAISE EXCEPTION 'invented' USING ERRCODE = '" + code + "'; END $$"
	}
	for name, statements := range map[string][]string{
		"a conflict":           {raise("40001")},
		"a deadlock":           {raise("40P01")},
		"an end by the server": {"SELECT pg_terminate_backend(pg_backend_pid())"},
		"a laptop that slept":  {"SET LOCAL idle_in_transaction_session_timeout = 50", "sleep"},
	} {
		t.Run(name, func(t *testing.T) {
			id, tries := NewTestID(), 0
			err := b.changing(t.Context(), 1, func(tx *transaction) error {
				if _, err := b.add(t.Context(), tx, part{id, []leakback.Event{reading(1, 1, "2")}}); err != nil {
					return err
				}
				if tries++; tries > 1 {
					return nil
				}
				for _, s := range statements {
					if s == "sleep" {
						time.Sleep(200 * time.Millisecond)
						s = "SELECT 1"
					}
					if err := tx.exec(t.Context(), s); err != nil {
						return err
					}
				}
				return nil
			})
			require.NoError(t, err)
			assert.Equal(t, 2, tries)
			events, err := b.Events(t.Context(), id)
			require.NoError(t, err)
			assert.Len(t, events, 1)
		})
	}
	err := b.changing(t.Context(), 1, func(tx *transaction) error { return tx.exec(t.Context(), raise("23505")) })
	requireKind(t, Damaged, err)
	hasty := open(t, addressOf(b), Options{Wait: 100 * time.Millisecond})
	err = hasty.changing(t.Context(), 1, func(tx *transaction) error { return tx.exec(t.Context(), raise("40001")) })
	requireKind(t, Busy, err)
	err = hasty.changing(t.Context(), 1, func(tx *transaction) error { return tx.exec(t.Context(), raise("53100")) })
	requireKind(t, Full, err)
	err = hasty.changing(t.Context(), 1, func(tx *transaction) error {
		if err := tx.exec(t.Context(), "SET LOCAL transaction_read_only = on"); err != nil {
			return err
		}
		return tx.exec(t.Context(), "UPDATE tests SET number = 1")
	})
	requireKind(t, ReadOnly, err)
	err = hasty.changing(t.Context(), 1, func(tx *transaction) error {
		if err := tx.exec(t.Context(), "SET LOCAL statement_timeout = 50"); err != nil {
			return err
		}
		return tx.exec(t.Context(), "SELECT pg_sleep(1)")
	})
	requireKind(t, Busy, err)
}
