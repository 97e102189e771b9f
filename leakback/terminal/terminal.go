// Package terminal makes text safe for a terminal: nothing in it is obeyed, nothing
// changes the direction of writing, and it can be spelled in ASCII. What stands on
// the screen, and where, is left to others.
package terminal

import (
	"strings"
	"unicode"

	"github.com/charmbracelet/x/ansi"
	"github.com/clipperhouse/displaywidth"
	"golang.org/x/text/unicode/norm"
)

// Printable takes out escape sequences, control characters and those that only
// format; white space becomes a space. Columns of what is shown keep their places.
func Printable(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case unicode.Is(unicode.Cc, r):
			return -1
		}
		return r
	}, OneDirection(ansi.Strip(strings.ToValidUTF8(text, "\uFFFD"))))
}

// OneLine is a text in which anybody's words may stand, as one printable line.
func OneLine(text string) string { return strings.Join(strings.Fields(Printable(text)), " ") }

// OneDirection takes out characters that only format, those that change the
// direction of writing among them.
func OneDirection(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Cf, r) {
			return -1
		}
		return r
	}, text)
}

// spelled is how the signs that this program and its sheets use are written where
// there is only ASCII.
var spelled = strings.NewReplacer(
	"±", "+/-", "×", "x", "°", " deg ", "·", ".", "≥", ">=", "≤", "<=", "²", "2", "³", "3",
	"µ", "u", "μ", "u", "Ω", "ohm", "–", "-", "—", "-", "−", "-", "…", "...", "½", "1/2", "→", "->",
	"“", `"`, "”", `"`, "„", `"`, "«", `"`, "»", `"`, "‘", "'", "’", "'", "\u00a0", " ", "\u202f", " ",
	"ß", "ss", "æ", "ae", "Æ", "AE", "ø", "o", "Ø", "O", "ł", "l", "Ł", "L", "đ", "d", "Đ", "D", "ı", "i",
)

// beforeStop takes away the space that spelling a degree sign out leaves before
// what follows it.
var beforeStop = strings.NewReplacer(" deg ,", " deg,", " deg .", " deg.", " deg ;", " deg;", " deg :", " deg:", " deg )", " deg)")

// ASCII spells a line in ASCII: letters lose their marks, and what has no spelling
// becomes question marks.
func ASCII(line string) string {
	return beforeStop.Replace(strings.Join(strings.Fields(InPlace(spelled.Replace(line))), " "))
}

// Shown is a text in which anybody's words may stand, as one line for a terminal that
// takes Unicode or only ASCII.
func Shown(text string, unicode bool) string {
	text = OneLine(text)
	if unicode {
		return text
	}
	return ASCII(text)
}

// InPlace is a drawing's line in ASCII whose columns keep their places: what is not
// ASCII becomes as many question marks as it is wide.
func InPlace(line string) string {
	var b strings.Builder
	for _, r := range norm.NFD.String(line) {
		switch {
		case unicode.Is(unicode.Mn, r):
		case r <= unicode.MaxASCII:
			b.WriteRune(r)
		default:
			b.WriteString(strings.Repeat("?", max(1, displaywidth.Rune(r))))
		}
	}
	return b.String()
}
