package logbook

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestEightProcessesAppendToOneLogbook(t *testing.T) { onEach(t, testEightProcesses) }

func testEightProcesses(t *testing.T) {
	const processes, times = 8, 15
	path := newAddress(t) // which of them begins it is open as well
	shared := NewTestID()
	var own [processes]string
	var children [processes]*exec.Cmd
	for i := range children {
		own[i] = NewTestID()
		children[i] = child(t, "append", path, fmt.Sprint(times), fmt.Sprint("person ", i), own[i], shared)
		children[i].Stderr = os.Stderr
		require.NoError(t, children[i].Start())
	}
	stop := readAllTheTime(t, path)
	for _, c := range children {
		require.NoError(t, c.Wait())
	}
	stop()

	requireAll(t, path, shared, own[:], times)
}

// readAllTheTime reads a logbook while others write it; what it returns ends that.
func readAllTheTime(t *testing.T, path string) (stop func()) {
	done := make(chan struct{})
	var group sync.WaitGroup
	group.Go(func() {
		for {
			select {
			case <-done:
				return
			case <-time.After(2 * time.Millisecond):
			}
			b, err := Open(t.Context(), path, Options{ReadOnly: true})
			if e := new(Error); errors.As(err, &e) && e.Kind == Missing {
				continue // nobody has begun it yet
			}
			if !assert.NoError(t, err) {
				return
			}
			entries, err := b.Tests(t.Context(), Filter{})
			assert.NoError(t, err)
			for _, e := range entries {
				_, err := b.Events(t.Context(), e.ID)
				assert.NoError(t, err)
			}
			assert.NoError(t, b.Close())
		}
	})
	return func() { close(done); group.Wait() }
}

// killsWanted says how many processes are killed in a longer run by hand.
const killsWanted = "LEAKBACK_TEST_KILLS"

func TestKilledProcessesLoseNothing(t *testing.T) {
	const atOnce = 2
	kills := 100
	if n, err := strconv.Atoi(os.Getenv(killsWanted)); err == nil {
		kills = n
	}
	path := filepath.Join(t.TempDir(), "logbook.db")
	random := rand.New(rand.NewPCG(20, 26))
	reports := map[string]int{}
	for round := range kills / atOnce {
		var group sync.WaitGroup
		var lock sync.Mutex
		var ids []string
		for range atOnce {
			id := NewTestID()
			ids = append(ids, id)
			delay, started := time.Duration(random.IntN(30_000))*time.Microsecond, random.IntN(4) > 0
			group.Go(func() {
				last := killed(t, path, id, delay, started)
				lock.Lock()
				defer lock.Unlock()
				reports[id] = last
			})
		}
		group.Wait()
		if reports[ids[0]]+reports[ids[1]] == 0 && !exists(path) {
			continue // killed before they began the logbook
		}
		requireReported(t, path, ids, reports)
		if round%25 == 0 {
			assert.Empty(t, faults(t, open(t, path, Options{})))
		}
	}
	b := open(t, path, Options{})
	assert.Empty(t, faults(t, b))
	total := 0
	for id, last := range reports {
		total += last
		if last > 0 {
			_, err := b.Find(t.Context(), id)
			require.NoError(t, err)
		}
	}
	t.Logf("%d appends were reported before %d kills", total, kills)
	assert.Greater(t, total, kills, "most were killed in the middle of their work")
	left, err := filepath.Glob(filepath.Join(filepath.Dir(path), "*"))
	require.NoError(t, err)
	assert.LessOrEqual(t, len(left), 3, "%q", left)
}

// killed starts a process that appends to a test, kills it after a delay from its
// start or from its first report, and returns the last append that it reported.
func killed(t *testing.T, path, id string, delay time.Duration, afterReport bool) int {
	c := child(t, "append", path, "1000000", "person", id)
	var complaints bytes.Buffer
	c.Stderr = &complaints
	out, err := c.StdoutPipe()
	if !assert.NoError(t, err) || !assert.NoError(t, c.Start()) {
		return 0
	}
	first := bufio.NewReader(out)
	if afterReport {
		_, err := first.Peek(1)
		assert.NoError(t, err)
	}
	time.AfterFunc(delay, func() { c.Process.Kill() })
	last := reported(t, bufio.NewScanner(first))
	c.Wait() // it was killed
	assert.Empty(t, complaints.String())
	return last[id]
}

// requireReported reads what is there after a crash without changing a byte of it.
func requireReported(t *testing.T, path string, ids []string, reports map[string]int) {
	t.Helper()
	before := bytesOf(t, path)
	b, err := Open(t.Context(), path, Options{ReadOnly: true})
	require.NoError(t, err)
	for _, id := range ids {
		events, err := b.Events(t.Context(), id)
		if reports[id] == 0 && err != nil {
			require.ErrorAs(t, err, new(*NotFoundError))
			continue
		}
		require.NoError(t, err)
		require.LessOrEqual(t, requireWhole(t, events, "person", reports[id]), reports[id]+1, "one may have been committed and not reported")
	}
	require.NoError(t, b.Close())
	require.True(t, maps.Equal(before, bytesOf(t, path)), "reading left the bytes alone")
}

// bytesOf are the logbook's file and its write-ahead log.
func bytesOf(t *testing.T, path string) map[string]string {
	t.Helper()
	all := map[string]string{}
	for _, name := range []string{path, path + "-wal"} {
		raw, err := os.ReadFile(name)
		if err != nil {
			require.ErrorIs(t, err, os.ErrNotExist)
		}
		all[strings.TrimPrefix(name, path)] = string(raw)
	}
	return all
}
