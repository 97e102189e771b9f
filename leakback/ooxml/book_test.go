package ooxml_test

import (
	"archive/zip"
	"bytes"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback/ooxml"
)

var wide = ooxml.Limits{Bytes: 1 << 20, Unpacked: 8 << 20, Part: 4 << 20, Parts: 100, Depth: 64, Sheets: 20, Rows: 1000, Columns: 100, Cells: 100_000}

// opened is a workbook with the first sheet's part, and its texts, as given.
func opened(t testing.TB, change map[string]string) (*ooxml.Package, error) {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(book(t, "a")), int64(len(book(t, "a"))))
	require.NoError(t, err)
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	for _, f := range z.File {
		in, err := f.Open()
		require.NoError(t, err)
		content, err := io.ReadAll(in)
		require.NoError(t, err)
		if other, ok := change[f.Name]; ok {
			content = []byte(other)
		}
		part, err := w.Create(f.Name)
		require.NoError(t, err)
		_, err = part.Write(content)
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	return ooxml.Read(bytes.NewReader(out.Bytes()), int64(out.Len()), wide)
}

const (
	sheetPart = "xl/worksheets/sheet1.xml"
	textsPart = "xl/sharedStrings.xml"
	sheetHead = `<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" xmlns:mc="http://schemas.openxmlformats.org/markup-compatibility/2006"><sheetData>`
	sheetFoot = `</sheetData></worksheet>`
)

func sheetOf(t testing.TB, rows string) map[string]ooxml.Cell {
	t.Helper()
	p, err := opened(t, map[string]string{sheetPart: sheetHead + rows + sheetFoot,
		textsPart: `<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><si><t>plain</t></si>` +
			`<si><r><t>ri</t></r><r><rPr/><t>ch</t></r><rPh sb="0" eb="1"><t>hint</t></rPh></si><si><t>_x0041__x005F_x0041_</t></si></sst>`})
	require.NoError(t, err)
	b, err := p.Book()
	require.NoError(t, err)
	return b.Sheets[0].Cells
}

// Cells as the standard has them (ISO/IEC 29500-1, 18.3.1.4 and 18.18.11).
func TestBookReadsEverySortOfCell(t *testing.T) {
	cells := sheetOf(t, `<row r="2"><c t="s"><v>0</v></c><c t="s"><v>1</v></c><c r="D2" t="s"><v>2</v></c><c t="inlineStr"><is><r><t>in</t></r><t>side</t></is></c>`+
		`<c t="b"><v>1</v></c><c t="e"><v>#DIV/0!</v></c><c><v>1.5E-3</v></c><c t="str"><f>A1&amp;""</f><v></v></c><c s="0"/></row>`+
		`<row><c><f>1+1</f><v>2</v></c><mc:AlternateContent><mc:Choice><c r="B3"><v>9</v></c></mc:Choice></mc:AlternateContent></row>`)
	general := func(kind ooxml.Kind, value, formula string) ooxml.Cell {
		return ooxml.Cell{Kind: kind, Value: value, Formula: formula, Format: "General"}
	}
	assert.Equal(t, map[string]ooxml.Cell{
		"A2": general(ooxml.TextCell, "plain", ""), "B2": general(ooxml.TextCell, "rich", ""),
		"D2": general(ooxml.TextCell, "A_x0041_", ""), "E2": general(ooxml.TextCell, "inside", ""),
		"F2": general(ooxml.TruthCell, "1", ""), "G2": general(ooxml.FaultCell, "#DIV/0!", ""),
		"H2": general(ooxml.NumberCell, "1.5E-3", ""), "I2": general(ooxml.TextCell, "", `A1&""`),
		"A3": general(ooxml.NumberCell, "2", "1+1"),
	}, cells)
}

// Formulas that cells share are worked out for each, as the library does.
func TestBookSharedFormulas(t *testing.T) {
	const formula = `SUM($A1,A$1,$A$1,A1:B2)*LOG10(AB12)&"A1"&'A1 B2'!C3&a_name1&X1Y`
	cells := sheetOf(t, `<row r="1"><c r="C1"><f t="shared" ref="C1:D2" si="0">`+strings.NewReplacer("&", "&amp;").Replace(formula)+`</f><v>1</v></c>`+
		`<c r="D1"><f t="shared" si="0"/><v>1</v></c></row><row r="2"><c r="C2"><f t="shared" si="0"/><v>1</v></c></row>`)
	assert.Equal(t, formula, cells["C1"].Formula)
	assert.Equal(t, `SUM($A1,B$1,$A$1,B1:C2)*LOG10(AC12)&"A1"&'A1 B2'!D3&a_name1&X1Y`, cells["D1"].Formula)
	assert.Equal(t, `SUM($A2,A$1,$A$1,A2:B3)*LOG10(AB13)&"A1"&'A1 B2'!C4&a_name1&X1Y`, cells["C2"].Formula)
}

