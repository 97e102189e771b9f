package report

import (
	"regexp"
	"strconv"
	"strings"
)

// odometer is how far an engine has come: a figure and its unit, "km", "mi", "h",
// or "" where none was typed.
type odometer struct {
	value float64
	unit  string
}

// odometerText is a figure that may stand behind a word, in groups that may be
// parted by what people part groups with, and a unit that may follow it; a second
// figure, such as the hours behind the kilometres, may follow too.
var odometerText = regexp.MustCompile(`(?i)^(?:about|approx\.?|ca\.?|circa|~|≈)?\s*` +
	`(\d+(?:[ .,'’]\d+)*)\s*([a-z]*)\.?(?:\s*[,;/(].*)?$`)

// odometerUnits are the units by what people call them.
var odometerUnits = map[string]string{
	"": "", "km": "km", "kms": "km", "kilometre": "km", "kilometres": "km", "kilometer": "km", "kilometers": "km",
	"mi": "mi", "mile": "mi", "miles": "mi", "h": "h", "hr": "h", "hrs": "h", "hour": "h", "hours": "h",
}

// parseOdometer reads an odometer, or hours, as people type them: "412 300 km",
// "412.300 km", "8,450.5 h", "256113". Where one sign may part thousands or
// decimals it parts thousands if three digits follow: nobody reads an odometer to
// a metre. What cannot be read is false.
func parseOdometer(text string) (odometer, bool) {
	text = strings.Map(func(r rune) rune {
		if r == '\u00a0' || r == '\u2009' || r == '\u202f' {
			return ' '
		}
		return r
	}, strings.TrimSpace(text))
	found := odometerText.FindStringSubmatch(text)
	if found == nil {
		return odometer{}, false
	}
	unit, known := odometerUnits[strings.ToLower(found[2])]
	value, ok := groupedNumber(found[1])
	return odometer{value, unit}, known && ok
}

// groupedNumber is a figure whose thousands may be parted.
func groupedNumber(text string) (float64, bool) {
	whole, decimals := text, ""
	if i := strings.LastIndexAny(text, ".,"); i >= 0 && isDecimal(text, i) {
		whole, decimals = text[:i], "."+text[i+1:]
	}
	groups := strings.FieldsFunc(whole, func(r rune) bool { return r < '0' || r > '9' })
	for i, g := range groups {
		if i > 0 && len(g) != 3 || i == 0 && len(groups) > 1 && len(g) > 3 {
			return 0, false
		}
	}
	if len(signsOf(whole)) > 1 { // thousands are parted in one way
		return 0, false
	}
	x, err := strconv.ParseFloat(strings.Join(groups, "")+decimals, 64)
	return x, err == nil
}

// isDecimal says whether the sign at i, the last point or comma of a figure,
// parts decimals and not thousands.
func isDecimal(text string, i int) bool {
	if len(text)-i-1 != 3 || strings.ContainsRune(text[i+1:], ' ') {
		return !strings.ContainsAny(text[i+1:], " '’")
	}
	before := signsOf(text[:i])
	return len(before) == 1 && before[0] != rune(text[i])
}

// signsOf are the signs that part a figure, each once.
func signsOf(text string) []rune {
	var signs []rune
	for _, r := range text {
		if (r < '0' || r > '9') && !strings.ContainsRune(string(signs), r) {
			signs = append(signs, r)
		}
	}
	return signs
}
