package report

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"fmt"
	"io"
	"maps"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/limits"
)

// validatorVariable names a validator built on the Open XML SDK; .ci/run installs
// it and sets the variable.
const validatorVariable = "LEAKBACK_OOXML_VALIDATOR"

// A validator built on the Open XML SDK finds nothing wrong with workbooks of
// every kind, for the programs of today and for those of 2007.
func TestWorkbooksAreValid(t *testing.T) {
	t.Parallel()
	validator := os.Getenv(validatorVariable)
	if validator == "" {
		t.Skip(validatorVariable + " is not set: workbooks are not held against the Open XML SDK (.ci/run does)")
	}
	books := loggedBooks(t)
	for _, c := range append(variedCases(8, 3), largeCase()) {
		books[c.name] = bookOf(t, c)
	}
	for i, name := range slices.Sorted(maps.Keys(books)) {
		version := []string{"Microsoft365", "Office2007"}[i%2]
		file := filepath.Join(t.TempDir(), name+".xlsx")
		require.NoError(t, os.WriteFile(file, books[name], 0o600))
		out, err := exec.CommandContext(t.Context(), validator, file, "--officeVersion", version).Output()
		var result struct {
			OK     bool
			Errors []struct{ Description, Path, XPath string }
		}
		require.NoError(t, json.Unmarshal(out, &result), "%v: %s", err, out)
		assert.True(t, result.OK, "%s, %s: %+v", name, version, result.Errors)
	}
}

// largeCase is the longest engine that there can be, with a limit of each kind.
func largeCase() variedCase {
	t := &leakback.Test{ID: "large", Condition: "idle", Method: leakback.MethodIndividual, Cylinders: limits.MostCylinders}
	for k := range 2 {
		run := leakback.Run{Number: k + 1, IntervalS: 60, State: leakback.UnknownState()}
		for c := range limits.MostCylinders {
			volume := float64(20 + (c*7+k)%9)
			if c%13 == 5 {
				volume *= 2
			}
			run.Readings = append(run.Readings, leakback.Reading{Cylinder: c + 1, Typed: plainFigure(volume), VolumeML: volume,
				Tube: leakback.Tube{GraduationML: 1, CapacityML: 100, ToleranceML: 1}})
		}
		t.Runs = append(t.Runs, run)
	}
	sheet, most, ratio := limits.Builtin(), 40.0, 1.5
	sheet.Limits = []limits.Limit{{Condition: "idle", MaxRateMLMin: &most, MaxRatioToMedian: &ratio, MaxTotalMLMin: ptr(1700.0),
		MaxDifferenceMLMin: ptr(25.0), Source: "invented"}}
	return variedCase{"large", t, sheet}
}

// The longest engine is worked out as well.
func TestWorkingOfTheLongestEngine(t *testing.T) {
	c := largeCase()
	b, r := worked(t, c)
	sameCylinders(t, c.name, b.names, r)
	sameTest(t, c.name, b.names, r)
	assert.Len(t, b.names.Values("cand", "cost"), 33*34/2, "a row for every way to set up to 32 of 64 aside")
}