// What says something twice, or nothing, is read as neither.
func TestBookRefusesWhatIsAmbiguous(t *testing.T) {
	for name, rows := range map[string]string{
		"a value twice":       `<row><c><v>1</v><v>2</v></c></row>`,
		"a formula twice":     `<row><c><f>1</f><f>2</f><v>1</v></c></row>`,
		"no such text":        `<row><c t="s"><v>7</v></c></row>`,
		"shared with nothing": `<row><c><f t="shared" si="3"/><v>1</v></c></row>`,
		"a sort of its own":   `<row><c t="x"><v>1</v></c></row>`,
		"no number":           `<row><c><v>1,5</v></c></row>`,
	} {
		p, err := opened(t, map[string]string{sheetPart: sheetHead + rows + sheetFoot})
		require.NoError(t, err, name)
		_, err = p.Book()
		assert.Equal(t, ooxml.Odd, err, name)
	}
}

// A cell or a row under another name than its usual one is there for some programs
// and not for others.
func TestReadRefusesOddNamesOfCells(t *testing.T) {
	for _, rows := range []string{
		`<row r="2"><c r="B02"><v>1</v></c></row>`, `<row r="2"><c r="b2"><v>1</v></c></row>`, `<row r="2"><c r="$B$2"><v>1</v></c></row>`,
		`<row r="02"><c r="B2"><v>1</v></c></row>`, `<row r="+2"><c r="B2"><v>1</v></c></row>`,
	} {
		_, err := opened(t, map[string]string{sheetPart: sheetHead + rows + sheetFoot})
		assert.Equal(t, ooxml.Odd, err, rows)
	}
}

// Little in the file may not become much in memory.
func TestBookRefusesWhatUnfolds(t *testing.T) {
	shared := func(formula string, cells int) string {
		return `<row><c><f t="shared" si="0">` + formula + `</f><v>1</v></c></row>` + strings.Repeat(`<row><c><f t="shared" si="0"/><v>1</v></c></row>`, cells)
	}
	for name, c := range map[string]struct {
		rows string
		want error
	}{
		"a long formula":  {shared(strings.Repeat("A1+", 20_000)+"1", 900), ooxml.Odd},
		"many of one":     {shared(strings.Repeat("$A$1+", 6_000)+"1", 900), ooxml.TooLarge},
		"a long text":     {`<row><c t="inlineStr"><is><t>` + strings.Repeat("a", 200_000) + `</t></is></c></row>`, ooxml.Odd},
		"as many as most": {shared(strings.Repeat("A1+", 900)+"1", 900), nil},
	} {
		p, err := opened(t, map[string]string{sheetPart: sheetHead + c.rows + sheetFoot})
		require.NoError(t, err, name)
		_, err = p.Book()
		assert.Equal(t, c.want, err, name)
	}
}

func TestCompareByCells(t *testing.T) {
	first, err := opened(t, map[string]string{sheetPart: sheetHead + `<row><c><f>1/3</f><v>0.333333333333333</v></c><c><v>5.6E-17</v></c>` +
		`<c t="str"><f>TEXT(1/2)</f><v>0,5</v></c><c><v>1.001</v></c></row>` + sheetFoot,
		"docProps/app.xml": `<Properties xmlns="http://schemas.openxmlformats.org/officeDocument/2006/extended-properties"><Application>Another</Application></Properties>`})
	require.NoError(t, err)
	second, err := opened(t, map[string]string{sheetPart: sheetHead + `<row><c><f>1/3</f><v>0.33333333333333331</v></c><c><v>0</v></c>` +
		`<c t="str"><f>TEXT(1/2)</f><v>0.5</v></c><c><v>1</v></c></row>` + sheetFoot})
	require.NoError(t, err)
	c, err := ooxml.Compare(first, second)
	require.NoError(t, err)
	assert.True(t, c.ByCells)
	assert.Equal(t, "Another", c.Program)
	require.Len(t, c.Differences, 1)
	assert.Equal(t, "D1", c.Differences[0].Cell)
	again, err := ooxml.Compare(second, second)
	require.NoError(t, err)
	assert.Empty(t, again.Differences)
	assert.False(t, again.ByCells)
	assert.Equal(t, 4, again.Cells)
}

