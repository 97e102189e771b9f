// Package screen asks the questions of a flow in a form on a terminal: one at a
// time, with a count-down to be read from a distance, bars that grow with the
// readings, and the results above the choice of what to do next. It knows
// nothing of what is asked and keeps nothing.
package screen

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/colorprofile"

	"leakback/leakback/entry/ask"
)

// Options are the terminal and how it may be drawn on.
type Options struct {
	// In is the terminal that keys are read from.
	In io.Reader
	// Out is the terminal that is drawn on.
	Out io.Writer
	// Color allows colours, those of the terminal's own palette.
	Color bool
	// Unicode allows signs beyond ASCII. Without it there are none at all.
	Unicode bool
	// Bell rings when a count-down is over.
	Bell bool
	// Now is the clock that tells a key held down from one pressed again;
	// time.Now where nil. The flow times what is timed.
	Now func() time.Time
}

// Run asks until the flow is done. The terminal is as it was before when Run
// returns, and the table that was drawn last stands in it. The error is
// ask.ErrLeft where the person left, the context's where that was cancelled, and
// the flow's own where an answer could not be kept.
func Run(ctx context.Context, f ask.Flow, o Options) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	m := newModel(f, o)
	if m.done {
		return nil
	}
	profile := colorprofile.ASCII
	if o.Color {
		profile = colorprofile.ANSI
	}
	program := tea.NewProgram(m, tea.WithInput(o.In), tea.WithOutput(o.Out),
		tea.WithColorProfile(profile), tea.WithFilter(gently))
	stop := context.AfterFunc(ctx, func() { program.Send(overMsg{ctx.Err()}) })
	defer stop()
	defer stoppable(program)()
	_, err := program.Run()
	if err = m.outcome(ctx, err); errors.Is(err, tea.ErrProgramPanic) {
		return err
	}
	if left := m.farewell(); left != "" {
		if _, printErr := io.WriteString(o.Out, left); err == nil {
			err = printErr
		}
	}
	return err
}

// overMsg says that the form is to end, and why.
type overMsg struct{ why error }

// gently turns an interrupt into an end that waits for the reader of keys. A
// program that is killed instead leaves it behind, and that takes the next keys
// from whoever asks then.
func gently(_ tea.Model, msg tea.Msg) tea.Msg {
	if _, ok := msg.(tea.InterruptMsg); ok {
		return tea.QuitMsg{}
	}
	return msg
}

// outcome is why the program ended.
func (m *model) outcome(ctx context.Context, err error) error {
	switch {
	case m.err != nil:
		return m.err
	case ctx.Err() != nil:
		return ctx.Err()
	case m.done:
		return nil
	case err == nil: // asked to end by a signal
		return ask.ErrLeft
	}
	return fmt.Errorf("the form on the terminal: %w", err)
}

// farewell is what stays on the terminal after the form: the results that were
// drawn last, and what was said with the last answer.
func (m *model) farewell() string {
	lines := slices.Clone(m.tableLines(m.wide()))
	if len(lines) > 0 {
		lines = append(lines, "")
	}
	for _, text := range m.said {
		lines = append(lines, m.look.wrapped(text, m.wide())...)
	}
	if len(lines) == 0 {
		return ""
	}
	return strings.TrimRight(strings.Join(lines, "\n"), "\n") + "\n"
}
