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
	"unicode/utf8"

	"leakback/leakback"
)

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

// maxLine is the longest line: six texts of maxText, each byte escaped.
const maxLine = 6*6*maxText + 4096

// Import adds the events of an export that the logbook does not have. It trusts
// nothing: each line, each chain, the counts and the digest are checked. A test is
// added as a whole; one that goes on from what the logbook has of it is continued;
// one that differs is refused with a *DiffersError. Tests before an error stay, and
// an import that was interrupted can be repeated.
func (b *Book) Import(ctx context.Context, r io.Reader) (Imported, error) {
	i := &importer{merger: merger{book: b}, in: bufio.NewReaderSize(r, 1<<16), sum: sha256.New()}
	err := i.run(ctx)
	return i.done, err
}

type importer struct {
	merger
	in   *bufio.Reader
	sum  hash.Hash // of the lines before the current one
	line int

	header exportHeader
	tests  int64 // in the file
	events int64

	testID string // of the test that is being read
	chain  head   // of it
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
	i.events++
	return i.merger.take(ctx, s)
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

// another ends a test and begins the next one.
func (i *importer) another(ctx context.Context, testID string) error {
	if testID < i.testID {
		return i.fault("tests in the order of their ids, each once, and not %.40q after %q", testID, i.testID)
	}
	i.testID, i.chain, i.tests = testID, head{}, i.tests+1
	return i.close(ctx)
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
	return i.flush(ctx)
}

// stop adds the tests that were read as a whole before an error.
func (i *importer) stop(ctx context.Context, why error) error {
	i.test = nil // the one that is being read may not be whole
	if err := i.flush(ctx); err != nil {
		return err
	}
	return why
}
