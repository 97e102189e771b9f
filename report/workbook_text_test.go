package report

import (
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/stretchr/testify/assert"
)

func TestVisible(t *testing.T) {
	for typed, want := range map[string]string{
		"plain":               "plain",
		"two\r\nlines\rand":   "two\nlines\nand",
		"tab\tstays":          "tab\tstays",
		"bell\x07 nul\x00":    "bell␇ nul␀",
		"escape\x1b[31m":      "escape␛[31m",
		"delete\x7f":          "delete␡",
		"next line\u0085":     "next line\ufffd",
		"not UTF-8 \xff\xfe":  "not UTF-8 \ufffd\ufffd",
		"no character \ufffe": "no character \ufffd",
		"🙂 שלום":              "🙂 שלום",
	} {
		assert.Equal(t, want, visible(typed), "%q", typed)
	}
}

func TestChunksHoldWholeCharacters(t *testing.T) {
	text := strings.Repeat("x", cellUnits-1) + strings.Repeat("🙂", cellUnits)
	pieces := chunks(text)
	assert.Equal(t, text, strings.Join(pieces, ""))
	assert.Greater(t, len(pieces), 2)
	for _, piece := range pieces {
		assert.LessOrEqual(t, len(utf16.Encode([]rune(piece))), cellUnits)
		assert.NotContains(t, piece, "\ufffd")
	}
	assert.Equal(t, []string{""}, chunks(""))
}

// The widths are those of the Helvetica metrics that Arial follows (from
// memory: space 278, A 667, W 944, i 222, 0 556 thousandths).
func TestWidth(t *testing.T) {
	f := typeface{size: 10}
	for text, want := range map[string]float64{" ": 2.78, "A": 6.67, "W": 9.44, "i": 2.22, "0": 5.56, "10": 11.12} {
		assert.InDelta(t, want, f.width(text), 1e-9, text)
	}
	assert.Greater(t, typeface{10, true}.width("Verdict"), f.width("Verdict"))
}

func TestWrap(t *testing.T) {
	f := typeface{size: 10}
	wide := func(text string) float64 { return f.width(text)/tolerated + cellPadding + 0.01 }
	for _, c := range []struct {
		text  string
		width float64
		want  []string
	}{
		{"", 50, []string{""}},
		{"one two three", wide("one two"), []string{"one two", "three"}},
		{"one two three", wide("one two three"), []string{"one two three"}},
		{"one\n\ntwo", 500, []string{"one", "", "two"}},
		{"mmmmmm", wide("mmm"), []string{"mmm", "mmm"}},
		{"a mmmmmm", wide("mmm"), []string{"a", "mmm", "mmm"}},
		// Unicode Standard Annex 14 lets a line end behind a hyphen (HY) and a slash (SY).
		{"ww-mmm/mm", wide("ww-mm"), []string{"ww-", "mmm/", "mm"}},
		{"-mmmmm", wide("-mmm"), []string{"-", "mmmm", "m"}},
	} {
		assert.Equal(t, c.want, f.wrap(c.text, c.width), "%q in %g", c.text, c.width)
	}
}

func TestWrapLosesNothing(t *testing.T) {
	text := "The return at cylinder 4 is over the limit, אבג and 🙂🙂🙂 aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa too."
	for width := 20.0; width < 300; width += 7 {
		lines := typeface{size: 9}.wrap(text, width)
		assert.Equal(t, strings.ReplaceAll(text, " ", ""), strings.ReplaceAll(strings.Join(lines, ""), " ", ""))
	}
}

func TestFit(t *testing.T) {
	f := typeface{size: 9}
	text, cut := f.fit("short", 100, 1)
	assert.Equal(t, "short", text)
	assert.False(t, cut)
	long := strings.Repeat("several words ", 3000)
	text, cut = f.fit(long, 100, 3)
	assert.True(t, cut)
	assert.True(t, strings.HasSuffix(text, " …"), text)
	assert.True(t, strings.HasPrefix(long, strings.TrimSuffix(text, " …")))
	assert.Len(t, f.wrap(text, 100), 3)
	text, cut = f.fit(strings.Repeat("\n", 50), 100, 2)
	assert.True(t, cut)
	assert.LessOrEqual(t, len(f.wrap(text, 100)), 2)
}

func TestFooterText(t *testing.T) {
	assert.Equal(t, "A && B", footerText("A & B", 40))
	assert.Equal(t, "one two", footerText("one\ntwo", 40))
	assert.Equal(t, "abc…", footerText("abcdef", 4))
}

func TestFileName(t *testing.T) {
	for path, want := range map[string]string{
		`C:\Users\someone\engine.toml`: "engine.toml", "/home/someone/engine.toml": "engine.toml", "engine.toml": "engine.toml",
	} {
		assert.Equal(t, want, fileName(path))
	}
}
