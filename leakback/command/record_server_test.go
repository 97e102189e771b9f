package command

import (
	"context"
	"fmt"
	"io"
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

	"leakback/leakback/logbook"
	"leakback/leakback/logbook/postgrestest"
)

// The server goes away in the middle of a test and comes back after it: nothing
// that was entered is missing, nothing is there twice, and no password is shown.
func TestRecordWhileTheServerIsAway(t *testing.T) {
	server := postgrestest.Start(t, postgrestest.Options{})
	program := program(t)
	whole := uninterrupted(t, program)
	home := t.TempDir()
	t.Setenv("XDG_DATA_HOME", home)
	t.Setenv("HOME", home)
	local := filepath.Join(home, "leakback", "logbook.db")

	s := sit(t, program, append(recordFlags(server.URL()), "--new")...)
	const gone, noticed = 9, "the server is away; what is entered is kept in the local logbook,"
	for at := range theTest {
		require.Equal(t, whole.prompts[at], s.prompt(), "question %d", at)
		if at == gone+1 {
			assert.Contains(t, strings.Join(strings.Fields(s.said.String()), " "), noticed)
		}
		assert.NotContains(t, s.said.String(), postgrestest.Password)
		if at == gone {
			server.Stop(true)
		}
		s.answer(theTest[at])
	}
	assert.Empty(t, s.prompt())
	require.NoError(t, <-s.ended, s.said.String())
	assert.Contains(t, s.said.String(), "leakback: the server is away; deliver this test when it is back: leakback logbook copy "+local+" postgres://")
	assert.NotContains(t, s.said.String(), postgrestest.Password)
	assert.Equal(t, whole.entered, entered(t, local, "1"))

	// A server that is away from the beginning is said at once.
	cmd := exec.Command(program, "history", "--logbook", server.URL())
	out, err := cmd.CombinedOutput()
	require.Error(t, err)
	assert.Equal(t, exitFile, cmd.ProcessState.ExitCode())
	assert.NotContains(t, string(out), postgrestest.Password)

	require.NoError(t, server.Start())
	for range 2 {
		cmd := exec.Command(program, "logbook", "copy", local, server.URL())
		out, err := cmd.CombinedOutput()
		require.NoError(t, err, string(out))
		assert.Equal(t, whole.entered, entered(t, server.URL(), "1"))
	}
	cmd = exec.Command(program, "logbook", "copy", server.URL(), filepath.Join(home, "back.db"))
	out, err = cmd.CombinedOutput()
	require.NoError(t, err, string(out))
	assert.Equal(t, whole.entered, entered(t, filepath.Join(home, "back.db"), "1"))
	_, err = os.Stat(local)
	require.NoError(t, err, "the local logbook stays")
}

// Eight bays record on one server that is stopped and started meanwhile: nothing is
// lost, nothing doubled, and every chain holds.
func TestEightRecordWhileTheServerStops(t *testing.T) {
	server := postgrestest.Start(t, postgrestest.Options{Durable: true})
	program := program(t)
	whole := uninterrupted(t, program)
	home := t.TempDir()
	t.Setenv("XDG_DATA_HOME", home)
	local := filepath.Join(home, "leakback", "logbook.db")
	out, err := exec.Command(program, "logbook", "copy", emptyBook(t), server.URL()).CombinedOutput()
	require.NoError(t, err, string(out)) // the tables are there

	var bays sync.WaitGroup
	said := make([]string, 8)
	for bay := range said {
		bays.Go(func() {
			cmd := exec.Command(program, append(recordFlags(server.URL()), "--new")...)
			lines, w := io.Pipe()
			cmd.Stdin = lines
			random := rand.New(rand.NewPCG(8, uint64(bay)))
			go func() {
				for _, line := range theTest {
					time.Sleep(time.Duration(random.IntN(120)) * time.Millisecond)
					_, _ = io.WriteString(w, strings.Replace(line, "Unit 12", fmt.Sprintf("Unit %d", bay), 1)+"\n")
				}
				w.Close()
			}()
			if out, err := cmd.CombinedOutput(); err != nil {
				said[bay] = err.Error() + "\n" + string(out)
			}
		})
	}
	for stop := range 3 {
		time.Sleep(700 * time.Millisecond)
		server.Stop(stop%2 == 0)
		time.Sleep(200 * time.Millisecond)
		require.NoError(t, server.Start())
	}
	bays.Wait()
	assert.Equal(t, make([]string, len(said)), said)
	_, err = os.Stat(local)
	t.Logf("the server was missed by somebody: %t", err == nil)
	if err == nil { // whoever met the server while it was away
		for range 2 {
			out, err := exec.Command(program, "logbook", "copy", local, server.URL()).CombinedOutput()
			require.NoError(t, err, string(out))
		}
	}
	out, err = exec.Command(program, "logbook", "check", "--logbook", server.URL()).CombinedOutput()
	require.NoError(t, err, string(out))
	assert.Contains(t, string(out), "sound: 8 tests with ")
	for number := range said {
		kept := entered(t, server.URL(), strconv.Itoa(number+1))
		require.Len(t, kept, len(whole.entered))
		for i := range kept {
			if kept[i] != whole.entered[i] {
				assert.Contains(t, kept[i], "Unit ")
			}
		}
	}
}

// emptyBook is a logbook in which nothing is.
func emptyBook(t *testing.T) string {
	path := filepath.Join(t.TempDir(), "empty.db")
	book, err := logbook.Open(context.Background(), path, logbook.Options{})
	require.NoError(t, err)
	require.NoError(t, book.Close())
	return path
}
