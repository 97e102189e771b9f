package form

import (
	"fmt"
	"strings"
	"unicode/utf16"

	"github.com/xuri/excelize/v2"

	"leakback/limits/quantity"
)

// formulaText escapes a formula for the part that holds it.
var formulaText = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;")

// plainText is a formula for the text of a cell with the decimal mark of the
// machine's own, whatever mark it was typed with.
func plainText(cell string, bound bool) string {
	text := cell
	if bound {
		text = fmt.Sprintf(`SUBSTITUTE(SUBSTITUTE(%s,">",""),"<","")`, text)
	}
	return fmt.Sprintf(`SUBSTITUTE(SUBSTITUTE(%s,",","."),".",MID(1/2,2,1))`, text)
}

// formula is true while a cell holds what the span takes. It errs on the side
// of taking: Read looks closer.
func (s *span) formula(cell string) string {
	value := "VALUE(" + plainText(cell, s.bound) + ")"
	low := ">="
	if s.above {
		low = ">"
	}
	test := fmt.Sprintf("IFERROR(AND(%s%s%s,%[1]s<=%[4]s),FALSE)", value, low, quantity.Plain(s.low, -1), quantity.Plain(s.high, -1))
	for _, unit := range s.units {
		test += fmt.Sprintf(`,ISNUMBER(SEARCH("%s",%s))`, unit, cell)
	}
	for _, word := range s.words {
		test += fmt.Sprintf(`,%s="%s"`, cell, word)
	}
	if strings.HasSuffix(test, ",FALSE)") {
		return test
	}
	return "OR(" + test + ")"
}

// expected says what the span takes, for people.
func (s *span) expected() string {
	from := "from"
	if s.above {
		from = "above"
	}
	text := fmt.Sprintf("a number %s %s to %s", from, quantity.Grouped(s.low), quantity.Grouped(s.high))
	if s.whole {
		text = strings.Replace(text, "number", "whole number", 1)
	}
	if s.bound {
		text += " in mL, > before it where the tube overflowed, < where it is below the first mark"
	}
	for _, word := range s.words {
		text += ", or " + word
	}
	return text
}

// rule is what a program checks while a cell is filled in.
func (t taker) rule(cell string) *excelize.DataValidation {
	v := excelize.NewDataValidation(true)
	refuse := excelize.DataValidationErrorStyleStop
	switch {
	case t.number != nil:
		v.Type, v.Formula1 = "custom", formulaText.Replace(t.number.formula(cell))
	case len(t.offered()) > 0:
		// A word that holds a comma cannot be offered in a list.
		_ = v.SetDropList(t.offered())
		if t.own {
			refuse = excelize.DataValidationErrorStyleWarning
		}
	default:
		v.Type, v.Operator, v.Formula1 = "textLength", "lessThanOrEqual", fmt.Sprint(t.text)
	}
	v.SetError(refuse, "Not taken", sentence("expected "+t.expected()))
	return v
}

// offered are the words that a list can offer: within its 255 characters, which
// are counted in UTF-16, and none that the comma between them would part.
func (t taker) offered() []string {
	var list []string
	length := 0
	for _, word := range t.words {
		if length += len(utf16.Encode([]rune(word))) + 1; length > 250 {
			break
		}
		if !strings.ContainsAny(word, `,"`) {
			list = append(list, word)
		}
	}
	return list
}

// expected says what a cell takes.
func (t taker) expected() string {
	switch {
	case t.number != nil:
		return t.number.expected()
	case t.own:
		return "one of " + strings.Join(t.words, ", ") + ", or the shop's own word"
	case t.words != nil:
		return quantity.Listed(t.words, "or")
	}
	return fmt.Sprintf("at most %d characters", t.text)
}

// sentence makes one of an error's words, no longer than a message may be.
func sentence(text string) string {
	return clipped(strings.ToUpper(text[:1])+text[1:], mostMessage-1) + "."
}

// Lengths of a message's title and text (ISO/IEC 29500-1, 18.3.1.32 gives them
// no bound; programs do).
const (
	mostMessageTitle = 32
	mostMessage      = 220
)

// clipped is at most that many characters of text.
func clipped(text string, most int) string {
	if r := []rune(text); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return text
}
