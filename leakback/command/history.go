package command

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"leakback/leakback"
	"leakback/leakback/entry/recorded"
	"leakback/leakback/logbook"
	"leakback/limits/quantity"
	"leakback/report"
)

// historyOptions are the flags of leakback history.
type historyOptions struct {
	logbook         logbookOptions
	vehicle, engine string
	since, until    string
	format          string
	most            int
	all, trend      bool
	story           bool
	output          string
	overwrite       bool
}

// usualMost is how many tests are listed where nobody says.
const usualMost = 20

func newHistoryCommand(env *environment) *cobra.Command {
	o := &historyOptions{}
	cmd := &cobra.Command{
		Use:   "history [TEST]",
		Short: "list earlier tests, or show one in full",
		Long: `List the tests of the logbook, the newest first, each with a small picture of its
cylinders. With TEST (its number, its id or the end of it) show that one in full:
when it was done and by whom, every run, and every correction.

--vehicle takes the vehicle's name or its VIN. --story tells the tests of one engine and what was
done between in the order in which it went. --trend shows how the cylinders of
one engine changed from test to test; --output writes the tests, and their trend
with a chart, as a workbook.

Exit codes: 0 shown; 2 bad use, or no such test; 3 the logbook cannot be read or
the workbook cannot be written.`,
		Example: `  leakback history --vehicle "Unit 12"
  leakback history 17
  leakback history --engine "My engine" --since 2026-01-01 --format csv
  leakback history --vehicle "Unit 12" --trend --output trend.xlsx`,
		Args: arguments("[TEST]"),
		RunE: func(c *cobra.Command, args []string) error {
			return (&history{env: env, o: o}).run(c.Context(), args)
		},
		ValidArgsFunction: cobra.NoFileCompletions,
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.StringVar(&o.vehicle, "vehicle", "", "only of this vehicle, by name or VIN")
	f.StringVar(&o.engine, "engine", "", "only of this kind of engine")
	f.StringVar(&o.since, "since", "", "only from this day on, such as 2026-01-31")
	f.StringVar(&o.until, "until", "", "only up to this day")
	f.StringVar(&o.format, "format", "table", "table, json or csv")
	addWhole(f, &o.most, "most", usualMost, "how many tests at most")
	f.BoolVar(&o.all, "all", false, "all tests, however many")
	f.BoolVar(&o.trend, "trend", false, "how the cylinders changed from test to test")
	f.BoolVar(&o.story, "story", false, "one engine's tests and what was done between, the oldest first")
	addFile(f, &o.output, "output", "o", "write a workbook (.xlsx) as well")
	f.BoolVar(&o.overwrite, "overwrite", false, "replace an existing workbook")
	o.logbook.addFlag(f)
	completeWords(cmd, map[string][]string{"format": formats})
	return cmd
}

// history is one run of the command.
type history struct {
	env *environment
	o   *historyOptions
}

func (h *history) run(ctx context.Context, args []string) error {
	filter, err := h.sound(args)
	if err != nil {
		return err
	}
	book, err := h.o.logbook.toRead(ctx, h.env)
	if err != nil {
		return err
	}
	defer book.Close()
	if len(args) == 1 {
		return h.one(ctx, book, args[0])
	}
	return h.list(ctx, book, filter)
}

// sound refuses flags that contradict one another and gives the filter.
func (h *history) sound(args []string) (logbook.Filter, error) {
	o := h.o
	f := logbook.Filter{Vehicle: o.vehicle, Engine: o.engine, Most: o.most}
	if o.all {
		f.Most = 0
	}
	filtered := o.vehicle+o.engine+o.since+o.until != "" || o.trend || o.all || o.output != ""
	switch {
	case len(args) == 1 && filtered:
		return f, errors.New("TEST with --vehicle, --engine, --since, --until, --trend, --all or --output: expected one test, or which tests to list")
	case !slices.Contains(formats, o.format):
		return f, fmt.Errorf("--format: %s: expected %s", quantity.Quote(o.format), strings.Join(formats, ", "))
	case o.trend && o.format != "table":
		return f, errors.New("--trend: expected with --format table; --format csv and json hold the same figures as a list")
	case o.story && (o.trend || o.format != "table"):
		return f, errors.New("--story: expected with --format table and without --trend")
	case o.most < 1:
		return f, fmt.Errorf("--most: %d: expected at least 1, or --all", o.most)
	case o.overwrite && o.output == "":
		return f, errors.New("--overwrite: expected with --output FILE")
	}
	if o.output != "" {
		if err := soundWorkbook(o.output, o.overwrite); err != nil {
			return f, err
		}
	}
	var err error
	if f.SinceUS, err = h.day("--since", o.since, 0); err != nil {
		return f, err
	}
	if f.UntilUS, err = h.day("--until", o.until, 1); err != nil {
		return f, err
	}
	if o.until != "" && f.UntilUS <= f.SinceUS {
		return f, fmt.Errorf("--until: %s: expected a day that is not before --since %s", quantity.Quote(o.until), o.since)
	}
	return f, nil
}

// day is the beginning of a day, so many days later, in µs; 0 where none is named.
func (h *history) day(flag, text string, later int) (int64, error) {
	if text == "" {
		return 0, nil
	}
	t, err := time.ParseInLocation(time.DateOnly, text, h.env.zone())
	if err != nil {
		return 0, fmt.Errorf("%s: %s: expected a day such as 2026-01-31", flag, quantity.Quote(text))
	}
	return t.AddDate(0, 0, later).UnixMicro(), nil
}

// one shows a test in full.
func (h *history) one(ctx context.Context, book *logbook.Book, ref string) error {
	found, err := book.Find(ctx, ref)
	if err != nil {
		return err
	}
	events, err := book.Events(ctx, found.ID)
	if err != nil {
		return err
	}
	t := &loggedTest{entry: found, record: leakback.NewRecord(events)}
	var out bytes.Buffer
	if h.o.format != "table" {
		if err := h.print(&out, []report.Listed{listedTest(h.env, &t.entry, t.record)}); err != nil {
			return err
		}
		_, err = h.env.stdout.Write(out.Bytes())
		return stdoutError(err)
	}
	var page *report.Page
	if t.result, err = evaluated(t.record); err != nil { // what was entered is shown all the same
		page = &report.Page{Job: t.record.Job(), Record: &report.Record{
			Number: found.Number, TestID: found.ID, Head: found.Head, Record: t.record, Zone: h.env.zone()}}
		h.env.say(fmt.Sprintf("test %d: %v", found.Number, err))
	} else {
		page = t.page(h.env)
	}
	if err := report.RecordTable(&out, page, h.env.tableOptions()); err != nil {
		return err
	}
	_, err = h.env.stdout.Write(out.Bytes())
	return stdoutError(err)
}

// list lists tests, page by page, so that a long list keeps no more of the
// logbook in memory than it shows.
func (h *history) list(ctx context.Context, book *logbook.Book, filter logbook.Filter) error {
	tests, more, err := h.read(ctx, book, filter)
	if err != nil {
		return err
	}
	var out bytes.Buffer
	if err := h.print(&out, tests); err != nil {
		return err
	}
	if _, err := h.env.stdout.Write(out.Bytes()); err != nil {
		return stdoutError(err)
	}
	switch {
	case len(tests) == 0:
		h.env.say("no such test in " + shownPath(h.env, h.o.logbook.where(h.env)))
	case more:
		h.env.say(fmt.Sprintf("the newest %d; --most N or --all lists more", len(tests)))
	}
	if h.o.output == "" {
		return nil
	}
	return h.workbook(tests)
}

// pageTests is how many tests are read from the logbook at once.
const pageTests = 256

// read reads and judges the tests of a filter, and says whether there are more.
func (h *history) read(ctx context.Context, book *logbook.Book, filter logbook.Filter) (tests []report.Listed, more bool, err error) {
	most := filter.Most
	for {
		filter.Most = pageTests
		if most > 0 { // one more, to see whether there is one
			filter.Most = min(pageTests, most+1-len(tests))
		}
		page, err := book.Tests(ctx, filter)
		if err != nil {
			return nil, false, err
		}
		records, err := recordsOf(ctx, book, page)
		if err != nil {
			return nil, false, err
		}
		for i := range page {
			if most > 0 && len(tests) == most {
				return tests, true, nil
			}
			l := listedTest(h.env, &page[i], records[i].Record)
			if records[i].damage != nil {
				l.Result, l.Err = nil, records[i].damage.Error()
			}
			tests = append(tests, l)
		}
		if len(page) < filter.Most || most > 0 && len(tests) >= most+1 {
			return tests, false, nil
		}
		filter.Before = &page[len(page)-1]
	}
}

// readRecord is a test's record, or why it cannot be trusted.
type readRecord struct {
	*leakback.Record
	damage *logbook.Error
}

// recordsOf reads tests at once. Where one of them is damaged each is read by
// itself, so that the sound ones are shown all the same.
func recordsOf(ctx context.Context, book *logbook.Book, entries []logbook.Entry) ([]readRecord, error) {
	list := make([]readRecord, len(entries))
	events, err := book.EventsOf(ctx, ids(entries))
	if err == nil {
		for i := range entries {
			list[i].Record = leakback.NewRecord(events[entries[i].ID])
		}
		return list, nil
	}
	for i := range entries {
		alone, err := book.Events(ctx, entries[i].ID)
		if err != nil && (!errors.As(err, &list[i].damage) || list[i].damage.Kind != logbook.Damaged) {
			return nil, err
		}
		list[i].Record = leakback.NewRecord(alone)
	}
	return list, nil
}

func ids(entries []logbook.Entry) []string {
	list := make([]string, len(entries))
	for i := range entries {
		list[i] = entries[i].ID
	}
	return list
}

// listedTest is a test of the logbook as lists show it.
func listedTest(env *environment, e *logbook.Entry, record *leakback.Record) report.Listed {
	l := report.Listed{
		Number: e.Number, TestID: e.ID, Name: e.Name, StartedUS: startedUS(env, e, record), Vehicle: e.Vehicle, VIN: e.VIN,
		Engine: e.Engine, EngineSerial: e.EngineSerial, Customer: e.Customer, WorkOrder: e.WorkOrder, Odometer: e.Odometer,
		Condition: e.Condition, Method: e.Method, Ended: e.Ended, Events: e.Events,
		Corrections: len(record.Corrections()), Work: workLines(env, e, record),
	}
	if l.Ended == "" {
		l.Progress = progressOf(record)
		return l
	}
	r, err := evaluated(record)
	switch {
	case errors.Is(err, recorded.ErrNoReadings): // given up before anything was read
	case err != nil:
		l.Err = err.Error()
	default:
		l.Result = r
	}
	return l
}

// startedUS is when a test was done: as somebody wrote it down, where that is a
// date that every spreadsheet has, else when its first entry was made.
func startedUS(env *environment, e *logbook.Entry, record *leakback.Record) int64 {
	tested := record.Set(leakback.FieldTested)
	for _, layout := range []string{time.RFC3339, "2006-01-02 15:04 -07:00", "2006-01-02 15:04", time.DateOnly} {
		if t, err := time.ParseInLocation(layout, tested, env.zone()); err == nil && report.Dated(t.In(env.zone())) {
			return t.UnixMicro()
		}
	}
	return e.StartedUS
}

// print renders the list.
func (h *history) print(to *bytes.Buffer, tests []report.Listed) error {
	switch {
	case h.o.format == "json":
		for i := range tests {
			if err := report.HistoryJSON(to, &tests[i]); err != nil {
				return err
			}
		}
		return nil
	case h.o.format == "csv":
		to.WriteString(report.HistoryCSVHeader())
		for i := range tests {
			to.Write(h.env.data(report.AppendHistoryCSV(to.AvailableBuffer(), &tests[i])))
		}
		return nil
	case h.o.story:
		return report.Story(to, tests, h.env.tableOptions())
	case h.o.trend:
		return report.TrendTable(to, &report.Trend{Tests: tests, Zone: h.env.zone()}, h.env.tableOptions())
	}
	return report.HistoryTable(to, tests, h.env.tableOptions())
}

// workbook writes the tests and their trend.
func (h *history) workbook(tests []report.Listed) error {
	w := report.NewLogbookHistory(version(), h.env.zone())
	defer w.Close()
	var rows []report.HistoryRow
	for i := range tests {
		rows = report.AppendListed(rows, &tests[i])
	}
	if err := w.Add(rows); err != nil {
		return &fileError{err}
	}
	w.Trend(&report.Trend{Tests: tests, Zone: h.env.zone()})
	return h.env.publish(h.o.output, h.o.overwrite, func(to io.Writer) error { return w.Write(to) })
}
