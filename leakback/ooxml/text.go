package ooxml

import (
	"bytes"
	"regexp"
	"strings"
)

// Underscore stands for an underscore that the file must escape, until Parts writes
// it: a noncharacter, which no text contains.
const Underscore = '\U0001fffe'

// Escaped is a part, or a piece of one, with what the file format asks for in the
// place of each Underscore.
func Escaped(part []byte) []byte {
	return bytes.ReplaceAll(part, []byte(string(Underscore)), []byte("_x005F_"))
}

// escaped is what a reader of the file takes for a character's number (ISO/IEC
// 29500-1, 22.9.2.19, ST_Xstring).
var escaped = regexp.MustCompile(`_(x[0-9A-Fa-f]{4}_)`)

// Text is text as SetCellStr must be given it, in a file that Steady writes, so
// that _x0041_ is not read back as A.
func Text(text string) string {
	if !strings.Contains(text, "_x") {
		return text
	}
	// Twice, because the end of one may be the beginning of the next.
	for range 2 {
		text = escaped.ReplaceAllString(text, string(Underscore)+"$1")
	}
	return text
}
