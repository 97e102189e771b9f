package command

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/leakback/logbook"
	"leakback/leakback/ooxml"
)

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
