package report

import "github.com/xuri/excelize/v2"

// The workbook's letter: one typeface that every spreadsheet program has or
// replaces by one of the same width, ink, two greys, and one accent.
const (
	family   = "Arial"
	ink      = "1F1F1F"
	grey     = "5F5F5F"
	hairline = "BDBDBD"
	tint     = "F1F4F4"
	// paperColor is that of a cell without a fill.
	paperColor = "FFFFFF"
	accent     = "1B4D58"
	// accentFill is the accent as a fill that lines in ink are still seen on.
	accentFill = "4C828F"
	// entryFill is behind what a reader may change, to see what follows.
	entryFill = "FBF7E8"
	bodySize  = 9.5
	smallSize = 8.5
)

// rule is a line at an edge of a cell; weight is excelize's border style, 0 for none.
type rule struct {
	weight int
	color  string
}

var (
	noRule   = rule{}
	thinRule = rule{1, hairline}
	darkRule = rule{1, ink}
	headRule = rule{2, accent}
)

// look is how a cell looks. Two cells of equal look share a style.
type look struct {
	size          float64
	bold, italic  bool
	color, fill   string
	align, valign string
	wrap          bool
	format        string // number format; "" for General
	top, bottom   rule
	indent        int
	// quote marks free text, so that a program does not take it for a formula
	// when somebody edits the cell.
	quote bool
	// open leaves the cell open to change where the sheet is protected.
	open bool
	// struck puts a line through text that no longer holds.
	struck bool
}

// with gives the look after a change.
func (l look) with(change func(*look)) look {
	change(&l)
	return l
}

// indentWidth is how far one step of indent moves text, in points, on the large side.
const indentWidth = 10

// lines is text as a cell of that width and look breaks it.
func (l look) lines(text string, width float64) []string {
	return l.face().wrap(text, width-indentWidth*float64(l.indent))
}

// tall is the height that so many lines need in a cell, in points.
func (l look) tall(lines int) float64 { return float64(lines)*l.face().lineHeight() + 3 }

// face is the typeface of the look, to measure text with.
func (l look) face() typeface { return typeface{l.size, l.bold} }

// style is the number of the style for a look, made on first use.
func (b *book) style(l look) int {
	if id, ok := b.styles[l]; ok {
		return id
	}
	id, err := b.file.NewStyle(l.style())
	b.keep(err)
	if l.quote && err == nil {
		id = b.quoted(id)
	}
	b.styles[l] = id
	return id
}

// quoted is a copy of a style that marks its cells as text.
func (b *book) quoted(id int) int {
	xfs := b.file.Styles.CellXfs
	xf, yes := xfs.Xf[id], true
	xf.QuotePrefix = &yes
	xfs.Xf = append(xfs.Xf, xf)
	xfs.Count = len(xfs.Xf)
	return len(xfs.Xf) - 1
}

// style is the look in excelize's words.
func (l look) style() *excelize.Style {
	s := &excelize.Style{
		Font: &excelize.Font{Family: family, Size: l.size, Bold: l.bold, Italic: l.italic, Strike: l.struck, Color: l.color},
		Alignment: &excelize.Alignment{
			Horizontal: l.align, Vertical: l.valign, WrapText: l.wrap, Indent: l.indent,
		},
	}
	if l.fill != "" {
		s.Fill = solid(l.fill)
	}
	if l.format != "" && l.format != asEntered {
		s.CustomNumFmt = &l.format
	}
	if l.open {
		s.Protection = &excelize.Protection{Locked: false}
	}
	for _, edge := range []struct {
		name string
		rule rule
	}{{"top", l.top}, {"bottom", l.bottom}} {
		if edge.rule != noRule {
			s.Border = append(s.Border,
				excelize.Border{Type: edge.name, Style: edge.rule.weight, Color: edge.rule.color})
		}
	}
	return s
}

// solid is a plain fill.
func solid(color string) excelize.Fill {
	return excelize.Fill{Type: "pattern", Pattern: 1, Color: []string{color}}
}

// The looks that sheets share.
var (
	body = look{size: bodySize, color: ink, align: "left", valign: "top", wrap: true}

	small = body.with(func(l *look) { l.size = smallSize })

	label = body.with(func(l *look) { l.size, l.color, l.valign, l.wrap = 8, grey, "bottom", false })

	entered = body.with(func(l *look) { l.size, l.valign, l.bottom, l.quote = smallSize, "bottom", thinRule, true })

	heading = body.with(func(l *look) {
		l.bold, l.color, l.wrap, l.valign = true, accent, false, "bottom"
	})

	columnHead = small.with(func(l *look) {
		l.bold, l.align, l.valign, l.bottom = true, "right", "bottom", headRule
	})
)
