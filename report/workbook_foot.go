package report

import (
	"fmt"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"
)

// letterHigh is how high the page may get in points before Letter paper, the
// shorter of the two, makes it print smaller than its width does.
const letterHigh = 815

// ruled is the height of a line to write on, in points.
const ruled = 18

// leastRuled is how close such lines may come together for a record's sake.
const leastRuled = 14

// headWork is the heading of what was done, and workLines is how many lines it may
// take.
const (
	headWork  = "Work done"
	workLines = 16
)

// zone is that of times on the page; nil is UTC.
func (s *reportSheet) zone() *time.Location {
	if s.p.Record == nil {
		return nil
	}
	return s.p.Record.Zone
}

// workDone is what was done as it is recorded, or else lines to write on: as many as the page has room for, three at
// least. A record makes them closer and not fewer, so that what follows keeps
// its place.
func (s *reportSheet) workDone() {
	if paragraphs := worksSaid(s.p.Works, s.p.Tightening, s.zone()); len(paragraphs) > 0 {
		s.block(headWork, paragraphs, small, workLines)
		return
	}
	const below = 60 // heading, signatures and foot
	room := letterHigh - s.used(1) - below
	lines := min(max(int((room+s.recordHigh)/ruled), 3), 8)
	high := float64(ruled)
	if s.recordHigh > 0 {
		high = min(max(room/float64(lines), leastRuled), ruled)
	}
	s.heading(1, lastColumn, headWork)
	s.row++
	for range lines {
		s.height(s.row, high)
		s.merge(1, lastColumn, s.row, body.with(func(l *look) { l.bottom = thinRule }))
		s.row++
	}
}

// signatures are the lines to sign on.
func (s *reportSheet) signatures() {
	s.gap(22)
	line := small.with(func(l *look) { l.color, l.top, l.wrap = grey, darkRule, false })
	s.height(s.row, 12)
	for _, at := range []struct {
		from, to int
		text     string
	}{{1, 4, "Technician"}, {6, 9, "Customer"}, {11, 11, "Date"}} {
		s.merge(at.from, at.to, s.row, line)
		s.text(at.from, s.row, at.text, line)
	}
	s.row++
}

// foot names the program and the readings that the page was made from.
func (s *reportSheet) foot() {
	s.gap(4)
	text := "leakback " + s.p.Version
	if s.p.Digest != "" {
		text += "   readings SHA-256 " + s.p.Digest
	}
	s.paragraph(1, lastColumn, text, small.with(func(l *look) { l.size, l.color = 7, grey }), 2, "Program and readings")
	s.row++
}

// frame sets what is printed: everything so far, on one page.
func (s *reportSheet) frame() {
	s.print(paper{high: 1})
	s.name("_xlnm.Print_Area", fmt.Sprintf("$A$1:%s", absolute(lastColumn, s.row-1)))
	s.typedAsText(lastColumn, s.row-1)
	s.noGrid()
	s.protect()
}

// noGrid hides the lines between cells.
func (p pen) noGrid() {
	no := false
	p.keep(p.file.SetSheetView(p.sheet, 0, &excelize.ViewOptions{ShowGridLines: &no}))
}

// absolute is a cell as $A$1.
func absolute(col, row int) string {
	cell, err := excelize.CoordinatesToCellName(col, row, true)
	if err != nil { // only a column or row of 0 or beyond the sheet
		panic(err)
	}
	return cell
}

// inFull writes what the page had to shorten below the printed part.
func (s *reportSheet) inFull() {
	if len(s.cut) == 0 {
		return
	}
	s.row += 2
	s.text(1, s.row, "In full, what the page above shortens", heading)
	s.row++
	quoted := body.with(func(l *look) { l.quote = true })
	for _, f := range s.cut {
		for _, piece := range chunks(visible(f.text)) {
			s.merge(1, 2, s.row, label.with(func(l *look) { l.wrap, l.valign = true, "top" }))
			s.text(1, s.row, f.label, label.with(func(l *look) { l.wrap, l.valign = true, "top" }))
			s.merge(3, lastColumn, s.row, quoted)
			s.text(3, s.row, piece, quoted)
			s.height(s.row, quoted.tall(len(quoted.lines(piece, across(3, lastColumn)))))
			s.row++
		}
	}
}

// footer is a sheet's page footer: the work order and the test at the left, the
// page at the right. It is held to the 255 characters that a footer may have.
func footer(p *Page) string {
	parts := []string{"leakback " + footerText(p.Version, 20), "test " + footerText(p.Result.Test.ID, 40)}
	if p.Job.WorkOrder != "" {
		parts = append(parts, "work order "+footerText(p.Job.WorkOrder, 40))
	}
	font := `&"` + family + `,Regular"&8 `
	return "&L" + font + strings.Join(parts, ", ") + "&R" + font + "page &P of &N"
}
