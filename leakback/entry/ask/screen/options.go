package screen

import (
	"strconv"
	"strings"

	tea "charm.land/bubbletea/v2"
	"charm.land/huh/v2"
	"charm.land/lipgloss/v2"

	"leakback/leakback/entry/ask"
)

// optionList is the list of answers that one may choose from.
type optionList struct {
	look    look
	options []ask.Option
	field   *huh.Select[int]
	at      int  // the option that stands out
	marked  bool // one of them does
	width   int
}

// newOptions is the list of the question's options; nil where it has none.
func (m *model) newOptions() *optionList {
	if m.q.Kind != ask.Choice || len(m.q.Options) == 0 {
		return nil
	}
	l := &optionList{look: m.look, options: m.q.Options, width: m.wide()}
	l.build()
	l.pick(m.q.Default)
	return l
}

// build makes the field anew, for its width and with what stands out now.
func (l *optionList) build() {
	list := make([]huh.Option[int], len(l.options))
	digits := len(strconv.Itoa(len(l.options)))
	indent := strings.Repeat(" ", digits+2)
	for i, o := range l.options {
		lines := l.look.wrapped(o.Label, max(4, l.width-len("> ")-len(indent)))
		number := right(strconv.Itoa(i+1), digits) + "  "
		list[i] = huh.NewOption(number+strings.Join(lines, "\n"+indent), i)
	}
	keys := huh.NewDefaultKeyMap()
	keys.Select.Filter.SetEnabled(false)
	l.field = huh.NewSelect[int]().Options(list...)
	l.field.WithTheme(l.look.theme(l.marked)).WithKeyMap(keys)
	l.field.Value(&l.at).WithWidth(l.width)
	l.field.Focus()
}

// mark lets an option stand out.
func (l *optionList) mark(i int) {
	l.at = i
	if !l.marked {
		l.marked = true
		l.build()
	}
	l.field.Value(&l.at)
	l.field.Update(nil) // brings it into view
}

// step goes one option up or down, round the ends.
func (l *optionList) step(down bool) {
	switch {
	case l == nil:
	case !l.marked && down:
		l.mark(0)
	case !l.marked:
		l.mark(len(l.options) - 1)
	case down:
		l.field.Update(tea.KeyPressMsg{Code: tea.KeyDown})
	default:
		l.field.Update(tea.KeyPressMsg{Code: tea.KeyUp})
	}
}

// value is the answer of the option that stands out; "" where none does.
func (l *optionList) value() string {
	if l == nil || !l.marked {
		return ""
	}
	return l.options[l.at].Value
}

// find is the option that a text says: its value, its number, or the beginning
// of one value or label alone; -1 where it says none.
func (l *optionList) find(text string) int {
	if l == nil {
		return -1
	}
	text = strings.ToLower(strings.TrimSpace(text))
	found, n := -1, 0
	for i, o := range l.options {
		value, label := strings.ToLower(o.Value), strings.ToLower(o.Label)
		if text == value {
			return i
		}
		if strings.HasPrefix(value, text) || strings.HasPrefix(label, text) {
			found = i
			n++
		}
	}
	if number, err := strconv.Atoi(text); err == nil {
		found, n = -1, 0
		if number >= 1 && number <= len(l.options) {
			return number - 1
		}
	}
	if text == "" || n != 1 {
		return -1
	}
	return found
}

// pick lets the option stand out that a text says, if it says one.
func (l *optionList) pick(text string) {
	if i := l.find(text); i >= 0 {
		l.mark(i)
	}
}

// meant is the answer that a typed text stands for: an option where it says
// one, else what was typed.
func (l *optionList) meant(text string) string {
	if moves(text) {
		return text
	}
	if i := l.find(text); i >= 0 {
		return l.options[i].Value
	}
	return text
}

// view draws the list on at most that many rows.
func (l *optionList) view(width, rows int) []string {
	if width != l.width {
		l.width = width
		l.build()
	}
	l.field.WithHeight(0)
	all := lipgloss.Height(l.field.View())
	clipped := all > rows && rows > 1
	if clipped {
		l.field.WithHeight(rows - 1)
	}
	l.field.Update(nil)
	lines := strings.Split(l.field.View(), "\n")
	if clipped {
		lines = append(lines, l.look.faint.Render(l.look.up+l.look.down+" "+strconv.Itoa(len(l.options))+" to choose from"))
	}
	return lines
}
