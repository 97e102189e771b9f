package ask

import (
	"strings"

	"github.com/charmbracelet/x/ansi"

	"leakback/leakback/terminal"
)

// oneLine makes a text safe to be shown, as one line.
func (p *plain) oneLine(text string) string { return terminal.Shown(text, p.o.Unicode) }

// paragraph prints a text in lines of at most the width; "" is nothing.
func (p *plain) paragraph(text string) {
	if text = p.oneLine(text); text != "" {
		p.to.print(ansi.Wrap(text, p.o.Width, "") + "\n")
	}
}

// table prints a drawing line by line.
func (p *plain) table(drawing string) {
	for line := range strings.Lines(drawing) {
		line = strings.TrimRight(terminal.Printable(line), " ")
		if !p.o.Unicode {
			line = terminal.InPlace(line)
		}
		p.to.print(line + "\n")
	}
}
