package command

import (
	"archive/zip"
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/leakback/entry"
	"leakback/leakback/entry/recorded"
	"leakback/leakback/logbook"
	"leakback/leakback/ooxml"
	"leakback/limits"
)

// bay is a workshop with a logbook of its own.
type bay struct {
	t    testing.TB
	dir  string
	zone *time.Location
}

func newBay(t testing.TB) *bay { return &bay{t, t.TempDir(), time.UTC} }

func (b *bay) path(name string) string { return filepath.Join(b.dir, name) }

// run runs the program and gives its exit code and what it printed.
func (b *bay) run(args ...string) (code int, stdout, stderr string) {
	b.t.Helper()
	var out, messages bytes.Buffer
	env := &environment{stdin: strings.NewReader(""), stdout: &out, stderr: &messages, getenv: func(string) string { return "" },
		logbook: b.path("logbook.db"), place: b.zone, screen: paper}
	code = run(context.Background(), env, args)
	return code, strings.ReplaceAll(out.String(), b.dir+string(filepath.Separator), ""),
		strings.ReplaceAll(messages.String(), b.dir+string(filepath.Separator), "")
}

func (b *bay) does(args ...string) {
	b.t.Helper()
	code, _, stderr := b.run(args...)
	require.Zero(b.t, code, stderr)
}

// same requires that a report tells the logbook's story, and gives what is said.
func (b *bay) same(report string) string {
	b.t.Helper()
	code, stdout, stderr := b.run("logbook", "verify", b.path(report))
	assert.Zero(b.t, code, "%s%s", stdout, stderr)
	assert.Empty(b.t, stderr)
	assert.Contains(b.t, stdout, report+": tells the same story as test ")
	return stdout
}

// other requires that it tells another one, and gives what is said.
func (b *bay) other(report string) string {
	b.t.Helper()
	code, stdout, stderr := b.run("logbook", "verify", b.path(report))
	assert.Equal(b.t, exitFile, code, "%s%s", stdout, stderr)
	assert.Contains(b.t, stderr, "leakback: 1 of 1 report: another story than the logbook's\n")
	assert.NotContains(b.t, stdout, "same story")
	return stdout
}

// records enters a test of two cylinders reading by reading, one of them
// corrected, from a moment on.
func (b *bay) records(from time.Time) string {
	b.t.Helper()
	r := entry.NewReader(strings.NewReader("cylinder,volume_ml\n1,21\n2,22\n"), "two.csv", "two",
		func() entry.Defaults { d := entry.NoDefaults(); d.IntervalS = 60; return d }())
	test, err := r.Next()
	require.NoError(b.t, err)
	sheet, err := limits.Find("", "", func(string) string { return "" }, "")
	require.NoError(b.t, err)
	events := append([]leakback.Event{{Key: leakback.Key{Kind: leakback.KindOpen}, Value: version(), Reason: "bay 1"}},
		recorded.Events(test, leakback.Job{Workshop: "Invented workshop", Customer: "=Invented & Sons"}, sheet)...)
	for _, e := range events {
		if e.Kind == leakback.KindReading && e.Cylinder == 2 {
			e.Value, e.Reason = "22.5", "misread"
			events = append(events, e)
		}
	}
	events = append(events, leakback.Event{Key: leakback.Key{Kind: leakback.KindEnd}, Value: "done"})
	for i := range events {
		events[i].AtUS = from.Add(time.Duration(i) * 7 * time.Second).UnixMicro()
		events[i].Person = "Kim Invented"
	}
	id := logbook.NewTestID()
	b.append(id, events)
	return id
}

func (b *bay) append(id string, events []leakback.Event) {
	b.t.Helper()
	book, err := logbook.Open(b.t.Context(), b.path("logbook.db"), logbook.Options{})
	require.NoError(b.t, err)
	defer book.Close()
	_, err = book.Append(b.t.Context(), id, events)
	require.NoError(b.t, err)
}

