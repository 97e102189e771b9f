package report

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"maps"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/limits"
	"leakback/report/formula"
)

// formulaCell is a cell with a formula, as a file has it (ECMA-376 part 1,
// 18.3.1.4).
type formulaCell struct {
	Name    string  `xml:"r,attr"`
	Type    string  `xml:"t,attr"`
	Formula *string `xml:"f"`
	Value   *string `xml:"v"`
}

// formulaCells are the cells with formulas of a workbook, by sheet's part and cell.
func formulaCells(t *testing.T, file []byte) map[string]formulaCell {
	t.Helper()
	all := map[string]formulaCell{}
	for name, content := range unzipped(t, file) {
		if !strings.HasPrefix(name, sheetParts) {
			continue
		}
		var sheet struct {
			Cells []formulaCell `xml:"sheetData>row>c"`
		}
		require.NoError(t, xml.Unmarshal(content, &sheet), name)
		for _, c := range sheet.Cells {
			if c.Formula != nil {
				all[strings.TrimSuffix(strings.TrimPrefix(name, sheetParts), ".xml")+" "+c.Name] = c
			}
		}
	}
	return all
}

func unzipped(t *testing.T, file []byte) map[string][]byte {
	t.Helper()
	zr, err := zip.NewReader(bytes.NewReader(file), int64(len(file)))
	require.NoError(t, err)
	parts := map[string][]byte{}
	for _, f := range zr.File {
		r, err := f.Open()
		require.NoError(t, err)
		parts[f.Name], err = io.ReadAll(r)
		require.NoError(t, err)
		require.NoError(t, r.Close())
	}
	return parts
}

// storedValue is the value that a formula's cell keeps.
var storedValue = regexp.MustCompile(`</f><v>[^<]*</v>`)

// forgotten is a workbook whose formulas keep no values, so that whatever a
// program shows for them it has calculated.
func forgotten(t *testing.T, file []byte) []byte {
	t.Helper()
	zr, err := zip.NewReader(bytes.NewReader(file), int64(len(file)))
	require.NoError(t, err)
	var out bytes.Buffer
	zw := zip.NewWriter(&out)
	for _, f := range zr.File {
		r, err := f.Open()
		require.NoError(t, err)
		content, err := io.ReadAll(r)
		require.NoError(t, err)
		if strings.HasPrefix(f.Name, sheetParts) {
			content = storedValue.ReplaceAll(content, []byte("</f>"))
		}
		w, err := zw.Create(f.Name)
		require.NoError(t, err)
		_, err = w.Write(content)
		require.NoError(t, err)
	}
	require.NoError(t, zw.Close())
	return out.Bytes()
}

// alwaysRecalculate is LibreOffice's setting to calculate every formula of a
// file anew when it is loaded.
const alwaysRecalculate = `<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load"><prop oor:name="OOXMLRecalcMode" oor:op="fuse"><value>0</value></prop></item>
</oor:items>`

// recalculated are workbooks by name as LibreOffice writes them after it has
// calculated everything anew, in two starts of it side by side.
func recalculated(t *testing.T, books map[string][]byte) map[string][]byte {
	t.Helper()
	soffice, err := exec.LookPath("soffice")
	if err != nil {
		t.Skip("soffice is not installed: the formulas in another program are not checked")
	}
	names := slices.Sorted(maps.Keys(books))
	to := t.TempDir()
	var group sync.WaitGroup
	for share := range slices.Chunk(names, (len(names)+1)/2) {
		from, profile := t.TempDir(), t.TempDir()
		args := []string{"-env:UserInstallation=file://" + filepath.ToSlash(profile), "--headless", "--convert-to", "xlsx", "--outdir", to}
		for _, name := range share {
			file := filepath.Join(from, name+".xlsx")
			require.NoError(t, os.WriteFile(file, books[name], 0o600))
			args = append(args, file)
		}
		require.NoError(t, os.MkdirAll(filepath.Join(profile, "user"), 0o755))
		require.NoError(t, os.WriteFile(filepath.Join(profile, "user", "registrymodifications.xcu"), []byte(alwaysRecalculate), 0o600))
		group.Go(func() {
			out, err := exec.CommandContext(t.Context(), soffice, args...).CombinedOutput()
			assert.NoError(t, err, "%s", out)
		})
	}
	group.Wait()
	done := map[string][]byte{}
	for _, name := range names {
		done[name], err = os.ReadFile(filepath.Join(to, name+".xlsx"))
		require.NoError(t, err)
	}
	return done
}

