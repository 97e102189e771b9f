package command

import (
	"os"
	"os/exec"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A process that has ended is not taken for one that is recording, though this one
// still holds on to it.
func TestRunning(t *testing.T) {
	assert.True(t, running(os.Getpid()))
	child := exec.Command(os.Args[0], "-test.run=^$")
	in, err := child.StdinPipe()
	require.NoError(t, err)
	require.NoError(t, child.Start())
	held, err := os.FindProcess(child.Process.Pid)
	require.NoError(t, err)
	defer held.Release()
	require.NoError(t, in.Close())
	require.NoError(t, child.Wait())
	assert.False(t, running(child.Process.Pid))
}
