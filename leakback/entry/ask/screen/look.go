package screen

import (
	"charm.land/huh/v2"
	"charm.land/lipgloss/v2"
)

// look is what the form draws with. Colour never carries a meaning alone.
type look struct {
	unicode bool
	signs

	// plate is what the question stands on; strong and faint are text.
	plate, strong, faint lipgloss.Style
	// good, bad and unsure are verdicts; bad is a refusal and an overrun as well.
	good, bad, unsure lipgloss.Style
	// bar is a reading, limit and median are their marks.
	bar, limit, median lipgloss.Style
}

// signs are the characters that the form draws with.
type signs struct {
	full, flagged, over, empty string
	eighths                    []string // of a cell, from one to seven
	limit, median, rule        string
	here, said, refused, cut   string
	up, down, none, atLeast    string
}

var (
	unicodeSigns = signs{
		full: "█", flagged: "▓", over: "▶", empty: "·",
		eighths: []string{"▏", "▎", "▍", "▌", "▋", "▊", "▉"},
		limit:   "┃", median: "┊", rule: "─",
		here: "▸", said: "•", refused: "✗", cut: "…",
		up: "▲", down: "▼", none: "–", atLeast: "≥ ",
	}
	asciiSigns = signs{
		full: "#", flagged: "%", over: ">", empty: ".",
		limit: "|", median: ":", rule: "-",
		here: ">", said: "*", refused: "!", cut: "...",
		up: "^", down: "v", none: "-", atLeast: ">= ",
	}
)

// lookOf is the look that a terminal allows. The sixteen colours of the
// terminal's own palette are legible on light and on dark ground.
func lookOf(o Options) look {
	l := look{unicode: o.Unicode, signs: asciiSigns}
	if o.Unicode {
		l.signs = unicodeSigns
	}
	plain := lipgloss.NewStyle()
	l.plate = plain.Reverse(true).Bold(true)
	l.strong, l.faint = plain.Bold(true), plain.Faint(true)
	l.good, l.bad, l.unsure = plain, plain.Bold(true), plain
	l.bar, l.limit, l.median = plain, plain.Bold(true), plain
	if !o.Color {
		l.faint = plain
		return l
	}
	l.good, l.bad = plain.Foreground(lipgloss.Green), plain.Bold(true).Foreground(lipgloss.Red)
	l.unsure = plain.Foreground(lipgloss.Yellow)
	l.bar, l.median = plain.Foreground(lipgloss.Cyan), plain.Foreground(lipgloss.Blue)
	l.limit = plain.Bold(true).Foreground(lipgloss.Magenta)
	return l
}

// verdict is the style of a verdict's word.
func (l look) verdict(word string) lipgloss.Style {
	switch word {
	case "pass":
		return l.good
	case "fail":
		return l.bad
	}
	return l.unsure
}

// theme dresses the fields of the form library; marked says whether one of the
// options stands out yet.
func (l look) theme(marked bool) huh.Theme {
	plain := lipgloss.NewStyle()
	selector, selected := plain.SetString("  "), plain
	if marked {
		selector = l.strong.SetString(l.here + " ")
		selected = l.plate
	}
	f := huh.FieldStyles{
		Base: plain, SelectSelector: selector, SelectedOption: selected, UnselectedOption: plain,
		FocusedButton: l.plate.Padding(0, 2), BlurredButton: plain.Padding(0, 2),
	}
	s := &huh.Styles{Focused: f, Blurred: f}
	return huh.ThemeFunc(func(bool) *huh.Styles { return s })
}
