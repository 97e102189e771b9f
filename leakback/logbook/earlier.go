package logbook

import (
	"context"
	"database/sql"
	"slices"

	"leakback/leakback"
)

// How far back earlier answers are looked for: months of a busy workshop.
const (
	earlierTests  = 5000 // where the field has a column
	earlierEvents = 200  // tests whose events are gone through for it
)

// Earlier are the distinct answers to a field of the whole test, the latest
// first, at most so many. Case and spaces do not make two of one. It looks through
// the newest tests and not through all of them.
func (b *Book) Earlier(ctx context.Context, field string, most int) ([]string, error) {
	query, args := "SELECT value FROM (SELECT id, started_us FROM tests "+order+" LIMIT ?) AS newest "+
		"JOIN events ON events.test_id = newest.id "+
		"WHERE kind = ? AND run = 0 AND cylinder = 0 AND line = '' AND field = ? AND value <> '' "+
		order+", seq DESC", []any{earlierEvents, string(leakback.KindSet), field}
	for _, c := range fieldColumns {
		if c.field == field {
			query = "SELECT " + c.column + " FROM (SELECT id, started_us, " + c.column + " FROM tests " + order + " LIMIT ?) AS newest " +
				"WHERE " + c.column + " <> '' " + order
			args = []any{earlierTests}
		}
	}
	var found []string
	err := b.reading(ctx, func(tx *transaction) error {
		rows, err := tx.query(ctx, query, args...)
		if err != nil {
			return err
		}
		defer rows.Close()
		found, err = distinct(rows, most)
		return err
	})
	return found, err
}

// distinct takes texts until it has enough that differ.
func distinct(rows *sql.Rows, most int) ([]string, error) {
	var found, keys []string
	for len(found) < most && rows.Next() {
		var text string
		if err := scan(rows, &text); err != nil {
			return nil, err
		}
		if key := fold(text); !slices.Contains(keys, key) {
			found, keys = append(found, text), append(keys, key)
		}
	}
	return found, rows.Err()
}
