package report

import (
	"math"
	"slices"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"

	"leakback/leakback/ooxml"
)

// historyListed is what only a logbook knows of a test.
type historyListed struct {
	number            int64
	startedUS         int64
	vehicle, odometer string
	// word stands for the verdict of a test without a result.
	word string
}

// NewLogbookHistory begins a workbook of tests that come from a logbook: it has
// their numbers, dates, vehicles and odometers as well. version is the program's,
// zone that of the dates; nil is UTC. Close it at the end.
func NewLogbookHistory(version string, zone *time.Location) *History {
	return newHistory(version, slices.Concat(listedColumns, historyColumns), zone)
}

// AppendListed appends the rows of a test from a logbook as AppendHistory does
// those of a result; of a test without one a row that says so.
func AppendListed(to []HistoryRow, l *Listed) []HistoryRow {
	own := &historyListed{number: l.Number, startedUS: l.StartedUS, vehicle: stored(oneLine(l.Vehicle)),
		odometer: stored(oneLine(l.Odometer))}
	var t *historyTest
	if l.Result == nil || l.Err != "" {
		own.word = l.verdictWord()
		t = &historyTest{id: stored(oneLine(l.Name)), engine: stored(oneLine(l.Engine)), condition: stored(oneLine(l.Condition)),
			intervalS: math.NaN()}
	} else {
		t = newHistoryTest(l.Result)
	}
	t.listed = own
	t.marked = t.marked || strings.ContainsRune(t.id+t.engine+t.condition+own.vehicle+own.odometer, ooxml.Underscore)
	if own.word != "" {
		nan := math.NaN()
		return append(to, HistoryRow{test: t, rate: nan, standard: nan, expanded: nan, ratio: nan})
	}
	return appendRows(to, t, l.Result)
}

// listedColumns stand before the others. The offset from UTC has a column of its
// own, because a spreadsheet's dates know no zone.
var listedColumns = []historyColumn{
	{"No.", 30, false, false, func(_ *History, r *HistoryRow) any { return r.test.listed.number }},
	{"Started", 88, false, false, func(h *History, r *HistoryRow) any { return h.started(r) }},
	{"UTC\noffset", 46, true, false, func(h *History, r *HistoryRow) any {
		return localTime(r.test.listed.startedUS, h.zone).Format(offsetLayout)
	}},
	{"Vehicle", 120, true, true, func(_ *History, r *HistoryRow) any { return word(r.test.listed.vehicle) }},
	{"Odometer/hours", 80, true, true, func(_ *History, r *HistoryRow) any { return word(r.test.listed.odometer) }},
}

// started is when a test was begun, as a date that a spreadsheet can reckon with.
func (h *History) started(r *HistoryRow) any {
	return excelize.Cell{Value: serial(localTime(r.test.listed.startedUS, h.zone)),
		StyleID: h.style(historyNumber.with(func(l *look) { l.format = minuteFormat }))}
}
