//go:build !windows

package screen

import (
	"context"
	"io"
	"os"
	"os/exec"
	"runtime"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback/entry/ask/screen/vt"
)

// patience is how long a test waits: much longer than it takes.
const patience = 20 * time.Second

// startBay runs the form as a program of its own on a terminal of that size, with
// more in its environment.
func startBay(t *testing.T, width, rows int, env ...string) *vt.Bay {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	cmd := exec.Command(self)
	cmd.Env = append(os.Environ(), append([]string{asProgram + "=1", "TERM=linux", "NO_COLOR="}, env...)...)
	return vt.Start(t, cmd, width, rows)
}

func TestOnATerminal(t *testing.T) {
	t.Parallel()
	b := startBay(t, 80, 24, "SCREEN_TEST_TARGET=1.5")
	b.Sees("Registration or fleet number")
	assert.True(t, b.Raw(), "keys are read as they come")
	b.Keys("\x1b[200~NM-47\x1b[201~11\r") // the first part is pasted
	b.Sees("Registration or fleet number: NM-4711")
	b.Sees("Fuel temperature")
	b.Keys("warm\r")
	b.Sees(`✗ "warm": expected a temperature`)
	b.Keys("\x15\x1b[B\x1b[B\r") // all of it away, and the second of the earlier answers
	b.Sees("Fuel temperature: 40 °C")
	b.Keys("2\r")
	b.Sees("Read these cautions")
	b.Keys("\r")
	b.Sees("To collect: 1.5 s")
	b.Keys(" ")
	b.Sees("OVERRUN 0.")
	b.Keys(" ")
	b.Sees("▸ 1 ·")
	b.Keys("21\r")
	b.Sees("  1 █")
	b.Keys(">100\r")
	b.Sees(">100 ≥ 100.0 ! fail")
	b.Sees("┊ median 60.5 mL/min")
	b.Size(44, 20)
	b.Sees("▸ 3 ·")
	b.Keys("\x1b")
	b.Sees("Back.")
	b.Keys("\x03")
	b.Ends(1)
	b.Sees("ended: left before the last question")
	assert.Contains(t, b.Screen().String(), `"NM-4711" "warm"`)
	assert.Equal(t, 1, b.Screen().Bells())
}

// Stopped from outside it gives the terminal back, and takes it again when it goes on;
// where it was stopped without a word it draws all of it anew.
func TestStoppedOnATerminal(t *testing.T) {
	t.Parallel()
	b := startBay(t, 60, 18)
	b.Sees("Registration or fleet number")
	b.Keys("NM-47")
	b.Sees("▸ NM-47")
	require.NoError(t, b.Signal(syscall.SIGTSTP))
	require.Eventually(t, func() bool { return !b.Raw() && b.Screen().Restored() }, patience, 10*time.Millisecond, "it is as before")
	time.Sleep(200 * time.Millisecond)
	require.NoError(t, b.Signal(syscall.SIGCONT))
	require.Eventually(t, b.Raw, patience, 10*time.Millisecond, "keys are read as they come")
	b.Sees("▸ NM-47")
	require.NoError(t, b.Signal(syscall.SIGSTOP))
	time.Sleep(200 * time.Millisecond)
	_, _ = io.WriteString(b.Screen(), "\x1b[2J$ fg\r\n") // as a shell does
	require.NoError(t, b.Signal(syscall.SIGCONT))
	b.Sees("▸ NM-47")
	b.Keys("11\r")
	b.Sees("Registration or fleet number: NM-4711")
	b.Keys("\x03")
	b.Ends(1)
}

func TestDoneOnATerminal(t *testing.T) {
	t.Parallel()
	b := startBay(t, 60, 18)
	for _, step := range [][2]string{{"Registration", "NM-4711\r"}, {"Fuel temperature", "\r"}, {"Cranking", "2\r"},
		{"Read these cautions", "\x1b[6~\x1b[6~\x1b[6~"}, {"I have read them", "\r"}, {"Not started", "60s\r"},
		{"▸ 1 ", "21\r"}, {"▸ 5 ", "22\r"}, {"▸ 3 ", "45\r"}, {"▸ 6 ", "22\r"}, {"▸ 2 ", "23\r"}, {"▸ 4 ", "21,5\r"},
		{"What next", "1\r"}, {"Let the starter rest", "\r"}} {
		b.Sees(step[0])
		b.Keys(step[1])
	}
	b.Ends(0)
	b.Sees("ended: <nil>")
	for _, text := range []string{"Northmoor Six-90 (invented), idle, 60 s", "   3    100.0     > 4.55    fail"} {
		assert.Contains(t, b.Screen().String(), text, "the table stays on the main screen")
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
			b.Sees("Registration or fleet number")
			b.Keys(tt.keys)
			if tt.signal != nil {
				b.Sees("▸ NM-47")
				require.NoError(t, b.Signal(tt.signal))
			}
			b.Ends(1)
			b.Sees(tt.says)
		})
	}
}

// Nothing goes on in the program after the form has been left.
func TestNothingStaysBehind(t *testing.T) {
	keyboard, tty, err := pty.Open()
	require.NoError(t, err)
	defer func() { _, _ = keyboard.Close(), tty.Close() }()
	require.NoError(t, pty.Setsize(keyboard, &pty.Winsize{Rows: 24, Cols: 80}))
	screen := vt.New(80, 24)
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
