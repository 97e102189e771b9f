package report

import (
	_ "embed" // the text below
	"io"
	"strconv"

	"leakback/leakback/repair"
)

// compareText is the method of a comparison in plain words, behind that of a test.
//
//go:embed repair_method.txt
var compareText string

// repairTitle stands at the head of the customer's page of a repair.
const repairTitle = "Injector return-flow test: repair and retest"

// RepairWorkbook writes a repair as an XLSX workbook: the page the customer reads
// with before and after, everything that is recorded of the work, the comparison
// in live formulas that start from the readings of every test, then of each test
// its readings, its working and its limits, with its number behind the names of
// the sheets, and the method in plain words. Equal pages give equal bytes.
func RepairWorkbook(w io.Writer, p *RepairPage) error {
	b := p.book()
	defer b.file.Close()
	return b.write(w, "workbook of a repair")
}

// book is the workbook, to be written and closed.
func (p *RepairPage) book() *book {
	b := newBook()
	works := p.works()
	b.keep(b.sheets(sheetReport, p.sheets(len(works) > 0)...))
	tests := p.testPages()
	for i, one := range tests {
		b.test(i, one)
	}
	b.comparisonSheet(p)
	last := tests[len(tests)-1]
	b.workSheet(works, p.Tightening, p.Tests, footer(last))
	b.method(methodText+"\n"+compareText, footer(last))
	page := b.repairReport(p)
	page.inFull()
	b.properties(repairTitle, p.names())
	return b
}

// works are all that was done, in the order of the tests.
func (p *RepairPage) works() []repair.Work { return p.Comparison.Whole.Work }

// sheets are the names of the sheets behind the first.
func (p *RepairPage) sheets(work bool) []string {
	var names []string
	if work {
		names = append(names, sheetWork)
	}
	names = append(names, sheetComparison)
	for i, page := range p.Tests {
		for _, name := range []string{sheetReadings, sheetWorking, sheetLimits} {
			names = append(names, name+strconv.Itoa(i+1))
		}
		if page.Record != nil {
			names = append(names, sheetRecord+strconv.Itoa(i+1))
		}
	}
	return append(names, sheetMethod)
}

// testPages are the pages of the tests with what the repair as a whole says.
func (p *RepairPage) testPages() []*Page {
	pages := make([]*Page, len(p.Tests))
	for i, one := range p.Tests {
		page := *one
		page.Version = p.Version
		pages[i] = &page
	}
	return pages
}

// names are what the tests are called.
func (p *RepairPage) names() string {
	text := ""
	for i := range p.Tests {
		if i > 0 {
			text += " to "
		}
		text += p.label(i)
	}
	return text
}

// test writes the sheets of a test, by its place.
func (b *book) test(side int, p *Page) {
	b.suffix = strconv.Itoa(side + 1)
	b.names.Within(testScope(side))
	b.readings(p)
	b.limits(p)
	b.working(p)
	b.record(p)
	b.names.Within("")
	b.suffix = ""
}
