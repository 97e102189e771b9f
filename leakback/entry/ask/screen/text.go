package screen

import (
	"strings"
	"unicode"

	"github.com/charmbracelet/x/ansi"
	"golang.org/x/text/unicode/norm"
)

// spelled is how the signs that a flow may use are written in ASCII.
var spelled = strings.NewReplacer(
	"°", " deg ", "·", ".", "≥", ">=", "≤", "<=", "±", "+/-", "×", "x", "µ", "u", "μ", "u",
	"–", "-", "—", "-", "−", "-", "…", "...", "→", "->", "“", `"`, "”", `"`, "‘", "'", "’", "'",
	"ß", "ss", "æ", "ae", "Æ", "AE", "ø", "o", "Ø", "O", "ł", "l", "Ł", "L",
)

// oneLine makes a text of the flow safe to be shown: nothing in it is obeyed by
// the terminal, nothing changes the direction of writing, and it is one line.
func (l look) oneLine(text string) string {
	text = strings.Join(strings.Fields(printable(text)), " ")
	if l.unicode {
		return text
	}
	return strings.Join(strings.Fields(ascii(spelled.Replace(text))), " ")
}

// lines makes a drawing of the flow safe, line by line, and no wider than that
// many columns. Columns keep their places.
func (l look) lines(drawing string, width int) []string {
	list := strings.Split(strings.TrimRight(drawing, "\n"), "\n")
	for i, line := range list {
		line = strings.TrimRight(printable(strings.ReplaceAll(line, "\t", "    ")), " ")
		if !l.unicode {
			line = ascii(line)
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

// printable takes out escape sequences, control characters and those that only
// format. White space becomes a space.
func printable(text string) string {
	text = strings.ToValidUTF8(text, "\uFFFD")
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case unicode.Is(unicode.Cc, r), unicode.Is(unicode.Cf, r):
			return -1
		}
		return r
	}, ansi.Strip(text))
}

// ascii takes the marks off letters and puts a question mark, as wide as what
// it stands for, where ASCII has nothing.
func ascii(text string) string {
	text = strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Mn, r) {
			return -1
		}
		return r
	}, norm.NFD.String(text))
	var b strings.Builder
	for _, r := range text {
		if r <= unicode.MaxASCII {
			b.WriteRune(r)
		} else {
			b.WriteString(strings.Repeat("?", max(1, ansi.StringWidth(string(r)))))
		}
	}
	return b.String()
}

// fitted is a line cut or filled to exactly that many columns.
func fitted(line string, width int) string {
	if width <= 0 {
		return ""
	}
	line = ansi.Truncate(line, width, "")
	return line + strings.Repeat(" ", width-ansi.StringWidth(line))
}
