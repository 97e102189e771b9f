package command

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"leakback/leakback/ooxml"
	"leakback/limits/quantity"
)

// quoted is a stranger's word, between quotes where it is none of a program's.
func quoted(text string) string {
	if strings.IndexFunc(text, func(r rune) bool { return r <= ' ' || r > '~' }) < 0 {
		return text
	}
	return quantity.Quote(text)
}

// differenceSaid is a difference in one line.
func differenceSaid(d ooxml.Difference) string {
	sheet := "sheet " + quoted(d.Sheet)
	switch d.Differs {
	case ooxml.CellDiffers:
		first, second := cellsSaid(d.First, d.Second)
		return fmt.Sprintf("%s, cell %s: %s: the logbook makes it %s", sheet, d.Cell, first, second)
	case ooxml.SheetAdded:
		return fmt.Sprintf("%s (%s): the logbook makes no such sheet", sheet, shownOrHidden(d.Hidden))
	case ooxml.SheetMissing:
		return sheet + ": missing"
	case ooxml.SheetHidden:
		return fmt.Sprintf("%s: %s: the logbook makes it %s", sheet, shownOrHidden(d.Hidden), shownOrHidden(!d.Hidden))
	case ooxml.SheetsOrder:
		return fmt.Sprintf("the sheets stand as %s: the logbook makes them %s", quantity.Quote(d.FirstText), quantity.Quote(d.SecondText))
	case ooxml.NameDiffers:
		first, second := quotedPair(d.FirstText, d.SecondText)
		return fmt.Sprintf("the name %s: %s: the logbook makes it %s", quantity.Quote(d.Name), first, second)
	case ooxml.PartAdded:
		return fmt.Sprintf("part %s of the file: the logbook makes no such part", quoted(d.Name))
	case ooxml.PartMissing:
		return fmt.Sprintf("part %s of the file: missing", d.Name)
	}
	return partSaid(d)
}

func shownOrHidden(hidden bool) string {
	if hidden {
		return "hidden"
	}
	return "shown"
}

// partSaid says what people see of a part that differs.
func partSaid(d ooxml.Difference) string {
	what := "is not as the logbook makes it"
	switch {
	case d.Sheet != "":
		return fmt.Sprintf("sheet %s: what is around its cells (look, size, print, protection) %s (part %s of the file)", d.Sheet, what, d.Name)
	case strings.HasPrefix(d.Name, "xl/charts/"), strings.HasPrefix(d.Name, "xl/drawings/"):
		return fmt.Sprintf("the drawing differs: part %s of the file %s", d.Name, what)
	case strings.HasPrefix(d.Name, "xl/styles"), strings.HasPrefix(d.Name, "xl/theme/"):
		return fmt.Sprintf("the looks of cells differ: part %s of the file %s", d.Name, what)
	}
	return fmt.Sprintf("part %s of the file %s", d.Name, what)
}

// cellsSaid are two cells in that in which they differ: the formula, the value, or
// how a number is shown.
func cellsSaid(x, y ooxml.Cell) (string, string) {
	switch a, b := shown(x), shown(y); {
	case x.Formula != y.Formula:
		first, second := quotedPair(x.Formula, y.Formula)
		return byFormula(x, first), byFormula(y, second)
	case a != b:
		return quotedPair(a, b)
	case x.Value != y.Value:
		return quotedPair(x.Value, y.Value)
	case x.Kind != y.Kind:
		return kinds[x.Kind] + " " + quantity.Quote(a), kinds[y.Kind] + " " + quantity.Quote(b)
	}
	first, second := quotedPair(x.Format, y.Format)
	return "number format " + first, second
}

// kinds are sorts of cells in words.
var kinds = map[ooxml.Kind]string{
	ooxml.BlankCell: "nothing", ooxml.NumberCell: "the number", ooxml.TextCell: "the text",
	ooxml.TruthCell: "the truth value", ooxml.FaultCell: "the fault",
}

// byFormula is a cell's value with how it comes about.
func byFormula(c ooxml.Cell, formula string) string {
	value := orNothing(shown(c))
	if c.Formula == "" {
		return value + " without a formula"
	}
	return value + " by the formula " + formula
}

func orNothing(text string) string {
	if text == "" {
		return "nothing"
	}
	return quantity.Quote(text)
}

// plainFormat is a number format that shows a number with so many decimals,
// behind a sign in quotation marks or not.
var plainFormat = regexp.MustCompile(`^(?:"([^"]*)")?0(?:\.(0+))?$`)

// shown is what people see in the cell, where its format is a plain one.
func shown(c ooxml.Cell) string {
	if c.Kind != ooxml.NumberCell {
		return c.Value
	}
	x, err := strconv.ParseFloat(c.Value, 64)
	m := plainFormat.FindStringSubmatch(c.Format)
	if err != nil || m == nil {
		return c.Value
	}
	return m[1] + quantity.Fixed(x, len(m[2]))
}

// quotedPair are two texts between quotes, each from a little before where they
// part.
func quotedPair(a, b string) (string, string) {
	return quotedFrom(a, b), quotedFrom(b, a)
}

// Where a text is cut: it is shown from so many characters before the difference,
// unless that is near its beginning.
const (
	cutFrom = 30
	cutBack = 12
)

func quotedFrom(text, other string) string {
	x, y := []rune(text), []rune(other)
	same := 0
	for same < min(len(x), len(y)) && x[same] == y[same] {
		same++
	}
	if same < cutFrom || text == other {
		return orNothing(text)
	}
	return quantity.Quote("…" + strings.TrimLeft(string(x[same-cutBack:]), " "))
}
