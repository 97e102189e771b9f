//go:build !windows

package screen

import (
	"context"
	"io"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/term"
)

// bay is the form as a program of its own on a terminal.
type bay struct {
	t        *testing.T
	keyboard *os.File // the terminal's far end
	tty      *os.File
	screen   *vt
	cmd      *exec.Cmd
	ended    chan error
	before   *term.State
}

// patience is how long a test waits for the screen: much longer than it takes.
const patience = 20 * time.Second

// startBay runs the form on a terminal of that size, with more in its environment.
func startBay(t *testing.T, width, rows int, env ...string) *bay {
	t.Helper()
	b := &bay{t: t, screen: newVT(width, rows), ended: make(chan error, 1)}
	var err error
	b.keyboard, b.tty, err = pty.Open()
	require.NoError(t, err)
	b.size(width, rows)
	b.before, err = term.GetState(int(b.tty.Fd()))
	require.NoError(t, err)
	self, err := os.Executable()
	require.NoError(t, err)
	b.cmd = exec.Command(self)
	b.cmd.Env = append(os.Environ(), append([]string{asProgram + "=1", "TERM=linux", "NO_COLOR="}, env...)...)
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

// size makes the terminal's window that large.
func (b *bay) size(width, rows int) {
	b.screen.resize(width, rows)
	require.NoError(b.t, pty.Setsize(b.keyboard, &pty.Winsize{Rows: uint16(rows), Cols: uint16(width)}))
}

// sees waits until the screen says something.
func (b *bay) sees(text string) {
	b.t.Helper()
	require.Eventually(b.t, func() bool { return strings.Contains(b.screen.String(), text) }, patience, 10*time.Millisecond,
		"%q is not on the screen", text)
}

// keys types, after a pause in which a person has seen the question.
func (b *bay) keys(text string) {
	b.t.Helper()
	pause := 300 * time.Millisecond
	if strings.Trim(text, " \r") == "" { // a key held down is told from it by the pause
		pause = 800 * time.Millisecond
	}
	time.Sleep(pause)
	_, err := io.WriteString(b.keyboard, text)
	require.NoError(b.t, err)
}

// ends waits for the program's end, and checks that the terminal is as before.
func (b *bay) ends(code int) {
	b.t.Helper()
	select {
	case <-b.ended:
	case <-time.After(patience):
		require.Fail(b.t, "the program did not end", "%s", b.screen)
	}
	assert.Equal(b.t, code, b.cmd.ProcessState.ExitCode(), "%s", b.screen)
	b.sees("\n") // what was sent last has been read
	after, err := term.GetState(int(b.tty.Fd()))
	require.NoError(b.t, err)
	assert.Equal(b.t, b.before, after, "the terminal's modes")
	require.Eventually(b.t, func() bool {
		b.screen.mu.Lock()
		defer b.screen.mu.Unlock()
		return !b.screen.modes["1049"] && b.screen.modes["25"] && !b.screen.modes["2004"]
	}, patience, 10*time.Millisecond, "the main screen, the cursor, and no bracketed paste")
	assert.Empty(b.t, b.screen.unknown)
}

func TestOnATerminal(t *testing.T) {
	t.Parallel()
	b := startBay(t, 80, 24, "SCREEN_TEST_TARGET=1.5")
	b.sees("Registration or fleet number")
	raw, err := term.GetState(int(b.tty.Fd()))
	require.NoError(t, err)
	assert.NotEqual(t, b.before, raw, "keys are read as they come")
	b.keys("\x1b[200~NM-47\x1b[201~11\r") // the first part is pasted
	b.sees("Registration or fleet number: NM-4711")
	b.sees("Fuel temperature")
	b.keys("warm\r")
	b.sees(`✗ "warm": expected a temperature`)
	b.keys("\x15\x1b[B\x1b[B\r") // all of it away, and the second of the earlier answers
	b.sees("Fuel temperature: 40 °C")
	b.keys("2\r")
	b.sees("Read these cautions")
	b.keys("\r")
	b.sees("To collect: 1.5 s")
	b.keys(" ")
	b.sees("OVERRUN 0.")
	b.keys(" ")
	b.sees("▸ 1 ·")
	b.keys("21\r")
	b.sees("  1 █")
	b.keys(">100\r")
	b.sees(">100 ≥ 100.0 ! fail")
	b.sees("┊ median 60.5 mL/min")
	b.size(44, 20)
	b.sees("▸ 3 ·")
	b.keys("\x1b")
	b.sees("Back.")
	b.keys("\x03")
	b.ends(1)
	b.sees("ended: left before the last question")
	assert.Contains(t, b.screen.String(), `"NM-4711" "warm"`)
	assert.Equal(t, 1, b.screen.bells)
}

func TestDoneOnATerminal(t *testing.T) {
	t.Parallel()
	b := startBay(t, 60, 18)
	for _, step := range [][2]string{{"Registration", "NM-4711\r"}, {"Fuel temperature", "\r"}, {"Cranking", "2\r"},
		{"Read these cautions", "\x1b[6~\x1b[6~\x1b[6~"}, {"I have read them", "\r"}, {"Not started", "60s\r"},
		{"▸ 1 ", "21\r"}, {"▸ 5 ", "22\r"}, {"▸ 3 ", "45\r"}, {"▸ 6 ", "22\r"}, {"▸ 2 ", "23\r"}, {"▸ 4 ", "21,5\r"},
		{"What next", "1\r"}, {"Let the starter rest", "\r"}} {
		b.sees(step[0])
		b.keys(step[1])
	}
	b.ends(0)
	b.sees("ended: <nil>")
	for _, text := range []string{"Northmoor Six-90 (invented), idle, 60 s", "   3    100.0     > 4.55    fail"} {
		assert.Contains(t, b.screen.String(), text, "the table stays on the main screen")
	}
}

func TestTerminalIsRestored(t *testing.T) {
	tests := []struct {
		name, env, keys, says string
		signal                os.Signal
	}{
		{"the answer cannot be kept", "SCREEN_TEST_FAIL=1", "NM-4711\r", "ended: logbook: no space left on the device", nil},
		{"the flow panics", "SCREEN_TEST_PANIC=NM-4711", "NM-4711\r", "program experienced a panic", nil},
		{"cancelled", "SCREEN_TEST_CANCEL=2s", "NM-47", "ended: context deadline exceeded", nil},
		{"asked to end", "", "NM-47", "ended: left before the last question", syscall.SIGTERM},
		{"interrupted", "", "NM-47", "ended: left before the last question", syscall.SIGINT},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			b := startBay(t, 100, 60, tt.env)
			b.sees("Registration or fleet number")
			b.keys(tt.keys)
			if tt.signal != nil {
				b.sees("▸ NM-47")
				require.NoError(t, b.cmd.Process.Signal(tt.signal))
			}
			b.ends(1)
			b.sees(tt.says)
		})
	}
}

