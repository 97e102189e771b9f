package screen

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback/entry/ask"
)

func TestAnswersAsTyped(t *testing.T) {
	d := newDesk(t, 80, 24, Options{Unicode: true})
	d.enter("Harvester 3 ")
	d.enter("41 °C")
	d.enter("idle")
	assert.Equal(t, []string{"Harvester 3 ", "41 °C", "idle"}, d.f.answers)
}

// The words that every skin takes are taken here as well, and between double quotes
// they are answers.
func TestWordsOfEverySkin(t *testing.T) {
	d := newDesk(t, 80, 24, Options{Unicode: true})
	d.enter("?")
	assert.Empty(t, d.f.answers)
	shown := strings.Join(strings.Fields(d.view()), " ")
	assert.Contains(t, shown, "skip leaves this one open")
	assert.Contains(t, shown, "quit leaves")
	d.enter(`"quit"`)
	d.enter("Quit")
	assert.Equal(t, []string{`"quit"`}, d.f.answers)
	require.ErrorIs(t, d.m.err, ask.ErrLeft)
}

// Nobody has to read cautions to the end in order to leave.
func TestQuitFromUnreadNotes(t *testing.T) {
	d := newDesk(t, 80, 12, Options{Unicode: true})
	d.to(atCautions)
	d.enter("quit")
	require.ErrorIs(t, d.m.err, ask.ErrLeft)
}

// A key held down repeats after 250 to 660 ms, then about 30 times a second
// (common practice, no source). It answers one question.
func TestHeldEnterAnswersOnce(t *testing.T) {
	d := newDesk(t, 80, 24, Options{Unicode: true})
	d.to(atTimer)
	answered := len(d.f.answers)
	d.press("enter")
	d.wait(660 * time.Millisecond)
	for range 100 {
		d.send(keyOf("enter"))
		d.send(keyOf(" "))
		d.wait(33 * time.Millisecond)
	}
	assert.Len(t, d.f.answers, answered+1)
	assert.True(t, d.m.q.Running)
	d.press("enter")
	assert.Len(t, d.f.answers, answered+2)
	assert.Equal(t, atReading, d.f.at)
}

// Whoever presses Enter again while the answer is still being kept has not seen
// the next question.
func TestEnterDuringASlowAnswer(t *testing.T) {
	d := newDesk(t, 80, 24, Options{Unicode: true})
	d.f.slow = 2 * time.Second
	d.enter("NM-4711")
	d.send(keyOf("enter"))
	d.send(keyOf("esc"))
	d.send(keyOf("enter"))
	assert.Equal(t, []string{"NM-4711"}, d.f.answers)
	d.press("enter")
	assert.Equal(t, []string{"NM-4711", ""}, d.f.answers)
}

func TestTypedAheadStaysInOrder(t *testing.T) {
	d := newDesk(t, 80, 24, Options{Unicode: true})
	d.to(atReading)
	d.f.slow = 50 * time.Millisecond
	for _, r := range "21\r21.5\r22\r" {
		if r == '\r' {
			d.send(keyOf("enter"))
		} else {
			d.send(keyOf(string(r)))
		}
	}
	assert.Equal(t, map[int]string{1: "21", 5: "21.5", 3: "22"}, d.f.readings)
}

// What was typed ahead of a refusal was meant for another question, and does not
// mend the refused answer.
func TestTypedAheadOfARefusal(t *testing.T) {
	d := newDesk(t, 80, 24, Options{Unicode: true})
	d.to(atReading)
	d.send(keyOf(">"))
	d.send(keyOf("enter"))
	d.send(keyOf("2"))
	d.send(tea.PasteMsg{Content: "3"})
	d.send(keyOf("enter"))
	assert.Empty(t, d.f.readings)
	assert.Equal(t, ">", d.m.input.Value())
	for _, r := range "2345" { // by a person who does not look at the screen
		d.wait(240 * time.Millisecond)
		d.send(keyOf(string(r)))
	}
	assert.Equal(t, ">", d.m.input.Value())
	d.enter("100")
	assert.Equal(t, map[int]string{1: ">100"}, d.f.readings)
}

func TestRefusalKeepsWhatWasTyped(t *testing.T) {
	d := newDesk(t, 80, 24, Options{Unicode: true})
	d.to(atReading)
	d.enter("2o.5")
	assert.Contains(t, d.view(), `✗ "2o.5": expected a level in mL`)
	d.press("left", "left", "backspace", "0", "enter")
	assert.Equal(t, map[int]string{1: "20.5"}, d.f.readings)
	assert.NotContains(t, d.view(), "✗")
}

