package screen

import (
	"math"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/x/ansi"

	"leakback/leakback/entry/ask"
	"leakback/limits/quantity"
)

// tickMsg says that a count-down or a growing bar is to be drawn anew.
type tickMsg struct{}

// tick orders the next tick, where there is anything that moves by itself and
// none has been ordered.
func (m *model) tick() tea.Cmd {
	pause := time.Duration(0)
	switch {
	case m.growth.moving(m.now()):
		pause = 40 * time.Millisecond
	case m.running():
		pause = 100 * time.Millisecond
	}
	if pause == 0 || m.ticking || m.ended() {
		return nil
	}
	m.ticking = true
	return tea.Tick(pause, func(time.Time) tea.Msg { return tickMsg{} })
}

// onTick reads the flow's clock, and rings once when the time is up.
func (m *model) onTick() tea.Cmd {
	m.ticking = false
	m.elapsed = m.flow.Elapsed()
	ring := tea.Cmd(nil)
	if m.running() && !m.rung && m.q.TargetS > 0 && m.elapsed.Seconds() >= m.q.TargetS {
		m.rung = true
		if m.bell {
			ring = tea.Raw("\a")
		}
	}
	return tea.Batch(ring, m.tick())
}

// running says whether a count-down runs.
func (m *model) running() bool {
	return m.q.Kind == ask.Rest || m.q.Kind == ask.Timer && m.q.Running
}

// over says whether a count-down has run past its target.
func (m *model) over() bool {
	return m.running() && m.q.TargetS > 0 && m.elapsed.Seconds() >= m.q.TargetS
}

// timerLines draws the count-down on at most that many rows: digits as large as
// they fit, what they say in words, and a bar.
func (m *model) timerLines(width, rows int) []string {
	text, style := m.digits(), m.look.strong
	if m.over() && m.q.Kind == ask.Timer {
		style = m.look.bad
	}
	words := m.look.wrapped(m.timeInWords(), width)
	if m.q.TargetS > 0 {
		words = append(words, m.progress(width))
	}
	lines := []string{style.Render(text)}
	if scale := scaleOf(text, width, rows-len(words)); scale > 0 {
		lines = large(text, scale, m.look.full)
		for i, line := range lines {
			lines[i] = style.Render(line)
		}
	}
	if len(lines)+len(words) < rows {
		lines = append(lines, "")
	}
	lines = append(lines, words...)
	return lines[:min(len(lines), max(1, rows))]
}

// digits is the time that is left, and past the target how far it is past it.
func (m *model) digits() string {
	elapsed := m.elapsed.Seconds()
	switch {
	case m.q.TargetS <= 0:
		return clock(elapsed)
	case m.over():
		return "+" + clock(elapsed-m.q.TargetS)
	}
	return clock(math.Ceil(m.q.TargetS - elapsed))
}

// timeInWords says what the digits are.
func (m *model) timeInWords() string {
	target := quantity.Plain(m.q.TargetS, 1) + " s"
	elapsed := quantity.Fixed(m.elapsed.Seconds(), 1) + " s"
	past := quantity.Fixed(m.elapsed.Seconds()-m.q.TargetS, 1) + " s"
	switch {
	case m.q.Kind == ask.Rest && m.over():
		return "The rest has been over for " + past
	case m.q.Kind == ask.Rest:
		return "Resting: " + elapsed + " of " + target
	case !m.running() && m.q.TargetS > 0:
		return "Not started. To collect: " + target
	case !m.running():
		return "Not started"
	case m.over():
		return "OVERRUN " + past + ": " + elapsed + ", not " + target
	case m.q.TargetS > 0:
		return "Collecting: " + elapsed + " of " + target
	}
	return "Collecting: " + elapsed
}

// progress is a bar of the time that ran. Past the target the whole bar is what
// ran, with the target marked in it.
func (m *model) progress(width int) string {
	elapsed := 0.0
	if m.running() {
		elapsed = m.elapsed.Seconds()
	}
	done := int(float64(width) * math.Min(1, elapsed/m.q.TargetS))
	if !m.over() || m.q.Kind == ask.Rest {
		return m.look.bar.Render(repeated(m.look.full, done)) + m.look.faint.Render(repeated(m.look.empty, width-done))
	}
	at := min(width-1, int(float64(width)*m.q.TargetS/elapsed))
	return m.look.bar.Render(repeated(m.look.full, at)) + m.look.limit.Render(m.look.signs.limit) +
		m.look.bad.Render(repeated(m.look.flagged, width-at-1))
}

// repeated is a character as often as it fits on that many columns.
func repeated(char string, width int) string {
	return strings.Repeat(char, max(0, width)/max(1, ansi.StringWidth(char)))
}