// orders are the elements of a part and the order in which ECMA-376 part 1
// demands them: CT_Worksheet (18.3.1.99), CT_Workbook (18.2.27), CT_Stylesheet
// (18.8.39), CT_ChartSpace, CT_Chart and CT_PlotArea (21.2.2.29, 21.2.2.27,
// 21.2.2.145), CT_BarSer and CT_LineSer (21.2.2.15 and 21.2.2.98), CT_ScatterSer,
// CT_DLbl and CT_Scaling in the same part.
var orders = map[string]string{
	"worksheet": "sheetPr dimension sheetViews sheetFormatPr cols sheetData sheetCalcPr sheetProtection protectedRanges scenarios " +
		"autoFilter sortState dataConsolidate customSheetViews mergeCells phoneticPr conditionalFormatting dataValidations hyperlinks " +
		"printOptions pageMargins pageSetup headerFooter rowBreaks colBreaks customProperties cellWatches ignoredErrors smartTags drawing " +
		"legacyDrawing legacyDrawingHF drawingHF picture oleObjects controls webPublishItems tableParts extLst",
	"c": "f v is extLst",
	"workbook": "fileVersion fileSharing workbookPr workbookProtection bookViews sheets functionGroups externalReferences definedNames " +
		"calcPr oleSize customWorkbookViews pivotCaches smartTagPr smartTagTypes webPublishing fileRecoveryPr webPublishObjects extLst",
	"styleSheet": "numFmts fonts fills borders cellStyleXfs cellXfs cellStyles dxfs tableStyles colors extLst",
	"xf":         "alignment protection extLst",
	"chartSpace": "date1904 lang roundedCorners AlternateContent style clrMapOvr pivotSource protection chart spPr txPr externalData " +
		"printSettings userShapes extLst",
	"chart": "title autoTitleDeleted pivotFmts view3D floor sideWall backWall plotArea legend plotVisOnly dispBlanksAs " +
		"showDLblsOverMax extLst",
	"plotArea":     "layout barChart lineChart scatterChart catAx valAx dTable spPr extLst",
	"barChart":     "barDir grouping varyColors ser dLbls gapWidth overlap serLines axId extLst",
	"lineChart":    "grouping varyColors ser dLbls dropLines hiLowLines upDownBars marker smooth axId extLst",
	"scatterChart": "scatterStyle varyColors ser dLbls axId extLst",
	"ser": "idx order tx spPr invertIfNegative pictureOptions marker dPt dLbls trendline errBars cat val xVal yVal smooth shape " +
		"extLst",
	"dLbl": "idx delete layout tx numFmt spPr txPr dLblPos showLegendKey showVal showCatName showSerName showPercent showBubbleSize " +
		"separator extLst",
	"scaling": "logBase orientation max min extLst",
	"dLbls": "dLbl delete numFmt spPr txPr dLblPos showLegendKey showVal showCatName showSerName showPercent showBubbleSize " +
		"separator showLeaderLines leaderLines extLst",
	"errBars": "errDir errBarType errValType noEndCap plus minus val spPr extLst",
	"legend":  "legendPos legendEntry layout overlay spPr txPr extLst",
	"catAx": "axId scaling delete axPos majorGridlines minorGridlines title numFmt majorTickMark minorTickMark tickLblPos spPr txPr " +
		"crossAx crosses crossesAt auto lblAlgn lblOffset tickLblSkip tickMarkSkip noMultiLvlLbl extLst",
	"valAx": "axId scaling delete axPos majorGridlines minorGridlines title numFmt majorTickMark minorTickMark tickLblPos spPr txPr " +
		"crossAx crosses crossesAt crossBetween majorUnit minorUnit dispUnits extLst",
}

// Elements stand in the order that the standard demands, cells and rows rise, and
// a cell with a formula keeps a value.
func TestElementsAreInOrder(t *testing.T) {
	books := loggedBooks(t)
	for _, c := range append(variedCases(14, 4), largeCase()) {
		books[c.name] = bookOf(t, c)
	}
	for of, book := range books {
		for name, content := range unzipped(t, book) {
			if strings.HasSuffix(name, ".xml") && !strings.HasPrefix(name, "docProps/") {
				require.NoError(t, inOrder(content), "%s, %s", of, name)
			}
			if strings.HasPrefix(name, sheetParts) {
				cellsRise(t, of+" "+name, content)
			}
		}
	}
}

// loggedBooks are a report and a history with a trend as they come from a logbook.
func loggedBooks(t *testing.T) map[string][]byte {
	t.Helper()
	list := someListed()
	h := NewLogbookHistory("1.2.3", nil)
	defer func() { require.NoError(t, h.Close()) }()
	for i := range list {
		require.NoError(t, h.Add(AppendListed(nil, &list[i])))
	}
	h.Trend(&Trend{Tests: list})
	var history, report bytes.Buffer
	require.NoError(t, h.Write(&history))
	c := variedCases(1, 9)[0]
	r, err := leakback.Evaluate(c.test, c.sheet)
	require.NoError(t, err)
	p := samplePage(r)
	p.Record = &Record{Number: 3, TestID: "id", Head: "head", Record: leakback.NewRecord(someEvents())}
	require.NoError(t, Workbook(&report, p))
	return map[string][]byte{"logged history": history.Bytes(), "logged report": report.Bytes()}
}

// someListed are tests of two conditions, with bounds among the rates and one
// test that has no result, of an engine with more cylinders than there are
// shapes for their points.
func someListed() []Listed {
	var list []Listed
	for i := range 8 {
		samples := []sample{good(20 + float64(i)), {rate: 100, bound: leakback.AtLeast}, unread(), {rate: 1, bound: leakback.AtMost}}
		for len(samples) < 18 {
			samples = append(samples, good(22))
		}
		r := sampleResult(maximum(40), samples...)
		r.Test.Condition = []string{"idle", "cranking"}[i%2]
		list = append(list, Listed{Number: int64(i + 1), StartedUS: int64(i) * 86_400_000_000 * 40, Vehicle: "_x0041_", Result: r,
			Odometer: strconv.Itoa(1000 + 90*i)})
	}
	return append(list, Listed{Number: 9, Events: 3})
}

