package command

import (
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
)

// The distances are worked by hand; "ca" to "abc" is 3 where two letters are turned
// round at most once and not parted (Damerau 1964 as restricted, from memory).
func TestSlips(t *testing.T) {
	for _, test := range []struct {
		a, b string
		want int
	}{
		{"", "", 0}, {"report", "report", 0}, {"", "plan", 4}, {"plan", "", 4},
		{"reprot", "report", 1}, {"intervall", "interval", 1}, {"chek", "check", 1}, {"lern", "learn", 1},
		{"kitten", "sitting", 3}, {"ca", "abc", 3},
	} {
		assert.Equal(t, test.want, slips(test.a, test.b), "%s and %s", test.a, test.b)
		assert.Equal(t, test.want, slips(test.b, test.a), "%s and %s", test.b, test.a)
	}
}

// A guess is worth a line only where it is likely.
func TestNearest(t *testing.T) {
	names := []string{"check", "record", "report", "retest", "work"}
	for typed, want := range map[string]string{
		"chekc": "check", "RECORD": "record", "rept": "", "wrok": "work", "x": "", "": "", "go": "", "help-me": "",
	} {
		assert.Equal(t, want, nearest(typed, names), "%q", typed)
	}
}

// However long a slip is, what is said of it is short.
func TestFlagFaultsAreShort(t *testing.T) {
	long := strings.Repeat("a燃", 50_000)
	for _, args := range [][]string{
		{"check", "--interval", long}, {"check", "--cylinders", long}, {"check", "--leave-out", long}, {"check", "--exit-code=" + long},
		{"check", "--rpm", long}, {"check", "--" + long}, {"check", "--=" + long}, {"check", "-" + long}, {"plan", "--tube", long}, {long}, {"logbook", long},
	} {
		var out, errs bytes.Buffer
		assert.Equal(t, exitBadInput, run(t.Context(), &environment{stdin: strings.NewReader(""), stdout: &out, stderr: &errs, getenv: func(string) string { return "" }}, args))
		for line := range strings.Lines(errs.String()) {
			assert.Less(t, utf8.RuneCountInString(line), 300, "%.60s", args)
		}
	}
}
