package quantity

import "strings"

// parseClock reads a stopwatch's 1:30 (minutes and seconds) or 1:02:30 in s.
// Every part behind a colon has two digits below 60, so that 1:5 and 0:90,
// which may mean anything, are refused.
func parseClock(text string) (float64, bool) {
	parts := strings.Split(strings.TrimSpace(text), ":")
	if len(parts) < 2 || len(parts) > 3 {
		return 0, false
	}
	var total float64
	for i, part := range parts {
		last := i == len(parts)-1
		x, ok := clockPart(part, last)
		if !ok || i > 0 && (x >= 60 || len(whole(part)) != 2) {
			return 0, false
		}
		total = 60*total + x
	}
	return total, true
}

// clockPart is an unsigned number, whole unless it is the last.
func clockPart(text string, last bool) (float64, bool) {
	if text == "" || !isDigit(text[0]) || !last && len(whole(text)) != len(text) {
		return 0, false
	}
	x, err := number(text, true)
	return x, err == nil
}

// whole is the part of a number before its decimal mark.
func whole(text string) string {
	if i := strings.IndexAny(text, ".,"); i >= 0 {
		return text[:i]
	}
	return text
}

// parseCompound reads 1m30s, 1 min 30 s and 1h5m in s: two or three figures
// from the largest unit down, whole but for the last, and below 60 after the
// first.
func parseCompound(text string) (float64, bool) {
	var total float64
	larger := unit{mul: 24 * 3600}
	rest := strings.TrimSpace(text)
	for parts := 0; ; parts++ {
		if rest == "" {
			return total, parts >= 2
		}
		digits, name, after := nextPart(rest)
		u, known := intervalUnits[canonical(name)]
		x, ok := clockPart(digits, after == "")
		if !known || !ok || u.mul >= larger.mul || parts > 0 && x >= 60 {
			return 0, false
		}
		total, larger, rest = total+u.inside(x), u, after
	}
}

// nextPart parts a figure and its unit from what follows.
func nextPart(text string) (digits, name, after string) {
	digits, name = Split(text)
	end := strings.IndexAny(name, "0123456789")
	if end < 0 {
		return digits, name, ""
	}
	return digits, name[:end], name[end:]
}
