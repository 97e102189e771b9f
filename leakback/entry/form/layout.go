package form

import (
	"fmt"
	"regexp"
	"strconv"

	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/limits"
)

// shape is what the places of a form's cells follow from. It stands in the
// form's marker, so that writing and reading have one layout.
type shape struct {
	method    leakback.Method
	cylinders int
	runs      int
	lines     int // return lines that are named; 0 where there is one
}

// marker is the text by which a form is known.
func (s shape) marker() string {
	return fmt.Sprintf("leakback entry form %d: %s, %d cylinders, %d runs, %d return lines",
		Version, s.method, s.cylinders, s.runs, s.lines)
}

var (
	markerBegins = regexp.MustCompile(`^leakback entry form (\d{1,6})\b`)
	markerOfOne  = regexp.MustCompile(`^leakback entry form \d+: (individual|block-off|total), (\d{1,3}) cylinders, (\d{1,3}) runs, (\d{1,2}) return lines$`)
)

// shapeOf reads a marker of this version; false where it is none.
func shapeOf(marker string) (shape, bool) {
	found := markerOfOne.FindStringSubmatch(marker)
	if found == nil {
		return shape{}, false
	}
	figure := func(i int) int {
		n, _ := strconv.Atoi(found[i]) // digits, as the pattern says
		return n
	}
	s := shape{leakback.Method(found[1]), figure(2), figure(3), figure(4)}
	fits := s.cylinders >= 1 && s.cylinders <= limits.MostCylinders && s.lines <= limits.MostCylinders && s.runs >= 1
	if s.method == leakback.MethodBlockOff {
		return s, fits && s.runs <= mostScheduled
	}
	return s, fits && s.runs <= mostRuns
}

// mostScheduled is how many runs the longest schedule of two passes has: two of
// each cylinder, and two baselines of each of 32 return lines.
const mostScheduled = 2*limits.MostCylinders + limits.MostCylinders

// rows is how many rows of readings there are.
func (s shape) rows() int {
	switch s.method {
	case leakback.MethodBlockOff:
		return s.runs
	case leakback.MethodTotal:
		return max(1, s.lines)
	}
	return s.cylinders
}

// gridColumns is how many columns the page has, all alike: cells are made of
// several, so that one grid carries both the fields and the table.
const gridColumns = 24

// box is some cells of one row that are one.
type box struct{ row, from, to int }

// cell is the name of the box's first cell, the one that holds its value.
func (b box) cell() string { return cellName(b.from, b.row) }

func cellName(col, row int) string {
	name, err := excelize.CoordinatesToCellName(col, row)
	if err != nil { // only a column or row of 0 or beyond a sheet
		panic(err)
	}
	return name
}

// placed is a field and its place.
type placed struct {
	field
	label, entry, hint box
}

// slot is one reading's place, or that of a run's time.
type slot struct {
	box
	// run is the number of its run, row the row of the table, from 0.
	run, row int
}

// headed is a fixed text of the table and its place.
type headed struct {
	box
	text string
}

// layout is where everything that is entered stands.
type layout struct {
	shape
	title, marker box
	job, state    []placed
	note          placed
	// stateHead, tableHead and guide are the headings and the words above the table.
	stateHead, tableHead, guide box
	// heads are the column heads and the names of rows that Read holds a form
	// against: readings in another place would be taken for those of another run.
	heads []headed
	// blocked and lines are the cells of a row that say what was blocked, and
	// which return line it is; empty where there are none.
	blocked, lines []box
	times          []slot
	readings       []slot
	table          table
	// firstRow is the first row of readings, tableRows how many of them there are.
	firstRow, tableRows int
	// end is the row below all that is read.
	end int
}

func newLayout(s shape) *layout {
	l := &layout{shape: s, title: box{1, 1, 12}, marker: box{1, 13, gridColumns}}
	row := 3
	row = l.place(&l.job, jobFields(), row, [3]int{4, 8, 0})
	l.stateHead = box{row + 1, 1, gridColumns}
	row = l.place(&l.state, stateFields(s.method), row+2, [3]int{4, 4, 4})
	l.tableHead, l.guide = box{row + 1, 1, gridColumns}, box{row + 2, 1, gridColumns}
	row = l.placeTable(row + 3)
	l.note = placed{noteField, box{row + 1, 1, 4}, box{row + 1, 5, gridColumns}, box{}}
	l.end = row + 2
	return l
}

// place puts fields in their rows, two in one, and gives the row below; widths
// are those of label, entry and hint in columns of the grid.
func (l *layout) place(to *[]placed, fields []field, row int, widths [3]int) int {
	half := 0
	for _, f := range fields {
		if f.wide && half == 1 {
			row, half = row+1, 0
		}
		*to = append(*to, placeField(f, row, 1+half*gridColumns/2, widths))
		if half++; half == 2 || f.wide {
			row, half = row+1, 0
		}
	}
	return row + half
}

// wider is how much wider the entry of a wide field is that has a hint.
const wider = 2

// placeField puts one field into a row, from a column on. A wide one goes to the
// end of the row.
func placeField(f field, row, at int, widths [3]int) placed {
	p := placed{field: f, label: take(row, &at, widths[0])}
	width := widths[1]
	switch {
	case f.wide && widths[2] == 0:
		width = gridColumns - at + 1
	case f.wide:
		width += wider
	}
	p.entry = take(row, &at, width)
	switch {
	case f.wide && widths[2] > 0:
		p.hint = box{row, at, gridColumns}
	case widths[2] > 0:
		p.hint = take(row, &at, widths[2])
	}
	return p
}

// table says how the rows of readings are set: in blocks side by side.
type table struct {
	blocks, perBlock int
	// label, blocked, line, time and volume are widths in columns of the grid; 0
	// for what there is none of.
	label, blocked, line, time, volume int
}

