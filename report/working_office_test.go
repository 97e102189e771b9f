package report

import (
	"archive/zip"
	"bytes"
	"encoding/json"
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

// LibreOffice comes to the values that the file keeps and to the program's
// results as JSON has them, for tests of every kind; and again after readings,
// tubes, states and limits were changed in the file, to those that the program
// comes to when they are changed in the test.
func TestWorkingInLibreOffice(t *testing.T) {
	t.Parallel()
	books := map[string][]byte{}
	checks := map[string]func(got map[string]formulaCell){}
	for i, c := range variedCases(56, 2) {
		if !hasFormulas(c) {
			continue
		}
		file := bookOf(t, c)
		written := formulaCells(t, file)
		books[c.name] = forgotten(t, file)
		checks[c.name] = func(got map[string]formulaCell) {
			assert.Equal(t, len(written), sameValues(t, c.name, written, written, got))
			sameJSON(t, c, got)
			assert.True(t, strings.HasPrefix(lineOfPage(t, got), checkHolds), c.name)
		}
		changed, edited := changedCase(t, c, file, i)
		if !hasFormulas(changed) {
			continue
		}
		name := c.name + "-changed"
		books[name] = forgotten(t, edited)
		checks[name] = func(got map[string]formulaCell) {
			want := withoutCheck(formulaCells(t, bookOf(t, changed)))
			assert.Greater(t, sameValues(t, name, want, written, got), len(want)*9/10, name)
			sameJSON(t, changed, got)
			assert.Equal(t, figuresOf(t, c) == figuresOf(t, changed), strings.HasPrefix(lineOfPage(t, got), checkHolds), name)
		}
	}
	books["functions"], checks["functions"] = functionBook(t)
	assert.GreaterOrEqual(t, len(books), 100, "at least fifty, as written and after a change")
	for name, file := range recalculated(t, books) {
		checks[name](formulaCells(t, file))
	}
}

// hasFormulas says that a test can be judged and that its working recomputes it.
func hasFormulas(c variedCase) bool {
	r, err := leakback.Evaluate(c.test, c.sheet)
	return err == nil && recomputed(r)
}

// functionBook is a workbook with every function and operator that formulas use, at
// places where programs might differ.
func functionBook(t *testing.T) ([]byte, func(map[string]formulaCell)) {
	t.Helper()
	b := newBook()
	defer b.file.Close()
	require.NoError(t, b.sheets(sheetReport, sheetReadings, sheetWorking, sheetLimits, sheetMethod))
	w, row := pen{b, sheetReport}, 1
	add := func(template string) {
		w.formula(1, row, template, formula.Here{}, body)
		row++
	}
	for _, template := range []string{`-2^2`, `2^3^2`, `1+2*3^2`, `1/3&""`, `0.1+0.2&"x"`, `(60*13/7)&""`, `123456.789&""`,
		`IF("FAIL"="fail",1,0)`, `IF("a">5,1,0)`, `MID(1/2,2,1)`, `MID("abc",2,99)`, `MID("",2,9)`, `LEFT(TRIM(" >100 "),1)`,
		`LEN("äöü")`, `VALUE(SUBSTITUTE(TRIM("  2,5 "),",","."))`, `FIXED(1234.565,2,1)`, `FIXED(22,1,1)`, `ROUND(1.0000005,6)`,
		`ROUND(-2.5,0)`, `ROUND(37.0000004999,6)`, `INT(-1.5)`, `INT(ROUND(15.9999999,6))`, `MEDIAN(1,2,3,4)`, `MEDIAN(5,1,9)`,
		`SQRT(LN(1+0.15^2))`, `LOG10(2.7+0.7)`, `10^(10^(9.08-3.75*LOG10(313.15)))-0.7`, `EXP(-3.5)`, `ABS(-2)`, `IF(ISERROR(1/0),1,0)`, `IF(AND(1>0,2>1),IF(OR(1>2,2>3),1,2),3)`, `MIN(3,1,2)`, `MAX(3,1,2)`} {
		add(template)
	}
	for _, nu := range []int{1, 2, 3, 8, 9, 15, 16, 31, 47, 100, 1501, 9999, 10000} {
		add(fmt.Sprintf(`TINV(0.1,%d)`, nu))
		for _, x := range []float64{0, 0.001, 0.5, 2.5, 12, 40} {
			add(fmt.Sprintf(`TDIST(%g,%d,1)`, x, nu))
		}
	}
	for k := 1; k <= 63; k += 3 {
		add(fmt.Sprintf(`CHIINV(0.01,%d)`, k))
		add(fmt.Sprintf(`CHIINV(1-0.99^(1/%d),2)`, k+1))
		add(fmt.Sprintf(`NORMSINV((1-0.01)^(1/%d))`, k+2))
		add(fmt.Sprintf(`NORMSINV((1-0.05)^(1/%d))`, k+2))
	}
	require.NoError(t, b.err)
	var out bytes.Buffer
	require.NoError(t, b.file.Write(&out))
	want := formulaCells(t, out.Bytes())
	return forgotten(t, out.Bytes()), func(got map[string]formulaCell) {
		assert.Equal(t, row-1, sameValues(t, "functions", want, want, got))
	}
}

// withoutCheck are the cells that do not ask whether the page's sentences still
// hold.
func withoutCheck(cells map[string]formulaCell) map[string]formulaCell {
	kept := map[string]formulaCell{}
	for at, c := range cells {
		if !strings.Contains(*c.Formula, "still_same") && !strings.Contains(*c.Formula, "written_") &&
			!strings.Contains(*c.Formula, "<0.000001") {
			kept[at] = c
		}
	}
	return kept
}

// lineOfPage is what the page says of its sentences.
func lineOfPage(t *testing.T, cells map[string]formulaCell) string {
	t.Helper()
	for at, c := range cells {
		if strings.HasPrefix(at, "sheet1 ") && strings.Contains(*c.Formula, "still_same") {
			return *c.Value
		}
	}
	t.Fatal("the page does not say whether its sentences hold")
	return ""
}

// figuresOf are the figures and verdicts of a case, to 6 decimals.
func figuresOf(t *testing.T, c variedCase) string {
	t.Helper()
	r, err := leakback.Evaluate(c.test, c.sheet)
	require.NoError(t, err)
	text := fmt.Sprintf("%v %s\n", r.Verdict, appendCodes(nil, r.Findings))
	for i := range r.Cylinders {
		one := &r.Cylinders[i]
		text += fmt.Sprintf("%.5f %.5f %v %s", one.RateMLMin, one.Budget.ExpandedMLMin, one.Verdict, appendCodes(nil, one.Findings))
		if !timed(r) {
			text += fmt.Sprintf(" %.5f", one.RatioToMedian)
		}
	}
	return text
}

// sameJSON holds the cells of a recalculated working against the program's JSON.
func sameJSON(t *testing.T, c variedCase, got map[string]formulaCell) {
	t.Helper()
	b, r := worked(t, c)
	var out bytes.Buffer
	require.NoError(t, JSON(&out, r))
	var want struct {
		Median   *float64 `json:"median_ml_min"`
		Total    *float64 `json:"total_ml_min"`
		Verdict  string
		Findings []struct{ Code string }
		Each     []struct {
			Rate      *float64 `json:"rate_ml_min"`
			Standard  *float64 `json:"standard_uncertainty_ml_min"`
			Median    *float64 `json:"ratio_to_median"`
			Consensus *float64 `json:"ratio_to_consensus"`
			Over      *float64 `json:"probability_over"`
			Verdict   string
			Findings  []struct{ Code string }
		} `json:"cylinders"`
	}
	require.NoError(t, json.Unmarshal(out.Bytes(), &want))
	l := lookup{t, c.name, b.names, got}
	codes := func(findings []struct{ Code string }) string {
		all := make([]string, len(findings))
		for i, f := range findings {
			all[i] = f.Code
		}
		return strings.Join(all, ";")
	}
	l.text(want.Verdict, "test_verdict", 0)
	l.text(codes(want.Findings), "test_findings", 0)
	if timed(r) {
		l.number(want.Median, "shown_median", 0)
		l.number(want.Total, "total_rate", 0)
	}
	for i, one := range want.Each {
		l.text(one.Verdict, "verdict.verdict", i)
		l.text(codes(one.Findings), "verdict.findings", i)
		l.number(one.Median, "ratio.median", i)
		l.number(one.Consensus, "places.ratio", i)
		l.number(one.Over, "rates.probability", i)
		if timed(r) {
			l.number(one.Rate, "mean.rate", i)
			l.number(one.Standard, "budget.standard", i)
		}
	}
}

// lookup finds cells of a recalculated working by the names that formulas use.
type lookup struct {
	t     *testing.T
	where string
	names *formula.Names
	cells map[string]formulaCell
}

// cell is the cell of a name, and whether the working has it.
func (l lookup) cell(name string, i int) (formulaCell, bool) {
	address, ok := l.names.Address(name)
	if !ok {
		var err error
		if address, _, err = l.names.Fill(name, formula.Here{Sheet: sheetWorking, Index: i}); err != nil {
			return formulaCell{}, false
		}
	}
	c, ok := l.cells["sheet3 "+strings.ReplaceAll(address, "$", "")]
	require.True(l.t, ok, "%s: %s at %s", l.where, name, address)
	return c, true
}

func (l lookup) text(want, name string, i int) {
	l.t.Helper()
	c, _ := l.cell(name, i)
	assert.Equal(l.t, want, *c.Value, "%s: %s, row %d", l.where, name, i)
}

func (l lookup) number(want *float64, name string, i int) {
	l.t.Helper()
	c, ok := l.cell(name, i)
	if want == nil || !ok {
		assert.True(l.t, want == nil && (!ok || c.Type == "str" && *c.Value == ""), "%s: %s, row %d: %+v", l.where, name, i, c)
		return
	}
	got, err := strconv.ParseFloat(*c.Value, 64)
	require.NoError(l.t, err, "%s: %s, row %d", l.where, name, i)
	assert.InDelta(l.t, *want, got, 1e-9*math.Abs(*want)+1e-12, "%s: %s, row %d", l.where, name, i)
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
