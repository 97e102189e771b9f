package screen

import (
	"strings"

	"charm.land/huh/v2"
	"github.com/charmbracelet/x/ansi"

	"leakback/leakback/entry/ask"
)

// parts is what the answer is given to: the question on its plate, and the field.
type parts struct{ plate, field []string }

// rows is how many rows the parts take.
func (p parts) rows() int { return len(p.plate) + len(p.field) }

// parts draws the question and its field.
func (m *model) parts(w, rows, tight int) parts {
	p := parts{plate: m.plateLines(w, tight)}
	refusal := m.refusalLines(w, 5-tight)
	room := max(3, rows-len(p.plate)-len(refusal)-1)
	if tight >= dense && m.tabled() { // results are read first, and choices can be scrolled
		room = min(room, max(3, rows/4))
	}
	p.field = append(m.fieldLines(w, room), refusal...)
	p.field = append(p.field, m.earlierLines(w, []int{3, 3, 1, 0}[tight])...)
	return p
}

// plateLines are the question on its plate, and what is taken under it.
func (m *model) plateLines(w, tight int) []string {
	lines := m.cut(m.look.wrapped(m.q.Prompt, w-2), 3, w-2)
	if tight == ample {
		lines = append(append([]string{""}, lines...), "")
	}
	for i, line := range lines {
		lines[i] = m.look.plate.Render(" " + fitted(line, w-2) + " ")
	}
	for _, line := range m.cut(m.look.wrapped(m.q.Hint, w-1), []int{4, 4, 2, 0}[tight], w-1) {
		lines = append(lines, " "+line)
	}
	return lines
}

// cut is the beginning of a text, most lines of it, with a sign where that is
// not all.
func (m *model) cut(lines []string, most, w int) []string {
	if len(lines) <= most {
		return lines
	}
	lines = lines[:most]
	if most > 0 {
		sign := m.look.signs.cut
		lines[most-1] = ansi.Truncate(lines[most-1], w-ansi.StringWidth(sign), "") + sign
	}
	return lines
}

// refusalLines says why the last answer was not taken.
func (m *model) refusalLines(w, most int) []string {
	lines := m.cut(m.look.wrapped(m.refusal, w-2), most, w-2)
	for i, line := range lines {
		lead := "  "
		if i == 0 {
			lead = m.look.refused + " "
		}
		lines[i] = m.look.bad.Render(lead + line)
	}
	return lines
}

// fieldLines is where the answer is given.
func (m *model) fieldLines(w, rows int) []string {
	var lines []string
	switch m.q.Kind {
	case ask.Choice:
		if m.options != nil {
			lines = m.options.view(w, rows)
		}
	case ask.Confirm:
		lines = m.buttonLines(w)
	case ask.Timer, ask.Rest:
	default:
		return m.typedLines(w)
	}
	if typed := m.input.Value(); typed != "" && m.options.find(typed) < 0 {
		lines = append(lines, m.typedLines(w)...)
	}
	return lines
}

// typedLines is the line that is typed on, and what stands where nothing is.
func (m *model) typedLines(w int) []string {
	m.input.SetWidth(max(1, w-len("> ")-1))
	lines := []string{m.input.View()}
	if m.q.Default != "" && m.q.Kind != ask.Choice {
		lines = append(lines, m.look.faint.Render(fitted("  Enter alone takes "+m.look.oneLine(m.q.Default), w)))
	}
	return lines
}

// buttonLines is the one thing that can be said of what was read.
func (m *model) buttonLines(w int) []string {
	label := "Read on"
	switch {
	case m.read && len(m.q.Options) > 0:
		label = m.look.oneLine(m.q.Options[0].Label)
	case m.read:
		label = "Go on"
	}
	field := huh.NewConfirm().Affirmative(ansi.Truncate(label, w-4, m.look.cut)).Negative("")
	field.WithTheme(m.look.theme(true)).WithWidth(w)
	return strings.Split(strings.TrimRight(field.View(), "\n"), "\n")
}

// earlierLines offers what was answered before.
func (m *model) earlierLines(w, most int) []string {
	list := m.matching()
	if len(list) == 0 || m.q.Kind == ask.Choice || m.q.Kind == ask.Confirm || m.timed() {
		return nil
	}
	parts := []string{"earlier:"}
	for i, text := range list {
		text = ansi.Truncate(m.look.oneLine(text), w-2, m.look.cut)
		if i+1 == m.offered {
			text = m.look.plate.Render(text)
		}
		parts = append(parts, text)
	}
	lines := flowed(parts, "   ", w)
	return lines[:min(len(lines), most)]
}