// Another processor ends at another last digit, in cells and in what charts carry of
// them: no reason to call a report changed. Every other digit is.
func TestCompareAcrossProcessors(t *testing.T) {
	const chart = "xl/theme/theme1.xml" // a part without cells, as a chart is
	file := func(value, text, point string) *ooxml.Package {
		p, err := opened(t, map[string]string{
			sheetPart: sheetHead + `<row><c><f>1/3</f><v>` + value + `</v></c><c t="str"><v>` + text + `</v></c></row>` + sheetFoot,
			chart:     `<c:v xmlns:c="x" color="FF0E5000">` + point + `</c:v>`,
		})
		require.NoError(t, err)
		return p
	}
	for _, c := range []struct {
		value, text, point string
		differences        int
	}{
		{"1.878048632668139", "1.5 mL", "1.878048632668139", 0},
		{"1.878048632661392", "1.5 mL", "1.878048632661392", 0},
		{"1.8780486326681392", "1.5 mL", "1.87804864", 1},
		{"1.87804864", "1.5 mL", "1.878048632668139", 1},
		{"1.878048632668139", "1.5000000000001 mL", "1.878048632668139", 1},
		{"2", "1.5 mL", "1.878048632668139", 1},
	} {
		found, err := ooxml.Compare(file(c.value, c.text, c.point), file("1.878048632668139", "1.5 mL", "1.878048632668139"))
		require.NoError(t, err)
		assert.Len(t, found.Differences, c.differences, "%v", c)
		assert.False(t, found.ByCells)
	}
	whole, err := ooxml.Compare(file("182400", "", "4000000000"), file("182401", "", "4000000001"))
	require.NoError(t, err)
	assert.NotEmpty(t, whole.Differences, "a count has no rounding")
}

// What the reader gives of a workbook that the library wrote is what the library
// reads of it.
func TestBookReadsWhatTheLibraryReads(t *testing.T) {
	f := excelize.NewFile()
	defer f.Close()
	require.NoError(t, f.SetSheetRow("Sheet1", "B2", &[]any{"text", 1.25, true, "_x0041_"}))
	_, err := f.NewSheet("Hidden one")
	require.NoError(t, err)
	require.NoError(t, f.SetSheetVisible("Hidden one", false))
	require.NoError(t, f.SetDefinedName(&excelize.DefinedName{Name: "here", RefersTo: "Sheet1!$B$2", Scope: "Sheet1"}))
	var out bytes.Buffer
	require.NoError(t, f.Write(&out))
	p, err := ooxml.Read(bytes.NewReader(out.Bytes()), int64(out.Len()), wide)
	require.NoError(t, err)
	b, err := p.Book()
	require.NoError(t, err)
	require.Len(t, b.Sheets, 2)
	assert.True(t, b.Sheet("Hidden one").Hidden)
	assert.Equal(t, map[string]string{"Sheet1!here": "Sheet1!$B$2"}, b.Names)
	assert.Equal(t, []string{"B2", "C2", "D2", "E2"}, b.Sheets[0].Names())
	assert.Equal(t, "1.25", b.Sheets[0].Cell("C2").Value)
}

// A stranger's sheet is read or refused, and never breaks the program.
func FuzzBook(f *testing.F) {
	f.Add(sheetHead+`<row><c t="s"><v>0</v></c></row>`+sheetFoot, `<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><si><t>a</t></si></sst>`)
	f.Add(sheetHead+`<row r="3"><c r="B3"><f t="shared" si="0">A1</f></c><c><f t="shared" si="0"/></c></row>`+sheetFoot, `<sst/>`)
	f.Fuzz(func(t *testing.T, sheet, texts string) {
		p, err := opened(t, map[string]string{sheetPart: sheet, textsPart: texts})
		if err != nil {
			return
		}
		if b, err := p.Book(); err == nil {
			require.Len(t, b.Sheets, 1)
		}
	})
}
