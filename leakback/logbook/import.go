package logbook

import (
	"bufio"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"slices"
	"unicode/utf8"

	"leakback/leakback"
)

// Imported is what an import added.
type Imported struct {
	// Tests are those that were new, and Events all that were added.
	Tests, Events int64
	// Known are the events that were there already.
	Known int64
}

// ImportError is a line that is no line of an export.
type ImportError struct {
	// Line is its number, from 1.
	Line int
	// TestID and Seq are the event, where it got that far.
	TestID string
	Seq    int64
	// Expected is what should have been there.
	Expected string
}

// Error is one line.
func (e *ImportError) Error() string {
	if e.TestID != "" {
		return fmt.Sprintf("line %d, test %.40q, event %d: expected %s", e.Line, e.TestID, e.Seq, e.Expected)
	}
	return fmt.Sprintf("line %d: expected %s", e.Line, e.Expected)
}

// DiffersError says that logbook and export tell two stories of one event.
type DiffersError struct {
	// TestID and Seq are the first event that differs.
	TestID string
	Seq    int64
}

// Error names the event.
func (e *DiffersError) Error() string {
	return fmt.Sprintf("test %s, event %d: the logbook has another one: nothing of this test was added", e.TestID, e.Seq)
}

const (
	// maxLine is the longest line: six texts of maxText, each byte escaped.
	maxLine = 6*6*maxText + 4096
	// A transaction takes whole tests until it has this much. A test that is longer
	// than longTest, or larger than largeTest, takes several.
	batchEvents = 2_000
	batchBytes  = 8 << 20
	longTest    = 20_000
	largeTest   = 32 << 20
)

// Import adds the events of an export that the logbook does not have. It trusts
// nothing: each line, each chain, the counts and the digest are checked. A test is
// added as a whole; one that goes on from what the logbook has of it is continued;
// one that differs is refused with a *DiffersError. Tests before an error stay, and
// an import that was interrupted can be repeated.
func (b *Book) Import(ctx context.Context, r io.Reader) (Imported, error) {
	i := &importer{book: b, in: bufio.NewReaderSize(r, 1<<16), sum: sha256.New()}
	err := i.run(ctx)
	return i.done, err
}

type importer struct {
	book *Book
	in   *bufio.Reader
	sum  hash.Hash // of the lines before the current one
	line int
	done Imported

	header exportHeader
	tests  int64 // in the file
	events int64

	testID string   // of the test that is being read
	chain  head     // of it
	test   []stored // what was read of it and is not in ready
	ready  [][]stored
	bytes  int // of test and ready
}

func (i *importer) run(ctx context.Context) error {
	if err := i.begin(); err != nil {
		return err
	}
	for {
		line, err := i.next()
		if err != nil {
			return i.stop(ctx, err)
		}
		var o struct {
			exportEvent
			End    string `json:"end"`
			Tests  int64  `json:"tests"`
			Events int64  `json:"events"`
			SHA256 string `json:"sha256"`
		}
		if err := i.decode(line, &o); err != nil {
			return i.stop(ctx, err)
		}
		if o.End != "" {
			return i.finish(ctx, exportFooter{o.End, o.Tests, o.Events, o.SHA256})
		}
		i.sum.Write(line)
		if err := i.take(ctx, o.exportEvent.stored()); err != nil {
			return i.stop(ctx, err)
		}
	}
}

// begin reads the header.
func (i *importer) begin() error {
	line, err := i.next()
	if err != nil {
		return err
	}
	if err := i.decode(line, &i.header); err != nil {
		return err
	}
	if i.header.Format != exportName {
		return i.fault("the first line of an export, with the format %q", exportName)
	}
	if i.header.Version != exportVersion {
		return i.fault("version %d of the format, not %d: a newer version of the program wrote this", exportVersion, i.header.Version)
	}
	i.sum.Write(line)
	return nil
}

func (i *importer) fault(format string, args ...any) *ImportError {
	return &ImportError{Line: i.line, Expected: fmt.Sprintf(format, args...)}
}

// next is the next line, with its end.
func (i *importer) next() ([]byte, error) {
	i.line++
	var line []byte
	for {
		part, err := i.in.ReadSlice('\n')
		if len(line)+len(part) > maxLine {
			return nil, i.fault("at most %d bytes", maxLine)
		}
		line = append(line, part...)
		switch {
		case err == nil:
			return line, nil
		case errors.Is(err, io.EOF):
			return nil, i.fault("the last line of an export: the file was cut off")
		case !errors.Is(err, bufio.ErrBufferFull):
			return nil, err
		}
	}
}

