package screen

import (
	"strings"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback/entry/ask"
)

// everyKey are the keys of a keyboard with what may be held beside them, letters of
// several scripts, and what a mouse and a window send.
func everyKey() []tea.Msg {
	var list []tea.Msg
	mods := []tea.KeyMod{0, tea.ModShift, tea.ModCtrl, tea.ModAlt, tea.ModCtrl | tea.ModAlt}
	for _, mod := range mods {
		for _, code := range []rune{tea.KeyTab, tea.KeyLeft, tea.KeyRight, tea.KeyUp, tea.KeyDown, tea.KeyHome, tea.KeyEnd, tea.KeyPgUp,
			tea.KeyPgDown, tea.KeyInsert, tea.KeyDelete, tea.KeyBackspace, tea.KeyF1, tea.KeyF5, tea.KeyF12, tea.KeyKp0, tea.KeyKpDecimal,
			tea.KeyCapsLock, tea.KeyPrintScreen, tea.KeyMediaPlay} {
			list = append(list, tea.KeyPressMsg{Code: code, Mod: mod})
		}
		for r := 'a'; r <= 'z'; r++ {
			if mod.Contains(tea.ModCtrl) && strings.ContainsRune("bcjmi", r) { // back, leave, Enter, Tab
				continue
			}
			k := tea.KeyPressMsg{Code: r, Mod: mod}
			if mod == 0 {
				k.Text = string(r)
			}
			list = append(list, k)
		}
	}
	for _, text := range []string{"é", "e\u0301", "漢", "א", "ع", "👩‍🔧", "\u202e", "\u200b", "ß", "`", "^", "¨"} {
		list = append(list, tea.KeyPressMsg{Code: []rune(text)[0], Text: text})
	}
	return append(list, tea.MouseClickMsg{X: 3, Y: 3, Button: tea.MouseLeft}, tea.MouseWheelMsg{Button: tea.MouseWheelDown},
		tea.MouseMotionMsg{X: 1}, tea.FocusMsg{}, tea.BlurMsg{}, tea.PasteMsg{Content: strings.Repeat("x", 10<<10)},
		tea.PasteMsg{Content: "first\nsecond\r\nthird\n"}, tea.PasteMsg{Content: "\x1b[2J\x00\x07\xff"}, tea.PasteMsg{Content: strings.Repeat("漢", 4000)})
}

// No key but those that the foot names answers, leaves or breaks anything, at any
// moment and at any size; what was typed can be taken away again.
func TestEveryKeyEverywhere(t *testing.T) {
	keys := everyKey()
	tried := map[ask.Kind]bool{} // every key, at a question of that kind
	for n, size := range [][2]int{{80, 24}, {60, 20}, {44, 20}, {30, 10}, {7, 3}} {
		for _, s := range scenes {
			d := newDesk(t, 80, 24, Options{Unicode: true})
			s.play(d)
			d.resize(size[0], size[1])
			at, kind := d.f.at, d.m.q.Kind
			all := !tried[kind]
			tried[kind] = true
			for i, k := range keys {
				if !all && i%7 != n { // a part of them at each size
					continue
				}
				d.wait(time.Second)
				before := d.raw()
				d.send(k)
				if d.raw() != before {
					fits(t, d, size[0], size[1])
					plain(t, d, Options{Unicode: true})
				}
				require.Equal(t, at, d.f.at, "%s: %v answered", s.name, k)
				require.False(t, d.m.ended(), "%s: %v", s.name, k)
			}
			assert.Equal(t, kind, d.m.q.Kind)
			assert.LessOrEqual(t, len(d.m.input.Value()), 64<<10)
			d.press("ctrl+e", "ctrl+u")
			assert.Empty(t, d.m.input.Value(), s.name)
		}
	}
}

// A paste of several lines is one answer: nothing in it answers the next question.
func TestPasteOfSeveralLines(t *testing.T) {
	for _, kind := range []ask.Kind{ask.Text, ask.Choice, ask.Confirm, ask.Timer, ask.Rest, ask.Reading} {
		f := &oneFlow{q: ask.Question{Kind: kind, Prompt: "Vehicle", TargetS: 5, Options: []ask.Option{{Value: "understood", Label: "I have"}}}}
		d := newDesk(t, 80, 24, Options{})
		d.sit(f, 80, 24, Options{})
		d.send(tea.PasteMsg{Content: "22.5\n\nunderstood\n"})
		assert.Equal(t, "22.5  understood ", d.m.input.Value(), "%d", kind)
		assert.False(t, d.m.ended())
	}
}