// sameValues asserts that formulas with the same text have the values wanted,
// numbers to 1e-9 relative, texts exactly. It gives how many it compared.
func sameValues(t *testing.T, name string, want, formulas, got map[string]formulaCell) int {
	t.Helper()
	compared := 0
	for at, w := range want {
		if f, ok := formulas[at]; !ok || *f.Formula != *w.Formula {
			continue
		}
		compared++
		g := got[at]
		where := fmt.Sprintf("%s, %s: %s", name, at, *w.Formula)
		if !assert.NotNil(t, g.Value, where) {
			continue
		}
		if w.Type == "str" {
			assert.Equal(t, "str", g.Type, where)
			assert.Equal(t, *w.Value, *g.Value, where)
			continue
		}
		if !assert.Contains(t, []string{"", "n"}, g.Type, where) {
			continue
		}
		x, err := strconv.ParseFloat(*w.Value, 64)
		require.NoError(t, err, where)
		y, err := strconv.ParseFloat(*g.Value, 64)
		require.NoError(t, err, where)
		assert.InDelta(t, x, y, 1e-9*math.Abs(x)+1e-12, where)
	}
	return compared
}

func bookOf(t *testing.T, c variedCase) []byte {
	t.Helper()
	r, err := leakback.Evaluate(c.test, c.sheet)
	require.NoError(t, err)
	var out bytes.Buffer
	require.NoError(t, Workbook(&out, &Page{Result: r, Version: "test"}))
	return out.Bytes()
}

// checking are the cells that compare with what was written, which a change makes
// differ.
func checking(cells map[string]formulaCell) map[string]formulaCell {
	kept := map[string]formulaCell{}
	for at, c := range cells {
		if !strings.Contains(*c.Formula, "still_same") && !strings.Contains(*c.Formula, "written_") &&
			!strings.Contains(*c.Formula, "<0.000001") {
			kept[at] = c
		}
	}
	return kept
}

// LibreOffice comes to the values that the file keeps, which are the program's
// (TestWorkingIsTheProgram), for tests of every kind; and again after readings,
// tubes, states and limits were changed in the file, to those that the program
// comes to when they are changed in the test.
func TestWorkingInLibreOffice(t *testing.T) {
	t.Parallel()
	cases := variedCases(56, 2)
	books, want, formulas := map[string][]byte{}, map[string]map[string]formulaCell{}, map[string]map[string]formulaCell{}
	for i, c := range cases {
		file := bookOf(t, c)
		books[c.name] = forgotten(t, file)
		want[c.name] = formulaCells(t, file)
		formulas[c.name] = want[c.name]
		changed, edited := changedCase(t, c, file, i)
		name := c.name + "-changed"
		books[name] = forgotten(t, edited)
		want[name] = checking(formulaCells(t, bookOf(t, changed)))
		formulas[name] = formulas[c.name]
	}
	for name, file := range recalculated(t, books) {
		n := sameValues(t, name, want[name], formulas[name], formulaCells(t, file))
		assert.Greater(t, n, len(want[name])*9/10, name)
	}
}

// changedCase is a case after a change, and its file with the same change.
func changedCase(t *testing.T, c variedCase, file []byte, i int) (variedCase, []byte) {
	t.Helper()
	f, err := excelize.OpenReader(bytes.NewReader(file))
	require.NoError(t, err)
	defer f.Close()
	e := editor{t: t, f: f, c: variedCase{c.name, cloned(c.test), clonedSheet(c.sheet)}}
	e.edit(i)
	var out bytes.Buffer
	require.NoError(t, f.Write(&out))
	return e.c, out.Bytes()
}

func cloned(t *leakback.Test) *leakback.Test {
	c := *t
	c.Runs = slices.Clone(t.Runs)
	for i := range c.Runs {
		c.Runs[i].Readings = slices.Clone(c.Runs[i].Readings)
	}
	return &c
}

func clonedSheet(s *limits.Sheet) *limits.Sheet {
	c := *s
	c.Limits = slices.Clone(s.Limits)
	return &c
}

// editor changes a test and the file that was written of it alike.
type editor struct {
	t *testing.T
	f *excelize.File
	c variedCase
}

