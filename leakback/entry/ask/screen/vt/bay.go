//go:build !windows

package vt

import (
	"io"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/term"
)

// Bay is a program on a terminal.
type Bay struct {
	t        *testing.T
	keyboard *os.File // the terminal's far end
	tty      *os.File
	screen   *Screen
	cmd      *exec.Cmd
	ended    chan error
	before   *term.State
}

// patience is how long a test waits for the screen: much longer than it takes.
const patience = 20 * time.Second

// Start runs a command on a terminal of that size, and ends it with the test.
func Start(t *testing.T, cmd *exec.Cmd, width, rows int) *Bay {
	t.Helper()
	b := &Bay{t: t, screen: New(width, rows), ended: make(chan error, 1)}
	var err error
	b.keyboard, b.tty, err = pty.Open()
	require.NoError(t, err)
	b.Size(width, rows)
	b.before, err = term.GetState(int(b.tty.Fd()))
	require.NoError(t, err)
	b.cmd = cmd
	b.cmd.Stdin, b.cmd.Stdout, b.cmd.Stderr = b.tty, b.tty, b.tty
	b.cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true}
	require.NoError(t, b.cmd.Start())
	go func() { _, _ = io.Copy(b.screen, b.keyboard) }()
	go func() { b.ended <- b.cmd.Wait() }()
	t.Cleanup(func() {
		_ = b.cmd.Process.Kill()
		_ = b.tty.Close()
		_ = b.keyboard.Close()
	})
	return b
}

// Size makes the terminal's window that large.
func (b *Bay) Size(width, rows int) {
	b.screen.Resize(width, rows)
	require.NoError(b.t, pty.Setsize(b.keyboard, &pty.Winsize{Rows: uint16(rows), Cols: uint16(width)}))
}

// Sees waits until the screen says something.
func (b *Bay) Sees(text string) {
	b.t.Helper()
	require.Eventually(b.t, func() bool { return strings.Contains(b.screen.String(), text) }, patience, 10*time.Millisecond,
		"%q is not on the screen", text)
}

// Keys types, after a pause in which a person has seen the question.
func (b *Bay) Keys(text string) {
	b.t.Helper()
	pause := 300 * time.Millisecond
	if strings.Trim(text, " \r") == "" { // a key held down is told from it by the pause
		pause = 800 * time.Millisecond
	}
	time.Sleep(pause)
	_, err := io.WriteString(b.keyboard, text)
	require.NoError(b.t, err)
}

// Ends waits for the program's end, and checks that the terminal is as before.
func (b *Bay) Ends(code int) {
	b.t.Helper()
	select {
	case <-b.ended:
	case <-time.After(patience):
		require.Fail(b.t, "the program did not end", "%s", b.screen)
	}
	assert.Equal(b.t, code, b.cmd.ProcessState.ExitCode(), "%s", b.screen)
	b.Sees("\n") // what was sent last has been read
	after, err := term.GetState(int(b.tty.Fd()))
	require.NoError(b.t, err)
	assert.Equal(b.t, b.before, after, "the terminal's modes")
	require.Eventually(b.t, b.screen.Restored, patience, 10*time.Millisecond, "the main screen, the cursor, and no bracketed paste")
	assert.Empty(b.t, b.screen.Unknown())
}

// Screen is what the program shows.
func (b *Bay) Screen() *Screen { return b.screen }

// Signal sends the program a signal.
func (b *Bay) Signal(s os.Signal) error { return b.cmd.Process.Signal(s) }

// Raw says that keys are read as they come.
func (b *Bay) Raw() bool {
	now, err := term.GetState(int(b.tty.Fd()))
	return err == nil && !assert.ObjectsAreEqual(b.before, now)
}
