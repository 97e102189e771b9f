package logbook

import (
	"context"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// Filter says which tests are listed; the zero Filter lists them all.
type Filter struct {
	// Vehicle is a vehicle or its VIN, and Engine an engine or its serial number,
	// whole; case and spaces do not matter.
	Vehicle, Engine string
	// Text is part of a name, vehicle, VIN, engine, serial number, customer, work
	// order or technician; case and spaces do not matter.
	Text string
	// SinceUS is the earliest start, and UntilUS the first that is too late, in
	// microseconds since the beginning of 1970, UTC; 0 is no bound.
	SinceUS, UntilUS int64
	// Open lists tests that have not ended.
	Open bool
	// Most is how many are listed at most; 0 lists all.
	Most int
	// Before lists what comes after this entry, the last one of the page before.
	Before *Entry
}

// longestText bounds what is searched for.
const longestText = 1000

// order is newest first; tests of one moment are in the order of their ids.
const order = "ORDER BY started_us DESC, id DESC"

// Tests lists tests, newest first. To go on, give the last one as Filter.Before.
func (b *Book) Tests(ctx context.Context, f Filter) ([]Entry, error) {
	if len(f.Text) > longestText {
		return nil, &InvalidError{Field: "text", Value: f.Text, Expected: fmt.Sprintf("at most %d bytes", longestText)}
	}
	var entries []Entry
	err := b.reading(ctx, func(tx *transaction) error {
		var err error
		query, args := f.clause()
		entries, err = b.entries(ctx, tx, query, args...)
		return err
	})
	return entries, err
}

// entries are the tests that a clause selects.
func (b *Book) entries(ctx context.Context, tx *transaction, clause string, args ...any) ([]Entry, error) {
	rows, err := tx.query(ctx, "SELECT "+entryColumns+" FROM tests "+clause, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var entries []Entry
	for rows.Next() {
		var r row
		if err := scan(rows, r.targets()...); err != nil {
			return nil, err
		}
		entries = append(entries, r.Entry)
	}
	return entries, rows.Err()
}

// clause is the filter in SQL. Two columns that may hold what is looked for are
// two walks along two indexes, each no longer than the list.
func (f Filter) clause() (string, []any) {
	most := int64(math.MaxInt64)
	if f.Most > 0 {
		most = int64(f.Most)
	}
	plain, args := f.conditions()
	ways := f.ways()
	if len(ways) == 1 {
		return where(append(ways[0].conditions, plain...)) + order + " LIMIT ?", append(append(ways[0].args, args...), most)
	}
	var union []string
	var all []any
	for i, w := range ways {
		union = append(union, fmt.Sprintf("SELECT id FROM (SELECT id FROM tests %s%s LIMIT ?) AS way%d",
			where(append(w.conditions, plain...)), order, i))
		all = append(append(append(all, w.args...), args...), most)
	}
	return "WHERE id IN (" + strings.Join(union, " UNION ") + ") " + order + " LIMIT ?", append(all, most)
}

func where(conditions []string) string {
	if len(conditions) == 0 {
		return ""
	}
	return "WHERE " + strings.Join(conditions, " AND ") + " "
}

// conditions are those that hold on each way.
func (f Filter) conditions() (conditions []string, args []any) {
	add := func(condition string, values ...any) {
		conditions, args = append(conditions, condition), append(args, values...)
	}
	if f.Open {
		add("ended = ''")
	}
	if f.SinceUS != 0 {
		add("started_us >= ?", f.SinceUS)
	}
	if f.UntilUS != 0 {
		add("started_us < ?", f.UntilUS)
	}
	if f.Before != nil {
		add("(started_us, id) < (?, ?)", f.Before.StartedUS, f.Before.ID)
	}
	if text := fold(f.Text); text != "" {
		add(`search_key LIKE ? ESCAPE '\'`, "%"+strings.NewReplacer(`\`, `\\`, `%`, `\%`, `_`, `\_`).Replace(text)+"%")
	}
	return conditions, args
}

// way is one way to find a test.
type way struct {
	conditions []string
	args       []any
}

// ways are each of the vehicle's columns with each of the engine's.
func (f Filter) ways() []way {
	ways := []way{{}}
	for _, by := range []struct {
		key     string
		columns [2]string
	}{
		{key(f.Vehicle), [2]string{"vehicle_key", "vin_key"}},
		{key(f.Engine), [2]string{"engine_key", "engine_serial_key"}},
	} {
		if by.key == "" {
			continue
		}
		var more []way
		for _, w := range ways {
			for _, c := range by.columns {
				more = append(more, way{
					append(append([]string{}, w.conditions...), c+" <> ''", c+" = ?"), // an index has the rows that are not ''
					append(append([]any{}, w.args...), by.key)})
			}
		}
		ways = more
	}
	return ways
}

// fewestDigits is how much of the end of an id is asked for at least.
const fewestDigits = 6

var (
	numberRef = regexp.MustCompile(`^[0-9]{1,18}$`)
	tailRef   = regexp.MustCompile(fmt.Sprintf(`^[0-9a-f]{%d,32}$`, fewestDigits))
)

// Find is the test that a reference means: its number, its id, or the last digits
// of its id, at least six. Otherwise the error is a *NotFoundError or an
// *AmbiguousError.
func (b *Book) Find(ctx context.Context, ref string) (Entry, error) {
	var found []Entry
	err := b.reading(ctx, func(tx *transaction) error {
		var err error
		if numberRef.MatchString(strings.TrimSpace(ref)) {
			number, _ := strconv.ParseInt(strings.TrimSpace(ref), 10, 64)
			found, err = b.entries(ctx, tx, "WHERE number = ?", number)
		}
		if err == nil && len(found) == 0 {
			found, err = b.byTail(ctx, tx, ref)
		}
		return err
	})
	switch {
	case err != nil:
		return Entry{}, err
	case len(found) == 0:
		return Entry{}, &NotFoundError{ref}
	case len(found) > 1:
		return Entry{}, &AmbiguousError{ref, found}
	}
	return found[0], nil
}

// byTail finds ids by their end, a whole id among them.
func (b *Book) byTail(ctx context.Context, tx *transaction, ref string) ([]Entry, error) {
	digits := strings.ReplaceAll(strings.ToLower(strings.TrimSpace(ref)), "-", "")
	if !tailRef.MatchString(digits) {
		return nil, nil
	}
	from := tail(digits) // up to the digit after f
	near, err := b.entries(ctx, tx, "WHERE tail >= ? AND tail < ? ORDER BY tail, id LIMIT 1000", from, from+"g")
	if err != nil {
		return nil, err
	}
	var found []Entry
	for _, e := range near {
		if strings.HasSuffix(strings.ReplaceAll(e.ID, "-", ""), digits) && len(found) < 5 {
			found = append(found, e)
		}
	}
	return found, nil
}
