package report

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/leakback/ooxml"
)

// HistoryRow is one cylinder of one test as the history workbook shows it. It
// holds on to nothing of the result it was made from.
type HistoryRow struct {
	test                 *historyTest
	cylinder             int
	rate, standard       float64 // mL/min
	expanded, ratio      float64
	bound                leakback.Bound
	verdict              leakback.Verdict
	findings             string
	decimals, ratioDigit int
}

// historyTest is what the rows of one test have in common.
type historyTest struct {
	listed                *historyListed // nil for a test that is only a file
	id, engine, condition string
	runs                  int
	intervalS             float64
	verdict               leakback.Verdict
	findings              string
	marked                bool // an underscore of its texts is marked
}

// AppendHistory appends a row for each cylinder of a result; for a merged return
// alone, which has none, a row for the total.
func AppendHistory(to []HistoryRow, r *leakback.Result) []HistoryRow {
	return appendRows(to, newHistoryTest(r), r)
}

func newHistoryTest(r *leakback.Result) *historyTest {
	t := &historyTest{
		id: stored(oneLine(r.Test.ID)), engine: stored(oneLine(r.Test.Engine)), condition: stored(oneLine(r.Test.Condition)),
		runs: len(r.Test.Runs) - len(r.LeftOut), intervalS: r.IntervalS, verdict: r.Verdict, findings: codesText(r.Findings),
	}
	t.marked = strings.ContainsRune(t.id+t.engine+t.condition, ooxml.Underscore)
	return t
}

func appendRows(to []HistoryRow, t *historyTest, r *leakback.Result) []HistoryRow {
	decimals, ratioDigit := Decimals(r), RatioDecimals(r)
	if len(r.Cylinders) == 0 {
		return append(to, HistoryRow{
			test: t, rate: r.TotalMLMin, standard: r.Total.StandardMLMin, expanded: r.Total.ExpandedMLMin, ratio: math.NaN(),
			verdict: r.Verdict, decimals: TotalDecimals(r),
		})
	}
	for i := range r.Cylinders {
		c := &r.Cylinders[i]
		to = append(to, HistoryRow{
			test: t, cylinder: c.Cylinder, rate: c.RateMLMin, standard: c.Budget.StandardMLMin,
			expanded: c.Budget.ExpandedMLMin, ratio: c.RatioToMedian, bound: c.Bound, verdict: c.Verdict,
			findings: codesText(c.Findings), decimals: decimals, ratioDigit: ratioDigit,
		})
	}
	return to
}

// codesText is the codes of findings for a cell.
func codesText(findings []leakback.Finding) string {
	if len(findings) == 1 {
		return string(findings[0].Code)
	}
	text := ""
	for i, f := range findings {
		if i > 0 {
			text += "; "
		}
		text += string(f.Code)
	}
	return text
}

// History is a workbook with one row for each cylinder of many tests. Its rows
// go to a temporary file as they come, so that its memory does not grow with
// them. Where a sheet is full the next one follows: Tests, Tests2 and so on.
// Equal rows give equal bytes.
type History struct {
	*book
	version string
	packing *historyParts
	most    int // rows of a sheet
	sheets  int
	stream  *excelize.StreamWriter // of the sheet that is being filled
	row     int                    // written last in it
	cells   []any
	columns []historyColumn
	zone    *time.Location // of dates
	trend   *Trend
}

// sheetHistory is the name of the first sheet and begins those of the others. Excel
// keeps the name History for itself and repairs a workbook that has such a sheet.
const sheetHistory = "Tests"

// NewHistory begins a workbook; version is the program's. Close it at the end.
func NewHistory(version string) *History { return newHistory(version, historyColumns, nil) }

func newHistory(version string, columns []historyColumn, zone *time.Location) *History {
	h := &History{book: newBook(), version: version, most: excelize.TotalRows, packing: &historyParts{}, columns: columns, zone: zone}
	h.packing.replace = h.parts
	h.file.SetZipWriter(h.packing.zipWriter)
	font := h.file.Styles.Fonts.Font[0] // column widths are counted in its digits
	*font.Name.Val, *font.Sz.Val = family, defaultSize
	h.begin()
	return h
}

