package screen

import (
	"math"
	"strconv"
	"strings"
)

// glyphs are digits of our own, five rows of dots each, to be read across an
// engine bay.
var glyphs = map[rune][glyphRows]string{
	'0': {"###", "# #", "# #", "# #", "###"},
	'1': {" # ", "## ", " # ", " # ", "###"},
	'2': {"###", "  #", "###", "#  ", "###"},
	'3': {"###", "  #", " ##", "  #", "###"},
	'4': {"# #", "# #", "###", "  #", "  #"},
	'5': {"###", "#  ", "###", "  #", "###"},
	'6': {"###", "#  ", "###", "# #", "###"},
	'7': {"###", "  #", " # ", " # ", " # "},
	'8': {"###", "# #", "###", "# #", "###"},
	'9': {"###", "# #", "###", "  #", "###"},
	':': {" ", "#", " ", "#", " "},
	'+': {"   ", " # ", "###", " # ", "   "},
}

const (
	// glyphRows is how many rows of dots a glyph has.
	glyphRows = 5
	// dotColumns is how many columns make a dot about as wide as it is high.
	dotColumns = 2
)

// large draws a time in digits, each dot scale rows high and twice as many
// columns wide, out of a character.
func large(text string, scale int, dot string) []string {
	var lines []string
	for row := range glyphRows {
		var b strings.Builder
		for i, r := range text {
			if i > 0 {
				b.WriteString(strings.Repeat(" ", dotColumns*scale))
			}
			for _, on := range glyphs[r][row] {
				c := " "
				if on == '#' {
					c = dot
				}
				b.WriteString(strings.Repeat(c, dotColumns*scale))
			}
		}
		for range scale {
			lines = append(lines, strings.TrimRight(b.String(), " "))
		}
	}
	return lines
}

// dots is how many dots wide a time is in digits.
func dots(text string) int {
	n := 0
	for i, r := range text {
		if i > 0 {
			n++
		}
		n += len(glyphs[r][0])
	}
	return n
}

// scaleOf is the largest scale at which a time fits; 0 where none does.
func scaleOf(text string, width, rows int) int {
	return max(0, min(width/(dotColumns*dots(text)), rows/glyphRows))
}

// clock writes whole seconds as minutes and seconds, with hours where there
// are some.
func clock(seconds float64) string {
	s := int(math.Max(0, seconds))
	minutes, s := s/60, s%60
	if minutes < 60 {
		return strconv.Itoa(minutes) + ":" + two(s)
	}
	return strconv.Itoa(minutes/60) + ":" + two(minutes%60) + ":" + two(s)
}

// two writes a number below 100 with two digits.
func two(n int) string {
	return string([]byte{'0' + byte(n/10), '0' + byte(n%10)})
}
