package ask

import (
	"strings"

	"github.com/charmbracelet/x/ansi"

	"leakback/leakback/terminal"
)

// paragraph prints a text in lines of at most the width; "" is nothing.
func (p *plain) paragraph(text string) {
	if text = terminal.OneLine(text); text != "" {
		p.to.print(ansi.Wrap(text, p.o.Width, "") + "\n")
	}
}

// table prints a drawing line by line.
func (p *plain) table(drawing string) {
	for line := range strings.Lines(drawing) {
		p.to.print(strings.TrimRight(terminal.Printable(line), " ") + "\n")
	}
}