// Close removes what the workbook kept outside of memory.
func (h *History) Close() error { return h.file.Close() }

// Add appends rows.
func (h *History) Add(rows []HistoryRow) error {
	for i := range rows {
		if h.row == h.most {
			h.end()
			h.begin()
		}
		h.row++
		h.packing.marked = h.packing.marked || rows[i].test.marked
		h.keep(h.stream.SetRow(at(1, h.row), h.values(&rows[i])))
		if h.err != nil {
			return h.err
		}
	}
	return h.err
}

// Write writes the workbook to w. No row can be added any more.
func (h *History) Write(w io.Writer) error {
	h.end()
	h.writeTrend()
	h.keep(h.file.SetDocProps(&excelize.DocProperties{
		Creator: creator, LastModifiedBy: creator, Created: epoch, Modified: epoch,
		Title: historyTitle, Language: "en",
	}))
	h.keep(h.file.SetAppProps(&excelize.AppProperties{Application: creator}))
	if h.err != nil {
		return fmt.Errorf("workbook: %w", h.err)
	}
	h.packing.to = w
	if err := h.file.Write(io.Discard); err != nil {
		return fmt.Errorf("workbook: %w", err)
	}
	return nil
}

const historyTitle = "Injector return-flow tests"

// historyColumn is one column of the history.
type historyColumn struct {
	head  string
	width float64 // in points
	text  bool
	free  bool // what a person typed
	value func(*History, *HistoryRow) any
}

// historyColumns are in the order of the sheet. Figures have their digits as
// the test's own report has them, and their full value.
var historyColumns = []historyColumn{
	{"Test", 96, true, true, func(_ *History, r *HistoryRow) any { return word(r.test.id) }},
	{"Engine", 96, true, true, func(_ *History, r *HistoryRow) any { return word(r.test.engine) }},
	{"Condition", 66, true, true, func(_ *History, r *HistoryRow) any { return word(r.test.condition) }},
	{"Runs", 34, false, false, func(_ *History, r *HistoryRow) any { return r.ran() }},
	{"Interval s", 44, false, false, func(_ *History, r *HistoryRow) any { return known64(r.test.intervalS) }},
	{"Cylinder", 48, false, false, func(_ *History, r *HistoryRow) any { return r.whose() }},
	{"Bound", 38, true, false, func(_ *History, r *HistoryRow) any { return word(r.bound.String()) }},
	{"Rate\nmL/min", 48, false, false, func(h *History, r *HistoryRow) any { return h.figure(r.rate, r.decimals) }},
	{"± standard\nmL/min", 56, false, false, func(h *History, r *HistoryRow) any { return h.figure(r.standard, r.decimals) }},
	{"± expanded\n95 %", 56, false, false, func(h *History, r *HistoryRow) any { return h.figure(r.expanded, r.decimals) }},
	{"× median", 48, false, false, func(h *History, r *HistoryRow) any { return h.figure(r.ratio, r.ratioDigit) }},
	{"Verdict", 58, true, false, func(h *History, r *HistoryRow) any { return h.verdict(r, r.verdict) }},
	{"Findings", 150, true, false, func(_ *History, r *HistoryRow) any { return word(r.findings) }},
	{"Test verdict", 64, true, false, func(h *History, r *HistoryRow) any { return h.verdict(r, r.test.verdict) }},
	{"Test findings", 160, true, false, func(_ *History, r *HistoryRow) any { return word(r.test.findings) }},
}

// whose is the number of the cylinder; a word for the total.
func (r *HistoryRow) whose() any {
	switch {
	case r.without():
		return nil
	case r.cylinder == 0:
		return "total"
	}
	return r.cylinder
}

// ran is the number of runs that took part.
func (r *HistoryRow) ran() any {
	if r.without() {
		return nil
	}
	return r.test.runs
}

// without says that the row is of a test without a result.
func (r *HistoryRow) without() bool { return r.test.listed != nil && r.test.listed.word != "" }

// word is the value of a cell with text; none for "".
func word(text string) any {
	if text == "" {
		return nil
	}
	return text
}

// known64 is the value of a cell with a number; none where there is none.
func known64(x float64) any {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return x
}

