package report_test

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/limits"
	"leakback/report"
)

// partsOf are the parts of a workbook by name, and their names in the order of
// the file.
func partsOf(t *testing.T, file []byte) (parts map[string]string, order []string) {
	t.Helper()
	zr, err := zip.NewReader(bytes.NewReader(file), int64(len(file)))
	require.NoError(t, err)
	parts = map[string]string{}
	for _, f := range zr.File {
		r, err := f.Open()
		require.NoError(t, err)
		content, err := io.ReadAll(r)
		require.NoError(t, err)
		require.NoError(t, r.Close())
		require.NotContains(t, parts, f.Name, "a part twice")
		parts[f.Name] = string(content)
		order = append(order, f.Name)
	}
	return parts, order
}

// Equal pages give equal bytes, also when written side by side.
func TestWorkbookIsReproducible(t *testing.T) {
	for name, p := range pages(t) {
		first := workbook(t, p)
		var group sync.WaitGroup
		again := make([][]byte, 6)
		for i := range again {
			group.Go(func() {
				var out bytes.Buffer
				assert.NoError(t, report.Workbook(&out, p))
				again[i] = out.Bytes()
			})
		}
		group.Wait()
		for _, other := range again {
			assert.True(t, bytes.Equal(first, other), name)
		}
	}
	p := pages(t)["six"]
	before := workbook(t, p)
	p.Job.Customer += "."
	assert.False(t, bytes.Equal(before, workbook(t, p)), "another page gives another file")
}

func TestWorkbookDoesNotChangeThePage(t *testing.T) {
	p := pages(t)["sixteen"]
	before := fmt.Sprintf("%+v %+v %+v", *p, *p.Result.Test, p.Result.Cylinders)
	workbook(t, p)
	assert.Equal(t, before, fmt.Sprintf("%+v %+v %+v", *p, *p.Result.Test, p.Result.Cylinders))
}

// relationship is one line of a .rels part (ECMA-376 part 2, Open Packaging
// Conventions).
type relationship struct {
	Type   string `xml:",attr"`
	Target string `xml:",attr"`
	Mode   string `xml:"TargetMode,attr"`
}

// The package holds what it names and names what it holds, and nothing that
// runs or reaches outside.
func TestWorkbookStructure(t *testing.T) {
	for name, p := range pages(t) {
		parts, order := partsOf(t, workbook(t, p))
		assert.Equal(t, []string{"[Content_Types].xml", "_rels/.rels"}, order[:2], name)
		typesAreNamed(t, parts)
		for part, content := range parts {
			wellFormed(t, part, content)
			lower := strings.ToLower(part)
			for _, bad := range []string{"vba", "external", "activex", "embeddings", "printersettings", "customxml", "comments"} {
				assert.NotContains(t, lower, bad, name)
			}
			if strings.HasSuffix(part, ".rels") {
				targetsExist(t, parts, part, content)
			}
		}
	}
}

func wellFormed(t *testing.T, part, content string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(content))
	for {
		if _, err := d.Token(); err != nil {
			assert.ErrorIs(t, err, io.EOF, part)
			return
		}
	}
}

func typesAreNamed(t *testing.T, parts map[string]string) {
	t.Helper()
	var types struct {
		Default []struct {
			Extension string `xml:",attr"`
		}
		Override []struct {
			PartName    string `xml:",attr"`
			ContentType string `xml:",attr"`
		}
	}
	require.NoError(t, xml.Unmarshal([]byte(parts["[Content_Types].xml"]), &types))
	named := map[string]bool{}
	for _, o := range types.Override {
		assert.Contains(t, parts, strings.TrimPrefix(o.PartName, "/"))
		assert.NotContains(t, strings.ToLower(o.ContentType), "macro")
		named[strings.TrimPrefix(o.PartName, "/")] = true
	}
	for _, d := range types.Default {
		assert.NotEqual(t, "bin", d.Extension)
	}
	for part := range parts {
		if strings.HasSuffix(part, ".xml") && part != "[Content_Types].xml" {
			assert.True(t, named[part], "%s has no content type of its own", part)
		}
	}
}