// decode reads a line that holds one object with the known names, no other ones.
func (i *importer) decode(line []byte, to any) error {
	if !utf8.Valid(line) {
		return i.fault("text in UTF-8")
	}
	d := json.NewDecoder(bytes.NewReader(line))
	d.DisallowUnknownFields()
	if err := d.Decode(to); err != nil {
		return i.fault("a line of an export: %.200v", err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return i.fault("one object a line")
	}
	return nil
}

// take checks the next event.
func (i *importer) take(ctx context.Context, s stored) error {
	if s.TestID != i.testID {
		if err := i.another(ctx, s.TestID); err != nil {
			return err
		}
	}
	if f := i.unsound(&s); f != nil {
		f.TestID, f.Seq = s.TestID, s.Seq
		return f
	}
	i.test, i.bytes, i.events = append(i.test, s), i.bytes+size(&s), i.events+1
	if len(i.test) < longTest && i.bytes < largeTest {
		return nil
	}
	i.close()
	return i.flush(ctx)
}

// unsound says why an event does not follow from those before.
func (i *importer) unsound(s *stored) *ImportError {
	if err := valid(s.TestID, []leakback.Event{s.Event}); err != nil {
		return i.fault("a sound event: %v", err)
	}
	if s.Seq != i.chain.events+1 {
		return i.fault("event %d", i.chain.events+1)
	}
	if i.chain.follow(s) != "" {
		return i.fault("the hash that follows from the events before and from what this one says")
	}
	return nil
}

// size is about what an event holds in memory.
func size(s *stored) int {
	return 300 + len(s.Person) + len(s.Line) + len(s.Field) + len(s.Value) + len(s.Typed) + len(s.Reason)
}

// another ends a test and begins the next one.
func (i *importer) another(ctx context.Context, testID string) error {
	if testID < i.testID {
		return i.fault("tests in the order of their ids, each once, and not %.40q after %q", testID, i.testID)
	}
	i.close()
	i.testID, i.chain, i.tests = testID, head{}, i.tests+1
	if i.waiting() < batchEvents && i.bytes < batchBytes {
		return nil
	}
	return i.flush(ctx)
}

// close puts what was read of a test among what is ready to be added.
func (i *importer) close() {
	if len(i.test) > 0 {
		i.ready, i.test = append(i.ready, i.test), nil
	}
}

func (i *importer) waiting() int {
	n := 0
	for _, t := range i.ready {
		n += len(t)
	}
	return n
}

// finish checks the last line and adds what is left.
func (i *importer) finish(ctx context.Context, f exportFooter) error {
	want := exportFooter{exportName, i.tests, i.events, hex.EncodeToString(i.sum.Sum(nil))}
	if f != want || i.header.Tests != i.tests || i.header.Events != i.events {
		return i.stop(ctx, i.fault("%d tests, %d events and the digest %s, which is what stands before: lines are missing or were changed",
			want.Tests, want.Events, want.SHA256))
	}
	if _, err := i.in.ReadByte(); !errors.Is(err, io.EOF) {
		return i.stop(ctx, i.fault("nothing after the last line of an export"))
	}
	i.close()
	return i.flush(ctx)
}

// stop adds the tests that were read as a whole before an error.
func (i *importer) stop(ctx context.Context, why error) error {
	if err := i.flush(ctx); err != nil {
		return err
	}
	return why
}

// flush adds what is ready in one transaction; where that fails, test by test up
// to the one that it fails for.
func (i *importer) flush(ctx context.Context) error {
	ready := i.ready
	i.ready, i.bytes = nil, 0
	if len(ready) == 0 {
		return nil
	}
	err := i.add(ctx, ready)
	if err == nil || len(ready) == 1 || ctx.Err() != nil {
		return err
	}
	for one := range slices.Chunk(ready, 1) {
		if err := i.add(ctx, one); err != nil {
			return err
		}
	}
	return nil
}

// add adds tests in one transaction.
func (i *importer) add(ctx context.Context, tests [][]stored) error {
	var done Imported
	err := i.book.changing(ctx, func(tx *transaction) error {
		for _, events := range tests {
			if err := i.book.merge(ctx, tx, events, &done); err != nil {
				return err
			}
		}
		return nil
	})
	if err == nil {
		i.done.Tests += done.Tests
		i.done.Events += done.Events
		i.done.Known += done.Known
	}
	return err
}

// merge adds those events of a test that the logbook does not have. They are a
// chain that was checked, so events with one hash are one event.
func (b *Book) merge(ctx context.Context, tx *transaction, events []stored, done *Imported) error {
	r, err := b.row(ctx, tx, events[0].TestID)
	if err != nil {
		return err
	}
	known, err := b.known(ctx, tx, events)
	if err != nil {
		return err
	}
	isNew := r.Events == 0
	fresh := part{testID: events[0].TestID}
	for _, s := range events[known:] {
		e := s.Event
		e.TestID, e.Seq = "", 0
		fresh.drafts = append(fresh.drafts, e)
	}
	done.Known += int64(known)
	if len(fresh.drafts) == 0 {
		return nil
	}
	added, err := b.extend(ctx, tx, &r, fresh)
	if err != nil {
		return err
	}
	if isNew {
		done.Tests++
	}
	done.Events += int64(len(added))
	if last := len(added) - 1; added[last].Hash != events[len(events)-1].Hash || added[last].Seq != events[len(events)-1].Seq {
		return b.broken(r.ID, "the list of tests and its events say two things")
	}
	return nil
}

// known is how many of the events the logbook has, all of them the first ones.
func (b *Book) known(ctx context.Context, tx *transaction, events []stored) (int, error) {
	rows, err := tx.query(ctx, "SELECT seq, hash FROM events WHERE test_id = ? AND seq >= ? AND seq <= ? ORDER BY seq",
		events[0].TestID, events[0].Seq, events[len(events)-1].Seq)
	if err != nil {
		return 0, err
	}
	defer rows.Close()
	n := 0
	for rows.Next() {
		var seq int64
		var hash string
		if err := scan(rows, &seq, &hash); err != nil {
			return 0, err
		}
		if n == len(events) || events[n].Seq != seq {
			return 0, b.broken(events[0].TestID, fmt.Sprintf("its events are not one after the other at event %d", seq))
		}
		if events[n].Hash != hash {
			return 0, &DiffersError{events[n].TestID, seq}
		}
		n++
	}
	return n, rows.Err()
}
