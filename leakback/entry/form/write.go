package form

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/leakback/blockoff"
	"leakback/leakback/ooxml"
	"leakback/limits"
)

// sheetName is the name of the only sheet.
const sheetName = "Entry form"

// Write writes a blank form as an XLSX workbook. Equal options give equal bytes.
// It holds no macro, no link, no formula in a cell, and no name of the machine or its
// user; entry cells are open on a sheet that is protected without a password.
func Write(w io.Writer, o Options) error {
	o, err := o.settled()
	if err != nil {
		return err
	}
	runs, err := o.schedule()
	if err != nil {
		return err
	}
	p := newPage(&o, runs)
	defer p.file.Close()
	p.head()
	p.fields()
	p.readings()
	p.foot()
	p.frame()
	if p.err != nil {
		return fmt.Errorf("entry form: %w", p.err)
	}
	if err := p.file.Write(w); err != nil {
		return fmt.Errorf("entry form: %w", err)
	}
	return nil
}

// scheduled is a run of the block-off schedule.
type scheduled struct {
	line    string
	blocked []int
}

// schedule is the mirrored schedule of each return line after the other; empty
// with the other methods.
func (o *Options) schedule() ([]scheduled, error) {
	if o.Method != leakback.MethodBlockOff {
		return nil, nil
	}
	lines := o.ReturnLines
	if len(lines) == 0 {
		all := make([]int, o.Cylinders)
		for i := range all {
			all[i] = i + 1
		}
		lines = []limits.ReturnLine{{Cylinders: all}}
	}
	var runs []scheduled
	for _, line := range lines {
		if len(line.Cylinders) < 2 {
			return nil, fmt.Errorf("block-off: %d cylinders on a return line: expected two or more, "+
				"as blocking the only one measures nothing", len(line.Cylinders))
		}
		plan, err := blockoff.Schedule(slices.Sorted(slices.Values(line.Cylinders)), 2)
		if err != nil {
			return nil, fmt.Errorf("block-off: %w", err)
		}
		for _, blocked := range plan.Blocked {
			runs = append(runs, scheduled{line.Name, blocked})
		}
	}
	return runs, nil
}

// page is a form in the making. The first error stays in err.
type page struct {
	*layout
	o      *Options
	runs   []scheduled
	file   *excelize.File
	styles map[look]int
	row    int // the next one below the layout
	err    error
}

func newPage(o *Options, runs []scheduled) *page {
	s := shape{o.Method, o.Cylinders, o.Runs, len(o.ReturnLines)}
	if o.Method == leakback.MethodBlockOff {
		s.runs = len(runs)
	}
	p := &page{layout: newLayout(s), o: o, runs: runs, file: excelize.NewFile(), styles: map[look]int{}}
	p.file.SetZipWriter(ooxml.Steady)
	p.keep(p.file.SetSheetName("Sheet1", sheetName))
	font := p.file.Styles.Fonts.Font[0] // columns are as wide as so many of its digits
	*font.Name.Val, *font.Sz.Val = family, 11.0
	last, err := excelize.ColumnNumberToName(gridColumns)
	p.keep(err)
	p.keep(p.file.SetColWidth(sheetName, "A", last, columnPoints*96/72/digitPixels))
	return p
}

// columnPoints is the width of a column of the grid; all of them fill the width
// that A4 and Letter have in common. digitPixels is how wide a digit of the
// default font is at 96 pixels an inch.
const (
	columnPoints = 22.2
	digitPixels  = 8
)

// keep remembers the first error.
func (p *page) keep(err error) {
	if p.err == nil {
		p.err = err
	}
}

func (p *page) style(l look) int {
	id, ok := p.styles[l]
	if !ok {
		var err error
		id, err = p.file.NewStyle(l.style())
		p.keep(err)
		p.styles[l] = id
	}
	return id
}

// put makes one cell of a box, with its look and text; nothing of an empty box.
func (p *page) put(b box, text string, l look) {
	if b.from == 0 {
		return
	}
	last := cellName(b.to, b.row)
	p.keep(p.file.SetCellStyle(sheetName, b.cell(), last, p.style(l)))
	if b.to > b.from {
		p.keep(p.file.MergeCell(sheetName, b.cell(), last))
	}
	if text != "" {
		p.keep(p.file.SetCellStr(sheetName, b.cell(), ooxml.Text(text)))
	}
}

// high sets the height of a row in points.
func (p *page) high(row int, points float64) {
	p.keep(p.file.SetRowHeight(sheetName, row, math.Ceil(points*4)/4))
}

// head is the title and the marker.
func (p *page) head() {
	p.high(1, 26)
	p.high(2, 4)
	p.put(p.title, "Injector return-flow test: readings", titleLook)
	p.put(p.layout.marker, p.shape.marker(), markerLook)
}

// fieldHeight is that of a row of fields in points: room for handwriting.
const fieldHeight = 18.5

