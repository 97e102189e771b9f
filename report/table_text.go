package report

import (
	"strings"

	"github.com/clipperhouse/displaywidth"

	"leakback/leakback/terminal"
)

// hue is what a piece of the table means; colour only underlines what a word
// or a sign says already.
type hue int

const (
	huePlain hue = iota
	hueTitle
	hueFail
	hueUndecided
	hueUnread
	hueMedian
	hueLimit
	hueQuiet
)

// hues are the attributes of ECMA-48's Select Graphic Rendition, with the
// colours that every terminal lets its user choose. They are written out here
// because the libraries for it ask the terminal about itself, or build width
// tables, as soon as they are imported: 20 ms before the first line of main.
var hues = map[hue]string{
	hueTitle:     "1",
	hueFail:      "1;31", // bold red
	hueUndecided: "33",   // yellow
	hueUnread:    "35",   // magenta
	hueMedian:    "36",   // cyan
	hueLimit:     "1",
	hueQuiet:     "2",
}

// piece is a run of text in one hue.
type piece struct {
	text string
	hue  hue
}

// paint puts pieces on one line, without spaces at its end.
func paint(pieces []piece, color bool) string {
	for n := len(pieces); n > 0; n-- {
		last := &pieces[n-1]
		if last.text = strings.TrimRight(last.text, " "); last.text != "" {
			break
		}
	}
	var line strings.Builder
	for _, p := range merged(pieces) {
		if style, ok := hues[p.hue]; ok && color && p.text != "" {
			line.WriteString("\x1b[" + style + "m" + p.text + "\x1b[m")
		} else {
			line.WriteString(p.text)
		}
	}
	return line.String()
}

// merged joins neighbours of one hue.
func merged(pieces []piece) []piece {
	var list []piece
	for _, p := range pieces {
		if n := len(list); n > 0 && list[n-1].hue == p.hue {
			list[n-1].text += p.text
		} else {
			list = append(list, p)
		}
	}
	return list
}

// Lines makes text safe for a terminal and breaks it into lines of at most that
// display width, in ASCII alone unless Unicode is wanted.
func Lines(text string, width int, toUnicode bool) []string {
	return wrapText(Clean(text, toUnicode), width)
}

// Clean makes text safe and printable for the terminal: one line, control
// characters shown and not obeyed, nothing that changes the direction of
// writing, and ASCII alone unless Unicode is wanted.
func Clean(text string, toUnicode bool) string {
	text = terminal.OneDirection(oneLine(text))
	if toUnicode {
		return text
	}
	return terminal.ASCII(text)
}

// signs are the characters that the table draws with.
type signs struct {
	eighths            []string // of a cell, from an eighth; the last is full
	median, limit      string
	axis, corner, tick string
	levels             []string // of a bar that is one sign wide, from the lowest
}

var (
	unicodeSigns = signs{
		eighths: []string{"▏", "▎", "▍", "▌", "▋", "▊", "▉", "█"},
		median:  "┊", limit: "│", axis: "─", corner: "├", tick: "┴",
		levels: []string{"▁", "▂", "▃", "▄", "▅", "▆", "▇", "█"},
	}
	asciiSigns = signs{
		eighths: []string{"", "", "", "#", "#", "#", "#", "#"},
		median:  ":", limit: "|", axis: "-", corner: "+", tick: "+",
		levels: []string{"_", ".", "-", "=", "+", "*", "%", "#"},
	}
)

// wrapText breaks text into lines of at most that display width: between
// words, but not between a figure and what belongs to it, and within a word
// only where it is longer than a line.
func wrapText(text string, width int) []string {
	var lines []string
	line := ""
	for _, word := range glued(strings.Fields(text), min(width, longestGlue)) {
		switch {
		case line == "":
			line = word
		case displaywidth.String(line)+1+displaywidth.String(word) <= width:
			line += " " + word
			continue
		default:
			lines = append(lines, line)
			line = word
		}
		if displaywidth.String(line) > width {
			parts := chopped(line, width)
			lines = append(lines, parts[:len(parts)-1]...)
			line = parts[len(parts)-1]
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// chopped cuts a word between characters as people see them, into pieces of at
// most that width.
func chopped(word string, width int) []string {
	pieces, used := []string{""}, 0
	for g := displaywidth.StringGraphemes(word); g.Next(); {
		if used > 0 && used+g.Width() > width {
			pieces, used = append(pieces, ""), 0
		}
		pieces[len(pieces)-1] += g.Value()
		used += g.Width()
	}
	return pieces
}

// longestGlue is how wide a figure may grow before it is broken all the same.
const longestGlue = 24

// glued joins the words that are read as one: "26.1 ± 1.9 mL/min", ">= 100".
func glued(words []string, width int) []string {
	var list []string
	for i, word := range words {
		if i > 0 && belongs(words[i-1], word) {
			if joint := list[len(list)-1] + " " + word; displaywidth.String(joint) <= width {
				list[len(list)-1] = joint
				continue
			}
		}
		list = append(list, word)
	}
	return list
}

func belongs(before, word string) bool {
	switch before {
	case "±", "+/-", ">=", "<=":
		return true
	case "cylinder", "Cylinder":
		return startsWithDigit(word)
	}
	if !startsWithDigit(before) {
		return false
	}
	switch strings.TrimRight(word, ".,;:)") {
	case "±", "+/-", "mL/min", "mL", "s", "bar", "°C", "deg", "rpm", "%", "times":
		return true
	}
	return false
}

func startsWithDigit(word string) bool {
	word = strings.TrimLeft(word, "(-")
	return word != "" && word[0] >= '0' && word[0] <= '9'
}
