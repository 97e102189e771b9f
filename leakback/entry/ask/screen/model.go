package screen

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"charm.land/bubbles/v2/textinput"
	"charm.land/bubbles/v2/viewport"
	tea "charm.land/bubbletea/v2"

	"leakback/leakback/entry/ask"
)

// model is the form: the question that is asked, what was typed so far, and
// what has been drawn of it. All of it belongs to the program's event loop, the
// flow as well.
type model struct {
	flow  ask.Flow
	now   func() time.Time
	look  look
	bell  bool
	width int
	rows  int
	frame string

	q       ask.Question
	said    []string // with the last answer
	refusal string   // of the last answer; "" where it was taken
	table   func(width int) string

	drawn    []string // the table's lines
	drawnFor int      // the width that they were drawn for; 0 where they are not

	input   textinput.Model
	stem    string // what was typed before an earlier answer was offered in its place
	offered int    // which of the earlier answers that is, from 1; 0 for none
	options *optionList
	notes   viewport.Model
	read    bool // the notes have been shown to their end

	elapsed time.Duration
	rung    bool
	ticking bool
	growth  growth

	answeredAt time.Time // when the last answer had been dealt with
	fresh      bool      // nothing has been typed since
	deafUntil  time.Time // keys before that were meant for what has been refused

	err  error
	done bool
}

// newModel is the form at its first question.
func newModel(f ask.Flow, o Options) *model {
	m := &model{flow: f, now: o.Now, look: lookOf(o), bell: o.Bell}
	if m.now == nil {
		m.now = time.Now
	}
	m.notes = viewport.New()
	m.said = f.Said()
	m.next()
	return m
}

// next turns to the question that the flow asks now.
func (m *model) next() {
	before := m.q
	m.q = m.flow.Question()
	m.done = m.q.Kind == ask.Done
	if m.q.Table != nil {
		m.table, m.drawnFor = m.q.Table, 0
	}
	m.input, m.stem, m.offered = m.newInput(), "", 0
	m.options = m.newOptions()
	m.notes.GotoTop()
	m.read = false
	m.elapsed = m.flow.Elapsed()
	m.rung = m.q.ID == before.ID && m.q.Running == before.Running && m.rung
	m.growth.turn(m.q.Board, m.now())
}

// newInput is an empty line to type on. It does not take part in keys that the
// form uses itself.
func (m *model) newInput() textinput.Model {
	in := textinput.New()
	in.Prompt = m.look.here + " "
	s := textinput.DefaultDarkStyles()
	s.Focused = textinput.StyleState{Prompt: m.look.strong, Text: m.look.strong}
	s.Cursor.Blink, s.Cursor.Color = false, nil
	in.SetStyles(s)
	in.KeyMap.CharacterBackward.SetKeys("left")
	in.KeyMap.Paste.SetEnabled(false) // it would arrive late, perhaps at another question
	in.Focus()
	return in
}

// Init begins the first count-down, if there is one.
func (m *model) Init() tea.Cmd { return m.tick() }

// View is the frame as it was composed last.
func (m *model) View() tea.View {
	v := tea.NewView(m.frame)
	v.AltScreen = true
	return v
}

// Update takes what happened, and composes the frame anew.
func (m *model) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	if m.ended() { // what still arrives answers nothing
		return m, tea.Quit
	}
	var cmd tea.Cmd
	switch msg := msg.(type) {
	case tea.WindowSizeMsg:
		m.width, m.rows = msg.Width, msg.Height
	case tickMsg:
		cmd = m.onTick()
	case overMsg:
		m.err = msg.why
	case tea.KeyPressMsg:
		cmd = m.onKey(msg)
	case tea.PasteMsg:
		if !m.deaf() {
			m.edit(msg)
		}
	}
	if m.ended() {
		return m, tea.Quit
	}
	m.compose()
	return m, cmd
}

// ended says whether nothing more is asked.
func (m *model) ended() bool { return m.err != nil || m.done }

// answer gives the flow a line, once, and turns to what it asks then.
func (m *model) answer(text string) tea.Cmd {
	err := m.flow.Answer(text)
	if said := m.flow.Said(); err == nil || len(said) > 0 {
		m.said = said
	}
	var refusal *ask.Refusal
	switch {
	case errors.As(err, &refusal):
		m.refuse(m.numbered(refusal).Error())
	case err != nil:
		m.err = err
	default:
		m.refusal = ""
		m.next()
	}
	m.answeredAt, m.fresh = m.now(), true
	return m.tick()
}

// refuse shows why an answer was not taken, and keeps what was typed for
// correcting. Keys that follow at once were typed before that could be seen.
func (m *model) refuse(why string) {
	m.refusal = why
	m.deafUntil = m.now().Add(deafness)
}

// numbered is a refusal that says numbers where it lists options: they stand on the
// screen with a number and a label, and not by the word that is their value.
func (m *model) numbered(r *ask.Refusal) *ask.Refusal {
	if m.options == nil {
		return r
	}
	numbers := fmt.Sprintf("a number from 1 to %d", len(m.q.Options))
	return &ask.Refusal{Value: r.Value, Expected: strings.Replace(r.Expected, ask.Alternatives(m.q.Options), numbers, 1)}
}

// deafness is how long after a refusal keys are not taken, and how long nothing
// must be typed after such a key: less than it takes to read a refusal, more
// than between two keys of one figure. So a figure is dropped whole.
const deafness = 250 * time.Millisecond

// deaf says whether a key was meant for what comes after an answer that has been
// refused. It must not mend that answer.
func (m *model) deaf() bool {
	now := m.now()
	if !now.Before(m.deafUntil) {
		return false
	}
	m.deafUntil = now.Add(deafness)
	return true
}

// held says whether a key that answers without anything typed comes too soon
// after the last answer to have been meant for this question: it is held down,
// or was pressed again while that answer was being kept. Keyboards repeat a key
// after 250 to 660 ms (common practice, no source).
func (m *model) held() bool {
	pause := 250 * time.Millisecond
	if slices.Contains([]ask.Kind{ask.Timer, ask.Rest, ask.Confirm}, m.q.Kind) {
		pause = 700 * time.Millisecond
	}
	if !m.fresh || m.now().Sub(m.answeredAt) >= pause {
		return false
	}
	m.answeredAt = m.now() // each repeat of a key puts off the next
	return true
}
