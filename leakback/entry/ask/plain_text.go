package ask

import (
	"strings"
	"unicode"

	"github.com/charmbracelet/x/ansi"
)

// paragraph prints a text in lines of at most the width; "" is nothing.
func (p *plain) paragraph(text string) {
	if text = oneLine(text); text != "" {
		p.to.print(ansi.Wrap(text, p.o.Width, "") + "\n")
	}
}

// table prints a drawing line by line.
func (p *plain) table(drawing string) {
	for line := range strings.Lines(drawing) {
		p.to.print(strings.TrimRight(printable(line), " ") + "\n")
	}
}

// oneLine is a text of the flow, in which answers of others may stand, as one
// line that no terminal obeys.
func oneLine(text string) string { return strings.Join(strings.Fields(printable(text)), " ") }

// printable takes out what a terminal would obey and what changes the direction
// of writing; white space becomes a space.
func printable(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case unicode.Is(unicode.Cc, r), unicode.Is(unicode.Cf, r):
			return -1
		}
		return r
	}, ansi.Strip(strings.ToValidUTF8(text, "\ufffd")))
}
