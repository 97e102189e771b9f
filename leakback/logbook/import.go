package logbook

import (
	"context"
	"encoding/hex"
	"io"

	"leakback/leakback"
)

// Import adds the events of an export that the logbook does not have. It trusts
// nothing: each line, each chain, the counts and the digest are checked. A test is
// added as a whole; one that goes on from what the logbook has of it is continued;
// one that differs is refused with a *DiffersError. Tests before an error stay, and
// an import that was interrupted can be repeated.
func (b *Book) Import(ctx context.Context, r io.Reader) (Imported, error) {
	i := &importer{merger: merger{book: b}, lineReader: newLineReader(r, "an export", maxLine)}
	err := i.run(ctx)
	return i.done, err
}

type importer struct {
	merger
	*lineReader

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
		var o struct { // one of the two
			exportEvent
			footer
		}
		switch err := i.decode(line, &o); {
		case err != nil:
			return i.stop(ctx, err)
		case o.footer != (footer{}) && o.exportEvent != (exportEvent{}):
			return i.stop(ctx, i.fault("an event or the last line, and not both in one"))
		case o.footer != (footer{}):
			return i.finish(ctx, o.footer)
		}
		i.sum.Write(line)
		if err := i.take(ctx, o.exportEvent.stored()); err != nil {
			return i.stop(ctx, err)
		}
	}
}

// begin reads the header.
func (i *importer) begin() error {
	if err := i.object(&i.header); err != nil {
		return err
	}
	return i.isFormat(i.header.Format, exportName, i.header.Version, exportVersion)
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
func (i *importer) finish(ctx context.Context, f footer) error {
	want := footer{exportName, i.tests, i.events, hex.EncodeToString(i.sum.Sum(nil))}
	if f != want || i.header.Tests != i.tests || i.header.Events != i.events {
		return i.stop(ctx, i.missing(want))
	}
	if err := i.isEnd(); err != nil {
		return i.stop(ctx, err)
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
