package report

import (
	"cmp"
	"math"
	"strconv"
	"strings"
	"time"

	"leakback/leakback/repair"
	"leakback/limits"
)

// sheetWork is the sheet of what was done: parts, and the tightening record.
const sheetWork = "Work"

// workWidths are the sheet's columns in points.
var workWidths = []float64{28, 42, 32, 28, 96, 54, 40, 60, 40, 46, 38, 40, 46, 62, 124, 98}

// workColumns is how many columns the sheet has.
var workColumns = len(workWidths)

// How the sheet prints: the scale in percent that fits its width on A4 and on
// Letter lying down, how high a page then is, and how much of a block must fit
// where it begins, in points.
const (
	workScale = 82
	workPage  = 600
	workNeeds = 120
)

// Looks of the sheet: text of the program, figures, and text that somebody typed.
var (
	workText   = small.with(func(l *look) { l.bottom, l.valign, l.indent = thinRule, "top", 1 })
	workNumber = workText.with(func(l *look) { l.align, l.indent = "right", 0 })
	workFree   = workText.with(func(l *look) { l.quote = true })
)

// workSheet writes everything that is recorded of works; no sheet where there are
// none. pages are those whose records the works come from.
func (b *book) workSheet(works []repair.Work, steps []limits.Step, pages []*Page, footer string) {
	if len(works) == 0 {
		return
	}
	_, err := b.file.NewSheet(sheetWork)
	b.keep(err)
	s := &workPen{pen: pen{b, sheetWork}, row: 1, works: works, steps: steps, zone: zoneOf(pages)}
	s.widths(workWidths...)
	s.title()
	s.partsTable()
	s.tighteningTable()
	s.remarks("What does not fit together, or asks for a second look (common practice, no source)", doubtsSaid(works))
	s.remarks("Corrected in the record: what was entered first, and what took its place", workCorrections(pages))
	s.print(paper{landscape: true, scale: workScale, footer: footer})
	s.name("_xlnm.Print_Area", "$A$1:"+absolute(workColumns, s.row-1))
	s.typedAsText(workColumns, s.row-1)
	s.noGrid()
	s.protect()
}

// zoneOf is the zone of the times of records; nil is UTC.
func zoneOf(pages []*Page) *time.Location {
	for _, p := range pages {
		if p.Record != nil && p.Record.Zone != nil {
			return p.Record.Zone
		}
	}
	return nil
}

// workPen writes the sheet from the top down.
type workPen struct {
	pen
	row   int
	used  float64 // of the printed page, in points
	works []repair.Work
	steps []limits.Step
	zone  *time.Location
}

// next gives this row its height and goes on to the one below. Where the row no
// longer fits the page, or less than so many points are left, another page begins
// with it.
func (s *workPen) next(points, needs float64) {
	if s.used+max(points, needs) > workPage {
		s.keep(s.file.InsertPageBreak(s.sheet, at(1, s.row)))
		s.used = 0
	}
	s.height(s.row, points)
	s.used += quarters(points)
	s.row++
}

func (s *workPen) title() {
	s.text(1, 1, "Work done", body.with(func(l *look) {
		l.size, l.bold, l.color, l.wrap, l.valign = 16, true, accent, false, "center"
	}))
	s.next(24, 0)
	for i := range s.works {
		s.text(1, s.row, Sentence(workTitle(&s.works[i], s.zone)), body.with(func(l *look) { l.wrap, l.quote = false, true }))
		s.next(body.tall(1), 0)
	}
}

// begin begins a block with its heading and a line about it.
func (s *workPen) begin(title, note string) {
	s.next(body.tall(1), 0)
	s.text(1, s.row, title, heading.with(func(l *look) { l.size = 11 }))
	s.next(18, workNeeds)
	if note != "" {
		s.text(1, s.row, note, small.with(func(l *look) { l.wrap, l.color = false, grey }))
		s.next(small.tall(1), 0)
	}
}

// workItem is a cell of a row: which columns it takes, and what stands there.
type workItem struct {
	from, to int
	text     string
	number   float64 // instead of a text; NaN for none
	look     look
}

// line writes a row of cells as high as its longest text needs.
func (s *workPen) line(list ...workItem) {
	lines := 1
	for _, c := range list {
		s.merge(c.from, c.to, s.row, c.look)
		if !math.IsNaN(c.number) {
			s.number(c.from, s.row, c.number, c.look)
			continue
		}
		width := 0.0
		for _, w := range workWidths[c.from-1 : c.to] {
			width += w
		}
		s.text(c.from, s.row, c.text, c.look)
		lines = max(lines, len(c.look.lines(visible(c.text), width)))
	}
	s.next(small.tall(lines), 0)
}

