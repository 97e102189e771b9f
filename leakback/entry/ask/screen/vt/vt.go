//go:build !windows

// Package vt is a terminal for tests: it shows what a program on a
// pseudo-terminal wrote as a person would read it, and types keys.
package vt

import (
	"fmt"
	"strings"
	"sync"

	"github.com/charmbracelet/x/ansi"
)

// Screen is as much of a terminal (ECMA-48, and the alternate screen of xterm) as
// the form needs: what it was sent can be read as a person would see it.
type Screen struct {
	mu            sync.Mutex
	width, height int
	cells, main   [][]string // the screen that is shown, and the main one while that is the other
	x, y          int
	top, bottom   int // of what scrolls, the bottom row not among it
	bells         int
	unknown       []string        // sequences that would change the screen and are not understood
	modes         map[string]bool // private modes that are set
	parser        *ansi.Parser
}

// New is an empty screen of that many columns and rows.
func New(width, height int) *Screen {
	v := &Screen{modes: map[string]bool{}, parser: ansi.NewParser()}
	v.Resize(width, height)
	v.parser.SetHandler(ansi.Handler{Print: v.print, Execute: v.execute, HandleCsi: v.csi, HandleEsc: v.esc})
	return v
}

func blank(width, height int) [][]string {
	cells := make([][]string, height)
	for i := range cells {
		cells[i] = make([]string, width)
	}
	return cells
}

// Resize makes it larger or smaller.
func (v *Screen) Resize(width, height int) {
	v.mu.Lock()
	defer v.mu.Unlock()
	before := v.cells
	v.width, v.height, v.cells = width, height, blank(width, height)
	for y := range min(height, len(before)) {
		copy(v.cells[y], before[y])
	}
	v.x, v.y, v.top, v.bottom = min(v.x, width-1), min(v.y, height-1), 0, height
}

// Write takes what a program writes.
func (v *Screen) Write(b []byte) (int, error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	for _, c := range b {
		v.parser.Advance(c)
	}
	return len(b), nil
}

// String is the screen as it reads.
func (v *Screen) String() string {
	v.mu.Lock()
	defer v.mu.Unlock()
	var b strings.Builder
	for _, row := range v.cells {
		var line strings.Builder
		for _, c := range row {
			if c == "" {
				c = " "
			}
			line.WriteString(c)
		}
		b.WriteString(strings.TrimRight(line.String(), " ") + "\n")
	}
	return b.String()
}

func (v *Screen) print(r rune) {
	if v.x >= v.width {
		v.x = 0
		v.lineFeed()
	}
	v.cells[v.y][v.x] = string(r)
	v.x++
}

func (v *Screen) lineFeed() {
	switch {
	case v.y == v.bottom-1:
		copy(v.cells[v.top:v.bottom], v.cells[v.top+1:v.bottom])
		v.cells[v.bottom-1] = make([]string, v.width)
	case v.y < v.height-1:
		v.y++
	}
}

// reverseFeed goes up one row, and scrolls at the top.
func (v *Screen) reverseFeed() {
	switch {
	case v.y == v.top:
		copy(v.cells[v.top+1:v.bottom], v.cells[v.top:v.bottom-1])
		v.cells[v.top] = make([]string, v.width)
	case v.y > 0:
		v.y--
	}
}

func (v *Screen) execute(c byte) {
	switch c {
	case '\a':
		v.bells++
	case '\b':
		v.x = max(0, v.x-1)
	case '\t':
		v.x = min(v.width-1, v.x/8*8+8)
	case '\n':
		v.lineFeed()
	case '\r':
		v.x = 0
	default:
		v.unknown = append(v.unknown, fmt.Sprintf("%q", c))
	}
}

func (v *Screen) esc(cmd ansi.Cmd) {
	if cmd.Final() == 'M' {
		v.reverseFeed()
		return
	}
	v.unknown = append(v.unknown, fmt.Sprintf("ESC %c", cmd.Final()))
}

