package logbook

import (
	"context"
	"fmt"
	"slices"

	"leakback/leakback"
)

// Events are a test's events in their order. The chain is worked out on the way:
// events that are not what was entered are an *Error of kind Damaged.
func (b *Book) Events(ctx context.Context, testID string) ([]leakback.Event, error) {
	all, err := b.EventsOf(ctx, []string{testID})
	if err != nil {
		return nil, err
	}
	return all[testID], nil
}

// manyIDs is how many tests one statement asks for.
const manyIDs = 500

// EventsOf are the events of several tests, by test, in one go.
func (b *Book) EventsOf(ctx context.Context, testIDs []string) (map[string][]leakback.Event, error) {
	all := make(map[string][]leakback.Event, len(testIDs))
	err := b.reading(ctx, func(tx *transaction) error {
		for ids := range slices.Chunk(testIDs, manyIDs) {
			if err := b.eventsOf(ctx, tx, ids, all); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	for _, id := range testIDs {
		if len(all[id]) == 0 {
			return nil, &NotFoundError{id}
		}
	}
	return all, nil
}

func (b *Book) eventsOf(ctx context.Context, tx *transaction, ids []string, all map[string][]leakback.Event) error {
	args := make([]any, len(ids))
	for i, id := range ids {
		args[i] = id
	}
	in := " IN (" + placeholders(len(ids)) + ")"
	heads, err := b.heads(ctx, tx, "id"+in, args)
	if err != nil {
		return err
	}
	rows, err := tx.query(ctx, "SELECT "+eventColumns+" FROM events WHERE test_id"+in+" ORDER BY test_id, seq", args...)
	if err != nil {
		return err
	}
	defer rows.Close()
	found := map[string]head{}
	for rows.Next() {
		var s stored
		if err := scan(rows, s.targets()...); err != nil {
			return err
		}
		last := found[s.TestID]
		if what := last.follow(&s); what != "" {
			return b.broken(s.TestID, what)
		}
		found[s.TestID] = last
		all[s.TestID] = append(all[s.TestID], s.Event)
	}
	if err := rows.Err(); err != nil {
		return err
	}
	return b.sameHeads(heads, found)
}

// head is how far a chain goes.
type head struct {
	events int64
	hash   string
}

// follow takes the next event of a chain, or says why it is none.
func (h *head) follow(s *stored) string {
	if s.Seq != h.events+1 {
		return fmt.Sprintf("event %d is missing", h.events+1)
	}
	hash, err := chained(h.hash, &s.Event)
	if err != nil || hash != s.Hash {
		return fmt.Sprintf("event %d is not what was entered", s.Seq)
	}
	h.events, h.hash = s.Seq, hash
	return ""
}

// unreadableLine is said of a test of which the list has the zero head.
const unreadableLine = "its line in the list of tests cannot be read"

// unlike says why a chain does not end where the list of tests says.
func (h head) unlike(listed head) string {
	switch listed {
	case h:
		return ""
	case head{}:
		return unreadableLine
	}
	return fmt.Sprintf("%d events are there, and the list of tests says %d", h.events, listed.events)
}

// heads are what the list of tests says of the ends of chains; the zero head where
// it cannot be read.
func (b *Book) heads(ctx context.Context, tx *transaction, condition string, args []any) (map[string]head, error) {
	rows, err := tx.query(ctx, "SELECT id, events, head FROM tests WHERE "+condition, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	heads := map[string]head{}
	for rows.Next() {
		var id string
		var h head
		err := scan(rows, &id, &h.events, &h.hash)
		if err != nil {
			h = head{}
		}
		if err := unlessContent(err); err != nil {
			return nil, err
		}
		heads[id] = h
	}
	return heads, rows.Err()
}

// sameHeads refuses chains that do not end where the list of tests says.
func (b *Book) sameHeads(want, found map[string]head) error {
	for id, h := range want {
		if wrong := found[id].unlike(h); wrong != "" {
			return b.broken(id, wrong)
		}
	}
	for id := range found {
		if _, ok := want[id]; !ok {
			return b.broken(id, "it is missing in the list of tests")
		}
	}
	return nil
}

func (b *Book) broken(testID, what string) error {
	return b.damaged("test "+testID+": "+what, nil)
}

// damaged is a logbook whose content is not sound.
func (b *Book) damaged(what string, err error) error {
	if b.dialect.server != nil {
		return damagedTables(b.address, what, err)
	}
	return damaged(b.address, "damaged: "+what, err)
}
