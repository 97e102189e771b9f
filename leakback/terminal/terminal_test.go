package terminal_test

import (
	"testing"
	"unicode"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"leakback/leakback/terminal"
)

func TestOneLine(t *testing.T) {
	for text, want := range map[string]string{
		"plain":                        "plain",
		"two\nlines\tand more":         "two lines and more",
		"\x1b[31mred\x1b[0m":           "red",
		"\x1b]0;title\x07bell\a":       "bell",
		"\u202eturned\u202c":           "turned",
		"a\xffb":                       "a\uFFFDb",
		"  spaces \u00a0 everywhere  ": "spaces everywhere",
		"\x9b31mC1":                    "\uFFFD31mC1",
	} {
		assert.Equal(t, want, terminal.OneLine(text), "%q", text)
	}
}

func TestASCII(t *testing.T) {
	for text, want := range map[string]string{
		"36.0 ± 2.5 mL/min at 46 °C": "36.0 +/- 2.5 mL/min at 46 deg C",
		"60°, then":                  "60 deg, then",
		"Müller & Łukasz, Straße":    "Muller & Lukasz, Strasse",
		"日本":                         "????",
		"„Øresund“, naïve":           `"Oresund", naive`,
		"before → after ≥ 3 ½":       "before -> after >= 3 1/2",
	} {
		assert.Equal(t, want, terminal.ASCII(text))
		assert.Equal(t, want, terminal.Shown(text, false))
		assert.Equal(t, text, terminal.Shown(text, true))
	}
	assert.Equal(t, "a??b", terminal.InPlace("a日b"), "as wide as before")
}

// Whatever is typed, a terminal obeys none of it.
func TestNothingIsObeyed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := terminal.OneLine(rapid.String().Draw(t, "text") + string(rapid.SliceOf(rapid.Byte()).Draw(t, "bytes")))
		for _, r := range text {
			if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) {
				t.Fatalf("%q", text)
			}
		}
		for _, r := range terminal.ASCII(text) {
			if r > unicode.MaxASCII || unicode.IsControl(r) {
				t.Fatalf("%q", text)
			}
		}
	})
}