// edit makes one of several changes, by turns.
func (e *editor) edit(i int) {
	row := (i*7 + 3) % e.rows()
	switch i % 10 {
	case 0:
		e.volume(row, 47.5, leakback.Exact)
	case 1:
		e.volume(row, 25, leakback.AtLeast)
	case 2:
		e.volume(row, e.reading(row).Tube.GraduationML, leakback.AtMost)
	case 3:
		e.volume(row, math.NaN(), leakback.Exact)
		e.volume((row+1)%e.rows(), 0, leakback.Exact)
	case 4:
		e.ofRun(0, "interval", 45, func(run *leakback.Run) { run.IntervalS = 45 })
	case 5:
		e.limit()
	case 6:
		e.set(row, "mark", 5.0)
		e.set(row, "tolerance", 0.5)
		tube := &e.reading(row).Tube
		tube.GraduationML, tube.ToleranceML = 5, 0.5
	case 7:
		e.ofRun(0, "rail", 290, func(run *leakback.Run) { run.State.RailPressureBar = 290 })
		e.ofRun(0, "fuel", 90, func(run *leakback.Run) { run.State.FuelTempC = 90 })
		e.ofRun(0, "back", 10, func(run *leakback.Run) { run.State.BackPressureBar = 10 })
		e.ofRun(0, "cranks", 3, func(run *leakback.Run) { run.State.Cranks = 3 })
	case 8:
		for k := 0; k < e.rows(); k += 2 {
			e.volume(k, 61.25, leakback.Exact)
		}
	case 9:
		e.volume(row, 30, leakback.Exact)
		e.set(row, "start", 12.5)
		e.reading(row).StartML, e.reading(row).StartRead = 12.5, true
	}
}

func (e *editor) logged() []logged {
	rows, kept := loggedRows(e.c.test)
	return rows[:kept]
}

func (e *editor) rows() int { return len(e.logged()) }

// reading is the reading of a row, from 0.
func (e *editor) reading(row int) *leakback.Reading { return e.logged()[row].reading }

// set changes a cell of the readings sheet that is open to change; nil empties it.
func (e *editor) set(row int, id string, value any) {
	e.t.Helper()
	rows, _ := loggedRows(e.c.test)
	col := slices.IndexFunc(columnsFor(rows), func(c readingColumn) bool { return c.id == id && c.open })
	require.GreaterOrEqual(e.t, col, 0, id)
	require.NoError(e.t, e.f.SetCellValue(sheetReadings, at(col+1, row+2), value))
}

// volume changes a volume as a reader would: a number, or text such as >25.
func (e *editor) volume(row int, ml float64, b leakback.Bound) {
	r := e.reading(row)
	if b == leakback.Exact && !math.IsNaN(ml) && r.StartRead {
		ml = max(ml, r.StartML)
	}
	r.VolumeML, r.Bound = ml, b
	switch v := volumeCell(logged{reading: r}); v.Kind {
	case formula.Blank:
		e.set(row, "volume", nil)
	case formula.Number:
		e.set(row, "volume", v.Number)
	default:
		e.set(row, "volume", " "+strings.Replace(v.Text, ".", ",", 1)+" ")
	}
}

// ofRun changes what every row of a run says of it.
func (e *editor) ofRun(run int, id string, value any, test func(*leakback.Run)) {
	for row, l := range e.logged() {
		if l.run == &e.c.test.Runs[run] {
			e.set(row, id, value)
		}
	}
	test(&e.c.test.Runs[run])
}

// limit changes the figures of the limits sheet.
func (e *editor) limit() {
	e.figure("healthy_cv", 0.06)
	e.c.sheet.Set.HealthyCV = 0.06
	e.figure("within_limit", "fail")
	e.c.sheet.Set.WithinLimit = limits.WithinFail
	for i, l := range candidates(&leakback.Result{Test: e.c.test, Sheet: e.c.sheet}) {
		if e.figure(limitName(i)+"_max_rate_ml_min", 24.5) {
			most := 24.5
			l.MaxRateMLMin = &most
		}
	}
}

// figure changes the cell of a name, and says whether there is one.
func (e *editor) figure(name string, value any) bool {
	for _, n := range e.f.GetDefinedName() {
		if n.Name == name {
			sheet, cell, _ := strings.Cut(strings.ReplaceAll(n.RefersTo, "$", ""), "!")
			require.NoError(e.t, e.f.SetCellValue(sheet, cell, value))
			return true
		}
	}
	return false
}
