package form

import "github.com/xuri/excelize/v2"

// The form's letter: one typeface that every program has, or one as wide.
const (
	family    = "Arial"
	ink       = "1F1F1F"
	grey      = "5F5F5F"
	lines     = "8C8C8C" // below and around entries
	accent    = "1B4D58"
	entryFill = "FBF7E8" // behind what is entered
)

// look is how a cell looks; equal looks share a style.
type look struct {
	size          float64
	bold          bool
	color, fill   string
	align, valign string
	wrap          bool
	// bottom is a line below, frame one around.
	bottom, frame int
	indent        int
	// open cells may be written into, and hold what is typed as text: a number
	// with the other country's decimal mark would else become a date, or ten
	// times as much.
	open bool
}

var (
	titleLook   = look{size: 17, bold: true, color: accent, align: "left", valign: "center"}
	markerLook  = look{size: 6.5, color: grey, align: "right", valign: "bottom"}
	headingLook = look{size: 10, bold: true, color: accent, align: "left", valign: "bottom"}
	labelLook   = look{size: 8.5, color: ink, align: "left", valign: "bottom"}
	hintLook    = look{size: 7.5, color: grey, align: "left", valign: "bottom", indent: 1}
	entryLook   = look{size: 10, color: ink, fill: entryFill, align: "left", valign: "bottom", bottom: 1, open: true}
	noteLook    = look{size: 10, color: ink, fill: entryFill, align: "left", valign: "top", wrap: true, frame: 1, open: true}
	guideLook   = look{size: 8, color: ink, align: "left", valign: "top", wrap: true}
	columnLook  = look{size: 8.5, bold: true, color: ink, align: "center", valign: "center", frame: 1}
	rowLook     = look{size: 10, bold: true, color: ink, align: "center", valign: "center", frame: 1}
	fixedLook   = look{size: 9, color: ink, align: "center", valign: "center", frame: 1}
	readingLook = look{size: 11, color: ink, fill: entryFill, align: "center", valign: "center", frame: 1, open: true}
	cautionLook = look{size: 7.5, color: ink, align: "left", valign: "top", wrap: true}
	footLook    = look{size: 7, color: grey, align: "left", valign: "bottom"}
)

// with gives the look after a change.
func (l look) with(change func(*look)) look {
	change(&l)
	return l
}

// style is the look in excelize's words.
func (l look) style() *excelize.Style {
	s := &excelize.Style{
		Font: &excelize.Font{Family: family, Size: l.size, Bold: l.bold, Color: l.color},
		Alignment: &excelize.Alignment{
			Horizontal: l.align, Vertical: l.valign, WrapText: l.wrap, Indent: l.indent,
		},
		Protection: &excelize.Protection{Locked: !l.open},
	}
	if l.fill != "" {
		s.Fill = excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{l.fill}}
	}
	if l.open {
		s.NumFmt = textFormat
	}
	for _, edge := range []struct {
		name   string
		weight int
	}{{"left", l.frame}, {"right", l.frame}, {"top", l.frame}, {"bottom", max(l.frame, l.bottom)}} {
		if edge.weight > 0 {
			s.Border = append(s.Border, excelize.Border{Type: edge.name, Style: edge.weight, Color: lines})
		}
	}
	return s
}

// textFormat is the number of the format @, text as it is typed (ISO/IEC
// 29500-1, 18.8.30).
const textFormat = 49
