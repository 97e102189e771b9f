package report

import (
	"sort"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"leakback/leakback/ooxml"
)

// cellUnits is how many UTF-16 units a cell holds (Excel specifications and
// limits: "total number of characters that a cell can contain").
const cellUnits = 32767

// visible is free text as a cell can keep it: line ends become line feeds, and
// every control character becomes a sign that can be seen, because the file
// format has no place for them and dropping them would change what was typed.
func visible(text string) string { return strings.Map(shown, lineEnds.Replace(text)) }

var lineEnds = strings.NewReplacer("\r\n", "\n", "\r", "\n")

// shown is the rune that stands for r in a cell. Invalid UTF-8 arrives here as
// the replacement character already.
func shown(r rune) rune {
	switch {
	case r == '\n', r == '\t':
		return r
	case r < ' ':
		return '\u2400' + r // control pictures
	case r == 0x7f:
		return '\u2421'
	case r >= 0x80 && r < 0xa0, r == 0xfffe, r == 0xffff, r == ooxml.Underscore:
		return utf8.RuneError
	}
	return r
}

// stored is visible text as it is handed to excelize, which escapes an underscore
// that needs it in some places and not in others.
func stored(text string) string { return ooxml.Text(visible(text)) }

// oneLine is visible text without line ends and tabs, for places with one line.
func oneLine(text string) string {
	return strings.Join(strings.Fields(visible(text)), " ")
}

// chunks cuts text into pieces that a cell can hold, never within a character.
func chunks(text string) []string {
	var pieces []string
	start, units := 0, 0
	for i, r := range text {
		width := utf16.RuneLen(r)
		if units+width > cellUnits {
			pieces = append(pieces, text[start:i])
			start, units = i, 0
		}
		units += width
	}
	return append(pieces, text[start:])
}

// advances are the widths of the characters from space to tilde in thousandths
// of the type size, read from Liberation Sans, which is made to measure the
// same as Arial.
var advances = [...]int{
	278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278,
	556, 556, 556, 556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556,
	1015, 667, 667, 722, 722, 667, 611, 778, 722, 278, 500, 667, 556, 833, 722, 778,
	667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 278, 278, 278, 469, 556,
	333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500, 222, 833, 556, 556,
	556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584,
}

// advance is the width of r in points at a type size; wide for what is not in
// the table, because a line too many is only white space.
func advance(r rune, size float64) float64 {
	switch {
	case r >= ' ' && r <= '~':
		return float64(advances[r-' ']) * size / 1000
	case r < 0x1100:
		return 0.67 * size
	}
	return size
}

// typeface is a type size in points, bold or not.
type typeface struct {
	size float64
	bold bool
}

// bolder is how much wider bold text runs, on the large side.
const bolder = 1.09

// width is the width of one line of text in points.
func (f typeface) width(text string) float64 {
	sum := 0.0
	for _, r := range text {
		sum += advance(r, f.size)
	}
	if f.bold {
		return sum * bolder
	}
	return sum
}

// lineHeight is the height of one line in points.
func (f typeface) lineHeight() float64 { return 1.27 * f.size }

// cellPadding is what a cell keeps free at its two sides together, in points.
const cellPadding = 4

// tolerated is the share of a cell's width that text may fill here, because
// programs and printers break lines a little sooner than the table says.
const tolerated = 0.97

// wrap breaks text into the lines that a cell of that width in points shows.
func (f typeface) wrap(text string, width float64) []string {
	width = (width - cellPadding) * tolerated
	var lines []string
	for _, paragraph := range strings.Split(text, "\n") {
		lines = append(lines, f.wrapParagraph(paragraph, width)...)
	}
	return lines
}

// wrapParagraph breaks at spaces, behind hyphens and slashes as programs do
// (Unicode Standard Annex 14, classes HY and SY), and within a word where it is
// too long.
func (f typeface) wrapParagraph(text string, width float64) []string {
	var lines []string
	start, gap, used := 0, -1, 0.0
	scale := 1.0
	if f.bold {
		scale = bolder
	}
	for i, r := range text {
		step := advance(r, f.size) * scale
		if used+step > width && i > start && r != ' ' {
			end := i
			if gap >= start {
				end = gap + 1
			}
			lines = append(lines, strings.TrimRight(text[start:end], " "))
			start, gap = end, -1
			used = f.width(text[start:i])
		}
		if strings.ContainsRune(" -/", r) {
			gap = i
		}
		used += step
	}
	return append(lines, text[start:])
}

// fit shortens text to what that many lines of a cell hold, ending in an
// ellipsis at the end of a word, and says whether it had to.
func (f typeface) fit(text string, width float64, most int) (string, bool) {
	if len(f.wrap(text, width)) <= most {
		return text, false
	}
	runes := []rune(text)
	tooLong := func(n int) bool { return len(f.wrap(string(runes[:n])+" …", width)) > most }
	n := max(sort.Search(len(runes), tooLong)-1, 0)
	kept := strings.TrimRight(string(runes[:n]), " \n\t")
	if space := strings.LastIndexAny(kept, " \n"); space > len(kept)*3/4 {
		kept = strings.TrimRight(kept[:space], " \n\t")
	}
	return kept + " …", true
}