// march is a moment of a winter, and april of the summer after it.
var (
	march = time.Date(2026, 3, 20, 9, 41, 12, 345678000, time.UTC)
	april = time.Date(2026, 4, 2, 15, 0, 0, 0, time.UTC)
)

// reportParts are the parts of a workbook.
func reportParts(t testing.TB, path string) []ooxml.Part {
	t.Helper()
	r, err := openReport(path)
	require.NoError(t, err)
	return r.file.Parts
}

// rewritten is the file of parts, some of them changed; one that changes to
// nothing is left out.
func rewritten(t testing.TB, parts []ooxml.Part, change func(name, content string) string) []byte {
	t.Helper()
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for _, p := range parts {
		content := change(p.Name, string(p.Content))
		if content == "" {
			continue
		}
		w, err := z.CreateHeader(&zip.FileHeader{Name: p.Name, Method: zip.Store})
		require.NoError(t, err)
		_, err = io.WriteString(w, content)
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	return out.Bytes()
}

// changed writes a report with some text of one part changed.
func (b *bay) changed(report, name, part, before, after string) {
	b.t.Helper()
	found := false
	data := rewritten(b.t, reportParts(b.t, b.path(report)), func(is, content string) string {
		if is != part {
			return content
		}
		found = strings.Contains(content, before)
		return strings.Replace(content, before, after, 1)
	})
	require.True(b.t, found, "%s: %s", part, before)
	require.NoError(b.t, os.WriteFile(b.path(name), data, 0o600))
}

// edited writes a report that was changed with excelize.
func (b *bay) edited(report, name string, edit func(f *excelize.File)) {
	b.t.Helper()
	f, err := excelize.OpenFile(b.path(report))
	require.NoError(b.t, err)
	defer f.Close()
	edit(f)
	require.NoError(b.t, f.SaveAs(b.path(name)))
}

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
	if kind == "s" {
		write("value", "inlineStr", "", "<is><t>tampered</t></is>")
	} else {
		write("value", kind, formula, "<v>"+value+"1</v>") // of a number one digit more, which may be far behind
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

// What stands around the cells.
func TestVerifyFindsMoreThanCells(t *testing.T) {
	b := newBay(t)
	b.records(march)
	b.does("report", "1", "--output", b.path("report.xlsx"))
	for name, c := range map[string]struct {
		change func(b *bay)
		want   string
	}{
		"added sheet": {func(b *bay) {
			b.edited("report.xlsx", "f.xlsx", func(f *excelize.File) { _, _ = f.NewSheet("Extra") })
		}, "f.xlsx: sheet Extra (shown): the logbook makes no such sheet\n"},
		"hidden sheet": {func(b *bay) {
			b.edited("report.xlsx", "f.xlsx", func(f *excelize.File) {
				_, _ = f.NewSheet("Extra")
				require.NoError(b.t, f.SetSheetVisible("Extra", false))
			})
		}, "f.xlsx: sheet Extra (hidden): the logbook makes no such sheet\n"},
		"sheet hidden": {func(b *bay) {
			b.edited("report.xlsx", "f.xlsx", func(f *excelize.File) { require.NoError(b.t, f.SetSheetVisible("Record", false)) })
		}, "f.xlsx: sheet Record: hidden: the logbook makes it shown\n"},
		"removed sheet": {func(b *bay) {
			b.edited("report.xlsx", "f.xlsx", func(f *excelize.File) { require.NoError(b.t, f.DeleteSheet("Limits")) })
		}, "f.xlsx: sheet Limits: missing\n"},
		"removed record": {func(b *bay) {
			b.edited("report.xlsx", "f.xlsx", func(f *excelize.File) { require.NoError(b.t, f.DeleteSheet("Record")) })
		}, "f.xlsx: sheet Record: missing\n"},
		"renamed sheet": {func(b *bay) {
			b.edited("report.xlsx", "f.xlsx", func(f *excelize.File) { require.NoError(b.t, f.SetSheetName("Method", "How \x1b")) })
		}, "f.xlsx: sheet Method: missing\n"},
		"sheets in another order": {func(b *bay) {
			b.edited("report.xlsx", "f.xlsx", func(f *excelize.File) { require.NoError(b.t, f.MoveSheet("Record", "Report")) })
		}, "f.xlsx: the sheets stand as \"Record, Report, "},
		"a defined name": {func(b *bay) {
			b.edited("report.xlsx", "f.xlsx", func(f *excelize.File) {
				require.NoError(b.t, f.SetDefinedName(&excelize.DefinedName{Name: "extra", RefersTo: "Report!$A$1"}))
			})
		}, "f.xlsx: the name \"extra\": \"Report!$A$1\": the logbook makes it nothing\n"},
		"a bar of the chart": {func(b *bay) {
			b.changed("report.xlsx", "f.xlsx", "xl/charts/chart1.xml", "<c:v>21</c:v>", "<c:v>12</c:v>")
		}, "f.xlsx: the drawing differs: part xl/charts/chart1.xml of the file is not as the logbook makes it\n"},
		"where the drawing stands": {func(b *bay) {
			b.changed("report.xlsx", "f.xlsx", "xl/drawings/drawing1.xml", "<xdr:col>", "<xdr:col>1")
		}, "f.xlsx: the drawing differs: part xl/drawings/drawing1.xml"},
		"a number format": {func(b *bay) {
			b.changed("report.xlsx", "f.xlsx", "xl/styles.xml", `formatCode="0.0"`, `formatCode="&quot;99.9&quot;"`)
		}, ": number format \"\\\"99.9\\\"\": the logbook makes it \"0.0\"\n"},
		"a colour": {func(b *bay) {
			b.changed("report.xlsx", "f.xlsx", "xl/styles.xml", `rgb="FF1F1F1F"`, `rgb="FFFFFFFF"`)
		}, "f.xlsx: the looks of cells differ: part xl/styles.xml"},
		"a hidden row": {func(b *bay) {
			b.changed("report.xlsx", "f.xlsx", "xl/worksheets/sheet6.xml", `<row r="3"`, `<row r="3" hidden="1"`)
		}, "f.xlsx: sheet Record: what is around its cells (look, size, print, protection) is not"},
		"a picture": {func(b *bay) {
			parts := append(reportParts(b.t, b.path("report.xlsx")), ooxml.Part{Name: "xl/media/a b.png", Content: []byte("x")})
			require.NoError(b.t, os.WriteFile(b.path("f.xlsx"), rewritten(b.t, parts, func(_, c string) string { return c }), 0o600))
		}, "f.xlsx: part \"xl/media/a b.png\" of the file: the logbook makes no such part\n"},
		"no chart": {func(b *bay) {
			data := rewritten(b.t, reportParts(b.t, b.path("report.xlsx")), func(name, c string) string {
				if name == "xl/charts/chart1.xml" {
					return ""
				}
				return c
			})
			require.NoError(b.t, os.WriteFile(b.path("f.xlsx"), data, 0o600))
		}, "f.xlsx: part xl/charts/chart1.xml of the file: missing\n"},
		"many cells": {func(b *bay) {
			b.edited("report.xlsx", "f.xlsx", func(f *excelize.File) {
				for row := range 30 {
					require.NoError(b.t, f.SetCellInt("Method", fmt.Sprintf("Z%d", row+1), 1))
				}
			})
		}, "f.xlsx: sheet Method, cell Z20: \"1\": the logbook makes it nothing\nf.xlsx: and 1"},
		"a cell far out": {func(b *bay) {
			b.edited("report.xlsx", "f.xlsx", func(f *excelize.File) { require.NoError(b.t, f.SetCellStr("Method", "ZZ900", "\x07bell")) })
		}, "f.xlsx: sheet Method, cell ZZ900: "},
	} {
		t.Run(name, func(t *testing.T) {
			b := &bay{t, b.dir, b.zone}
			c.change(b)
			said := b.other("f.xlsx")
			assert.Contains(t, said, c.want)
			assert.NotContains(t, said, "\x1b")
		})
	}
}

// What was added to the test later does no harm, nor does another place or
// another number.
func TestVerifyInOtherCircumstances(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	require.NoError(t, err)
	b := newBay(t)
	b.zone = berlin
	b.does("check", "--interval", "60s", "--volumes", "20 21 22", "--log") // takes the number 1
	id := b.records(march)
	b.does("report", "2", "--output", b.path("first.xlsx"))
	b.same("first.xlsx")

	// A correction, and work in another time of the year.
	b.append(id, []leakback.Event{{Key: leakback.Key{Kind: leakback.KindSet, Field: leakback.FieldWorkOrder}, Value: "W-1", AtUS: april.UnixMicro()}})
	assert.Contains(t, b.same("first.xlsx"), "first.xlsx: 1 entry was added to test 2 since\n")
	b.does("report", "2", "--output", b.path("second.xlsx"))
	b.same("second.xlsx")
	b.does("work", "2", "--cylinder", "2", "--injector", "replaced", "--done", "--technician", "Kim Invented")
	assert.Regexp(t, `first\.xlsx: [0-9]+ entries were added to test 2 since\n`, b.same("first.xlsx"))
	b.does("report", "2", "--output", b.path("third.xlsx"))
	b.same("third.xlsx")

	for _, zone := range []*time.Location{time.UTC, time.FixedZone("", 5*3600+1800), time.FixedZone("", 3600)} {
		there := &bay{t, b.dir, zone} // the second has both offsets of Berlin
		for _, report := range []string{"first.xlsx", "second.xlsx", "third.xlsx"} {
			there.same(report)
		}
	}

	copied := &bay{t, t.TempDir(), time.UTC}
	copied.does("check", "--interval", "60s", "--volumes", "25 26 27", "--log")
	copied.does("check", "--interval", "60s", "--volumes", "35 36 37", "--log")
	copied.does("logbook", "copy", b.path("logbook.db"), copied.path("logbook.db"))
	for _, report := range []string{"first.xlsx", "second.xlsx"} {
		data, err := os.ReadFile(b.path(report))
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(copied.path(report), data, 0o600))
		assert.Contains(t, copied.same(report), report+": the report calls it test 2: a number of another logbook, or a changed one\n")
	}

	// Another version of the program.
	require.Equal(t, "0.1.0", version())
	page := reportParts(t, b.path("first.xlsx"))
	data := rewritten(t, page, func(_, c string) string { return strings.ReplaceAll(c, "leakback 0.1.0", "leakback 0.0.9") })
	require.NoError(t, os.WriteFile(b.path("older.xlsx"), data, 0o600))
	assert.Contains(t, b.same("older.xlsx"), "older.xlsx: it says that leakback 0.0.9 wrote it, and this is 0.1.0: differences may come from that\n")
}

// A test that was entered again as if nothing had been: the chain is sound, and
// the report shows it.
func TestVerifyFindsARewrittenLogbook(t *testing.T) {
	b := newBay(t)
	id := b.records(march)
	b.does("report", "1", "--output", b.path("report.xlsx"))
	_, heads, stderr := b.run("logbook", "heads")
	assert.Regexp(t, `^leakback: the digest of this list is [0-9a-f]{64}\n$`, stderr)
	require.NoError(t, os.WriteFile(b.path("heads.txt"), []byte(heads), 0o600))
	code, stdout, _ := b.run("logbook", "verify", "--heads", b.path("heads.txt"))
	assert.Zero(t, code)
	assert.Contains(t, stdout, "logbook.db: sound: 1 test with ")
	assert.Contains(t, stdout, "heads.txt: the logbook has all that the list has: 1 test with ")

	book, err := logbook.Open(t.Context(), b.path("logbook.db"), logbook.Options{})
	require.NoError(t, err)
	events, err := book.Events(t.Context(), id)
	require.NoError(t, err)
	require.NoError(t, book.Close())
	forger := &bay{t, t.TempDir(), time.UTC}
	for i := range events {
		if events[i].Value == "22.5" {
			events[i].Value = "22.4"
		}
	}
	forger.append(id, events)
	data, err := os.ReadFile(b.path("report.xlsx"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(forger.path("report.xlsx"), data, 0o600))
	require.NoError(t, os.WriteFile(forger.path("heads.txt"), []byte(heads), 0o600))
	said := forger.other("report.xlsx")
	assert.Contains(t, said, "no entry of test 1 has it in the logbook\n")
	assert.Contains(t, said, `report.xlsx: sheet Readings, cell C3: "22.5": the logbook makes it "22.4"`)
	code, _, stderr = forger.run("logbook", "verify", "--heads", forger.path("heads.txt"))
	assert.Equal(t, exitFile, code)
	assert.Contains(t, stderr, "the list of heads has another one")
	code, _, _ = forger.run("logbook", "verify")
	assert.Zero(t, code, "by itself it is sound")
}

// Tests of every method, from files, and a repair.
func TestVerifyReportsOfEveryKind(t *testing.T) {
	b := newBay(t)
	demo := root + "/testdata/demo/"
	for _, name := range []string{"idle", "block-off", "one-tube", "overflow"} {
		b.does("check", demo+name+".csv", "--log", "--limits", demo+"northmoor-six-90.toml", "--output", b.path(name+".xlsx"))
		assert.Contains(t, b.same(name+".xlsx"), "and so is the rest of the file\n")
		b.does("check", demo+name+".csv", "--log", "--limits", demo+"northmoor-six-90.toml", "--output", b.path(name+"-again.xlsx"))
		assert.Equal(t, read(t, b.path(name+".xlsx")), read(t, b.path(name+"-again.xlsx")))
	}
	b.does("check", demo+"repair-before.csv", "--log", "--limits", demo+"northmoor-six-90.toml")
	b.does("work", "5", "--cylinder", "4", "--injector", "replaced", "--done", "--technician", "Kim Invented")
	b.does("check", demo+"repair-warm.csv", "--log", "--limits", demo+"northmoor-six-90.toml")
	b.does("retest", "5", "6", "--complaint-gone", "yes", "--viscosity", "40C=2.4", "--viscosity", "100C=1.0", "--output", b.path("repair.xlsx"))
	assert.Contains(t, b.same("repair.xlsx"), "as test 5 (")
	(&bay{t, b.dir, time.FixedZone("", -8*3600)}).same("repair.xlsx")
	b.edited("repair.xlsx", "forged.xlsx", func(f *excelize.File) { require.NoError(t, f.SetCellInt("Comparison", "A11", 7)) })
	assert.Contains(t, b.other("forged.xlsx"), `forged.xlsx: sheet Comparison, cell A11: "7": the logbook makes it "2"`)

	b.does("retest", demo+"repair-before.csv", "6", "--output", b.path("half.xlsx"))
	code, said, _ := b.run("logbook", "verify", b.path("half.xlsx"))
	assert.Zero(t, code)
	assert.Contains(t, said, "half.xlsx: has the readings and entries of test 6 (")
	assert.Contains(t, said, "half.xlsx: sheet Readings1: of a readings file, which cannot be verified\n")
	b.edited("half.xlsx", "forged.xlsx", func(f *excelize.File) { require.NoError(t, f.SetCellInt("Readings2", "D3", 7)) })
	assert.Contains(t, b.other("forged.xlsx"), "forged.xlsx: sheet Readings2, cell D3: ")
	b.does("retest", demo+"repair-before.csv", demo+"repair-warm.csv", "--output", b.path("files.xlsx"))
	code, _, stderr := b.run("logbook", "verify", b.path("files.xlsx"))
	assert.Equal(t, exitBadInput, code)
	assert.Equal(t, "leakback: files.xlsx: "+errNoRecord.Error()+"\n", stderr)
}

func read(t testing.TB, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	return data
}

// Another spreadsheet program writes every part anew, and what stands in the
// cells stays.
func TestVerifySavedByAnotherProgram(t *testing.T) {
	soffice, err := exec.LookPath("soffice")
	if err != nil {
		t.Skip("soffice is not installed: a report that another program saved is not verified")
	}
	b := newBay(t)
	b.records(march)
	b.does("report", "1", "--output", b.path("report.xlsx"))
	b.edited("report.xlsx", "forged.xlsx", func(f *excelize.File) { require.NoError(t, f.SetCellInt("Record", "A3", 7)) })
	saved := t.TempDir()
	out, err := exec.CommandContext(t.Context(), soffice, "-env:UserInstallation=file://"+filepath.ToSlash(t.TempDir()), "--headless",
		"--convert-to", "xlsx", "--outdir", saved, b.path("report.xlsx"), b.path("forged.xlsx")).CombinedOutput()
	require.NoError(t, err, string(out))
	for _, name := range []string{"report.xlsx", "forged.xlsx"} {
		require.NoError(t, os.WriteFile(b.path(name), read(t, filepath.Join(saved, name)), 0o600))
	}
	said := b.same("report.xlsx")
	assert.Contains(t, said, "report.xlsx: saved by another program (\"LibreOffice/")
	assert.Contains(t, said, "only the cells were compared, not drawings and looks\n")
	assert.Contains(t, b.other("forged.xlsx"), `forged.xlsx: sheet Record, cell A3: "7": the logbook makes it "2"`)
}

// What is no report, or no workbook to be trusted, is refused with a reason, and
// does not keep others from being verified.
func TestVerifyRefuses(t *testing.T) {
	b := newBay(t)
	b.records(march)
	b.does("report", "1", "--output", b.path("report.xlsx"))
	b.does("check", "--interval", "60s", "--volumes", "20 21 22", "--output", b.path("plain.xlsx"))
	parts := reportParts(t, b.path("report.xlsx"))
	same := func(_, c string) string { return c }
	with := func(name, content string) []byte {
		return rewritten(t, append(parts[:len(parts):len(parts)], ooxml.Part{Name: name, Content: []byte(content)}), same)
	}
	in := func(part, before, after string) []byte {
		return rewritten(t, parts, func(name, c string) string {
			if name != part {
				return c
			}
			require.Contains(t, c, before)
			return strings.Replace(c, before, after, 1)
		})
	}
	const sheet = "xl/worksheets/sheet1.xml"
	for name, c := range map[string]struct {
		file []byte
		why  ooxml.Refusal
	}{
		"empty":              {nil, ooxml.NoWorkbook},
		"text":               {[]byte("cylinder,volume_ml\n"), ooxml.NoWorkbook},
		"old format":         {[]byte("\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"), ooxml.OldFormat},
		"cut":                {with("a.xml", "<a/>")[:5000], ooxml.Damaged},
		"too long":           {make([]byte, 16<<20+1), ooxml.TooLong},
		"bomb":               {with("xl/media/a.bin", strings.Repeat("\x00", 64<<20)), ooxml.TooLong},
		"macros":             {with("xl/vbaProject.bin", "x"), ooxml.Macros},
		"another workbook":   {with("xl/externalLinks/externalLink1.xml", "<externalLink/>"), ooxml.Links},
		"path upwards":       {with("../evil.xml", "<a/>"), ooxml.Odd},
		"deep":               {with("docProps/custom.xml", strings.Repeat("<a>", 100)+strings.Repeat("</a>", 100)), ooxml.Odd},
		"document type":      {with("docProps/custom.xml", `<!DOCTYPE a [<!ENTITY b "b">]><a>&b;</a>`), ooxml.Odd},
		"no such text":       {in(sheet, `t="s"><v>`, `t="s"><v>9999`), ooxml.Odd},
		"text below 0":       {in(sheet, `t="s"><v>`, `t="s"><v>-`), ooxml.Odd},
		"a cell twice":       {in(sheet, `</c><c r="B1"`, `</c><c r="A1"><v>1</v></c><c r="B1"`), ooxml.Odd},
		"a value twice":      {in(sheet, `</v></c>`, `</v><v>1</v></c>`), ooxml.Odd},
		"a sheet twice":      {in("xl/workbook.xml", `name="Readings"`, `name="Report"`), ooxml.Odd},
		"a name twice":       {in("xl/workbook.xml", `</definedNames>`, `<definedName name="common_cv">1</definedName></definedNames>`), ooxml.Odd},
		"a sheet of nothing": {in("xl/_rels/workbook.xml.rels", `worksheets/sheet3.xml`, `worksheets/sheet33.xml`), ooxml.Odd},
		"an unknown sort":    {in(sheet, `t="s"><v>`, `t="z"><v>`), ooxml.Odd},
		"no number":          {in("xl/worksheets/sheet2.xml", `<v>`, `<v>0y`), ooxml.Odd},
		"broken":             {in(sheet, `</sheetData>`, ``), ooxml.Damaged},
		"last row":           {in(sheet, `</sheetData>`, `<row r="1048576"><c r="A1048576"/></row></sheetData>`), ooxml.TooLarge},
	} {
		t.Run(name, func(t *testing.T) {
			b := &bay{t, b.dir, b.zone}
			require.NoError(t, os.WriteFile(b.path("strange.xlsx"), c.file, 0o600))
			code, stdout, stderr := b.run("logbook", "verify", b.path("strange.xlsx"), b.path("report.xlsx"))
			assert.Equal(t, exitBadInput, code)
			assert.Equal(t, "leakback: strange.xlsx: expected a report as leakback writes it: "+string(c.why)+"\n", stderr)
			assert.Contains(t, stdout, "report.xlsx: tells the same story")
		})
	}

	code, stdout, stderr := b.run("logbook", "verify", b.path("plain.xlsx"))
	assert.Equal(t, exitBadInput, code)
	assert.Empty(t, stdout)
	assert.Equal(t, "leakback: plain.xlsx: "+errNoRecord.Error()+"\n", stderr)
	code, _, stderr = b.run("logbook", "verify", b.path("nothere.xlsx"))
	assert.Equal(t, exitFile, code)
	assert.Contains(t, stderr, "leakback: nothere.xlsx: cannot be read: ")
	code, _, stderr = b.run("logbook", "verify", "--heads", b.path("nothere.txt"))
	assert.Equal(t, exitFile, code)
	assert.Contains(t, stderr, "leakback: nothere.txt: cannot be read: ")
	code, _, stderr = b.run("logbook", "verify", "--heads", b.path("plain.xlsx"))
	assert.Equal(t, exitBadInput, code)
	assert.Contains(t, stderr, "leakback: plain.xlsx: ")
	stranger := &bay{t, t.TempDir(), time.UTC}
	stranger.records(april)
	require.NoError(t, os.WriteFile(stranger.path("report.xlsx"), read(t, b.path("report.xlsx")), 0o600))
	assert.Regexp(t, `^report\.xlsx: test [0-9a-f-]{36}: not in the logbook\n$`, stranger.other("report.xlsx"))
}

// A zone is made again from the offsets that a report has.
func TestTurningZone(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	require.NoError(t, err)
	var turns []turn
	for _, at := range []time.Time{march, april, april.AddDate(0, 9, 0), april.AddDate(30, 0, 0)} {
		_, offset := at.In(berlin).Zone()
		turns = append(turns, turn{at.Unix(), offset})
	}
	zone := turning(turns)
	for _, at := range []time.Time{march.AddDate(-1, 0, 0), march.Add(time.Second), april, april.Add(time.Hour), april.AddDate(0, 9, 1), april.AddDate(30, 0, 1)} {
		want := at.In(berlin)
		if at.Before(march) {
			want = at.In(time.FixedZone("", turns[0].offset))
		}
		assert.Equal(t, want.Format(stampLayout), at.In(zone).Format(stampLayout))
	}
}