func targetsExist(t *testing.T, parts map[string]string, part, content string) {
	t.Helper()
	var rels struct{ Relationship []relationship }
	require.NoError(t, xml.Unmarshal([]byte(content), &rels))
	folder := path.Dir(path.Dir(part))
	for _, r := range rels.Relationship {
		assert.Empty(t, r.Mode, "%s: a link out of the file: %s", part, r.Target)
		assert.NotContains(t, r.Target, "://", part)
		target := path.Join(folder, r.Target)
		if strings.HasPrefix(r.Target, "/") {
			target = r.Target[1:]
		}
		assert.Contains(t, parts, target, part)
	}
}

func TestWorkbookNamesNoMachine(t *testing.T) {
	parts, _ := partsOf(t, workbook(t, pages(t)["six"]))
	secrets := []string{os.Getenv("USER"), os.Getenv("LOGNAME"), "xuri", "excelize", "someone"}
	if host, err := os.Hostname(); err == nil {
		secrets = append(secrets, host)
	}
	if folder, err := os.Getwd(); err == nil {
		secrets = append(secrets, folder)
	}
	for part, content := range parts {
		for _, secret := range secrets {
			if len(secret) > 3 {
				assert.NotContains(t, strings.ToLower(content), strings.ToLower(secret), part)
			}
		}
	}
}

// hostile are texts that spreadsheet programs take for something else, or that
// their file format has no place for, with what must stand in the cell.
var hostile = map[string]string{
	"formula":       "=1+1",
	"call":          `=HYPERLINK("http://example.invalid","click")`,
	"command":       "=cmd|' /C calc'!A0",
	"plus":          "+49 40 1234",
	"minus":         "-1+2",
	"at":            "@SUM(A1)",
	"number":        "000123",
	"big number":    "1e5",
	"date":          "2024-03-05",
	"quote":         "'=1+1",
	"markup":        `<b>&amp;</b> "quoted" ]]>`,
	"escape":        "_x0041_x0042_ _x000D_ _x005F_ __x0041_",
	"control":       "bell\x07 and \x1b[31mred\x00",
	"not UTF-8":     "caf\xe9",
	"emoji":         "🙂🛠️👩‍🔧",
	"right to left": "מוסך הנמל",
	"mixed":         "Garage مرآب 7",
	"override":      "abc\u202etxt.exe",
	"spaces":        "  leading and trailing  ",
	"ampersand":     "A & B && C",
	"error":         "#REF!",
	"boolean":       "TRUE",
}

var afterCleaning = strings.NewReplacer("\x07", "␇", "\x1b", "␛", "\x00", "␀", "\xe9", "\ufffd")

// hostilePage has one hostile text in every place a user's text can get to.
func hostilePage(t *testing.T, text string) *report.Page {
	test := bayTest(t, typed{"21", "22", "23"})
	test.ID, test.Engine, test.Condition, test.Injectors = text, text, text, ""
	for i := range test.Runs[0].Readings {
		test.Runs[0].Readings[i].Typed, test.Runs[0].Readings[i].ReturnLine = text, text
	}
	test.Runs[0].State.FuelTempAt = text
	sheet := limits.Builtin()
	sheet.Name, sheet.Engine, sheet.Set.Source, sheet.Measurement.Source = text, text, text, text
	sheet.ReturnLines = []limits.ReturnLine{{Name: text, Cylinders: []int{1, 2, 3}}}
	most := 40.0
	sheet.Limits = []limits.Limit{{Condition: text, MaxRateMLMin: &most, Source: text}}
	sheet.Tightening = []limits.Step{{Step: 1, Part: text, TorqueText: text, Source: text}}
	job := leakback.Job{Workshop: text, Technician: text, Customer: text, WorkOrder: text, Vehicle: text, VIN: text,
		Odometer: text, EngineSerial: text, Complaint: text, Tested: text, Note: text}
	p := evaluated(t, test, sheet, job)
	p.Version, p.Digest = text, text
	p.Advice, p.NotSeen, p.Cautions = []string{text}, []string{text}, []string{text}
	return p
}