func TestBack(t *testing.T) {
	for _, way := range [][]string{{"esc"}, {"ctrl+b"}, {"b", "a", "c", "k", "enter"}, {"B", "a", "c", "k", "enter"}} {
		for _, from := range []int{atFuel, atCondition, atCautions, atTimer, atReading, atNext, atRest} {
			d := newDesk(t, 44, 20, Options{Unicode: true})
			d.to(from)
			d.press(way...)
			assert.Equal(t, from-1, d.f.at, "%v at %d", way, from)
		}
	}
	d := newDesk(t, 80, 24, Options{Unicode: true})
	d.press("esc")
	assert.Contains(t, d.view(), "this is the first question")
}

func TestChoices(t *testing.T) {
	tests := []struct {
		name string
		keys []string
		want string
	}{
		{"nothing stands out at first", nil, ""},
		{"number", []string{"3"}, "raised-idle"},
		{"number corrected", []string{"3", "backspace", "2"}, "idle"},
		{"arrow", []string{"down", "down"}, "idle"},
		{"arrow up from nothing", []string{"up"}, "raised-idle"},
		{"round the end", []string{"up", "down"}, "cranking"},
		{"arrow after a number", []string{"1", "down"}, "idle"},
		{"its value", []string{"i", "d", "l", "e"}, "idle"},
		{"beginning of one", []string{"r", "a"}, "raised-idle"},
		{"anything else as typed", []string{"4"}, "4"},
	}
	for _, tt := range tests {
		d := newDesk(t, 80, 24, Options{Unicode: true})
		d.to(atCondition)
		d.press(append(tt.keys, "enter")...)
		assert.Equal(t, tt.want, d.f.answers[len(d.f.answers)-1], tt.name)
	}
	d := newDesk(t, 80, 24, Options{Unicode: true})
	d.to(atNext)
	d.press("enter")
	assert.Equal(t, "end", d.f.answers[len(d.f.answers)-1], "the default stands out")
}

func TestEarlierAnswers(t *testing.T) {
	tests := []struct {
		keys []string
		want string
	}{
		{[]string{"down"}, "NM-4711"}, {[]string{"down", "down", "down"}, "Harvester 3"}, {[]string{"up"}, "Harvester 3"},
		{[]string{"down", "up"}, ""}, {[]string{"h", "tab"}, "Harvester 3"}, {[]string{"n", "m", "right"}, "NM-4711"},
		{[]string{"n", "down", "down"}, "NM-0815"}, {[]string{"n", "down", "down", "down"}, "n"},
		{[]string{"x", "down", "tab", "right"}, "x"}, {[]string{"down", "7"}, "NM-47117"}, {[]string{"n", "m", "left", "right"}, "nm"},
	}
	for _, tt := range tests {
		d := newDesk(t, 80, 24, Options{})
		d.press(tt.keys...)
		assert.Equal(t, tt.want, d.m.input.Value(), "%v", tt.keys)
	}
}

func TestCautionsAreReadToTheirEnd(t *testing.T) {
	d := newDesk(t, 40, 15, Options{Unicode: true})
	d.to(atCautions)
	answered := len(d.f.answers)
	seen := d.view()
	d.press("r", "e", "a", "d", "enter")
	assert.Len(t, d.f.answers, answered, "the word alone does not do")
	for d.f.at == atCautions {
		seen += d.view()
		d.press("enter")
	}
	for _, text := range []string{"High pressure:", "Opening lines:", "Park", "extinguisher", "printed here."} {
		assert.Contains(t, seen, text)
	}
	assert.Equal(t, []string{"read"}, d.f.answers[answered:])
	assert.Equal(t, atTimer, d.f.at)
}

func TestHeldEnterTurnsOnePage(t *testing.T) {
	d := newDesk(t, 40, 15, Options{Unicode: true})
	d.to(atCautions)
	d.press("enter")
	d.wait(660 * time.Millisecond)
	for range 100 {
		d.send(keyOf("enter"))
		d.wait(33 * time.Millisecond)
	}
	assert.Equal(t, atCautions, d.f.at)
	assert.False(t, d.m.read)
}

func TestResizeKeepsWhatWasRead(t *testing.T) {
	d := newDesk(t, 40, 15, Options{Unicode: true})
	d.to(atCautions)
	d.press("pgdown", "pgdown", "pgdown")
	require.True(t, d.m.read)
	d.resize(40, 16)
	d.press("enter")
	assert.Equal(t, atTimer, d.f.at)
}

func TestTimerKeys(t *testing.T) {
	d := newDesk(t, 80, 24, Options{Unicode: true})
	d.to(atTimer)
	d.press(" ")
	assert.True(t, d.m.q.Running)
	d.tick(61 * time.Second)
	assert.Contains(t, d.view(), "OVERRUN 1.0 s: 61.0 s, not 60 s")
	d.press(" ")
	assert.Equal(t, "62.0s", d.f.kept["interval"])

	d = newDesk(t, 80, 24, Options{Unicode: true})
	d.to(atTimer)
	d.enter("60 s")
	assert.Equal(t, "60 s", d.f.answers[len(d.f.answers)-1], "a space within what is typed is one")
}

