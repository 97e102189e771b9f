package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"unicode"
	"unicode/utf16"
)

// encode writes a value as JSON on one line. Characters that a terminal would obey
// and those that only format are escaped: who looks at the text sees them, and a
// program reads what was typed.
func encode(w io.Writer, v any) error {
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return err
	}
	_, err := w.Write(spelled(out.Bytes()))
	return err
}

// spelled is JSON of one line with what cannot be seen in it as \u and four digits.
// The encoder has escaped what comes before the space.
func spelled(line []byte) []byte {
	if bytes.IndexFunc(line, unseen) < 0 {
		return line
	}
	var out []byte
	for _, r := range string(line) {
		if !unseen(r) {
			out = append(out, string(r)...)
			continue
		}
		for _, unit := range utf16.Encode([]rune{r}) {
			out = fmt.Appendf(out, `\u%04x`, unit)
		}
	}
	return out
}

// unseen says that a character is obeyed or formats, and is not shown.
func unseen(r rune) bool {
	return r >= 0x7f && unicode.In(r, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp)
}
