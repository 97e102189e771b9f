package form

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback/entry"
)

// part is a part of a workbook.
type part struct {
	name    string
	content []byte
}

func partsOf(t testing.TB, book []byte) []part {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(book), int64(len(book)))
	require.NoError(t, err)
	var parts []part
	for _, f := range z.File {
		in, err := f.Open()
		require.NoError(t, err)
		content, err := io.ReadAll(in)
		require.NoError(t, err)
		parts = append(parts, part{f.Name, content})
	}
	return parts
}

func packed(t testing.TB, parts []part) []byte {
	t.Helper()
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	for _, p := range parts {
		w, err := z.Create(p.name)
		require.NoError(t, err)
		_, err = w.Write(p.content)
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	return out.Bytes()
}

// sound is a filled form that is read without a fault.
func sound(t testing.TB) []byte {
	t.Helper()
	book := filledIn(t, six(), entries{"interval_s": "60", "row 1 run 1": "21"})
	_, err := readBytes(book, "idle.xlsx")
	require.NoError(t, err)
	return book
}

// with is a workbook with a part more, or another in its place.
func with(t testing.TB, book []byte, name, content string) []byte {
	t.Helper()
	parts := partsOf(t, book)
	for i := range parts {
		if parts[i].name == name {
			parts[i].content = []byte(content)
			return packed(t, parts)
		}
	}
	return packed(t, append(parts, part{name, []byte(content)}))
}

// replaced is a workbook with some text of a part replaced.
func replaced(t testing.TB, book []byte, name, before, after string) []byte {
	t.Helper()
	for _, p := range partsOf(t, book) {
		if p.name == name {
			require.Contains(t, string(p.content), before)
			return with(t, book, name, strings.Replace(string(p.content), before, after, 1))
		}
	}
	require.Fail(t, "no such part", name)
	return nil
}

const (
	sheetPart = "xl/worksheets/sheet1.xml"
	relsPart  = "xl/_rels/workbook.xml.rels"
	typesPart = "[Content_Types].xml"
)

// relationship is one more of the workbook's.
func relationship(t testing.TB, book []byte, kind, target, mode string) []byte {
	t.Helper()
	return replaced(t, book, relsPart, "</Relationships>",
		fmt.Sprintf(`<Relationship Id="rId99" Type="http://schemas.example/relationships/%s" Target="%s"%s/></Relationships>`, kind, target, mode))
}

// What a stranger's file may not be is refused, with what to do.
func TestHostileFiles(t *testing.T) {
	book := sound(t)
	const external = ` TargetMode="External"`
	zeros := strings.Repeat("0", 3<<20)
	for name, c := range map[string]struct {
		file []byte
		want refusal
	}{
		"empty":           {nil, errNoWorkbook},
		"text":            {[]byte("cylinder,volume_ml\n1,21\n"), errNoWorkbook},
		"encrypted":       {append([]byte("\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"), make([]byte, 600)...), errOldFormat},
		"too long":        {append(bytes.Clone(book), make([]byte, MostBytes)...), errTooLong},
		"truncated":       {book[:len(book)-200], errDamaged},
		"cut":             {book[:100], errDamaged},
		"another archive": {packed(t, []part{{"a.txt", []byte("a")}}), errNoWorkbook},
		"macros":          {with(t, book, "xl/vbaProject.bin", "x"), errMacros},
		"macros, elsewhere": {relationship(t, book, "vbaProject", "theme/x.bin", ""),
			errMacros},
		"macro type":          {replaced(t, book, typesPart, "spreadsheetml.sheet.main", "sheet.macroEnabled.main"), errMacros},
		"macro sheet":         {with(t, book, "xl/macrosheets/sheet1.xml", "<a/>"), errMacros},
		"external workbook":   {with(t, book, "xl/externalLinks/externalLink1.xml", `<externalLink><ddeLink/></externalLink>`), errLinks},
		"external part":       {relationship(t, book, "externalLinkPath", "file:///other.xlsx", external), errLinks},
		"external picture":    {relationship(t, book, "image", "http://example.invalid/a.png", external), errLinks},
		"data connection":     {with(t, book, "xl/connections.xml", "<connections/>"), errLinks},
		"embedded object":     {with(t, book, "xl/embeddings/oleObject1.bin", "x"), errObjects},
		"control":             {with(t, book, "xl/activeX/activeX1.xml", "<a/>"), errObjects},
		"path upwards":        {with(t, book, "../evil.xml", "<a/>"), errOdd},
		"path upwards inside": {with(t, book, "xl/../../evil.xml", "<a/>"), errOdd},
		"absolute path":       {with(t, book, "/etc/evil.xml", "<a/>"), errOdd},
		"drive":               {with(t, book, `C:\evil.xml`, "<a/>"), errOdd},
		"control characters":  {with(t, book, "xl/\x1b[2J.xml", "<a/>"), errOdd},
		"twice":               {packed(t, append(partsOf(t, book), partsOf(t, book)...)), errOdd},
		"twice, other case":   {with(t, book, "XL/WORKBOOK.XML", "<a/>"), errOdd},
		"many parts":          {packed(t, append(partsOf(t, book), manyParts(mostParts)...)), errTooLarge},
		"bomb, one part":      {with(t, book, "xl/media/a.bin", strings.Repeat("\x00", mostUnpacked+1)), errTooLarge},
		"bomb, many parts": {packed(t, append(partsOf(t, book), part{"xl/media/1.bin", []byte(zeros)}, part{"xl/media/2.bin", []byte(zeros)},
			part{"xl/media/3.bin", []byte(zeros)})), errTooLarge},
		"bomb, of XML":  {with(t, book, "docProps/custom.xml", "<a>"+zeros+"</a>"), errTooLarge},
		"deep":          {with(t, book, "docProps/custom.xml", strings.Repeat("<a>", 1000)+strings.Repeat("</a>", 1000)), errOdd},
		"document type": {with(t, book, "docProps/custom.xml", `<!DOCTYPE a [<!ENTITY b "bbbb">]><a>&b;</a>`), errOdd},
		"broken XML":    {with(t, book, sheetPart, "<worksheet><sheetData><row r="), errDamaged},
		"unclosed XML":  {with(t, book, sheetPart, "<worksheet><sheetData>"), errDamaged},
		"last row":      {replaced(t, book, sheetPart, "</sheetData>", `<row r="1048576"><c r="A1048576"/></row></sheetData>`), errTooLarge},
		"last column":   {replaced(t, book, sheetPart, "</sheetData>", `<row r="1999"><c r="XFD1999"/></row></sheetData>`), errTooLarge},
		"wide rows":     {replaced(t, book, sheetPart, "</sheetData>", wideRows()+"</sheetData>"), errTooLarge},
		"wide rows under another name": {
			replaced(t, with(t, book, "xl/other/sheet.xml", "<worksheet><sheetData>"+wideRows()+"</sheetData></worksheet>"),
				relsPart, "worksheets/sheet1.xml", "other/sheet.xml"), errTooLarge},
		"a sheet that is not called XML": {replaced(t, with(t, book, "xl/other/sheet.bin", "<worksheet/>"),
			relsPart, "worksheets/sheet1.xml", "other/sheet.bin"), errOdd},
		"rows not in order": {replaced(t, book, sheetPart, "</sheetData>", `<row r="2"/></sheetData>`), errOdd},
		"cell of another row": {replaced(t, book, sheetPart, "</sheetData>", `<row r="1500"><c r="A1"><v>5</v></c></row></sheetData>`),
			errOdd},
		"many sheets": {replaced(t, book, "xl/workbook.xml", "</sheets>",
			strings.Repeat(`<sheet name="a" sheetId="9" r:id="rId1"/>`, 30)+"</sheets>"), errTooLarge},
	} {
		t.Run(name, func(t *testing.T) {
			started := time.Now()
			_, err := readBytes(c.file, "strange.xlsx")
			var fault *entry.FaultError
			require.ErrorAs(t, err, &fault)
			assert.Equal(t, "strange.xlsx: "+c.want.Error(), err.Error())
			assert.Less(t, time.Since(started), 5*time.Second)
		})
	}
}

func manyParts(n int) []part {
	parts := make([]part, n)
	for i := range parts {
		parts[i] = part{fmt.Sprintf("xl/media/%d.bin", i), nil}
	}
	return parts
}

// wideRows are little text and many cells, once the gaps are filled.
func wideRows() string {
	var b strings.Builder
	for row := 101; row < 2000; row++ {
		fmt.Fprintf(&b, `<row r="%d"><c r="NK%[1]d"/></row>`, row)
	}
	return b.String()
}

// A zip file whose directory says less than there is, is refused by what is
// read, not by what it says.
func TestBombThatLies(t *testing.T) {
	book := with(t, sound(t), "xl/media/a.bin", strings.Repeat("\x00", mostUnpacked+1))
	size := []byte{1, 0, 0x80, 0} // mostUnpacked+1, little-endian
	require.Equal(t, 8<<20+1, mostUnpacked+1)
	at := bytes.LastIndex(book, size)
	require.Positive(t, at)
	copy(book[at:], []byte{9, 0, 0, 0})
	_, err := readBytes(book, "strange.xlsx")
	require.Error(t, err)
	assert.Contains(t, err.Error(), "strange.xlsx: expected ")
}

// What spreadsheet programs add by themselves does no harm.
func TestHarmlessParts(t *testing.T) {
	book := sound(t)
	book = with(t, book, "xl/printerSettings/printerSettings1.bin", "\x00\x01")
	book = with(t, book, "xl/media/image1.png", "\x89PNG")
	book = with(t, book, "customXml/item1.xml", "<a/>")
	book = with(t, book, "xl/comments1.xml", "<comments/>")
	book = relationship(t, book, "hyperlink", "mailto:someone@example.invalid", ` TargetMode="External"`)
	_, err := readBytes(book, "idle.xlsx")
	assert.NoError(t, err)
}

func TestOtherWorkbooks(t *testing.T) {
	f := excelize.NewFile()
	defer f.Close()
	require.NoError(t, f.SetCellStr("Sheet1", "A1", "cylinder"))
	var out bytes.Buffer
	require.NoError(t, f.Write(&out))
	_, err := readBytes(out.Bytes(), "other.xlsx")
	assert.EqualError(t, err, "other.xlsx: expected an entry form; this is another workbook: write a blank form with "+
		"leakback form --output blank.xlsx, or save the readings as CSV (UTF-8)")

	l := newLayout(shapeFor(t, six()))
	marked := func(text string) []byte {
		return edited(t, sound(t), func(f *excelize.File) { require.NoError(t, f.SetCellStr(sheetName, l.marker.cell(), text)) })
	}
	_, err = readBytes(marked("leakback entry form 2: spiral, 6 cylinders"), "new.xlsx")
	assert.EqualError(t, err, "new.xlsx: expected an entry form of version 1 or before; this one is of version 2: read it with a newer leakback")
	for _, marker := range []string{"leakback entry form 1: spiral, 6 cylinders, 3 runs, 0 return lines", "leakback entry form ",
		"leakback entry form 1: individual, 65 cylinders, 3 runs, 0 return lines", "leakback entry form 1: total, 6 cylinders, 9 runs, 0 return lines",
		"leakback entry form 1: block-off, 6 cylinders, 999 runs, 0 return lines", "leakback entry form 1: individual, 0 cylinders, 3 runs, 0 return lines"} {
		_, err = readBytes(marked(marker), "new.xlsx")
		require.Error(t, err, marker)
		assert.Contains(t, err.Error(), "expected the form's first line as it was written")
	}
}

// A panic in what reads a file is an error of the file.
func TestPanicIsAnError(t *testing.T) {
	assert.Equal(t, errDamaged, guarded(func() error { var none []int; _ = none[len(none)]; return nil }))
	assert.NoError(t, guarded(func() error { return nil }))
}

// brokenReader fails as a disk may.
type brokenReader struct{}

func (brokenReader) ReadAt([]byte, int64) (int, error) { return 0, io.ErrClosedPipe }

func TestReaderThatFails(t *testing.T) {
	_, err := Read(brokenReader{}, 100, "idle.xlsx", entry.NoDefaults())
	require.ErrorIs(t, err, io.ErrClosedPipe)
	var fault *entry.FaultError
	assert.NotErrorAs(t, err, &fault)
	_, err = Read(bytes.NewReader(sound(t)), 1<<21, "idle.xlsx", entry.NoDefaults())
	assert.Error(t, err, "shorter than it was said to be")
}

// checkRead holds what Read gives against its promises.
func checkRead(t *testing.T, book []byte) {
	form, err := readBytes(book, "strange.xlsx")
	if err == nil {
		require.NotNil(t, form.Test)
		require.NotEmpty(t, form.Test.Runs)
		return
	}
	require.Nil(t, form)
	var fault *entry.FaultError
	require.ErrorAs(t, err, &fault)
	require.NotContains(t, err.Error(), "\x1b")
}

// Files that were damaged at random are read or refused, and never break the
// program. Seeded.
func TestDamagedFiles(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 9))
	book := sound(t)
	for range 300 {
		damaged := bytes.Clone(book)
		for range 1 + random.IntN(6) {
			damaged[random.IntN(len(damaged))] = byte(random.IntN(256))
		}
		checkRead(t, damaged)
	}
	for range 50 {
		noise := make([]byte, 4+random.IntN(500))
		for i := range noise {
			noise[i] = byte(random.IntN(256))
		}
		copy(noise, "PK\x03\x04")
		checkRead(t, noise)
	}
}

