package command

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

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
