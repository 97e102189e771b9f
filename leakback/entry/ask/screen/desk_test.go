package screen

import (
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/x/ansi"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback/entry/ask"
)

// update renews the golden frames instead of comparing with them: read the diff.
var update = flag.Bool("update", false, "write the golden frames instead of comparing with them: read the diff")

// desk is a form without a terminal: keys go in, frames come out, and its clock
// stands still until it is moved.
type desk struct {
	t     *testing.T
	f     *fakeFlow
	m     *model
	clock time.Time
}

func newDesk(t *testing.T, width, rows int, o Options) *desk {
	d := &desk{t: t, clock: time.Date(2026, 3, 4, 8, 0, 0, 0, time.UTC)}
	d.f = newFakeFlow(d.now)
	d.f.pass = d.wait
	d.sit(d.f, width, rows, o)
	return d
}

// sit begins the form on a flow.
func (d *desk) sit(f ask.Flow, width, rows int, o Options) {
	o.Now = d.now
	d.m = newModel(f, o)
	d.resize(width, rows)
}

func (d *desk) now() time.Time { return d.clock }

func (d *desk) wait(pause time.Duration) { d.clock = d.clock.Add(pause) }

func (d *desk) send(msg tea.Msg) tea.Cmd {
	_, cmd := d.m.Update(msg)
	return cmd
}

func (d *desk) resize(width, rows int) { d.send(tea.WindowSizeMsg{Width: width, Height: rows}) }

// tick moves the clock and lets the form notice.
func (d *desk) tick(pause time.Duration) tea.Cmd {
	d.wait(pause)
	return d.send(tickMsg{})
}

// press sends keys as fast as a person does, one after another.
func (d *desk) press(keys ...string) {
	for _, k := range keys {
		d.wait(time.Second)
		d.send(keyOf(k))
	}
}

// enter types a line and Enter.
func (d *desk) enter(text string) {
	d.wait(time.Second)
	for _, r := range text {
		d.wait(100 * time.Millisecond)
		d.send(keyOf(string(r)))
	}
	d.press("enter")
}

// keyOf is the key press of a name or a character.
func keyOf(name string) tea.KeyPressMsg {
	codes := map[string]rune{"enter": tea.KeyEnter, "esc": tea.KeyEscape, "up": tea.KeyUp, "down": tea.KeyDown, "tab": tea.KeyTab,
		"right": tea.KeyRight, "left": tea.KeyLeft, "backspace": tea.KeyBackspace, "pgdown": tea.KeyPgDown, "pgup": tea.KeyPgUp}
	if code, ok := codes[name]; ok {
		return tea.KeyPressMsg{Code: code}
	}
	if letter, ok := strings.CutPrefix(name, "ctrl+"); ok {
		return tea.KeyPressMsg{Code: []rune(letter)[0], Mod: tea.ModCtrl}
	}
	return tea.KeyPressMsg{Code: []rune(name)[0], Text: name}
}

// to answers the fake flow's questions up to one of them.
func (d *desk) to(at int) {
	lines := []string{"NM-4711", "41 °C", "idle", "", "60s", "", "run", ""}
	for d.f.at < at {
		before := d.f.at
		switch before {
		case atCautions:
			d.press("pgdown", "pgdown", "pgdown", "pgdown", "pgdown", "enter")
		case atReading:
			for _, level := range []string{"21", "21,5", ">100", "23", "22", "22.5"} {
				d.enter(level)
			}
		default:
			d.enter(lines[before])
		}
		require.NotEqual(d.t, before, d.f.at, "the answer was not taken:\n%s", d.view())
	}
	d.tick(time.Second)
}

// raw is the frame with its styles.
func (d *desk) raw() string { return d.m.View().Content }

// view is the frame as it reads.
func (d *desk) view() string {
	lines := strings.Split(ansi.Strip(d.raw()), "\n")
	for i, line := range lines {
		lines[i] = strings.TrimRight(line, " ")
	}
	return strings.Join(lines, "\n") + "\n"
}

// golden compares the frame, as it reads, with the one that was kept.
func (d *desk) golden(name string) {
	d.t.Helper()
	path := filepath.Join("testdata", name+".golden")
	got := d.view()
	if *update {
		require.NoError(d.t, os.MkdirAll("testdata", 0o755))
		require.NoError(d.t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(d.t, err)
	assert.Equal(d.t, strings.ReplaceAll(string(want), "\r\n", "\n"), got, "%s: go test -update, and read the diff", path)
}

// styled are the escape sequences that only set how text looks, apart from
// colours: reset, bold, faint, reverse and their ends.
var styled = regexp.MustCompile(`\x1b\[(0|1|2|7|22|27|;)*m`)

// colours are the escape sequences that set a colour.
var colours = regexp.MustCompile(`\x1b\[([0-9;]*;)?(3[0-7]|4[0-7]|9[0-7]|38;[0-9;]*|48;[0-9;]*)m`)
