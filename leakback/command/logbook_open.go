package command

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/pflag"

	"leakback/leakback"
	"leakback/leakback/entry/recorded"
	"leakback/leakback/logbook"
	"leakback/leakback/repair"
	"leakback/limits/quantity"
	"leakback/report"
)

// logbookVariable names the logbook for every command.
const logbookVariable = "LEAKBACK_LOGBOOK"

// logbookOptions say which logbook a command works on.
type logbookOptions struct {
	address string
}

func (o *logbookOptions) addFlag(f *pflag.FlagSet) {
	addFile(f, &o.address, "logbook", "", "logbook; else "+logbookVariable+", else the one in your data folder")
}

// where is the address of the logbook.
func (o *logbookOptions) where(env *environment) string {
	return cmp.Or(o.address, env.getenv(logbookVariable), env.logbook)
}

func (o *logbookOptions) open(ctx context.Context, env *environment, how logbook.Options) (*logbook.Book, error) {
	if o.where(env) == "" {
		return nil, &fileError{&hintedError{errors.New("no logbook: there is no data folder, as HOME is not set"),
			"name the file with --logbook or " + logbookVariable}}
	}
	return env.openBook(ctx, o.where(env), how)
}

// openBook opens a logbook, and says what is wrong with one that can still be used.
func (env *environment) openBook(ctx context.Context, address string, how logbook.Options) (*logbook.Book, error) {
	book, err := logbook.Open(ctx, address, how)
	if err == nil && book.Notice() != "" {
		env.say(book.Notice())
	}
	return book, err
}

// toRead opens the logbook without a trace in it.
func (o *logbookOptions) toRead(ctx context.Context, env *environment) (*logbook.Book, error) {
	return o.open(ctx, env, logbook.Options{ReadOnly: true, MustExist: true})
}

// toWrite opens the logbook, and makes a new one where there is none.
func (o *logbookOptions) toWrite(ctx context.Context, env *environment) (*logbook.Book, error) {
	return o.open(ctx, env, logbook.Options{})
}

// serverWait is how long a server may be away before a recording goes on in the
// local logbook: as long as a person waits for the next question.
const serverWait = 4 * time.Second

// toEnter opens the logbook for a person who answers questions; existing refuses to
// begin a new one.
func (o *logbookOptions) toEnter(ctx context.Context, env *environment, existing bool) (*logbook.Book, error) {
	if err := env.soundClock(); err != nil {
		return nil, err
	}
	options := logbook.Options{MustExist: existing}
	if onServer(o.where(env)) {
		options.Wait = serverWait
	}
	return o.open(ctx, env, options)
}

// localClock is the time now, in the zone of the people.
func (env *environment) localClock() time.Time { return env.clock().In(env.zone()) }

// clock is the time now, with a reading that nobody sets.
func (env *environment) clock() time.Time {
	if env.now == nil {
		return time.Now()
	}
	return env.now()
}

// soundClock refuses a clock that was never set: no logbook keeps a time from
// before 1970.
func (env *environment) soundClock() error {
	now := env.localClock()
	if now.UnixMicro() > 0 {
		return nil
	}
	return &hintedError{fmt.Errorf("this machine's clock says %s: expected a day since 1970", now.Format(time.DateOnly)), "set the clock, then start again"}
}

// station names this program on this machine, so that a test that is being
// recorded elsewhere is not taken for one that was broken off.
func station() string {
	host, err := os.Hostname()
	if err != nil {
		host = "unknown"
	}
	return host + " " + strconv.Itoa(os.Getpid())
}

// abandoned says whether the sitting that a station began can have ended
// without an end: its process on this machine is gone, or it was elsewhere.
func abandoned(stationed string) bool {
	host, process, ok := strings.Cut(stationed, " ")
	here, err := os.Hostname()
	if !ok || err != nil || host != here {
		return true
	}
	pid, err := strconv.Atoi(process)
	return err != nil || pid == os.Getpid() || !running(pid)
}

// loggedTest is a test of the logbook, ready to be reported.
type loggedTest struct {
	entry  logbook.Entry
	record *leakback.Record
	result *leakback.Result
}

// evaluated is the test that a record holds, judged by the sheet of its day.
func evaluated(record *leakback.Record) (*leakback.Result, error) {
	test, err := recorded.Test(record)
	if err != nil {
		return nil, err
	}
	sheet, err := recorded.Sheet(record)
	if err != nil {
		return nil, err
	}
	return leakback.Evaluate(test, sheet)
}

// loggedTests reads and judges the tests that refs name: numbers, ids or the
// ends of ids.
func loggedTests(ctx context.Context, book *logbook.Book, refs []string) ([]loggedTest, error) {
	tests := make([]loggedTest, len(refs))
	for i, ref := range refs {
		found, err := book.Find(ctx, ref)
		if err != nil {
			return nil, err
		}
		events, err := book.Events(ctx, found.ID)
		if err != nil {
			return nil, err
		}
		if tests[i], err = loggedAs(found, events); err != nil {
			return nil, err
		}
	}
	return tests, nil
}

// loggedAs is the test that some events are.
func loggedAs(found logbook.Entry, events []leakback.Event) (loggedTest, error) {
	t := loggedTest{entry: found, record: leakback.NewRecord(events)}
	var err error
	if t.result, err = evaluated(t.record); err != nil {
		return t, fmt.Errorf("test %d: %w", found.Number, err)
	}
	return t, nil
}

// loggedUpTo is a test as it was after so many of its events, one at least.
func loggedUpTo(found logbook.Entry, events []leakback.Event, upTo int) (loggedTest, error) {
	events = events[:upTo]
	heads, err := logbook.Heads(events)
	if err != nil {
		return loggedTest{}, err
	}
	found.Head, found.Events = heads[upTo-1], int64(upTo)
	return loggedAs(found, events)
}

// page is what a report shows of a logged test.
func (t *loggedTest) page(env *environment) *report.Page { return t.pageIn(env.zone()) }

// pageIn is the page with its times in a zone.
func (t *loggedTest) pageIn(zone *time.Location) *report.Page {
	p := newPage(t.result, t.record.Job(), t.digest())
	if works, err := repair.Works(t.record); err == nil { // what is no work stands in the record all the same
		p.Works, p.Tightening = works, t.result.Sheet.Tightening
	}
	p.Record = &report.Record{
		Number: t.entry.Number, TestID: t.entry.ID, Head: t.entry.Head, Record: t.record, Zone: zone,
	}
	return p
}

// digest identifies the readings: the file's where they came from one, else
// the last link of the record's chain.
func (t *loggedTest) digest() string {
	return cmp.Or(t.record.Set(leakback.FieldSourceDigest), t.entry.Head)
}

// zone is where the people are who read the report.
func (env *environment) zone() *time.Location {
	if env.place == nil {
		return time.Local
	}
	return env.place
}

// shownPath is a logbook's address as people are told it: without a password.
func shownPath(env *environment, address string) string {
	if shown := logbook.Shown(address); shown != address {
		return shown
	}
	if home := env.getenv("HOME"); home != "" {
		if rel, err := filepath.Rel(home, address); err == nil && filepath.IsLocal(rel) {
			address = filepath.Join("~", rel)
		}
	}
	return quantity.Name(address)
}