// The looks of the history's cells.
var (
	historyNumber = body.with(func(l *look) { l.align, l.bottom, l.wrap = "right", thinRule, false })
	historyText   = historyNumber.with(func(l *look) { l.align, l.indent = "left", 1 })
	historyFree   = historyText.with(func(l *look) { l.quote = true })
	historyFail   = historyText.with(func(l *look) { l.bold = true })
)

// figure is a number shown with so many decimals.
func (h *History) figure(x float64, decimals int) any {
	if known64(x) == nil {
		return nil
	}
	format := "0"
	if decimals > 0 {
		format = "0." + "000000"[:min(decimals, mostDigits)]
	}
	return excelize.Cell{Value: x, StyleID: h.style(historyNumber.with(func(l *look) { l.format = format }))}
}

// verdict is a verdict in words; a fail stands out by its weight as well.
func (h *History) verdict(r *HistoryRow, v leakback.Verdict) any {
	switch {
	case r.without():
		return r.test.listed.word
	case v != leakback.Fail:
		return VerdictWord(v)
	}
	return excelize.Cell{Value: VerdictWord(v), StyleID: h.style(historyFail)}
}

// values are the cells of one row, good until the next call.
func (h *History) values(r *HistoryRow) []any {
	h.cells = h.cells[:0]
	for i := range h.columns {
		h.cells = append(h.cells, h.columns[i].value(h, r))
	}
	return h.cells
}

// begin starts the next sheet with its header.
func (h *History) begin() {
	h.sheets++
	p := h.pen()
	if h.sheets == 1 {
		h.keep(h.file.SetSheetName("Sheet1", p.sheet))
	} else {
		_, err := h.file.NewSheet(p.sheet)
		h.keep(err)
	}
	// What a sheet begins with must be known before its rows come.
	p.print(paper{landscape: true, footer: h.footer()})
	h.keep(h.file.SetSheetDimension(p.sheet, ""))
	stream, err := h.file.NewStreamWriter(p.sheet)
	h.keep(err)
	if h.err != nil {
		return
	}
	h.stream, h.row = stream, 1
	h.widths()
	h.keep(stream.SetPanes(&excelize.Panes{
		Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft",
		Selection: []excelize.Selection{{SQRef: "A2", ActiveCell: "A2", Pane: "bottomLeft"}},
	}))
	h.header()
}

// pen writes into the sheet that is being filled.
func (h *History) pen() pen {
	name := sheetHistory
	if h.sheets > 1 {
		name += strconv.Itoa(h.sheets)
	}
	return pen{h.book, name}
}

// widths sets widths and looks, which the cells of a column take from it.
func (h *History) widths() {
	for i, c := range h.columns {
		l := historyNumber
		switch {
		case c.free:
			l = historyFree
		case c.text:
			l = historyText
		}
		h.keep(h.stream.SetColWidth(i+1, i+1, c.width*96/72/digitPixels))
		h.keep(h.stream.SetColStyle(i+1, i+1, h.style(l)))
	}
}

// header writes the names of the columns, with a line below them for the
// buttons of the filter.
func (h *History) header() {
	var heads []any
	for _, c := range h.columns {
		head := columnHead.with(func(l *look) { l.valign = "top" })
		if c.text {
			head.align, head.indent = "left", 1
		}
		heads = append(heads, excelize.Cell{Value: c.head, StyleID: h.style(head)})
	}
	h.keep(h.stream.SetRow("A1", heads, excelize.RowOpts{Height: columnHead.tall(3)}))
}

// end finishes the sheet that is being filled: the header filters, and is
// repeated on every printed page.
func (h *History) end() {
	if h.err != nil {
		return
	}
	p := h.pen()
	table := "A1:" + at(len(h.columns), h.row)
	p.name("_xlnm.Print_Titles", "$1:$1")
	h.keep(h.file.AutoFilter(p.sheet, table, nil))
	h.keep(h.file.AddIgnoredErrors(p.sheet, table, excelize.IgnoredErrorsNumberStoredAsText))
	h.keep(h.stream.Flush())
}

func (h *History) footer() string {
	font := `&"` + family + `,Regular"&8 `
	return "&L" + font + historyTitle + ", leakback " + footerText(h.version, 20) + "&R" + font + "page &P of &N"
}