// rings says how often a command rings the bell.
func rings(cmd tea.Cmd) int {
	if cmd == nil {
		return 0
	}
	n := 0
	switch msg := cmd().(type) {
	case tea.RawMsg:
		n += len(fmt.Sprint(msg.Msg)) // one bell is one character
	case tea.BatchMsg:
		for _, c := range msg {
			n += rings(c)
		}
	}
	return n
}

func TestBellRingsOnce(t *testing.T) {
	for _, bell := range []bool{true, false} {
		want := map[bool]int{true: 1}[bell]
		d := newDesk(t, 80, 24, Options{Bell: bell})
		d.to(atTimer)
		d.press("enter")
		assert.Zero(t, rings(d.tick(59*time.Second)))
		assert.Equal(t, want, rings(d.tick(time.Second)))
		assert.Zero(t, rings(d.tick(time.Second)))
		d.press("enter")
		d.to(atRest)
		assert.Zero(t, rings(d.tick(28*time.Second)))
		assert.Equal(t, want, rings(d.tick(2*time.Second)), "at the end of the rest again")
		assert.Zero(t, rings(d.tick(2*time.Second)))
	}
}

func TestTicksOnlyWhereSomethingMoves(t *testing.T) {
	d := newDesk(t, 80, 24, Options{})
	assert.Nil(t, d.m.Init())
	assert.Nil(t, d.send(keyOf("x")))
	d.to(atTimer)
	d.wait(time.Second)
	require.NotNil(t, d.send(keyOf("enter")), "a clock that runs")
	assert.Nil(t, d.m.tick(), "one tick at a time")
	d.press("enter")
	d.tick(time.Second)
	assert.False(t, d.m.ticking, "it was stopped")
}

func TestBarsGrow(t *testing.T) {
	d := newDesk(t, 80, 24, Options{})
	d.to(atReading)
	d.enter("40")
	assert.Zero(t, d.m.growth.shown(0, d.clock))
	assert.NotContains(t, d.view(), "#")
	d.tick(growTime / 2)
	half := d.m.growth.shown(0, d.clock)
	assert.Greater(t, half, 20.0, "fast at first")
	assert.Less(t, half, 40.0)
	assert.Contains(t, d.view(), "#")
	d.tick(growTime)
	assert.Equal(t, 40.0, d.m.growth.shown(0, d.clock))
	assert.False(t, d.m.ticking, "and come to rest")
}

func TestPaste(t *testing.T) {
	d := newDesk(t, 80, 24, Options{})
	d.send(tea.PasteMsg{Content: "NM-\x1b[2J47\n11\r\n"})
	assert.Empty(t, d.f.answers, "a line break that is pasted answers nothing")
	assert.NotContains(t, d.m.input.Value(), "\x1b")
	d.press("ctrl+v")
	d.press("enter")
	assert.Len(t, d.f.answers, 1)
	assert.NotContains(t, d.f.answers[0], "\n")
}

func TestLeaving(t *testing.T) {
	d := newDesk(t, 80, 24, Options{})
	d.enter("NM-4711")
	d.press("4", "1", "ctrl+c")
	d.press("enter", "enter")
	assert.ErrorIs(t, d.m.outcome(context.Background(), nil), ask.ErrLeft)
	assert.Equal(t, []string{"NM-4711"}, d.f.answers, "what was not entered was not answered")
}

func TestAnswerThatCouldNotBeKept(t *testing.T) {
	d := newDesk(t, 80, 24, Options{})
	d.f.fail = errDisk
	d.enter("NM-4711")
	d.enter("again")
	assert.ErrorIs(t, d.m.outcome(context.Background(), nil), errDisk)
	assert.Len(t, d.f.answers, 1, "nothing is asked after that")
}

func TestNothingAfterTheEnd(t *testing.T) {
	d := newDesk(t, 80, 24, Options{})
	d.to(atDone)
	answered := len(d.f.answers)
	d.enter("more")
	d.press("esc", "ctrl+c")
	assert.Len(t, d.f.answers, answered)
	assert.NoError(t, d.m.outcome(context.Background(), nil))
}

func TestOutcome(t *testing.T) {
	cancelled, cancel := context.WithCancel(context.Background())
	cancel()
	m := newDesk(t, 80, 24, Options{}).m
	assert.ErrorIs(t, m.outcome(cancelled, tea.ErrProgramKilled), context.Canceled)
	assert.Equal(t, tea.QuitMsg{}, gently(m, tea.InterruptMsg{}))
	assert.ErrorIs(t, m.outcome(context.Background(), nil), ask.ErrLeft, "asked to end by a signal")
	lost := errors.New("input lost")
	assert.ErrorIs(t, m.outcome(context.Background(), lost), lost)
}
