package command

import (
	"bytes"
	"fmt"
	"regexp"
	"runtime"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback/logbook"
	"leakback/leakback/ooxml"
)

// writtenCell is a cell in which something stands, as the program writes it.
var writtenCell = regexp.MustCompile(`<c r="([A-Z]+[0-9]+)"( s="[0-9]+")?(?: t="(\w+)")?>(<f>[^<]*</f>)?<v>([^<]*)</v></c>`)

// forged are a cell's other contents: another value, and the same value in place
// of its formula.
func forged(cell string) map[string]string {
	m := writtenCell.FindStringSubmatch(cell)
	name, look, kind, formula, value := m[1], m[2], m[3], m[4], m[5]
	all := map[string]string{}
	write := func(what, kind, formula, inside string) {
		if kind != "" {
			kind = ` t="` + kind + `"`
		}
		all[what] = `<c r="` + name + `"` + look + kind + ">" + formula + inside + "</c>"
	}
	switch digits, negative := strings.CutPrefix(value, "-"); {
	case kind == "s":
		write("value", "inlineStr", "", "<is><t>tampered</t></is>")
	case kind != "":
		write("value", kind, formula, "<v>"+value+"1</v>")
	case negative:
		write("value", kind, formula, "<v>-1"+digits+"</v>")
	default: // the last digits of a number are another processor's rounding
		write("value", kind, formula, "<v>1"+value+"</v>")
	}
	if formula != "" {
		write("no formula", kind, "", "<v>"+value+"</v>")
		write("formula", kind, strings.Replace(formula, "<f>", "<f>0+", 1), "<v>"+value+"</v>")
	}
	return all
}

// Every cell of every sheet of a report, one at a time: another value, the value
// alone where a formula was, and of some another formula. Each is found, and
// nothing else is.
func TestVerifyFindsEveryCell(t *testing.T) {
	b := newBay(t)
	b.records(march)
	b.does("report", "1", "--output", b.path("report.xlsx"))
	parts := reportParts(t, b.path("report.xlsx"))
	original, err := openReport(b.path("report.xlsx"))
	require.NoError(t, err)

	type forgery struct{ sheet, cell, part, before, after, what string }
	var forgeries []forgery
	for i, s := range original.book.Sheets {
		part := fmt.Sprintf("xl/worksheets/sheet%d.xml", i+1)
		found := 0
		for _, cell := range writtenCell.FindAllStringSubmatch(string(original.file.Part(part)), -1) {
			if original.book.Sheets[i].Cell(cell[1]).Empty() {
				continue
			}
			found++
			for what, after := range forged(cell[0]) {
				if what == "formula" && found%10 != 0 { // they take their time
					continue
				}
				forgeries = append(forgeries, forgery{s.Name, cell[1], part, cell[0], after, what})
			}
		}
		require.Equal(t, len(s.Cells), found, "all cells of %s", s.Name)
	}
	require.Greater(t, len(forgeries), 900)

	var group sync.WaitGroup
	next := make(chan forgery)
	for range runtime.GOMAXPROCS(0) {
		group.Go(func() {
			for f := range next {
				data := rewritten(t, parts, func(name, content string) string {
					if name == f.part {
						return strings.Replace(content, f.before, f.after, 1)
					}
					return content
				})
				file, err := ooxml.Read(bytes.NewReader(data), int64(len(data)), reportLimits)
				if !assert.NoError(t, err) {
					continue
				}
				r := &openedReport{file: file}
				compared, err := r.against(original.file)
				if !assert.NoError(t, err) || !assert.Len(t, compared.Differences, 1, "%v", f) {
					continue
				}
				assert.Contains(t, differenceSaid(compared.Differences[0]), fmt.Sprintf("sheet %s, cell %s: ", f.sheet, f.cell), "%v", f)
			}
		})
	}
	for _, f := range forgeries {
		next <- f
	}
	close(next)
	group.Wait()
}

// The whole command finds what it goes by itself: the line with the test's id and
// head, the number and time of an entry, the foot with the version.
func TestVerifyFindsWhatItGoesBy(t *testing.T) {
	b := newBay(t)
	id := b.records(march)
	b.records(april)
	b.does("report", "1", "--output", b.path("report.xlsx"))
	r, err := openReport(b.path("report.xlsx"))
	require.NoError(t, err)
	c, ok := r.claim()
	require.True(t, ok)
	require.Equal(t, id, c.id)
	page := r.book.Sheet(reportPage)
	find := func(text string) string {
		for _, name := range page.Names() {
			if strings.Contains(page.Cell(name).Value, text) {
				return name
			}
		}
		require.Fail(t, text)
		return ""
	}
	line, foot := find("Logbook: "), find("leakback "+version())
	for name, f := range map[string]struct{ sheet, cell, text string }{
		"the line":           {"Report", line, "nothing"},
		"the line, emptied":  {"Report", line, ""},
		"the foot":           {"Report", foot, "leakback 9.9.9   readings SHA-256 " + c.head},
		"the digest":         {"Report", foot, "leakback " + version() + "   readings SHA-256 " + strings.Repeat("0", 64)},
		"an entry's number":  {"Record", "A2", "7"},
		"the last number":    {"Record", fmt.Sprintf("A%d", c.rows()+1), "99"},
		"an entry's time":    {"Record", "B3", "2026-03-20 09:41:20 +00:00"},
		"the same, as local": {"Record", "B3", "2026-03-20 09:41:19 +01:00"},
		"no time":            {"Record", "B2", "yesterday"},
		"a reading":          {"Readings", "D3", "22"},
	} {
		t.Run(name, func(t *testing.T) {
			b := &bay{t, b.dir, b.zone}
			b.edited("report.xlsx", "forged.xlsx", func(f0 *excelize.File) { require.NoError(t, f0.SetCellStr(f.sheet, f.cell, f.text)) })
			assert.Contains(t, b.other("forged.xlsx"), fmt.Sprintf("forged.xlsx: sheet %s, cell %s: ", f.sheet, f.cell))
		})
	}
	text := page.Cell(line).Value
	for name, f := range map[string]struct{ before, after, want string }{
		"another head": {c.head, strings.Repeat("ab", 32), "forged.xlsx: SHA-256 of its entries abababababab…: no entry of test 1 has it in the logbook\n"},
		"another id":   {id, logbook.NewTestID(), "not in the logbook\n"},
	} {
		t.Run(name, func(t *testing.T) {
			b := &bay{t, b.dir, b.zone}
			b.edited("report.xlsx", "forged.xlsx", func(f0 *excelize.File) {
				require.NoError(t, f0.SetCellStr("Report", line, strings.Replace(text, f.before, f.after, 1)))
			})
			said := b.other("forged.xlsx")
			assert.Contains(t, said, f.want)
			assert.Contains(t, said, fmt.Sprintf("forged.xlsx: sheet Report, cell %s: ", line))
		})
	}

	// A change to the number alone may be another logbook's, and is said.
	b.changed("report.xlsx", "number.xlsx", "xl/sharedStrings.xml", "Test 1, id ", "Test 17, id ")
	assert.Contains(t, b.same("number.xlsx"), "number.xlsx: the report calls it test 17: a number of another logbook, or a changed one\n")
}
