package logbook

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/logbook/postgrestest"
)

func init() {
	tasks["copy"] = copyTask
}

// Eight processes append while their server is stopped, at once or in order, and
// started again.
func TestEightProcessesAndAServerThatStops(t *testing.T) {
	const processes, times = 8, 240
	server := postgrestest.Start(t, postgrestest.Options{Durable: true})
	address := newSchema(t, server.URL())
	shared := NewTestID()
	var own [processes]string
	var children [processes]*exec.Cmd
	running := make(chan error, processes)
	for i := range children {
		own[i] = NewTestID()
		children[i] = child(t, "append", address, fmt.Sprint(times), fmt.Sprint("person ", i), own[i], shared)
		children[i].Stderr = os.Stderr
		require.NoError(t, children[i].Start())
		go func() { running <- children[i].Wait() }()
	}
	random := rand.New(rand.NewPCG(8, 8))
	stops := 0
	for left := processes; left > 0; {
		select {
		case err := <-running:
			require.NoError(t, err)
			left--
		case <-time.After(time.Duration(100+random.IntN(300)) * time.Millisecond):
			server.Stop(random.IntN(2) == 0)
			time.Sleep(time.Duration(random.IntN(300)) * time.Millisecond)
			require.NoError(t, server.Start())
			stops++
		}
	}
	t.Log(stops, "stops")
	assert.Greater(t, stops, 2)
	requireAll(t, address, shared, own[:], times)
}

// requireAll holds what eight processes appended against what they reported.
func requireAll(t *testing.T, address, shared string, own []string, times int) {
	b := open(t, address, Options{ReadOnly: true})
	together, err := b.Events(t.Context(), shared)
	require.NoError(t, err)
	assert.Len(t, together, len(own)*times*eventsAnAppend)
	for i, id := range own {
		assert.Equal(t, times, requireWhole(t, together, fmt.Sprint("person ", i), times))
		events, err := b.Events(t.Context(), id)
		require.NoError(t, err)
		assert.Len(t, events, times*eventsAnAppend)
		assert.Equal(t, times, requireWhole(t, events, fmt.Sprint("person ", i), times))
	}
	assert.Empty(t, faults(t, b))
	entries, err := b.Tests(t.Context(), Filter{})
	require.NoError(t, err)
	assert.Len(t, entries, len(own)+1)
}

// copyTask copies one logbook into another; its arguments are the two.
func copyTask(args []string) error {
	from, err := openPatiently(args[0])
	if err != nil {
		return err
	}
	defer from.Close()
	to, err := openPatiently(args[1])
	if err != nil {
		return err
	}
	defer to.Close()
	_, err = Copy(context.Background(), from, to, func(done, all int64) { fmt.Println(done, "of", all) })
	return err
}

func TestKilledCopies(t *testing.T) {
	server := newSchema(t, postgrestest.Shared(t))
	fileA, fileB := t.TempDir()+"/a.db", t.TempDir()+"/b.db"
	a := open(t, fileA, Options{})
	var parts []part
	for i := range 3_000 {
		parts = append(parts, part{NewTestID(), []leakback.Event{reading(int64(i+1), 1, fmt.Sprint(i)), reading(int64(i+2), 2, "4"), reading(int64(i+2), 3, "5")}})
	}
	_, err := a.appendParts(t.Context(), parts)
	require.NoError(t, err)
	random := rand.New(rand.NewPCG(9, 9))
	for _, pair := range [][2]string{{fileA, server}, {server, fileB}} {
		kills := 0
		for !killedCopy(t, pair, time.Duration(random.IntN(10_000+20_000*kills))*time.Microsecond) {
			kills++
		}
		t.Log(kills, "kills")
		assert.Positive(t, kills)
	}
	want := withoutNumbers(t, a)
	for _, address := range []string{server, fileB} {
		b := open(t, address, Options{})
		assert.Empty(t, faults(t, b))
		assert.Equal(t, want, withoutNumbers(t, b))
	}
}

// killedCopy runs a copy in a process and kills it a while after it began to copy;
// true where it was done before.
func killedCopy(t *testing.T, pair [2]string, delay time.Duration) bool {
	t.Helper()
	c := child(t, "copy", pair[0], pair[1])
	c.Stderr = os.Stderr
	out, err := c.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	_, err = out.Read(make([]byte, 1))
	require.NoError(t, err)
	timer := time.AfterFunc(delay, func() { c.Process.Kill() })
	_, err = io.Copy(io.Discard, out)
	require.NoError(t, err)
	err = c.Wait()
	if timer.Stop() {
		require.NoError(t, err)
	}
	return err == nil
}

// A page that the disk lost is a finding; what can be read still is gone through.
func TestCheckOfADamagedServer(t *testing.T) {
	server := postgrestest.Start(t, postgrestest.Options{})
	address := newSchema(t, server.URL())
	b := open(t, address, Options{})
	var parts []part
	for i := range 700 {
		parts = append(parts, part{NewTestID(), []leakback.Event{reading(int64(i+1), 1, "20"), reading(int64(i+2), 2, "21")}})
	}
	_, err := b.appendParts(t.Context(), parts)
	require.NoError(t, err)
	var path string
	require.NoError(t, b.db.QueryRowContext(t.Context(), "SELECT pg_relation_filepath('events')").Scan(&path))
	require.NoError(t, b.Close())
	server.Stop(false)
	raw, err := os.ReadFile(filepath.Join(server.Folder(), path))
	require.NoError(t, err)
	for i := 3 * 8192; i < 4*8192; i++ { // the fourth page
		raw[i] ^= 0xa5
	}
	require.NoError(t, os.WriteFile(filepath.Join(server.Folder(), path), raw, 0o600))
	require.NoError(t, server.Start())

	b = open(t, address, Options{ReadOnly: true})
	c, err := b.Check(t.Context(), nil)
	require.NoError(t, err)
	require.NotEmpty(t, c.Faults)
	assert.Contains(t, c.Faults[0].String(), "damaged: invalid page in block 3")
	assert.Contains(t, fmt.Sprint(c.Faults), "cannot be read")
	assert.NotContains(t, fmt.Sprint(c.Faults), "transaction is aborted")
	assert.Greater(t, c.Events, int64(1000), "the others were gone through")
	var e *Error
	for _, p := range parts {
		if _, err := b.Events(t.Context(), p.testID); errors.As(err, &e) {
			break
		}
	}
	require.NotNil(t, e)
	assert.Equal(t, Damaged, e.Kind)
	assert.Contains(t, e.Hint(), "backup")
}