// fields are the job, the state and the note.
func (p *page) fields() {
	given := map[string]string{leakback.FieldWorkshop: p.o.Workshop, leakback.FieldEngine: p.o.Engine}
	for _, f := range p.layout.fields() {
		if f.name == "condition" {
			f.takes.words = p.o.Conditions
			f.field.hint = clipped("one of: "+strings.Join(p.o.Conditions, ", ")+"; or your own word", 95)
		}
		p.field(f, given[f.name])
	}
	p.high(p.stateHead.row-1, 5)
	p.high(p.stateHead.row, 16)
	p.put(p.stateHead, "State of the engine and the tubes", headingLook)
	p.put(p.note.label, p.note.field.label, labelLook.with(func(l *look) { l.valign = "top" }))
	p.put(p.note.entry, "", noteLook)
	p.high(p.note.entry.row, 30)
}

// field writes one field and the rule of its cell.
func (p *page) field(f placed, given string) {
	p.high(f.entry.row, fieldHeight)
	label := labelLook
	if f.onRight() {
		label.indent = 1
	}
	p.put(f.label, f.field.label, label)
	p.put(f.entry, given, entryLook)
	p.put(f.hint, f.field.hint, hintLook)
	p.rule(f.takes.rule(f.entry.cell()), f.entry.cell(), f.field.label, f.message())
}

// onRight says that the field stands in the right half of its row.
func (f *placed) onRight() bool { return f.label.from > gridColumns/2 }

// message is what is shown while the field's cell is chosen.
func (f *placed) message() string {
	if f.says != "" {
		return f.says
	}
	return "Leave it empty where it is not known."
}

// rule gives cells a rule and a message that is shown while one is chosen.
func (p *page) rule(v *excelize.DataValidation, cells, title, message string) {
	v.Sqref = cells
	v.SetInput(clipped(title, mostMessageTitle), clipped(message, mostMessage))
	p.keep(p.file.AddDataValidation(sheetName, v))
}

// readings are the heading, the words and the table of the readings.
func (p *page) readings() {
	p.high(p.tableHead.row-1, 5)
	p.high(p.tableHead.row, 16)
	p.put(p.tableHead, p.methodText(), headingLook)
	p.put(p.guide, guideText(p.method), guideLook)
	p.high(p.guide.row, tall(guideText(p.method), guideLook.size))
	p.table()
	p.high(p.firstRow+p.tableRows, 6)
}

// methodText says how the returns are collected.
func (p *page) methodText() string {
	switch p.method {
	case leakback.MethodBlockOff:
		return "Readings: merged return, one injector blocked at a time"
	case leakback.MethodTotal:
		return "Readings: merged return of all cylinders, nothing blocked"
	}
	text := "Readings: each cylinder's return in a tube of its own"
	if len(p.o.FiringOrder) > 0 {
		text += clipped("; firing order "+strings.Trim(strings.ReplaceAll(fmt.Sprint(p.o.FiringOrder), " ", "-"), "[]"), 60)
	}
	return text
}

// guideText says how a reading is written.
func guideText(method leakback.Method) string {
	text := "Write the volume in mL, read at the bottom of the meniscus when the foam has gone. " +
		"The tube overflowed: > and its highest mark (>100). Below the first mark: < and that mark (<2). " +
		"Not read: leave it empty. Drops are no volume. Prime the hoses first, and empty the tubes before each run."
	if method == leakback.MethodBlockOff {
		text += " Do the runs in this order and leave none out: the second half is the first one mirrored, so that drift cancels."
	}
	return text
}

// table writes the table's cells.
func (p *page) table() {
	p.high(p.firstRow-1, 17)
	for row := range p.tableRows {
		p.high(p.firstRow+row, rowHeight(p.tableRows))
	}
	for _, h := range p.heads {
		l := columnLook
		if h.row >= p.firstRow {
			l = rowLook
		}
		if h.from == h.to {
			l.size = 7.5
		}
		if h.row >= p.firstRow && p.method == leakback.MethodBlockOff {
			l.bold = false
		}
		p.put(h.box, h.text, l)
	}
	p.high(p.heads[0].row, 17)
	p.given()
	for _, s := range p.times {
		p.slot(s, intervalSpan(p.method), "Time", "Only where this run did not take the time of each run above. In s, or 1:30")
	}
	for _, s := range p.layout.readings {
		p.slot(s, readingSpan, "Reading", "In mL: 22.5, >100 where the tube overflowed, <2 below its first mark. Empty: not read.")
	}
}

// rowHeight is lower in a long table.
func rowHeight(rows int) float64 {
	switch {
	case rows <= 8:
		return 21
	case rows <= 12:
		return 18.5
	}
	return 16
}

// given are the cells of the table that are filled in: what to block, and the
// return lines.
func (p *page) given() {
	for i, b := range p.blocked {
		p.put(b, blockedText(p.runs[i].blocked), fixedLook)
	}
	for i, b := range p.lines {
		p.put(b, clipped(p.lineOf(i), 100), fixedLook)
	}
}