// someEvents are entries of every kind, with texts that no cell can hold.
func someEvents() []leakback.Event {
	var events []leakback.Event
	add := func(k leakback.Key, value string) {
		events = append(events, leakback.Event{Seq: int64(len(events) + 1), AtUS: int64(len(events)) * 1e6, Person: "=1+1", Key: k, Value: value,
			Typed: "_x0041_", Reason: "\x07 " + strings.Repeat("long ", 20_000)})
	}
	for _, kind := range []leakback.Kind{leakback.KindOpen, leakback.KindSet, leakback.KindReading, leakback.KindStart, leakback.KindTime,
		leakback.KindMark, leakback.KindLeaveOut, leakback.KindEnd, leakback.KindWork, leakback.KindStep, "unheard of"} {
		k := leakback.Key{Kind: kind, Run: 1, Field: "battery_v"}
		add(k, "12")
		add(k, "")
		add(k, "13")
	}
	return events
}

// What is out of order is found.
func TestInOrderFindsDisorder(t *testing.T) {
	assert.NoError(t, inOrder([]byte(`<worksheet><sheetData/><mergeCells/><drawing/></worksheet>`)))
	assert.Error(t, inOrder([]byte(`<worksheet><drawing/><sheetData/></worksheet>`)))
	assert.Error(t, inOrder([]byte(`<worksheet><sheetData/><unheardOf/></worksheet>`)))
	assert.Error(t, inOrder([]byte(`<worksheet><sheetData><row><c><v/><f/></c></row></sheetData></worksheet>`)))
	assert.Error(t, inOrder([]byte(`<worksheet><sheetData>`)))
}

// inOrder holds the elements of a part against orders.
func inOrder(content []byte) error {
	type open struct {
		name   string
		allow  []string
		before int
	}
	var path []open
	d := xml.NewDecoder(bytes.NewReader(content))
	for {
		token, err := d.Token()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		switch e := token.(type) {
		case xml.StartElement:
			name := e.Name.Local
			if len(path) > 0 && path[len(path)-1].allow != nil {
				parent := &path[len(path)-1]
				at := slices.Index(parent.allow, name)
				if at < parent.before {
					return fmt.Errorf("%s in %s: behind %s, or not allowed", name, parent.name, parent.allow[parent.before])
				}
				parent.before = at
			}
			next := open{name: name}
			if order, ok := orders[name]; ok && !(name == "chart" && len(e.Attr) > 0) {
				next.allow = strings.Fields(order)
			}
			path = append(path, next)
		case xml.EndElement:
			path = path[:len(path)-1]
		}
	}
}

// cellsRise asserts that rows and cells stand in their order, each once, that
// every formula keeps a value, and that the named relationships are used.
func cellsRise(t *testing.T, where string, content []byte) {
	t.Helper()
	var sheet struct {
		Rows []struct {
			Number int           `xml:"r,attr"`
			Cells  []formulaCell `xml:"c"`
		} `xml:"sheetData>row"`
	}
	require.NoError(t, xml.Unmarshal(content, &sheet))
	row := 0
	for _, r := range sheet.Rows {
		require.Greater(t, r.Number, row, where)
		row = r.Number
		column := ""
		for _, c := range r.Cells {
			name := strings.TrimRight(c.Name, "0123456789")
			require.Equal(t, fmt.Sprint(row), strings.TrimPrefix(c.Name, name), where)
			require.True(t, len(name) > len(column) || len(name) == len(column) && name > column, "%s %s", where, c.Name)
			column = name
			if c.Formula != nil {
				require.NotNil(t, c.Value, "%s %s keeps no value", where, c.Name)
				require.Contains(t, []string{"", "str"}, c.Type, "%s %s is %s", where, c.Name, *c.Formula)
			}
		}
	}
}

// Every relationship is used by the part that has it, and every part is reached.
func TestRelationshipsAreUsed(t *testing.T) {
	parts := unzipped(t, bookOf(t, variedCases(1, 6)[0]))
	reached := map[string]bool{"[Content_Types].xml": true}
	for name, content := range parts {
		if !strings.HasSuffix(name, ".rels") {
			continue
		}
		reached[name] = true
		of := path.Join(path.Dir(path.Dir(name)), strings.TrimSuffix(path.Base(name), ".rels"))
		var read struct {
			All []struct {
				ID     string `xml:"Id,attr"`
				Target string `xml:",attr"`
			} `xml:"Relationship"`
		}
		require.NoError(t, xml.Unmarshal(content, &read))
		for _, r := range read.All {
			target := strings.TrimPrefix(r.Target, "/")
			if !strings.HasPrefix(r.Target, "/") {
				target = path.Join(path.Dir(of), r.Target)
			}
			assert.Contains(t, parts, target, name)
			reached[target] = true
			// Styles, shared strings and themes are found by their type alone.
			byType := strings.Contains(target, "styles") || strings.Contains(target, "sharedStrings") || strings.Contains(target, "theme")
			if of != "" && parts[of] != nil && !byType {
				assert.Contains(t, string(parts[of]), `id="`+r.ID+`"`, "%s is never used in %s", r.ID, of)
			}
		}
	}
	for name := range parts {
		assert.True(t, reached[name], "nothing leads to %s", name)
	}
}
