package command

import (
	"context"
	"io"
	"math"
	"strconv"
	"strings"

	"leakback/leakback/ooxml"
	"leakback/leakback/repair"
	"leakback/report"
)

// repair holds the workbook of a repair against the logbook. Where all of its
// tests come from there it is built again; else what it has of each test is
// compared.
func (v *verification) repair(ctx context.Context, r *openedReport, claims []*claim, said *verdict) error {
	var tests []*foundTest
	var sides []string
	for i, c := range claims {
		side := strconv.Itoa(i + 1)
		if c == nil {
			said.note("sheet %s%s: of a readings file, which cannot be verified", readingsPage, side)
			continue
		}
		t, err := v.find(ctx, c, said)
		if err != nil {
			return err
		}
		if t != nil {
			tests, sides = append(tests, t), append(sides, side)
			t.notes(said)
		}
	}
	switch {
	case len(tests) == len(claims):
		return v.wholeRepair(ctx, r, tests, said)
	case len(tests) > 0:
		return v.sides(r, tests, sides, said)
	case len(said.differences) == 0:
		return errNoRecord
	}
	return nil
}

// gone are what may have been said when the workbook was written; it is tried.
var gone = []string{"", "yes", "no", "not tried"}

// wholeRepair builds the workbook again and compares all of it.
func (v *verification) wholeRepair(ctx context.Context, r *openedReport, tests []*foundTest, said *verdict) error {
	env := *v.env
	env.place = zoneOf(tests, v.env.zone())
	sides := make([]side, len(tests))
	for i, t := range tests {
		sides[i] = side{page: t.test.page(&env), logged: &t.test, label: testLabel(t.test.entry)}
	}
	var best *ooxml.Compared
	for _, word := range gone {
		again := &retest{env: &env, book: v.book, o: &retestOptions{gone: word}}
		page, err := again.page(ctx, sides, r.fuel())
		if err != nil {
			return err
		}
		page.Version = r.version()
		compared, err := r.compare(func(w io.Writer) error { return report.RepairWorkbook(w, page) })
		if err != nil {
			return err
		}
		if best == nil || len(compared.Differences) < len(best.Differences) {
			best = compared
		}
		if len(best.Differences) == 0 {
			break
		}
	}
	said.compared(best, "tells the same story as "+testsSaid(tests))
	said.version(r.version())
	return nil
}

func testsSaid(tests []*foundTest) string {
	texts := make([]string, len(tests))
	for i, t := range tests {
		texts[i] = t.said()
	}
	return strings.Join(texts, " and ")
}

// fuel is the fuel that the workbook reckons with, else an assumed one.
func (r *openedReport) fuel() repair.Fuel {
	assumed := repair.AssumedFuel()
	points := [2]repair.Point{}
	same := true
	for i := range points {
		place := strconv.Itoa(i + 1)
		t, v := r.named("fuel_temp_"+place), r.named("fuel_viscosity_"+place)
		points[i] = repair.Point{TempC: t, ViscosityMM2S: v}
		same = same && math.Abs(t-assumed.Points[i].TempC) < 1e-6 && math.Abs(v-assumed.Points[i].ViscosityMM2S) < 1e-6
	}
	fuel, err := repair.NewFuel(points[0], points[1])
	if same || err != nil {
		return assumed
	}
	return fuel
}

// named is the number in a cell that the workbook has a name for; NaN where there
// is none.
func (r *openedReport) named(name string) float64 {
	sheet, cell, _ := strings.Cut(r.book.Names[name], "!")
	s := r.book.Sheet(strings.Trim(sheet, "'"))
	if s == nil {
		return math.NaN()
	}
	x, err := strconv.ParseFloat(s.Cell(strings.ReplaceAll(cell, "$", "")).Value, 64)
	if err != nil {
		return math.NaN()
	}
	return x
}

// sides compare the readings and the entries of those tests that come from the
// logbook.
func (v *verification) sides(r *openedReport, tests []*foundTest, sides []string, said *verdict) error {
	zone, all := zoneOf(tests, v.env.zone()), &ooxml.Compared{}
	for i, t := range tests {
		page := t.test.pageIn(zone)
		p, err := built(func(w io.Writer) error { return report.Workbook(w, page) })
		if err != nil {
			return err
		}
		book, err := p.Book()
		if err != nil {
			return err
		}
		for _, sheet := range []string{readingsPage, recordPage} {
			compared := ooxml.CompareSheets(r.book, sheet+sides[i], book, sheet)
			all.Cells += compared.Cells
			all.Differences = append(all.Differences, compared.Differences...)
		}
	}
	said.differs(all.Differences)
	said.same = "has the readings and entries of " + testsSaid(tests) + "; all " + counted(all.Cells, "cell") + " of these sheets are the same"
	said.note("not built again: compared were the sheets %s and %s of these tests, and nothing else", readingsPage, recordPage)
	return nil
}
