package frame

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"

	"leakback/leakback"
	"leakback/leakback/entry/ask"
	"leakback/limits/quantity"
)

// Reader makes a field's value of what was typed; expected says what should have
// been typed where that is none.
type Reader func(text string) (value, expected string)

// Words reads a line of text of at most so many characters.
func Words(most int) Reader {
	return func(text string) (string, string) {
		if !quantity.Printable(text) || utf8.RuneCountInString(text) > most {
			return "", fmt.Sprintf("one line of at most %s printable characters", quantity.Grouped(float64(most)))
		}
		return text, ""
	}
}

// OneOf takes an option by its value, in any case, or by its number from 1; what
// is none of them goes to own, where there is one.
func OneOf(options []ask.Option, own Reader) Reader {
	return func(text string) (string, string) {
		for _, o := range options {
			if strings.EqualFold(o.Value, text) {
				return o.Value, ""
			}
		}
		if n, err := strconv.Atoi(text); err == nil && n >= 1 && n <= len(options) {
			return options[n-1].Value, ""
		}
		if own != nil {
			return own(text)
		}
		return "", ask.Alternatives(options)
	}
}

// Expected is what an error about a value expects in the place of text.
func Expected(err error, text string) string {
	var refusal *ask.Refusal
	if errors.As(err, &refusal) {
		return refusal.Expected
	}
	return strings.TrimPrefix(strings.TrimPrefix(err.Error(), quantity.Quote(text)+": "), "expected ")
}

var becauseWord = regexp.MustCompile(`(?i)^(.*?\S)\s+because\s+(\S.*)$`)

// Because parts a text from the reason that stands behind "because"; "" where
// none does. It refuses a reason that is no line of text.
func Because(text string) (rest, reason string, err error) {
	m := becauseWord.FindStringSubmatch(text)
	if m == nil {
		return text, "", nil
	}
	if _, expected := Words(leakback.LongestSentence)(m[2]); expected != "" {
		return text, "", Refuse(text, "as a reason "+expected)
	}
	return m[1], m[2], nil
}