// nothing stands for the blocked cylinders of a run in which none is.
const nothing = "none"

func blockedText(blocked []int) string {
	if len(blocked) == 0 {
		return nothing
	}
	return strings.Trim(strings.ReplaceAll(fmt.Sprint(blocked), " ", "+"), "[]")
}

// lineOf is the return line of a row of the table.
func (p *page) lineOf(i int) string {
	switch p.method {
	case leakback.MethodBlockOff:
		return p.runs[i].line
	case leakback.MethodTotal:
		return p.o.ReturnLines[i].Name
	}
	for _, line := range p.o.ReturnLines {
		if slices.Contains(line.Cylinders, i+1) {
			return line.Name
		}
	}
	return ""
}

// slot is a cell of the table that is filled in by hand.
func (p *page) slot(s slot, takes *span, what, message string) {
	p.put(s.box, "", readingLook)
	title := fmt.Sprintf("%s, run %d", what, s.run)
	p.rule(number(takes).rule(s.cell()), s.cell(), title, message)
}

// foot are the cautions, and who made the form.
func (p *page) foot() {
	p.row = p.end
	if len(p.o.Cautions) > 0 {
		p.high(p.row, 5)
		p.row++
		p.line("Before you start", headingLook, 16)
		for _, text := range p.o.Cautions {
			p.line(text, cautionLook, tall(text, cautionLook.size))
		}
	}
	text := "Leave empty what is not known."
	if p.o.Sheet != nil && p.o.Sheet.Name != "" {
		text += " Limits sheet: " + oneLine(p.o.Sheet.Name) + "."
	}
	p.line(clipped(strings.TrimSpace(text+" leakback "+p.o.Version), 150), footLook, 13)
}

// oneLine is text without what a cell of one line cannot show.
func oneLine(text string) string { return strings.Join(strings.Fields(text), " ") }

// line is a row of text across the page.
func (p *page) line(text string, l look, points float64) {
	p.high(p.row, points)
	p.put(box{p.row, 1, gridColumns}, text, l)
	p.row++
}

// tall is the height in points of text across the page. A line too many is only
// white space, so letters count as wide ones.
func tall(text string, size float64) float64 {
	most := int((gridColumns*columnPoints - 6) / (0.47 * size))
	lines, used := 1, 0
	for _, word := range strings.Fields(text) {
		if n := len([]rune(word)); used+n > most {
			lines, used = lines+1, n+1
		} else {
			used += n + 1
		}
	}
	return float64(lines)*1.22*size + 2.5
}

// frame is the sheet around its cells: protection, view, paper and properties.
func (p *page) frame() {
	p.keep(p.file.ProtectSheet(sheetName, &excelize.SheetProtectionOptions{
		SelectUnlockedCells: true, FormatCells: true, FormatRows: true, FormatColumns: true,
		EditObjects: true, EditScenarios: true,
	}))
	used := "A1:" + cellName(gridColumns, p.row-1)
	p.keep(p.file.SetSheetDimension(sheetName, used))
	p.keep(p.file.AddIgnoredErrors(sheetName, used, excelize.IgnoredErrorsNumberStoredAsText))
	p.keep(p.file.SetDefinedName(&excelize.DefinedName{Name: "_xlnm.Print_Area", Scope: sheetName,
		RefersTo: fmt.Sprintf("'%s'!$A$1:$%s$%d", sheetName, strings.TrimRight(cellName(gridColumns, 1), "1"), p.row-1)}))
	no := false
	p.keep(p.file.SetSheetView(sheetName, 0, &excelize.ViewOptions{ShowGridLines: &no, ShowRowColHeaders: new(true)}))
	p.paper()
	p.properties()
}

// paper makes one page of the form, on A4 and on Letter.
func (p *page) paper() {
	p.keep(p.file.SetSheetProps(sheetName, &excelize.SheetPropsOptions{FitToPage: new(true)}))
	p.keep(p.file.SetPageLayout(sheetName, &excelize.PageLayoutOptions{
		Size: new(9), Orientation: new("portrait"), FitToWidth: new(1), FitToHeight: new(1), // 9 is A4
	}))
	p.keep(p.file.SetPageMargins(sheetName, &excelize.PageLayoutMarginsOptions{
		Left: new(0.43), Right: new(0.43), Top: new(0.43), Bottom: new(0.43), Header: new(0.2), Footer: new(0.2),
		Horizontally: new(true),
	}))
}

// epoch stands for the dates of the properties: the machine's would make equal
// options give unequal files.
const epoch = "2000-01-01T00:00:00Z"

// properties are our own, with nothing of the machine in them.
func (p *page) properties() {
	p.keep(p.file.SetDocProps(&excelize.DocProperties{
		Creator: "leakback", LastModifiedBy: "leakback", Created: epoch, Modified: epoch,
		Title: "Injector return-flow test: entry form", Language: "en",
	}))
	p.keep(p.file.SetAppProps(&excelize.AppProperties{Application: "leakback"}))
}