func TestHostileTextStaysText(t *testing.T) {
	t.Parallel()
	plain := formulas(t, workbook(t, hostilePage(t, "plain")))
	for name, text := range hostile {
		t.Run(name, func(t *testing.T) {
			file := workbook(t, hostilePage(t, text))
			want := afterCleaning.Replace(text)
			f, err := excelize.OpenReader(bytes.NewReader(file))
			require.NoError(t, err)
			defer f.Close()
			for _, label := range []string{"Workshop", "Technician", "Customer", "Work order", "Date and time", "Test", "Vehicle",
				"VIN", "Odometer/hours", "Engine", "Engine serial", "Condition", "Complaint", "Note"} {
				assert.Equal(t, want, fact(t, f, label), label)
			}
			assert.Equal(t, want, raw(t, f, "Readings", "C2"))
			assert.Equal(t, want, raw(t, f, "Readings", "K2"))
			assert.Equal(t, want, raw(t, f, "Limits", "D2"), "the sheet's name")
			isText(t, f, file, want, plain)
			parts, _ := partsOf(t, file)
			for part, content := range parts {
				wellFormed(t, part, content)
			}
			typesAreNamed(t, parts)
		})
	}
}

var (
	formulaText = regexp.MustCompile(`<f>(.*?)</f>`)
	rowNumbers  = regexp.MustCompile(`[0-9]+`)
)

// formulas are the formulas of a workbook without the numbers of rows, which
// texts may push down.
func formulas(t *testing.T, file []byte) map[string]bool {
	t.Helper()
	all := map[string]bool{}
	parts, _ := partsOf(t, file)
	for part, content := range parts {
		for _, found := range formulaText.FindAllStringSubmatch(content, -1) {
			all[part+" "+rowNumbers.ReplaceAllString(found[1], "")] = true
		}
	}
	return all
}

// isText asserts that no formula is made of a user's text, and that every text
// that a user typed alone into a cell is text, and marked as such where a program
// might take it for a formula.
func isText(t *testing.T, f *excelize.File, file []byte, typed string, plain map[string]bool) {
	t.Helper()
	parts, _ := partsOf(t, file)
	for part, content := range parts {
		if strings.HasPrefix(part, "xl/worksheets/") {
			assert.NotContains(t, content, "<f ", part)
			assert.NotContains(t, content, "hyperlink", part)
		}
		assert.NotContains(t, part, "calcChain")
	}
	assert.Equal(t, plain, formulas(t, file), "the same formulas whatever was typed")
	for _, sheet := range f.GetSheetList() {
		rows, err := f.GetRows(sheet, excelize.Options{RawCellValue: true})
		require.NoError(t, err)
		for r, row := range rows {
			for c, text := range row {
				cell := name(t, c+1, r+1)
				kind, err := f.GetCellType(sheet, cell)
				require.NoError(t, err)
				if text == typed {
					require.Equal(t, excelize.CellTypeSharedString, kind, "%s %s: %q", sheet, cell, text)
				}
				if kind != excelize.CellTypeSharedString || text == "" || !strings.ContainsAny(text[:1], "=+-@") {
					continue
				}
				id, err := f.GetCellStyle(sheet, cell)
				require.NoError(t, err)
				quoted := f.Styles.CellXfs.Xf[id].QuotePrefix
				require.True(t, quoted != nil && *quoted, "%s %s: %q", sheet, cell, text)
			}
		}
	}
}

