package report

import (
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/xuri/excelize/v2"

	"leakback/leakback"
)

// sheetPlan is the one sheet of a plan.
const sheetPlan = "Plan"

// PlanWorkbook writes a plan as a sheet to print, A4 or Letter, with boxes to
// write into beside the engine. Equal plans give equal bytes.
func PlanWorkbook(w io.Writer, p *PlanPage) error {
	b := newBook()
	defer b.file.Close()
	b.keep(b.sheets(sheetPlan))
	b.plan(p)
	b.properties(title, "Test plan "+PlanAnswer(p))
	return b.write(w, "plan sheet")
}

// planSheet is the sheet in the making: the letter and the columns of the
// customer's page, and boxes.
type planSheet struct {
	*reportSheet
	plan *PlanPage
	box  int // the style of an empty box
}

// Heights in points of what is written into by hand; the boxes share what the
// page has room for. A list of more than mostRows goes on to further pages.
const (
	lineHigh = 19
	boxesAll = 420
	boxHigh  = 26
	boxTight = 15.5
	mostRows = 35
)

func (b *book) plan(p *PlanPage) {
	s := &planSheet{reportSheet: &reportSheet{pen: pen{b, sheetPlan}, row: 1,
		p: &Page{Version: p.Version, Cautions: p.Cautions, CautionLine: p.CautionLine}}, plan: p}
	s.box = s.boxStyle()
	s.widths(pageWidths...)
	s.title()
	s.state()
	s.concerns()
	rows, heads := 0, s.row
	if p.BlockOff != nil {
		rows = s.schedule(p.BlockOff)
	} else {
		rows = s.volumes(p.Collection)
	}
	s.gap(6)
	s.words()
	s.foot()
	s.printed(rows, heads)
}

// boxStyle is a cell with a line on every side.
func (s *planSheet) boxStyle() int {
	style := body.with(func(l *look) { l.valign, l.align = "center", "center" }).style()
	for _, side := range []string{"left", "right", "top", "bottom"} {
		style.Border = append(style.Border, excelize.Border{Type: side, Style: darkRule.weight, Color: ink})
	}
	id, err := s.file.NewStyle(style)
	s.keep(err)
	return id
}

// boxes makes an empty box of the cells from one column to another of this row.
func (s *planSheet) boxes(from, to int) {
	s.keep(s.file.SetCellStyle(s.sheet, at(from, s.row), at(to, s.row), s.box))
	if to > from {
		s.keep(s.file.MergeCell(s.sheet, at(from, s.row), at(to, s.row)))
	}
}

// title says what to do, in letters to be read from the driver's seat.
func (s *planSheet) title() {
	big := body.with(func(l *look) {
		l.size, l.bold, l.color, l.wrap, l.valign, l.bottom = 18, true, accent, false, "center", headRule
	})
	s.height(s.row, 27)
	s.merge(1, lastColumn, s.row, big)
	s.text(1, s.row, "Return-flow test: plan", big)
	s.row++
	s.gap(5)
	s.paragraph(1, lastColumn, unbroken.Replace(PlanAnswer(s.plan)), body.with(func(l *look) { l.size, l.bold = 16, true }), 3, "Answer")
	s.row++
	s.paragraph(1, lastColumn, planAsked(s.plan), body, 3, "Planned for")
	s.row++
	s.gap(6)
}

// unbroken keeps figures and their units on one line.
var unbroken = strings.NewReplacer(" s ", "\u00a0s ", " s.", "\u00a0s.", " s,", "\u00a0s,", " mL", "\u00a0mL")

// state is who, what and in which state: what is known, and lines to write on.
func (s *planSheet) state() {
	s.labelled([3][]fact{
		{{"Workshop", ""}, {"Technician", ""}, {"Work order", ""}, {"Date and time", ""}},
		{{"Vehicle", ""}, {"Engine", s.plan.Engine}, {"Condition", s.plan.Condition}, {"Injectors", s.plan.Injectors}},
		{{"Rail pressure", ""}, {"Engine speed", ""}, {"Fuel temperature", ""}, {"Tube", s.tube()}},
	}, lineHigh)
	if text := stateToKeep(s.plan); text != "" {
		s.gap(4)
		s.paragraph(1, lastColumn, text, body, 3, "State")
		s.row++
	}
	s.gap(8)
}

func (s *planSheet) tube() string {
	t := leakback.Tube{}
	if b := s.plan.BlockOff; b != nil {
		t = b.Goal.Tube
	} else {
		t = s.plan.Collection.Take.Tube
	}
	return tubeText(leakback.Tube{CapacityML: t.CapacityML, GraduationML: t.GraduationML, Class: t.Class})
}

// concerns are the cautions about this very test, before the first thing to do.
func (s *planSheet) concerns() {
	for _, text := range s.plan.Concerns {
		s.paragraph(1, lastColumn, text, body.with(func(l *look) { l.bold = true }), 4, "Caution")
		s.row++
	}
	if len(s.plan.Concerns) > 0 {
		s.gap(6)
	}
}

