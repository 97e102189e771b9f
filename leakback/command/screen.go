package command

import (
	"io"
	"os"
	"runtime"
	"strings"

	"golang.org/x/term"
)

// screen says how results for people may be drawn.
type screen struct {
	width   int
	color   bool
	unicode bool
	// terminal says that somebody looks at it, and no program reads it.
	terminal bool
}

// usualWidth is the width for pipes, files and terminals that do not say.
const usualWidth = 80

// screenOf looks at where stdout goes: colour and the width of the window only
// on a terminal, no colour with NO_COLOR or a dumb terminal, and plain ASCII
// where the locale is not UTF-8.
func screenOf(stdout io.Writer, getenv func(string) string) screen {
	s := screen{width: usualWidth, unicode: speaksUTF8(getenv)}
	f, ok := asTerminal(stdout)
	if !ok {
		return s
	}
	s.terminal = true
	if runtime.GOOS == "windows" { // the console takes Unicode whatever the code page
		s.unicode = true
	}
	if width, _, err := term.GetSize(int(f.Fd())); err == nil && width > 0 {
		s.width = width
	}
	dumb := getenv("TERM") == "dumb"
	s.unicode = s.unicode && !dumb
	s.color = getenv("NO_COLOR") == "" && !dumb && showsColor(f)
	return s
}

// asTerminal is the terminal that w is, if it is one.
func asTerminal(w io.Writer) (*os.File, bool) {
	f, ok := w.(*os.File)
	return f, ok && term.IsTerminal(int(f.Fd()))
}

// watched says whether progress can be shown on stderr: it is a terminal on
// which a line can be written over, and no results run through that line.
func watched(stdout, stderr io.Writer, getenv func(string) string) bool {
	_, results := asTerminal(stdout)
	_, messages := asTerminal(stderr)
	return messages && !results && getenv("TERM") != "dumb"
}

// speaksUTF8 reads the locale as POSIX orders it: LC_ALL, LC_CTYPE, LANG.
func speaksUTF8(getenv func(string) string) bool {
	for _, name := range []string{"LC_ALL", "LC_CTYPE", "LANG"} {
		if value := getenv(name); value != "" {
			value = strings.ToLower(value)
			return strings.Contains(value, "utf-8") || strings.Contains(value, "utf8")
		}
	}
	return runtime.GOOS == "darwin"
}
