package ooxml

import (
	"cmp"
	"maps"
	"slices"
	"strings"

	"github.com/xuri/excelize/v2"
)

// Differs is what a difference is about.
type Differs int

// What two workbooks may differ in.
const (
	CellDiffers  Differs = iota // Sheet and Cell say which
	SheetAdded                  // only the first has Sheet
	SheetMissing                // only the second has it
	SheetHidden                 // it is hidden in one and shown in the other
	SheetsOrder                 // the same sheets stand in another order
	NameDiffers                 // Name is a defined name
	PartDiffers                 // Name is a part of the file; it is about its raw content
	PartAdded                   // only the first has it
	PartMissing                 // only the second has it
)

// Difference is one thing that differs between two workbooks.
type Difference struct {
	Differs Differs
	// Sheet, Cell and Name say where, as far as it is about them.
	Sheet, Cell, Name string
	// First and Second are the two cells.
	First, Second Cell
	// FirstText and SecondText are what the two have of a name, or the sheets in
	// their order.
	FirstText, SecondText string
	// Hidden says that the first workbook hides the sheet.
	Hidden bool
}

// Compared is what Compare found.
type Compared struct {
	// Cells is how many cells were held against one another.
	Cells int
	// Differences are in the order of the sheets, rows and columns.
	Differences []Difference
	// ByCells says that the first file was saved by another program than the
	// second, so that only what stands in cells could be compared, and Program is
	// what it says of itself.
	ByCells bool
	Program string
}

// Compare holds a workbook against another that is to be like it. What stands in
// the cells must be equal: sort, value, formula and number format. Where one
// program wrote both files all the rest must be equal too, character by character:
// charts with the figures they carry, looks, texts around the cells. Where the first
// was saved by another program, the rest is not compared. Figures may always differ
// in what rounding does: a processor that multiplies and adds in one step ends at
// another last digit, and so does a program that calculates again.
func Compare(first, second *Package) (*Compared, error) {
	a, err := first.Book()
	if err != nil {
		return nil, err
	}
	b, err := second.Book()
	if err != nil {
		return nil, err
	}
	c := &comparison{a: a, b: b}
	c.Program = a.Program
	c.ByCells = a.Program != b.Program || mostlyOther(first, second)
	c.sheets()
	c.names()
	if !c.ByCells {
		c.parts(first, second)
	}
	return &c.Compared, nil
}

// mostlyOther says that most parts are other ones: another program, or another
// version of it, wrote them.
func mostlyOther(first, second *Package) bool {
	same := 0
	for _, part := range second.Parts {
		if alike(first.Part(part.Name), part.Content) {
			same++
		}
	}
	return 2*same < len(second.Parts)
}

type comparison struct {
	Compared
	a, b *Book
}

func (c *comparison) add(d Difference) { c.Differences = append(c.Differences, d) }

// sheets goes through the sheets of the second, then what the first has beside.
func (c *comparison) sheets() {
	var common []string
	for i := range c.b.Sheets {
		want := &c.b.Sheets[i]
		is := c.a.Sheet(want.Name)
		if is == nil {
			c.add(Difference{Differs: SheetMissing, Sheet: want.Name})
			continue
		}
		common = append(common, want.Name)
		if is.Hidden != want.Hidden {
			c.add(Difference{Differs: SheetHidden, Sheet: want.Name, Hidden: is.Hidden})
		}
		c.cells(is, want)
	}
	var order []string
	for i := range c.a.Sheets {
		if s := &c.a.Sheets[i]; c.b.Sheet(s.Name) == nil {
			c.add(Difference{Differs: SheetAdded, Sheet: s.Name, Hidden: s.Hidden})
		} else {
			order = append(order, s.Name)
		}
	}
	if !slices.Equal(order, common) {
		c.add(Difference{Differs: SheetsOrder, FirstText: strings.Join(order, ", "), SecondText: strings.Join(common, ", ")})
	}
}

// CompareSheets holds the cells of a sheet of one workbook against those of one of
// another, whatever their names.
func CompareSheets(a *Book, first string, b *Book, second string) *Compared {
	c := &comparison{a: a, b: b}
	c.Program, c.ByCells = a.Program, a.Program != b.Program
	switch is, want := a.Sheet(first), b.Sheet(second); {
	case is == nil:
		c.add(Difference{Differs: SheetMissing, Sheet: first})
	case want == nil:
		c.add(Difference{Differs: SheetAdded, Sheet: first, Hidden: is.Hidden})
	default:
		c.cells(is, want)
	}
	return &c.Compared
}