// Rows that a block has at most while there is room for another beside it, and
// the narrowest columns that take a hand-written figure, and a name, in columns of
// the grid.
const (
	blockRows   = 10
	leastVolume = 2
	leastName   = 2
)

// newTable takes the fewest blocks that are short enough, or else the most that
// are wide enough.
func (s shape) newTable() table {
	best := s.inBlocks(1)
	for _, n := range []int{2, 3} {
		if best.perBlock <= blockRows {
			break
		}
		if t := s.inBlocks(n); t.volume >= leastVolume {
			best = t
		}
	}
	return best
}

// inBlocks is the table in that many blocks, with a column of the grid between.
func (s shape) inBlocks(n int) table {
	t := table{blocks: n, perBlock: (s.rows() + n - 1) / n}
	width := t.width()
	t.label = 3 - min(n-1, 1)
	if n == 3 {
		t.label = 1
	}
	if s.lines > 0 {
		t.line = max(leastName, t.label)
	}
	if s.method == leakback.MethodBlockOff {
		t.blocked = max(leastName, t.label)
		t.time = max(leastVolume, (width-t.label-t.blocked-t.line)/2)
		t.volume = width - t.label - t.blocked - t.line - t.time
		return t
	}
	t.volume = (width - t.label - t.line) / s.runs
	return t
}

// width is that of a block: with others beside it, a column of the grid stays
// free for the gap.
func (t *table) width() int { return gridColumns/t.blocks - min(t.blocks-1, 1) }

// gap is what stays free between two blocks.
func (t *table) gap() int { return (gridColumns - t.blocks*t.width()) / max(1, t.blocks-1) }

// placeTable puts the table's cells from a row on and gives the row below.
func (l *layout) placeTable(row int) int {
	l.table = l.newTable()
	t := &l.table
	merged := l.method == leakback.MethodBlockOff
	l.firstRow = row + 1
	if !merged {
		l.firstRow++ // the row of the runs' times
	}
	for b := range t.blocks {
		at := 1 + b*(t.width()+t.gap())
		if merged {
			l.blockOffBlock(b, at, row)
		} else {
			l.runsBlock(b, at, row)
		}
	}
	l.tableRows = t.perBlock
	return l.firstRow + t.perBlock
}

// rowsOf are the rows of the table that a block has, and their rows on the sheet.
func (l *layout) rowsOf(b int, do func(i, row int)) {
	for k := range l.table.perBlock {
		if i := b*l.table.perBlock + k; i < l.rows() {
			do(i, l.firstRow+k)
		}
	}
}

// take gives a box of that width at the front of those that are left.
func take(row int, at *int, width int) box {
	b := box{row, *at, *at + width - 1}
	*at += width
	return b
}

// runsBlock is a block with a column a run.
func (l *layout) runsBlock(b, from, row int) {
	t := &l.table
	l.runsHeads(from, row)
	if b == 0 {
		l.timesRow(from, row+1)
	}
	l.rowsOf(b, func(i, row int) {
		at := from
		l.heads = append(l.heads, headed{take(row, &at, t.label), l.rowName(i)})
		if t.line > 0 {
			l.lines = append(l.lines, take(row, &at, t.line))
		}
		for run := range l.runs {
			l.readings = append(l.readings, slot{take(row, &at, t.volume), run + 1, i})
		}
	})
}

// runsHeads are the heads of the columns of such a block.
func (l *layout) runsHeads(at, row int) {
	name := "Cylinder"
	switch {
	case l.method == leakback.MethodTotal:
		name = "Return"
	case l.table.label == 1:
		name = "Cyl."
	}
	l.heads = append(l.heads, headed{take(row, &at, l.table.label), name})
	if l.table.line > 0 {
		l.heads = append(l.heads, headed{take(row, &at, l.table.line), "Line"})
	}
	for run := range l.runs {
		l.heads = append(l.heads, headed{take(row, &at, l.table.volume), fmt.Sprintf("Run %d, mL", run+1)})
	}
}

// timesRow is the row of the runs' own times.
func (l *layout) timesRow(at, row int) {
	name := "Time, s"
	if l.table.label == 1 {
		name = "Time"
	}
	l.heads = append(l.heads, headed{take(row, &at, l.table.label+l.table.line), name})
	for run := range l.runs {
		l.times = append(l.times, slot{take(row, &at, l.table.volume), run + 1, 0})
	}
}

// rowName is what a row of the table is called.
func (l *layout) rowName(i int) string {
	if l.method == leakback.MethodTotal {
		return "Total"
	}
	return strconv.Itoa(i + 1)
}

// blockOffBlock is a block with a row a run.
func (l *layout) blockOffBlock(b, from, row int) {
	t, at := &l.table, from
	head := func(width int, text string) {
		if width > 0 {
			l.heads = append(l.heads, headed{take(row, &at, width), text})
		}
	}
	head(t.label, "Run")
	head(t.blocked, "Blocked")
	head(t.line, "Line")
	head(t.time, "Time, s")
	head(t.volume, "Total, mL")
	l.rowsOf(b, func(i, row int) {
		at := from
		l.heads = append(l.heads, headed{take(row, &at, t.label), l.rowName(i)})
		l.blocked = append(l.blocked, take(row, &at, t.blocked))
		if t.line > 0 {
			l.lines = append(l.lines, take(row, &at, t.line))
		}
		l.times = append(l.times, slot{take(row, &at, t.time), i + 1, i})
		l.readings = append(l.readings, slot{take(row, &at, t.volume), i + 1, i})
	})
}

// fields are all that is entered once.
func (l *layout) fields() []placed {
	all := append([]placed(nil), l.job...)
	return append(append(all, l.state...), l.note)
}