// Nothing goes on in the program after the form has been left.
func TestNothingStaysBehind(t *testing.T) {
	keyboard, tty, err := pty.Open()
	require.NoError(t, err)
	defer func() { _, _ = keyboard.Close(), tty.Close() }()
	require.NoError(t, pty.Setsize(keyboard, &pty.Winsize{Rows: 24, Cols: 80}))
	screen := newVT(80, 24)
	go func() { _, _ = io.Copy(screen, keyboard) }()
	before := 0
	for i := range 4 {
		ctx, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond)
		f := newFakeFlow(time.Now)
		f.at = atRest // it ticks
		assert.ErrorIs(t, Run(ctx, f, Options{In: tty, Out: tty, Unicode: true}), context.DeadlineExceeded)
		cancel()
		if i == 0 { // what the runtime starts for the first signals stays for good
			time.Sleep(300 * time.Millisecond)
			before = runtime.NumGoroutine()
		}
	}
	for wait := time.Duration(0); runtime.NumGoroutine() > before && wait < patience; wait += 20 * time.Millisecond {
		time.Sleep(20 * time.Millisecond)
	}
	assert.LessOrEqual(t, runtime.NumGoroutine(), before, "%s", stacks())
	assert.ErrorIs(t, Run(canceled(), newFakeFlow(time.Now), Options{}), context.Canceled, "nothing is asked at all")
}

// canceled is a context that is over.
func canceled() context.Context {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	return ctx
}

// stacks is what every goroutine does.
func stacks() string {
	b := make([]byte, 1<<16)
	return string(b[:runtime.Stack(b, true)])
}