// cells compares two sheets cell by cell.
func (c *comparison) cells(is, want *Sheet) {
	names := slices.Collect(maps.Keys(want.Cells))
	for name := range is.Cells {
		if _, ok := want.Cells[name]; !ok {
			names = append(names, name)
		}
	}
	slices.SortFunc(names, byPlace)
	for _, name := range names {
		c.Cells++
		x, y := is.Cell(name), want.Cell(name)
		if !c.sameCell(x, y) {
			c.add(Difference{Sheet: is.Name, Cell: name, First: x, Second: y})
		}
	}
}

// byPlace is the order in which cells are read.
func byPlace(a, b string) int {
	colA, rowA, _ := excelize.CellNameToCoordinates(a) // made of coordinates
	colB, rowB, _ := excelize.CellNameToCoordinates(b)
	return cmp.Or(cmp.Compare(rowA, rowB), cmp.Compare(colA, colB))
}

// sameCell says whether two cells are alike. The format is that of a number: of a
// text it says nothing.
func (c *comparison) sameCell(x, y Cell) bool {
	return x.Formula == y.Formula && c.sameValue(x, y) && (x.Kind != NumberCell || x.Format == y.Format)
}

// sameValue says whether two cells hold the same. Where another program has
// worked out a formula again its result differs by rounding, and a text made of
// figures has the decimal sign of the place.
func (c *comparison) sameValue(x, y Cell) bool {
	if x.Value == "" && y.Value == "" {
		return true
	}
	if x.Kind != y.Kind {
		return false
	}
	if x.Kind == NumberCell {
		return c.near(x.Value, y.Value)
	}
	return x.Value == y.Value || c.ByCells && x.Formula != "" && len(x.Value) == len(y.Value) && strings.ReplaceAll(x.Value, ",", ".") == strings.ReplaceAll(y.Value, ",", ".")
}

// near says whether two numbers are one. Those that another program has written are
// so within rounding, whatever they look like.
func (c *comparison) near(a, b string) bool {
	if c.ByCells {
		return within(a, b)
	}
	return a == b || nearFigure(a, b)
}

// names compares the defined names, without those that programs keep for
// themselves where another one wrote the file.
func (c *comparison) names() {
	all := maps.Clone(c.a.Names)
	maps.Copy(all, c.b.Names)
	for _, name := range slices.Sorted(maps.Keys(all)) {
		x, y := c.a.Names[name], c.b.Names[name]
		if x == y || c.ByCells && (strings.Contains(name, "_xlnm.") || strings.ReplaceAll(x, "'", "") == y) {
			continue
		}
		c.add(Difference{Differs: NameDiffers, Name: name, FirstText: x, SecondText: y})
	}
}

// parts compares the files part by part, but for those in which what differs
// stands already.
func (c *comparison) parts(first, second *Package) {
	follows := c.follows()
	for _, part := range second.Parts {
		content := first.Part(part.Name)
		if content != nil && alike(content, part.Content) || follows(part.Name) {
			continue
		}
		d := Difference{Differs: PartDiffers, Sheet: c.b.sheetOf(part.Name), Name: part.Name}
		if content == nil {
			d.Differs = PartMissing
		}
		c.add(d)
	}
	for _, part := range first.Parts {
		if second.Part(part.Name) == nil && !follows(part.Name) {
			c.add(Difference{Differs: PartAdded, Name: part.Name})
		}
	}
}

// sheetOf is the sheet that stands in a part; "" where none does.
func (b *Book) sheetOf(part string) string {
	for i := range b.Sheets {
		if strings.EqualFold(b.Sheets[i].part, part) {
			return b.Sheets[i].Name
		}
	}
	return ""
}

// follows says which parts must differ after what was found in cells, sheets and
// names.
func (c *comparison) follows() func(part string) bool {
	sheets, listed, cells := map[string]bool{}, false, false
	for _, d := range c.Differences {
		switch d.Differs {
		case CellDiffers:
			sheets[d.Sheet], cells = true, true
		case SheetAdded, SheetMissing, SheetsOrder, SheetHidden, NameDiffers:
			listed = true
		}
	}
	added := slices.ContainsFunc(c.Differences, func(d Difference) bool { return d.Differs == SheetAdded || d.Differs == SheetMissing })
	list := []string{workbookPart, "xl/_rels/workbook.xml.rels", "[content_types].xml"}
	return func(part string) bool {
		name := strings.ToLower(part)
		switch {
		case slices.Contains(list, name):
			return listed
		case name == "xl/sharedstrings.xml":
			return cells || added
		case strings.HasPrefix(name, "xl/worksheets/"):
			return added || sheets[c.b.sheetOf(part)]
		}
		return false
	}
}
