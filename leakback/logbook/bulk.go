package logbook

import (
	"context"
	"maps"
	"slices"
	"strings"
)

// bulk is what a transaction that adds many tests to a server keeps, so that not
// each of them waits for answers of its own: a batch takes a handful.
type bulk struct {
	on     bool
	rows   map[string]row // of the list of tests, locked; zero rows are not there
	number int64          // the last one of the list, 0 where it was not asked for
	tests  []row          // that wait to be inserted
	events []stored       // that wait to be inserted
}

// lockRows locks what the list of tests has of many tests, with one statement.
func (b *Book) lockRows(ctx context.Context, tx *transaction, ids []string) error {
	s := tx.dialect.server
	if s == nil {
		return nil
	}
	if err := tx.lockList(ctx); err != nil { // before any row, so that no two wait for each other
		return err
	}
	tx.bulk.on, tx.bulk.rows = true, make(map[string]row, len(ids))
	for some := range slices.Chunk(ids, manyIDs) {
		args := make([]any, len(some))
		for i, id := range some {
			args[i], tx.bulk.rows[id] = id, row{}
		}
		found, err := tx.rows(ctx, "WHERE id IN ("+placeholders(len(args))+") ORDER BY id"+s.lockRow, args...)
		if err != nil {
			return err
		}
		maps.Copy(tx.bulk.rows, found)
	}
	return nil
}

// flush inserts what waits for it.
func (t *transaction) flush(ctx context.Context) error {
	if len(t.bulk.tests) > 0 {
		if err := t.insertMany(ctx, "tests", columns, valuesOf(t.bulk.tests, (*row).values)); err != nil {
			return err
		}
	}
	if len(t.bulk.events) > 0 {
		if err := t.insertMany(ctx, "events", strings.Split(eventColumns, ", "), valuesOf(t.bulk.events, (*stored).values)); err != nil {
			return err
		}
	}
	t.bulk.tests, t.bulk.events = nil, nil
	return nil
}

func valuesOf[T any](all []T, values func(*T) []any) [][]any {
	lines := make([][]any, len(all))
	for i := range all {
		lines[i] = values(&all[i])
	}
	return lines
}

// insertMany inserts any number of rows with one statement, which has a list for
// each column.
func (t *transaction) insertMany(ctx context.Context, table string, columns []string, lines [][]any) error {
	lists, types := make([]any, len(columns)), make([]string, len(columns))
	for i, v := range lines[0] {
		if _, ok := v.(string); ok {
			lists[i], types[i] = column(lines, i, func(v any) string { return v.(string) }), "?::text[]"
		} else {
			lists[i], types[i] = column(lines, i, integer), "?::bigint[]"
		}
	}
	return t.exec(ctx, "INSERT INTO "+table+" ("+strings.Join(columns, ", ")+") SELECT * FROM unnest("+strings.Join(types, ", ")+")", lists...)
}

func column[T any](lines [][]any, i int, of func(any) T) []T {
	list := make([]T, len(lines))
	for k, line := range lines {
		list[k] = of(line[i])
	}
	return list
}

func integer(v any) int64 {
	if n, ok := v.(int); ok {
		return int64(n)
	}
	return v.(int64)
}
