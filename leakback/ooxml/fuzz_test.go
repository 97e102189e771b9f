package ooxml_test

import (
	"archive/zip"
	"bytes"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback/ooxml"
)

// sample is a workbook with every sort of cell, two sheets and a defined name.
func sample(t testing.TB) []byte {
	t.Helper()
	f := excelize.NewFile()
	defer f.Close()
	f.SetZipWriter(ooxml.Steady)
	require.NoError(t, f.SetSheetRow("Sheet1", "A1", &[]any{"cylinder 1", 21.5, true, "_x0041_", "0.5", "a\n b"}))
	look, err := f.NewStyle(&excelize.Style{NumFmt: 2})
	require.NoError(t, err)
	require.NoError(t, f.SetCellStyle("Sheet1", "B1", "B2", look))
	require.NoError(t, f.SetCellFormula("Sheet1", "B2", "2*B1"))
	require.NoError(t, f.SetCellFormula("Sheet1", "C2", `TEXT(B1,"0.0")&"A1"`))
	_, err = f.NewSheet("Hidden one")
	require.NoError(t, err)
	require.NoError(t, f.SetSheetRow("Hidden one", "C3", &[]any{-1e-7, "mL", 40}))
	require.NoError(t, f.SetSheetVisible("Hidden one", false))
	require.NoError(t, f.SetDefinedName(&excelize.DefinedName{Name: "here", RefersTo: "Sheet1!$B$2"}))
	require.NoError(t, f.SetAppProps(&excelize.AppProperties{Application: "Another"}))
	var out bytes.Buffer
	require.NoError(t, f.Write(&out))
	return out.Bytes()
}

// parts are the parts of a workbook.
func parts(t testing.TB, data []byte) []ooxml.Part {
	t.Helper()
	p, err := read(data)
	require.NoError(t, err)
	return p.Parts
}

func read(data []byte) (*ooxml.Package, error) {
	return ooxml.Read(bytes.NewReader(data), int64(len(data)), wide)
}

// packed is a file of parts, which are not compressed.
func packed(t testing.TB, parts []ooxml.Part) []byte {
	t.Helper()
	var out bytes.Buffer
	w := zip.NewWriter(&out)
	for _, p := range parts {
		part, err := w.CreateHeader(&zip.FileHeader{Name: p.Name, Method: zip.Store})
		require.NoError(t, err)
		_, err = part.Write(p.Content)
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	return out.Bytes()
}

// Whatever bytes are given for a workbook: they are refused, or they are a workbook
// that is like itself, and unlike another one in what is named.
func FuzzRead(f *testing.F) {
	whole := packed(f, parts(f, sample(f)))
	original, err := read(whole)
	require.NoError(f, err)
	for _, data := range [][]byte{whole, sample(f), book(f, "a", "b"), whole[:len(whole)/2], whole[:len(whole)-22], []byte("PK\x03\x04"),
		[]byte("\xd0\xcf\x11\xe0"), nil, append([]byte("PK\x03\x04"), whole...), append(bytes.Clone(whole), whole...)} {
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := read(data)
		if err == nil {
			_, err = p.Book()
		}
		if err != nil {
			require.IsType(t, ooxml.Odd, err)
			return
		}
		c, err := ooxml.Compare(p, p)
		require.NoError(t, err)
		require.Empty(t, c.Differences)
		c, err = ooxml.Compare(p, original)
		require.NoError(t, err)
		require.Equal(t, sameParts(p, original, likeFigures) || c.ByCells && len(c.Differences) == 0, len(c.Differences) == 0)
	})
}

// sameParts says whether two files hold the same.
func sameParts(a, b *ooxml.Package, same func(x, y []byte) bool) bool {
	for _, part := range a.Parts {
		if content := b.Part(part.Name); !bytes.Equal(content, part.Content) && (content == nil || !same(content, part.Content)) {
			return false
		}
	}
	return len(a.Parts) == len(b.Parts)
}

// oneFigure is a number in its text; colours and the like are none.
var oneFigure = regexp.MustCompile(`[0-9.-][0-9.eE+-]*`)

// likeFigures says whether two contents are the same but for one result that only
// rounding tells apart. Told in another way than the comparison does.
func likeFigures(a, b []byte) bool {
	x, y := oneFigure.FindAll(a, -1), oneFigure.FindAll(b, -1)
	if !bytes.Equal(oneFigure.ReplaceAll(a, nil), oneFigure.ReplaceAll(b, nil)) || len(x) != len(y) {
		return false
	}
	for i := range x {
		if bytes.Equal(x[i], y[i]) {
			continue
		}
		p, errP := strconv.ParseFloat(string(x[i]), 64)
		q, errQ := strconv.ParseFloat(string(y[i]), 64)
		if errP != nil || errQ != nil || !bytes.ContainsRune(append(bytes.Clone(x[i]), y[i]...), '.') ||
			math.Abs(p-q) > 1e-12+1e-9*max(math.Abs(p), math.Abs(q)) {
			return false
		}
	}
	return true
}