// wordsCell is a cell of text, and numeric one with a number.
func wordsCell(from, to int, text string, l look) workItem {
	return workItem{from: from, to: to, text: text, number: math.NaN(), look: l}
}

func numeric(col int, x float64) workItem {
	return workItem{from: col, to: col, number: x, look: workNumber}
}

// measure is a figure that was converted, to two decimals.
func measure(col int, x float64) workItem {
	return workItem{from: col, to: col, number: x, look: workNumber.with(func(l *look) { l.format = decimalFormat(2) })}
}

// placeCell is a cylinder's number, nothing for the engine.
func placeCell(col, cylinder int) workItem {
	if cylinder == 0 {
		return wordsCell(col, col, "engine", workNumber)
	}
	return numeric(col, float64(cylinder))
}

// heads writes the heads of columns.
func (s *workPen) heads(heads ...workItem) {
	high := 1
	for _, h := range heads {
		high = max(high, strings.Count(h.text, "\n")+1)
	}
	for _, h := range heads {
		l := columnHead.with(func(l *look) { l.align, l.indent = h.look.align, h.look.indent })
		s.merge(h.from, h.to, s.row, l)
		s.text(h.from, s.row, h.text, l)
	}
	s.next(columnHead.tall(high), 0)
}

// partsTable is every part and everything that was written down of it, a row each.
func (s *workPen) partsTable() {
	s.begin("Parts", "")
	s.heads(wordsCell(1, 1, "work", workNumber), wordsCell(2, 2, "cylinder", workNumber), wordsCell(3, 5, "what", workText), wordsCell(6, workColumns, "as recorded", workText))
	for i := range s.works {
		w := &s.works[i]
		for k := range w.Positions {
			p := &w.Positions[k]
			for _, f := range positionFacts(p) {
				s.line(numeric(1, float64(w.Number)), placeCell(2, p.Cylinder), wordsCell(3, 5, f.label, workText), wordsCell(6, workColumns, f.text, workFree))
			}
		}
		for _, f := range engineFacts(w) {
			s.line(numeric(1, float64(w.Number)), placeCell(2, 0), wordsCell(3, 5, f.label, workText), wordsCell(6, workColumns, f.text, workFree))
		}
	}
}

// positionFacts are what is recorded at a position, in the order in which it is
// asked for.
func positionFacts(p *repair.Position) []fact {
	with := ""
	if p.SwappedWith != 0 {
		with = strconv.Itoa(p.SwappedWith)
	}
	return recorded(map[string]string{
		repair.FieldInjector: p.Injector, repair.FieldSwappedWith: with, repair.FieldSerialOut: p.SerialOut, repair.FieldSerialIn: p.SerialIn,
		repair.FieldCodeOut: p.CodeOut, repair.FieldCodeIn: p.CodeIn, repair.FieldCore: p.Core, repair.FieldFeedTube: p.FeedTube,
		repair.FieldLines: p.Lines, repair.FieldSeals: p.Seals, repair.FieldReliefValve: p.ReliefValve, repair.FieldOldPartTag: p.OldPartTag,
		repair.FieldOldPartWhereabouts: p.OldPartWhereabouts, repair.FieldDeclined: p.Declined, repair.FieldWorkNote: p.Note})
}

// engineFacts are what was said of the engine before and after a work.
func engineFacts(w *repair.Work) []fact {
	return recorded(map[string]string{
		repair.FieldFaultCodesBefore: w.FaultCodesBefore, repair.FieldFaultCodesAfter: w.FaultCodesAfter,
		repair.FieldSymptomBefore: w.SymptomBefore, repair.FieldSymptomAfter: w.SymptomAfter,
		repair.FieldComplaintGone: w.ComplaintGone, repair.FieldWorkDone: w.Done})
}

// recorded are the values that are known, under their fields' labels and in the
// order of the fields.
func recorded(values map[string]string) []fact {
	var facts []fact
	for _, f := range repair.Fields() {
		if text := values[f.Name]; text != "" {
			facts = append(facts, fact{f.Label, text})
		}
	}
	return facts
}

