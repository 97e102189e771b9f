package entry

import (
	"path/filepath"
	"strings"
	"unicode"
	"unicode/utf8"

	"leakback/leakback"
)

// TestID is the id of the test in a file that does not name it: the file's
// name without its folder and the ending .csv, .txt or .tsv, and what an id may
// not hold left out; stdin for "-".
func TestID(fileName string) string {
	if fileName == "-" {
		return "stdin"
	}
	name := filepath.Base(fileName)
	switch ext := filepath.Ext(name); strings.ToLower(ext) {
	case ".csv", ".txt", ".tsv":
		name = strings.TrimSuffix(name, ext)
	}
	name = strings.Map(func(r rune) rune {
		if r == utf8.RuneError || !unicode.IsPrint(r) {
			return -1
		}
		return r
	}, name)
	name = strings.TrimLeftFunc(name, func(r rune) bool { return !beginsID(r) })
	if runes := []rune(name); len(runes) > leakback.LongestName {
		name = string(runes[:leakback.LongestName])
	}
	if name = strings.TrimSpace(name); name == "" {
		return "readings"
	}
	return name
}
