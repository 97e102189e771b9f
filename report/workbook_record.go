package report

import (
	"strconv"
	"strings"

	"leakback/leakback"
)

// sheetRecord is the last sheet, of a test that comes from a logbook.
const sheetRecord = "Record"

// plainGap is the white space under the facts of a page without a record.
const plainGap = 9

// record says what the logbook knows in the row that is white space on a page
// without one, so that every other cell of the page keeps its place.
func (s *reportSheet) record() {
	if s.p.Record == nil {
		s.gap(plainGap)
		return
	}
	l := small.with(func(l *look) { l.size, l.valign = 8, "center" })
	s.height(s.row, s.prose(1, lastColumn, pageRecord(s.p), l, recordLines, sheetRecord)+plainGap)
	high, err := s.file.GetRowHeight(s.sheet, s.row)
	s.keep(err)
	s.recordHigh = high - plainGap
	s.row++
}

// recordLines is how many lines the record may take on the page.
const recordLines = 9

// pageRecord is the record as the page has it: which one it is, when the runs
// were taken, what was corrected, and what happened meanwhile.
func pageRecord(p *Page) []said {
	r := p.Record
	id := "test " + strconv.FormatInt(r.Number, 10) + ", id " + r.TestID
	if r.Head != "" {
		id += ", SHA-256 of its entries " + r.Head
	}
	all := []said{{"Logbook", Sentence(id)}}
	if r.fromFile() {
		first := r.Record.Events[0].AtUS
		all = append(all, said{"Entered", "From a file, " + r.stamp(first) + "."})
	} else {
		all = append(all, r.timesSaid(p.Result.Test)...)
	}
	all = append(all, said{"Corrections", Sentence(r.correctionsSaid() + seeSheet(r))})
	if marks := r.noted(); len(marks) > 0 {
		texts := make([]string, len(marks))
		for i, e := range marks {
			texts[i] = markSaid(e)
		}
		all = append(all, said{"Noted", Sentence(strings.Join(texts, "; "))})
	}
	return all
}

func seeSheet(r *Record) string {
	if len(r.Record.Corrections()) == 0 {
		return ""
	}
	return ", see sheet " + sheetRecord
}

// recordColumn is one column of the sheet of entries.
type recordColumn struct {
	head  string
	width float64 // in points
	right bool
	text  func(recordRow) string
}

// recordRow is one entry with what became of it.
type recordRow struct {
	*Record
	leakback.Event
	fate   string
	before leakback.Event // Seq 0 where it took the place of none
}

// recordColumns are in the order of the sheet. All of them are text, as it was
// entered: figures to reckon with stand in the sheet of readings.
var recordColumns = []recordColumn{
	{"no.", 28, true, func(r recordRow) string { return strconv.FormatInt(r.Seq, 10) }},
	{"time", 138, false, func(r recordRow) string { return r.stamp(r.AtUS) }},
	{"person", 78, false, func(r recordRow) string { return r.Person }},
	{"what", 150, false, func(r recordRow) string { return eventSaid(r.Event) }},
	{"run", 28, true, func(r recordRow) string { return placeText(r.Run) }},
	{"cylinder\nor line", 52, true, func(r recordRow) string { return r.Line + placeText(r.Cylinder) }},
	{"value", 130, false, func(r recordRow) string { return valueSaid(r.Event) }},
	{"typed as", 80, false, func(r recordRow) string { return typedSaid(r.Event) }},
	{"in place of", 96, false, beforeText},
	{"reason", 110, false, func(r recordRow) string { return reasonSaid(r.Event) }},
	{"no longer stands", 92, false, func(r recordRow) string { return r.fate }},
}

// reasonSaid is why something was entered. Of a sitting it is the name of the machine
// and its process, which is no business of the customer's.
func reasonSaid(e leakback.Event) string {
	if e.Kind == leakback.KindOpen {
		return ""
	}
	return e.Reason
}

// placeText is a run's or a cylinder's number; "" for all of them.
func placeText(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

// beforeText is what an entry took the place of, and which entry said it.
func beforeText(r recordRow) string {
	if r.before.Seq == 0 {
		return ""
	}
	return valueOrNothing(r.before) + " (no. " + strconv.FormatInt(r.before.Seq, 10) + ")"
}

// colEntered is the column of what was entered, which is struck out where it no
// longer stands.
const colEntered = 7

// record writes the sheet of all entries as they were made, in their order.
func (b *book) record(p *Page) {
	if p.Record == nil {
		return
	}
	_, err := b.file.NewSheet(b.sheetOf(sheetRecord))
	b.keep(err)
	s := pen{b, b.sheetOf(sheetRecord)}
	s.recordHeads()
	became, before := fates(p.Record.Record), replaced(p.Record.Record)
	var long []recordRest
	for i, e := range p.Record.Record.Events {
		long = append(long, s.recordRow(i+2, recordRow{p.Record, e, became[i], before[e.Seq]})...)
	}
	rows := len(p.Record.Record.Events) + 1
	rows = s.recordRests(rows, long)
	s.list(len(recordColumns), rows, paper{landscape: true, footer: footer(p)})
	s.protect()
}

func (p pen) recordHeads() {
	p.height(1, 26)
	var widths []float64
	for i, c := range recordColumns {
		head := columnHead.with(func(l *look) { l.align = c.align() })
		head.indent = c.indent()
		p.text(i+1, 1, c.head, head)
		widths = append(widths, c.width)
	}
	p.widths(widths...)
}

func (c recordColumn) align() string {
	if c.right {
		return "right"
	}
	return "left"
}

func (c recordColumn) indent() int {
	if c.right {
		return 0
	}
	return 1
}

// recordRest is a text that is too long for its cell.
type recordRest struct {
	seq        int64
	head, text string
}

// mostRecordLines is how many lines a cell of the sheet may take.
const mostRecordLines = 8

// recordRow writes an entry into a row as high as it needs, and gives the texts
// that had to be shortened.
func (p pen) recordRow(row int, r recordRow) (long []recordRest) {
	lines := 1
	for i, c := range recordColumns {
		l := small.with(func(l *look) {
			l.align, l.indent, l.bottom, l.quote = c.align(), c.indent(), thinRule, true
			if r.fate != "" {
				l.color, l.struck = grey, i+1 == colEntered
			}
		})
		text := c.text(r)
		shown, cut := l.face().fit(visible(text), c.width-indentWidth*float64(l.indent), mostRecordLines)
		if cut {
			long = append(long, recordRest{r.Seq, strings.ReplaceAll(c.head, "\n", " "), text})
		}
		p.text(i+1, row, shown, l)
		lines = max(lines, len(l.lines(shown, c.width)))
	}
	p.height(row, small.tall(lines))
	return long
}

// recordRests writes what had to be shortened in full below the entries, and
// gives the last row.
func (p pen) recordRests(row int, long []recordRest) int {
	if len(long) == 0 {
		return row
	}
	row += 2
	p.text(1, row, "In full, what is shortened above", heading)
	first, last, width := 4, len(recordColumns), 0.0
	for _, c := range recordColumns[first-1:] {
		width += c.width
	}
	text := small.with(func(l *look) { l.quote, l.indent = true, 1 })
	for _, rest := range long {
		for _, piece := range chunks(visible(rest.text)) {
			row++
			p.text(1, row, strconv.FormatInt(rest.seq, 10), small.with(func(l *look) { l.align = "right" }))
			p.text(2, row, rest.head, text)
			p.merge(first, last, row, text)
			p.text(first, row, piece, text)
			p.height(row, text.tall(len(text.lines(piece, width))))
		}
	}
	return row
}