// tighteningTable is every step with what the sheet asks and what was reached.
func (s *workPen) tighteningTable() {
	n := 0
	for i := range s.works {
		n += len(s.works[i].Steps) + len(s.works[i].StepFaults(s.steps))
	}
	if n == 0 {
		return
	}
	s.begin("Tightening record", "In the order of doing. Where the sheet gives no tolerance, 5 % is taken (common practice, no source).")
	s.heads(wordsCell(1, 1, "work", workNumber), wordsCell(2, 2, "cylinder", workNumber), wordsCell(3, 3, "order", workNumber), wordsCell(4, 4, "step", workNumber),
		wordsCell(5, 5, "part", workText), wordsCell(6, 6, "torque\nasked", workNumber), wordsCell(7, 7, "in N·m", workNumber), wordsCell(8, 8, "reached,\nas typed", workNumber),
		wordsCell(9, 9, "in N·m", workNumber), wordsCell(10, 10, "tolerance\n± N·m", workNumber), wordsCell(11, 11, "angle\nasked, °", workNumber),
		wordsCell(12, 12, "reached\n°", workNumber), wordsCell(13, 13, "tolerance\n± °", workNumber), wordsCell(14, 14, "new fastener\nasked / was", workText),
		wordsCell(15, 15, "so", workText), wordsCell(16, 16, "entered", workText))
	for i := range s.works {
		w := &s.works[i]
		for _, cylinder := range workPlaces(w) {
			s.tightened(w, cylinder)
		}
	}
}

// tightened are the rows of a cylinder: its steps, then what was not done at all.
func (s *workPen) tightened(w *repair.Work, cylinder int) {
	faults := faultsAt(w, s.steps, cylinder)
	for _, d := range w.StepsAt(cylinder) {
		var wrong []string
		for _, f := range faults {
			if f.Place == d.Place {
				wrong = append(wrong, f.Text)
			}
		}
		s.step(w, d, wrong)
	}
	for _, f := range faults {
		if f.Place == 0 {
			step, _ := stepOf(s.steps, f.Step)
			s.stepLine(w, repair.StepDone{Cylinder: cylinder, Step: f.Step, TorqueNM: math.NaN(), AngleDeg: math.NaN()}, step, Sentence(f.Text), true)
		}
	}
}

// step is the row of a step that was carried out.
func (s *workPen) step(w *repair.Work, d repair.StepDone, wrong []string) {
	step, known := stepOf(s.steps, d.Step)
	text := "as the sheet asks"
	switch {
	case len(wrong) > 0:
		text = "NOT as the sheet asks: " + strings.Join(wrong, "; ")
	case !known:
		text = "no limits sheet says how"
	}
	s.stepLine(w, d, step, text, len(wrong) > 0)
}

// stepLine is a row of the tightening record.
func (s *workPen) stepLine(w *repair.Work, d repair.StepDone, step limits.Step, verdict string, wrong bool) {
	so := workText.with(func(l *look) { l.bold = wrong })
	entered := d.Person
	if d.AtUS > 0 {
		entered = strings.TrimSuffix(localTime(d.AtUS, s.zone).Format(dayLayout+" "+secondLayout+" "+offsetLayout)+", "+d.Person, ", ")
	}
	fastener := ""
	if step.NewFastener || d.NewFastener != "" {
		fastener = map[bool]string{true: repair.Yes, false: repair.No}[step.NewFastener] + " / " + cmp.Or(d.NewFastener, "not said")
	}
	s.line(numeric(1, float64(w.Number)), placeCell(2, d.Cylinder), numeric(3, known(float64(d.Place))), numeric(4, known(float64(d.Step))),
		wordsCell(5, 5, step.Part, workFree), wordsCell(6, 6, step.TorqueText, workNumber), measure(7, known(step.TorqueNM)),
		wordsCell(8, 8, d.Torque, workNumber), measure(9, d.TorqueNM), measure(10, known(step.TorqueToleranceNM)),
		numeric(11, known(step.AngleDeg)), numeric(12, d.AngleDeg), numeric(13, known(step.AngleToleranceDeg)),
		wordsCell(14, 14, fastener, workText), wordsCell(15, 15, verdict, so), wordsCell(16, 16, entered, workFree))
}

// stepOf is the sheet's step of a number, and whether there is one.
func stepOf(steps []limits.Step, number int) (limits.Step, bool) {
	for _, s := range steps {
		if s.Step == number {
			return s, true
		}
	}
	return limits.Step{}, false
}

// remarks writes sentences under a heading, a row each; nothing where there are none.
func (s *workPen) remarks(title string, texts []string) {
	if len(texts) == 0 {
		return
	}
	s.begin(title, "")
	for _, text := range texts {
		s.line(wordsCell(1, workColumns, text, workFree))
	}
}
