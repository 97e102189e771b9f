package report

import (
	_ "embed" // the text below
	"strings"
)

// methodText is the method in plain words: a heading begins with #, every other
// line is a paragraph.
//
//go:embed workbook_method.txt
var methodText string

// methodWidth is the width of the method's one column in points.
const methodWidth = 500

// method writes the sheet that says in plain words how an answer comes about.
func (b *book) method(text, footer string) {
	s, row := pen{b, sheetMethod}, 1
	s.widths(methodWidth)
	for _, line := range strings.Split(strings.TrimSpace(text), "\n") {
		l, text := body.with(func(l *look) { l.size = 10 }), line
		if name, ok := strings.CutPrefix(line, "# "); ok {
			l, text = heading.with(func(l *look) { l.size = 11 }), name
		}
		if row == 1 {
			l.size, l.bold = 16, true
		}
		s.text(1, row, text, l)
		s.height(row, l.tall(len(l.lines(text, methodWidth)))+leading(line))
		row++
	}
	s.print(paper{footer: footer})
	s.name("_xlnm.Print_Area", "$A$1:"+absolute(1, row-1))
	s.name("_xlnm.Print_Titles", "$1:$1")
	s.keep(s.file.SetSheetDimension(s.sheet, at(1, 1)+":"+at(1, row-1)))
	s.noGrid()
	s.protect()
}

// leading is the space that a line of the method keeps to the one above.
func leading(line string) float64 {
	if strings.HasPrefix(line, "# ") {
		return 12
	}
	return 3
}