// column is a span of the page's columns with its head.
type column struct {
	from, to int
	head     string
}

// heads writes heads above a table.
func (s *planSheet) heads(columns []column) {
	s.height(s.row, 24)
	for i, c := range columns {
		l := columnHead.with(func(l *look) { l.align = "center" })
		if i == 0 || c.head == blockHead {
			l.align = "left"
		}
		s.merge(c.from, c.to, s.row, l)
		s.text(c.from, s.row, c.head, l)
	}
	s.row++
}

const blockHead = "Block at the rail"

// scheduleColumns are those of the list of runs.
var scheduleColumns = []column{
	{1, 1, "Run"}, {2, 4, blockHead}, {5, 7, "Total, mL"}, {8, 9, "Rail, bar"}, {10, 10, "Fuel, °C"}, {11, 11, "Remarks"},
}

// schedule is the list of runs with its boxes, and how many rows it has.
func (s *planSheet) schedule(b *leakback.BlockOffPlan) int {
	s.heads(scheduleColumns)
	for i := range b.Runs {
		r := &b.Runs[i]
		s.height(s.row, high(len(b.Runs)))
		baseline := len(r.Blocked) == 0
		l := body.with(func(l *look) { l.valign, l.bottom, l.bold = "center", thinRule, !baseline })
		if baseline {
			l.fill = tint
		}
		s.number(1, s.row, float64(r.Number), l.with(func(l *look) { l.align, l.indent = "left", 1 }))
		s.merge(2, 4, s.row, l)
		s.text(2, s.row, strings.TrimSuffix(Sentence(blockedText(r)), "."), l)
		for _, c := range scheduleColumns[2:] {
			s.boxes(c.from, c.to)
		}
		s.row++
	}
	return len(b.Runs)
}

// high is the height of a box, less for long lists.
func high(rows int) float64 {
	return math.Max(boxTight, math.Min(boxHigh, boxesAll/float64(rows)))
}

// runSpans are the columns of three runs side by side.
var runSpans = [3][2]int{{2, 4}, {5, 8}, {9, 10}}

// volumes are boxes for each cylinder in each run, three runs side by side, and
// how many rows they take.
func (s *planSheet) volumes(c *leakback.CollectionPlan) int {
	n, rows := s.plan.Cylinders, 0
	if n == 0 {
		n = usualCylinders
	}
	blocks := (c.Take.Runs + len(runSpans) - 1) / len(runSpans)
	for from := 1; from <= c.Take.Runs; from += len(runSpans) {
		columns, free := []column{{1, 1, "Cyl."}}, 2
		for k, at := range runSpans {
			if from+k <= c.Take.Runs {
				columns = append(columns, column{at[0], at[1], fmt.Sprintf("Run %d, mL in %s", from+k, secondsText(c.Take.CollectS))})
				free = at[1] + 1
			}
		}
		columns = append(columns, column{free, lastColumn, "Remarks"})
		s.heads(columns)
		for i := range n {
			s.volumeRow(i, columns, high(blocks*n))
		}
		rows += n
	}
	return rows
}

// usualCylinders is how many rows stand for an engine whose cylinders were not
// counted.
const usualCylinders = 8

func (s *planSheet) volumeRow(i int, columns []column, points float64) {
	s.height(s.row, points)
	number := body.with(func(l *look) { l.valign, l.bottom, l.bold, l.indent = "center", thinRule, true, 1 })
	s.number(1, s.row, float64(i+1), number)
	for _, c := range columns[1:] {
		s.boxes(c.from, c.to)
	}
	s.row++
}

// words are what to know beside the list: what to expect, notes, cautions.
func (s *planSheet) words() {
	s.block("What to know", plainSaid(append(planTexts(s.plan), s.plan.Notes...)), body, 24)
	s.block("Cautions", cautions(s.p), small.with(func(l *look) { l.size = 7.5 }), 16)
	s.paragraph(1, lastColumn, planLimits(s.plan), small.with(func(l *look) { l.size, l.color = 7.5, grey }), 4, "Figures")
	s.row++
}

// printed sets what is printed: one page, or as many as a long list takes, with
// the heads of its columns on each.
func (s *planSheet) printed(rows, heads int) {
	o := paper{high: 1}
	if rows > mostRows {
		o = paper{footer: `&R&8 page &P of &N`}
		s.name("_xlnm.Print_Titles", fmt.Sprintf("$%d:$%d", heads, heads))
	}
	s.print(o)
	s.name("_xlnm.Print_Area", fmt.Sprintf("$A$1:%s", absolute(lastColumn, s.row-1)))
	s.typedAsText(lastColumn, s.row-1)
	no := false
	s.keep(s.file.SetSheetView(s.sheet, 0, &excelize.ViewOptions{ShowGridLines: &no}))
}
