package command

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"

	"leakback/leakback"
	"leakback/leakback/entry/recorded"
	"leakback/leakback/logbook"
	"leakback/limits"
)

// readLogbook takes in the first test of every engine of the logbook.
func (l *learning) readLogbook(ctx context.Context) error {
	book, err := l.o.logbook.toRead(ctx, l.env)
	if err != nil {
		return err
	}
	defer book.Close()
	l.files = []string{shownPath(l.env, l.o.logbook.where(l.env))}
	tests, err := book.Tests(ctx, logbook.Filter{Engine: l.engine})
	if err != nil {
		return err
	}
	for chunk := range slices.Chunk(firstOfEach(tests), pageTests) {
		events, err := book.EventsOf(ctx, ids(chunk))
		if err != nil {
			return err
		}
		for i := range chunk {
			if err := l.takeLogged(&chunk[i], leakback.NewRecord(events[chunk[i].ID])); err != nil {
				return err
			}
		}
	}
	return ctx.Err()
}

// firstOfEach are the earliest finished tests, one of each engine. A test that
// names neither engine nor vehicle is taken for one of an engine of its own.
func firstOfEach(newestFirst []logbook.Entry) []logbook.Entry {
	seen := map[string]bool{}
	var first []logbook.Entry
	for _, t := range slices.Backward(newestFirst) {
		which := limits.Slug(cmp.Or(t.EngineSerial, t.VIN, t.Vehicle))
		if t.Ended != leakback.EndDone || which != "" && seen[which] {
			continue
		}
		seen[which] = true
		first = append(first, t)
	}
	return first
}

// takeLogged keeps a test of the logbook, by its number there.
func (l *learning) takeLogged(t *logbook.Entry, record *leakback.Record) error {
	test, err := recorded.Test(record)
	switch {
	case errors.Is(err, recorded.ErrNoReadings):
		return nil
	case err != nil:
		return fmt.Errorf("test %d: %w", t.Number, err)
	}
	test.ID = fmt.Sprintf("test %d", t.Number)
	return l.take(test, l.files[0])
}