// Whatever is changed in a part of a workbook: the file is refused, or what differs
// is named. Where only cells are compared, because the file says that another program
// saved it, no change is hidden that a library shows which reads cells in its own way.
func FuzzCompare(f *testing.F) {
	before := parts(f, sample(f))
	original, err := read(packed(f, before))
	require.NoError(f, err)
	shown := cellsShown(packed(f, before))
	require.NotEmpty(f, shown)
	for i, p := range before {
		f.Add(uint8(i), uint16(len(p.Content)/2), uint8(1), "2", false)
		for _, piece := range []string{"<v>", "<f>", "<t>", `r="B1"`, `t="s"`, "<row", "<sheetData>", "<sheet ", `Id="`, "numFmtId", "<si>"} {
			if at := bytes.Index(p.Content, []byte(piece)); at >= 0 {
				f.Add(uint8(i), uint16(at+len(piece)), uint8(0), "1", true)
				f.Add(uint8(i), uint16(at), uint8(len(piece)), "<!-- -->"+piece, true)
				f.Add(uint8(i), uint16(at), uint8(0), "<x:y xmlns:x='z'>"+piece+"</x:y>", false)
			}
		}
	}
	f.Fuzz(func(t *testing.T, which uint8, at uint16, cut uint8, text string, other bool) {
		changed := append([]ooxml.Part{}, before...)
		p := &changed[int(which)%len(changed)]
		from := min(int(at), len(p.Content))
		to := min(from+int(cut), len(p.Content))
		p.Content = []byte(string(p.Content[:from]) + text + string(p.Content[to:]))
		if other {
			saidByAnother(changed)
		}
		data := packed(t, changed)
		file, err := read(data)
		if err == nil {
			_, err = file.Book()
		}
		if err != nil {
			require.IsType(t, ooxml.Odd, err)
			return
		}
		c, err := ooxml.Compare(file, original)
		require.NoError(t, err)
		if !c.ByCells {
			require.Equal(t, sameParts(file, original, likeFigures), len(c.Differences) == 0)
		} else if len(c.Differences) == 0 && p.Name != "[Content_Types].xml" { // the library goes by it, and not by what leads to a part
			requireShownAlike(t, shown, cellsShown(data))
		}
	})
}

// saidByAnother has a file say that another program saved it.
func saidByAnother(parts []ooxml.Part) {
	for i := range parts {
		if parts[i].Name == "docProps/app.xml" {
			parts[i].Content = bytes.Replace(parts[i].Content, []byte("Another"), []byte("A third"), 1)
		}
	}
}

// cellsShown are the cells as excelize reads them; nil where it cannot.
func cellsShown(data []byte) map[string][2]string {
	shown := map[string][2]string{}
	err := ooxml.Guarded(func() error {
		f, err := excelize.OpenReader(bytes.NewReader(data), excelize.Options{RawCellValue: true})
		if err != nil {
			return err
		}
		defer f.Close()
		for _, sheet := range f.GetSheetList() {
			rows, err := f.GetRows(sheet)
			if err != nil {
				return err
			}
			for i, row := range rows {
				for j, value := range row {
					name, err := excelize.CoordinatesToCellName(j+1, i+1)
					if err != nil {
						return err
					}
					formula, err := f.GetCellFormula(sheet, name)
					if err != nil {
						return err
					}
					if value != "" || formula != "" {
						shown[sheet+"!"+name] = [2]string{value, formula}
					}
				}
			}
		}
		return nil
	})
	if err != nil {
		return nil
	}
	return shown
}

// requireShownAlike wants what is shown to be what was, but for what rounding does.
// Of a part that it cannot read the library shows nothing, without a word.
func requireShownAlike(t *testing.T, want, is map[string][2]string) {
	t.Helper()
	for name, shown := range is {
		require.Contains(t, want, name)
		value, formula := want[name][0], want[name][1]
		if shown[1] != "" {
			require.Equal(t, formula, shown[1], "the formula of %s", name)
		}
		a, errA := strconv.ParseFloat(value, 64)
		b, errB := strconv.ParseFloat(shown[0], 64)
		switch {
		case errA == nil && errB == nil:
			require.LessOrEqual(t, math.Abs(a-b), 1e-9*max(math.Abs(a), math.Abs(b))+1e-12, name)
		case formula != "":
			require.Equal(t, strings.ReplaceAll(value, ",", "."), strings.ReplaceAll(shown[0], ",", "."), name)
		case shown[0] != "":
			require.Equal(t, value, shown[0], name)
		}
	}
}
