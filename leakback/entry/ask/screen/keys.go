package screen

import (
	"strings"

	tea "charm.land/bubbletea/v2"

	"leakback/leakback/entry/ask"
	"leakback/leakback/terminal"
)

// onKey takes one key.
func (m *model) onKey(k tea.KeyPressMsg) tea.Cmd {
	if k.String() == "ctrl+c" {
		m.err = ask.ErrLeft
		return nil
	}
	if m.deaf() {
		return nil
	}
	switch k.String() {
	case "esc", "ctrl+b":
		if m.held() {
			return nil
		}
		return m.answer(ask.WordBack)
	case "enter", "ctrl+m", "ctrl+j":
		return m.onEnter()
	case "space":
		if m.input.Value() == "" && (m.timed() || m.q.Kind == ask.Confirm) {
			return m.onEnter()
		}
	}
	if !m.move(k.String()) {
		m.edit(k)
	}
	return nil
}

// timed says whether the question is a count-down.
func (m *model) timed() bool { return m.q.Kind == ask.Timer || m.q.Kind == ask.Rest }

// onEnter answers with what was typed or, where nothing was, with what stands
// out. Notes that must be acknowledged are shown to their end first.
func (m *model) onEnter() tea.Cmd {
	typed := strings.TrimSpace(m.input.Value())
	switch {
	case typed == "" && m.held():
		return nil
	case strings.EqualFold(typed, ask.WordQuit):
		m.err = ask.ErrLeft
		return nil
	case typed == ask.WordHelp:
		m.explain()
		return nil
	}
	if m.q.Kind == ask.Confirm && !m.read && !moves(typed) {
		m.notes.PageDown()
		m.answeredAt, m.fresh = m.now(), true // a key held down must not turn every page
		return nil
	}
	switch {
	case typed == "" && m.q.Kind == ask.Confirm && len(m.q.Options) > 0:
		return m.answer(m.q.Options[0].Value)
	case typed == "":
		return m.answer(m.options.value())
	}
	return m.answer(m.options.meant(m.input.Value()))
}

// explain says what can be answered, and which words are taken everywhere.
func (m *model) explain() {
	m.said = nil
	if m.q.Hint != "" {
		m.said = []string{m.q.Hint}
	}
	m.said = append(m.said, ask.Commands)
	m.refusal = ""
	m.setInput("")
}

// moves says whether a text moves about in the flow: it answers nothing, so that
// neither notes need be read for it nor options be meant by it.
func moves(text string) bool {
	text = strings.TrimSpace(text)
	return strings.EqualFold(text, ask.WordBack) || strings.EqualFold(text, ask.WordForward)
}

// move takes the keys that move about; it says whether this was one.
func (m *model) move(key string) bool {
	switch key {
	case "pgdown":
		m.notes.PageDown()
	case "pgup":
		m.notes.PageUp()
	case "down", "up":
		m.step(key == "down")
	case "tab":
		m.complete()
	case "right":
		if m.input.Position() < len([]rune(m.input.Value())) {
			return false
		}
		m.complete()
	default:
		return false
	}
	return true
}

// step goes one up or down: among the options, the notes or the earlier answers.
func (m *model) step(down bool) {
	switch {
	case m.q.Kind == ask.Choice:
		m.setInput("")
		m.options.step(down)
	case m.q.Kind == ask.Confirm && down, m.timed() && down:
		m.notes.ScrollDown(1)
	case m.q.Kind == ask.Confirm, m.timed():
		m.notes.ScrollUp(1)
	default:
		m.offer(down)
	}
}

// offer puts the next of the earlier answers in place of what was typed, and
// that back after the last of them.
func (m *model) offer(down bool) {
	list := m.matching()
	if len(list) == 0 {
		return
	}
	if m.offered == 0 {
		m.stem = m.input.Value()
	}
	n, by := len(list)+1, -1
	if down {
		by = 1
	}
	offered, stem := (m.offered+by+n)%n, m.stem
	text := stem
	if offered > 0 {
		text = list[offered-1]
	}
	m.setInput(text)
	m.offered, m.stem = offered, stem
}

// complete takes the first of the earlier answers that begin with what was typed.
func (m *model) complete() {
	if list := m.matching(); len(list) > 0 && m.offered == 0 {
		m.offer(true)
	}
}

// matching are the earlier answers that begin with what was typed.
func (m *model) matching() []string {
	stem := m.input.Value()
	if m.offered > 0 {
		stem = m.stem
	}
	var list []string
	for _, text := range m.q.Earlier {
		clean := terminal.Printable(text)
		if strings.HasPrefix(strings.ToLower(clean), strings.ToLower(stem)) && clean != "" {
			list = append(list, clean)
		}
	}
	return list
}

// setInput puts a text where one types, and the cursor behind it.
func (m *model) setInput(text string) {
	m.input.SetValue(text)
	m.input.CursorEnd()
	m.offered, m.fresh = 0, false
}

// edit hands a key or what was pasted to the line. What is typed picks an
// option where it says which.
func (m *model) edit(msg tea.Msg) {
	before := m.input.Value()
	m.input, _ = m.input.Update(msg)
	if m.input.Value() != before {
		m.offered, m.fresh = 0, false
		m.options.pick(m.input.Value())
	}
}