// A text longer than a cell can hold is nowhere cut silently.
func TestTextLongerThanACell(t *testing.T) {
	long := strings.Repeat("0123456789 ", 3636) + "🙂end" // 40,000 units
	p := hostilePage(t, long)
	p.Result.Sheet.Limits[0].Source = long + "source"
	f := written(t, p)
	_, row := find(t, f, "Report", "In full, what the page above shortens")
	rows, err := f.GetRows("Report", excelize.Options{RawCellValue: true})
	require.NoError(t, err)
	full := map[string]string{}
	for _, cells := range rows[row:] {
		require.Greater(t, len(cells), 2)
		full[cells[0]] += cells[2]
	}
	assert.Equal(t, long, full["Complaint"])
	assert.Equal(t, long, full["VIN"])
	kept := false
	for _, text := range full {
		kept = kept || text == long+"source"
	}
	assert.True(t, kept, "the source of a limit")
}

// chartSpace is what a test reads of a chart part (ECMA-376 part 1, DrawingML
// charts).
type chartSpace struct {
	Bars   []chartSeries `xml:"chart>plotArea>barChart>ser"`
	Lines  []chartSeries `xml:"chart>plotArea>lineChart>ser"`
	X      string        `xml:"chart>plotArea>catAx>title>tx>rich>p>r>t"`
	Y      string        `xml:"chart>plotArea>valAx>title>tx>rich>p>r>t"`
	Hidden []chartVal    `xml:"chart>legend>legendEntry>idx"`
}

type chartSeries struct {
	Index chartVal  `xml:"idx"`
	Name  chartRef  `xml:"tx>strRef"`
	None  *struct{} `xml:"spPr>ln>noFill"`
	Cat   chartRef  `xml:"cat>numRef"`
	Val   chartRef  `xml:"val>numRef"`
	Plus  chartRef  `xml:"errBars>plus>numRef"`
	Minus chartRef  `xml:"errBars>minus>numRef"`
	Sign  struct {
		Format string `xml:"formatCode,attr"`
	} `xml:"dLbls>numFmt"`
}

type chartRef struct {
	F      string    `xml:"f"`
	Text   string    `xml:"strCache>pt>v"`
	Count  chartVal  `xml:"numCache>ptCount"`
	Points []chartPt `xml:"numCache>pt"`
}

type chartVal struct {
	Val int `xml:"val,attr"`
}

type chartPt struct {
	Index int     `xml:"idx,attr"`
	Value float64 `xml:"v"`
}

func chartOf(t *testing.T, file []byte) chartSpace {
	t.Helper()
	parts, _ := partsOf(t, file)
	var c chartSpace
	require.NoError(t, xml.Unmarshal([]byte(parts["xl/charts/chart1.xml"]), &c))
	return c
}

// Every point that the chart keeps for programs that do not calculate is what
// stands in the cell it refers to.
func TestChartPointsAreTheCells(t *testing.T) {
	for name, p := range pages(t) {
		file := workbook(t, p)
		f := written(t, p)
		c := chartOf(t, file)
		assert.Equal(t, "cylinder", c.X)
		assert.Equal(t, "return rate, mL/min", c.Y)
		require.NotEmpty(t, c.Bars, name)
		for _, s := range append(c.Bars, c.Lines...) {
			assert.Equal(t, s.Name.Text, raw(t, f, "Report", strings.ReplaceAll(strings.TrimPrefix(s.Name.F, "Report!"), "$", "")))
			pointsAreCells(t, f, s.Cat)
			pointsAreCells(t, f, s.Val)
			if s.Plus.F != "" {
				pointsAreCells(t, f, s.Plus)
				assert.Equal(t, s.Plus, s.Minus)
			}
		}
	}
}

func pointsAreCells(t *testing.T, f *excelize.File, ref chartRef) {
	t.Helper()
	from, to, ok := strings.Cut(strings.ReplaceAll(strings.TrimPrefix(ref.F, "Report!"), "$", ""), ":")
	require.True(t, ok, ref.F)
	col, first, err := excelize.CellNameToCoordinates(from)
	require.NoError(t, err)
	_, last, err := excelize.CellNameToCoordinates(to)
	require.NoError(t, err)
	assert.Equal(t, last-first+1, ref.Count.Val)
	values := map[int]float64{}
	for _, pt := range ref.Points {
		values[pt.Index] = pt.Value
	}
	for row := first; row <= last; row++ {
		x, ok := values[row-first]
		if !ok {
			x = math.NaN()
		}
		number(t, f, "Report", name(t, col, row), x)
	}
}