// csi obeys a control sequence.
func (v *Screen) csi(cmd ansi.Cmd, params ansi.Params) {
	n, _, _ := params.Param(0, 1)
	switch {
	case cmd.Final() == 'm' || cmd.Final() == 'p' || cmd.Final() == 'u' || cmd.Final() == 'q':
		return // how text looks, and questions about the terminal
	case cmd.Prefix() == '?' && cmd.Final() == 'W':
		return // tab stops at every eighth column, as they are
	case cmd.Prefix() == '?' && (cmd.Final() == 'h' || cmd.Final() == 'l'):
		v.mode(n, cmd.Final() == 'h')
	case cmd.Prefix() != 0 || !v.moved(cmd.Final(), n, params) && !v.erased(cmd.Final(), params):
		v.unknown = append(v.unknown, fmt.Sprintf("CSI %c %v %c", cmd.Prefix(), params, cmd.Final()))
	}
}

// mode sets or resets a private mode.
func (v *Screen) mode(n int, set bool) {
	v.modes[fmt.Sprint(n)] = set
	switch {
	case n == 1049 && set:
		v.main, v.cells = v.cells, blank(v.width, v.height)
	case n == 1049 && v.main != nil:
		v.cells, v.main = v.main, nil
		v.x, v.y = 0, 0
	}
}

// moved obeys what moves the cursor.
func (v *Screen) moved(final byte, n int, params ansi.Params) bool {
	switch final {
	case 'A':
		v.y -= n
	case 'B':
		v.y += n
	case 'C':
		v.x += n
	case 'D':
		v.x -= n
	case 'G', '`':
		v.x = n - 1
	case 'd':
		v.y = n - 1
	case 'H', 'f':
		column, _, _ := params.Param(1, 1)
		v.y, v.x = n-1, column-1
	case 'r':
		bottom, _, _ := params.Param(1, v.height)
		v.top, v.bottom, v.x, v.y = n-1, min(bottom, v.height), 0, 0
	default:
		return false
	}
	v.x, v.y = min(max(0, v.x), v.width-1), min(max(0, v.y), v.height-1)
	return true
}

// erased obeys what erases and inserts.
func (v *Screen) erased(final byte, params ansi.Params) bool {
	n, _, _ := params.Param(0, 0)
	v.x = min(v.x, v.width-1)
	row := v.cells[v.y]
	switch {
	case final == 'J' && n == 2:
		v.cells = blank(v.width, v.height)
	case final == 'J' && n == 0:
		clear(row[v.x:])
		for y := v.y + 1; y < v.height; y++ {
			clear(v.cells[y])
		}
	case final == 'K' && n == 0:
		clear(row[v.x:])
	case final == 'K' && n == 1:
		clear(row[:v.x+1])
	case final == 'K' && n == 2:
		clear(row)
	case final == 'X':
		clear(row[v.x:min(v.width, v.x+max(1, n))])
	case final == '@':
		n = min(max(1, n), v.width-v.x)
		copy(row[v.x+n:], row[v.x:])
		clear(row[v.x : v.x+n])
	case final == 'P':
		n = min(max(1, n), v.width-v.x)
		copy(row[v.x:], row[v.x+n:])
		clear(row[v.width-n:])
	case final == 'L' || final == 'M':
		v.shift(max(1, n), final == 'M')
	default:
		return false
	}
	return true
}

// shift takes lines out at the cursor, or puts empty ones in.
func (v *Screen) shift(n int, out bool) {
	for range min(n, v.bottom-v.y) {
		if out {
			copy(v.cells[v.y:v.bottom], v.cells[v.y+1:v.bottom])
			v.cells[v.bottom-1] = make([]string, v.width)
		} else {
			copy(v.cells[v.y+1:v.bottom], v.cells[v.y:v.bottom-1])
			v.cells[v.y] = make([]string, v.width)
		}
	}
}

// Bells is how often it rang.
func (v *Screen) Bells() int {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.bells
}

// Unknown are the sequences that would change the screen and were not understood.
func (v *Screen) Unknown() []string {
	v.mu.Lock()
	defer v.mu.Unlock()
	return v.unknown
}

// Restored says that a program left the screen as it found it: the main one, the
// cursor to be seen, no bracketed paste.
func (v *Screen) Restored() bool {
	v.mu.Lock()
	defer v.mu.Unlock()
	shown, touched := v.modes["25"]
	return !v.modes["1049"] && (shown || !touched) && !v.modes["2004"]
}
