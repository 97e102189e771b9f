package screen

import (
	"strings"

	"github.com/charmbracelet/x/ansi"

	"leakback/leakback/terminal"
)

// oneLine makes a text of the flow safe to be shown: nothing in it is obeyed by
// the terminal, nothing changes the direction of writing, and it is one line.
func (l look) oneLine(text string) string {
	return terminal.Shown(text, l.unicode)
}

// lines makes a drawing of the flow safe, line by line, and no wider than that
// many columns. Columns keep their places.
func (l look) lines(drawing string, width int) []string {
	list := strings.Split(strings.TrimRight(drawing, "\n"), "\n")
	for i, line := range list {
		line = strings.TrimRight(terminal.Printable(strings.ReplaceAll(line, "\t", "    ")), " ")
		if !l.unicode {
			line = terminal.InPlace(line)
		}
		list[i] = ansi.Truncate(line, max(0, width), "")
	}
	return list
}

// wrapped is a text of the flow in lines of at most that many columns.
func (l look) wrapped(text string, width int) []string {
	text = l.oneLine(text)
	if text == "" {
		return nil
	}
	return strings.Split(ansi.Wrap(text, max(1, width), " "), "\n")
}

// fitted is a line cut or filled to exactly that many columns.
func fitted(line string, width int) string {
	if width <= 0 {
		return ""
	}
	line = ansi.Truncate(line, width, "")
	return line + strings.Repeat(" ", width-ansi.StringWidth(line))
}