func FuzzRead(f *testing.F) {
	book := sound(f)
	f.Add(book)
	f.Add(book[:len(book)/2])
	f.Add([]byte("PK\x05\x06" + strings.Repeat("\x00", 18)))
	f.Add([]byte("\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"))
	f.Fuzz(checkRead)
}

// FuzzReadSheet changes what a zip file would hide: the sheet and its texts.
func FuzzReadSheet(f *testing.F) {
	book := sound(f)
	parts := map[string]string{}
	for _, p := range partsOf(f, book) {
		parts[p.name] = string(p.content)
	}
	f.Add(parts[sheetPart], parts["xl/sharedStrings.xml"])
	f.Add(`<worksheet><sheetData><row><c t="s"><v>-1</v></c></row></sheetData></worksheet>`, `<sst><si><t>a</t></si></sst>`)
	f.Add(`<worksheet><sheetData><row r="1"><c r="M1" t="inlineStr"><is><t>leakback entry form 1: total, 1 cylinders, 1 runs, 0 return lines</t>`+
		`</is></c></row></sheetData><mergeCells><mergeCell ref="A1:"/></mergeCells></worksheet>`, `<sst/>`)
	f.Fuzz(func(t *testing.T, sheet, texts string) {
		checkRead(t, with(t, with(t, book, sheetPart, sheet), "xl/sharedStrings.xml", texts))
	})
}
