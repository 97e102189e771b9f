package logbook

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/google/uuid"

	"leakback/leakback"
)

// maxText is the longest text of an event, in bytes: a limits sheet is the
// longest that there is.
const maxText = 1 << 20

// latestUS is the end of the year 9999, the last one that dates are written for.
const latestUS = 253_402_300_799_999_999

var kinds = leakback.Kinds()

// stored is an event as the logbook keeps it.
type stored struct {
	leakback.Event
	Hash string
}

// part is what is added to one test.
type part struct {
	testID string
	drafts []leakback.Event
}

// Append adds events to a test, all of them or none, and begins the test where
// it is new. It gives each its test, its place and its hash; time, person and
// what was entered are the drafts'. When it returns without an error the events
// are on the disk. A draft that sets FieldImportKey to a key that another test has
// is refused with a *KnownError, what no logbook takes with an *InvalidError.
func (b *Book) Append(ctx context.Context, testID string, drafts []leakback.Event) ([]leakback.Event, error) {
	added, err := b.appendParts(ctx, []part{{testID, drafts}})
	if err != nil || len(added) == 0 {
		return nil, err
	}
	events := make([]leakback.Event, len(added))
	for i := range added {
		events[i] = added[i].Event
	}
	return events, nil
}

// appendParts adds to several tests in one transaction.
func (b *Book) appendParts(ctx context.Context, parts []part) ([]stored, error) {
	parts = slices.DeleteFunc(slices.Clone(parts), func(p part) bool { return len(p.drafts) == 0 })
	for _, p := range parts {
		if err := valid(p.testID, p.drafts); err != nil {
			return nil, err
		}
	}
	if len(parts) == 0 {
		return nil, nil
	}
	var added []stored
	err := b.changing(ctx, countDrafts(parts), func(tx *transaction) error {
		added = nil
		if len(parts) > 1 || hasImportKey(parts[0].drafts) {
			if err := b.lockRows(ctx, tx, testsOf(parts)); err != nil {
				return err
			}
		}
		for _, p := range parts {
			events, err := b.add(ctx, tx, p)
			if err != nil {
				return err
			}
			added = append(added, events...)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return added, nil
}

func testsOf(parts []part) []string {
	ids := make([]string, len(parts))
	for i, p := range parts {
		ids[i] = p.testID
	}
	return ids
}

func countDrafts(parts []part) (n int) {
	for _, p := range parts {
		n += len(p.drafts)
	}
	return n
}

// add chains events to their test and keeps the projection up to date.
func (b *Book) add(ctx context.Context, tx *transaction, p part) ([]stored, error) {
	r, err := b.row(ctx, tx, p.testID)
	if err != nil {
		return nil, err
	}
	if err := b.refuseKnown(ctx, tx, p); err != nil {
		return nil, err
	}
	return b.extend(ctx, tx, &r, p)
}

// extend chains events to the end of a test.
func (b *Book) extend(ctx context.Context, tx *transaction, r *row, p part) ([]stored, error) {
	events, before := make([]stored, len(p.drafts)), r.values()
	for i, e := range p.drafts {
		e.TestID, e.Seq = p.testID, r.Events+1
		hash, err := chained(r.Head, &e)
		if err != nil {
			return nil, b.broken(p.testID, err.Error())
		}
		r.take(&e, hash)
		events[i] = stored{e, hash}
	}
	if err := b.project(ctx, tx, r, before); err != nil {
		return nil, err
	}
	if tx.bulk.on {
		tx.bulk.rows[p.testID] = *r
	}
	return events, b.insert(ctx, tx, events)
}

// row is a test's line in the projection; the zero row where the test is new.
// Until the transaction ends nobody else adds to the test: with a server its row is
// locked, or the list of tests where there is none. That is all that adding
// depends on, so that a serialisable transaction would find no conflict that the
// lock does not make wait, and many that are none: it would be tried again where
// the lock waits for a millisecond.
func (b *Book) row(ctx context.Context, tx *transaction, testID string) (row, error) {
	r, err := b.lockedRow(ctx, tx, testID)
	if err != nil || r.Events > 0 || tx.list || tx.dialect.server == nil {
		return r, err
	}
	if err := tx.lockList(ctx); err != nil {
		return r, err
	}
	return b.lockedRow(ctx, tx, testID) // another may have begun it meanwhile
}

func (b *Book) lockedRow(ctx context.Context, tx *transaction, testID string) (row, error) {
	if r, ok := tx.bulk.rows[testID]; ok {
		return r, nil
	}
	query := "WHERE id = ?"
	if s := tx.dialect.server; s != nil {
		query += s.lockRow
	}
	found, err := tx.rows(ctx, query, testID)
	return found[testID], err
}

// rows are lines of the list of tests, by id.
func (t *transaction) rows(ctx context.Context, clause string, args ...any) (map[string]row, error) {
	rows, err := t.query(ctx, "SELECT "+entryColumns+" FROM tests "+clause, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	found := map[string]row{}
	for rows.Next() {
		var r row
		if err := scan(rows, r.targets()...); err != nil {
			return nil, err
		}
		found[r.ID] = r
	}
	return found, rows.Err()
}

func isImportKey(e *leakback.Event) bool {
	return e.Key == leakback.Key{Kind: leakback.KindSet, Field: leakback.FieldImportKey} && e.Value != ""
}

func hasImportKey(drafts []leakback.Event) bool {
	return slices.ContainsFunc(drafts, func(e leakback.Event) bool { return isImportKey(&e) })
}

// refuseKnown refuses an import key that another test has.
func (b *Book) refuseKnown(ctx context.Context, tx *transaction, p part) error {
	for _, e := range p.drafts {
		if !isImportKey(&e) {
			continue
		}
		if err := tx.flush(ctx); err != nil {
			return err
		}
		known, err := b.entries(ctx, tx, "WHERE import_key <> '' AND import_key = ? AND id <> ? ORDER BY number LIMIT 1", e.Value, p.testID)
		if err != nil {
			return err
		}
		if len(known) > 0 {
			return &KnownError{known[0]}
		}
	}
	return nil
}

// project writes what changed of a row: an index is only touched for a column
// that says something else.
func (b *Book) project(ctx context.Context, tx *transaction, r *row, before []any) error {
	if r.Number == 0 {
		return b.begin(ctx, tx, r)
	}
	if err := tx.flush(ctx); err != nil { // the row itself may be waiting
		return err
	}
	var set []string
	var args []any
	for i, v := range r.values() {
		if v != before[i] {
			set, args = append(set, columns[i]+" = ?"), append(args, v)
		}
	}
	return tx.exec(ctx, "UPDATE tests SET "+strings.Join(set, ", ")+" WHERE id = ?", append(args, r.ID)...)
}

// begin gives a new test its number and its row.
func (b *Book) begin(ctx context.Context, tx *transaction, r *row) error {
	if tx.bulk.number == 0 {
		if err := tx.lastNumber(ctx); err != nil {
			return err
		}
	}
	tx.bulk.number++
	r.Number = tx.bulk.number
	if tx.bulk.on {
		tx.bulk.tests = append(tx.bulk.tests, *r)
		return nil
	}
	return tx.exec(ctx, "INSERT INTO tests ("+strings.Join(columns, ", ")+") VALUES ("+placeholders(len(columns))+")", r.values()...)
}

// lastNumber asks for the last number of the list, which nobody else adds to.
func (t *transaction) lastNumber(ctx context.Context) error {
	rows, err := t.query(ctx, "SELECT COALESCE(MAX(number), 0) FROM tests")
	if err != nil {
		return err
	}
	defer rows.Close()
	if rows.Next() {
		return scan(rows, &t.bulk.number)
	}
	return rows.Err()
}

// eventColumns are the columns of the table events in the order of targets.
const eventColumns = "test_id, seq, at_us, elapsed_ms, person, kind, run, cylinder, line, field, value, typed, reason, hash"

func (s *stored) targets() []any {
	return []any{&s.TestID, &s.Seq, &s.AtUS, &s.ElapsedMS, &s.Person, (*string)(&s.Kind), &s.Run, &s.Cylinder,
		&s.Line, &s.Field, &s.Value, &s.Typed, &s.Reason, &s.Hash}
}

func (s *stored) values() []any {
	return []any{s.TestID, s.Seq, s.AtUS, s.ElapsedMS, s.Person, string(s.Kind), s.Run, s.Cylinder,
		s.Line, s.Field, s.Value, s.Typed, s.Reason, s.Hash}
}

func (b *Book) insert(ctx context.Context, tx *transaction, events []stored) error {
	tx.last = &events[len(events)-1]
	if tx.dialect.server != nil {
		tx.bulk.events = append(tx.bulk.events, events...)
		if tx.bulk.on {
			return nil
		}
		return tx.flush(ctx)
	}
	for i := range events {
		if err := tx.exec(ctx, "INSERT INTO events ("+eventColumns+") VALUES ("+placeholders(14)+")", events[i].values()...); err != nil {
			return err
		}
	}
	return nil
}

// valid refuses events that no logbook takes.
func valid(testID string, drafts []leakback.Event) error {
	if err := validID(testID); err != nil {
		return err
	}
	for i := range drafts {
		if err := validEvent(i+1, testID, &drafts[i]); err != nil {
			return err
		}
	}
	return nil
}

func validID(testID string) error {
	id, err := uuid.Parse(testID)
	if err != nil || id.String() != testID {
		return &InvalidError{Field: "test id", Value: testID, Expected: "a UUID in small letters with hyphens"}
	}
	return nil
}

func validEvent(n int, testID string, e *leakback.Event) error {
	if e.TestID != "" && e.TestID != testID {
		return &InvalidError{n, "test_id", e.TestID, "no test, or " + testID}
	}
	if !slices.Contains(kinds, e.Kind) {
		return &InvalidError{n, "kind", string(e.Kind), "one that this version knows"}
	}
	for _, f := range []struct {
		name string
		v    int64
		low  int64
		high int64
	}{
		{"at_us", e.AtUS, 1, latestUS},
		{"elapsed_ms", e.ElapsedMS, 0, math.MaxInt64},
		{"run", int64(e.Run), 0, math.MaxInt32},
		{"cylinder", int64(e.Cylinder), 0, math.MaxInt32},
	} {
		if f.v < f.low || f.v > f.high {
			return &InvalidError{n, f.name, fmt.Sprint(f.v), fmt.Sprintf("%d to %d", f.low, f.high)}
		}
	}
	return validTexts(n, e)
}

func validTexts(n int, e *leakback.Event) error {
	for _, f := range []struct{ name, text string }{
		{"person", e.Person}, {"line", e.Line}, {"field", e.Field},
		{"value", e.Value}, {"typed", e.Typed}, {"reason", e.Reason},
	} {
		switch {
		case len(f.text) > maxText:
			return &InvalidError{n, f.name, f.text, fmt.Sprintf("at most %d bytes", maxText)}
		case !utf8.ValidString(f.text):
			return &InvalidError{n, f.name, f.text, "text in UTF-8"}
		case strings.Contains(f.text, "\x00"):
			return &InvalidError{n, f.name, f.text, "text without NUL"}
		}
	}
	return nil
}