// points are the values of a series that are above zero, by cylinder.
func (s chartSeries) points(p *report.Page) map[int]float64 {
	all := map[int]float64{}
	for _, pt := range s.Val.Points {
		if pt.Value > 0 {
			all[p.Result.Cylinders[pt.Index-1].Cylinder] = pt.Value
		}
	}
	return all
}

func TestChartSeries(t *testing.T) {
	p := pages(t)["sixteen"]
	c := chartOf(t, workbook(t, p))
	var names, lines []string
	count := 0
	for _, s := range c.Bars {
		names = append(names, s.Name.Text)
		for cylinder, value := range s.points(p) {
			count++
			of := p.Result.Cylinders[cylinder-1]
			assert.Equal(t, report.VerdictWord(of.Verdict), s.Name.Text)
			assert.Equal(t, of.RateMLMin, value)
		}
	}
	assert.Equal(t, []string{"pass", "undecided", "FAIL"}, names, "a word for each fill")
	assert.Equal(t, 16, count)
	for _, s := range c.Lines[:3] {
		lines = append(lines, s.Name.Text)
		assert.Len(t, s.Val.Points, 18, "the lines run past the outer bars")
		assert.Nil(t, s.None)
	}
	assert.Equal(t, []string{"limit 40", "minimum 2", "median 21.0"}, lines)
	whiskers, above, below := c.Lines[3], c.Lines[4], c.Lines[5]
	assert.Len(t, whiskers.points(p), 16)
	for _, pt := range whiskers.Plus.Points {
		if u := p.Result.Cylinders[pt.Index-1].Budget.ExpandedMLMin; !math.IsNaN(u) {
			assert.InEpsilon(t, u, pt.Value, 1e-9)
		}
	}
	assert.Equal(t, map[int]float64{12: 100}, above.points(p))
	assert.Equal(t, map[int]float64{8: 1}, below.points(p))
	assert.Equal(t, []string{`"≥";;`, `"≤";;`}, []string{above.Sign.Format, below.Sign.Format}, "bounds are marked")
	var hidden []chartVal
	for _, s := range c.Lines[3:] {
		hidden = append(hidden, s.Index)
		assert.NotNil(t, s.None, "they only carry whiskers and signs")
	}
	assert.Equal(t, hidden, c.Hidden, "and are not in the legend")
	parts, _ := partsOf(t, workbook(t, p))
	alt := parts["xl/drawings/drawing1.xml"]
	assert.Contains(t, alt, "cylinder 4 61.0 ± 4.1 (FAIL)")
	assert.Contains(t, alt, "Lines: limit 40, minimum 2, median 21.0.")
}

// A set of which nothing was read still has a page and a sound chart.
func TestNothingRead(t *testing.T) {
	p := evaluated(t, bayTest(t, typed{"", "", ""}), limits.Builtin(), leakback.Job{})
	file := workbook(t, p)
	c := chartOf(t, file)
	assert.Len(t, c.Bars, 3)
	for _, s := range append(c.Bars, c.Lines...) {
		assert.Empty(t, s.points(p))
		assert.NotNil(t, append(s.Cat.Points, s.Val.Points...), "an empty frame")
	}
	assert.Len(t, c.Lines, 3)
	assert.Equal(t, "not read", raw(t, written(t, p), "Report", "B"+strconv.Itoa(firstCylinder(t, written(t, p)))))
}

// brokenWriter takes nothing.
type brokenWriter struct{}

var errFull = errors.New("no space left on device")

func (brokenWriter) Write([]byte) (int, error) { return 0, errFull }

func TestWorkbookReportsAFailingWriter(t *testing.T) {
	assert.ErrorIs(t, report.Workbook(brokenWriter{}, pages(t)["six"]), errFull)
}
