package logbook

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
)

// numbers are the tests' numbers.
func numbers(entries []Entry) []int64 {
	var all []int64
	for _, e := range entries {
		all = append(all, e.Number)
	}
	return all
}

// shop is a logbook of an invented workshop: test n started at n seconds.
func shop(t *testing.T) *Book {
	b := fresh(t)
	for i, fields := range []map[string]string{
		{leakback.FieldVehicle: "AB 12 CD", leakback.FieldEngine: "Northmoor Six-90", leakback.FieldCustomer: "Ägidius Sample"},
		{leakback.FieldVehicle: "xy 34", leakback.FieldVIN: "ab12cd", leakback.FieldEngine: "northmoor six-90", leakback.FieldEngineSerial: "N 77"},
		{leakback.FieldVehicle: "ab12 cd", leakback.FieldEngine: "Southmoor Four", leakback.FieldName: "100% full_tube"},
		{leakback.FieldVehicle: "zz", leakback.FieldEngine: "n77", leakback.FieldCustomer: "ägidius  SAMPLE"},
	} {
		var drafts []leakback.Event
		for field, value := range fields {
			drafts = append(drafts, set(int64(i+1)*1e6, field, value))
		}
		id := add(t, b, "", drafts...)
		if i == 2 {
			add(t, b, id, leakback.Event{AtUS: 1, Key: leakback.Key{Kind: leakback.KindEnd}, Value: "done"})
		}
	}
	return b
}

func TestTestsByFilter(t *testing.T) { onEach(t, testTestsByFilter) }

func testTestsByFilter(t *testing.T) {
	b := shop(t)
	for name, c := range map[string]struct {
		filter Filter
		want   []int64
	}{
		"all, newest first":              {Filter{}, []int64{4, 3, 2, 1}},
		"at most":                        {Filter{Most: 2}, []int64{4, 3}},
		"vehicle or its VIN":             {Filter{Vehicle: "aB12Cd"}, []int64{3, 2, 1}},
		"vehicle, at most":               {Filter{Vehicle: "AB12CD", Most: 2}, []int64{3, 2}},
		"engine or its serial number":    {Filter{Engine: " n77"}, []int64{4, 2}},
		"vehicle and engine":             {Filter{Vehicle: "ab12cd", Engine: "NORTHMOOR SIX-90"}, []int64{2, 1}},
		"since":                          {Filter{SinceUS: 3e6}, []int64{4, 3}},
		"until":                          {Filter{UntilUS: 3e6}, []int64{2, 1}},
		"open":                           {Filter{Open: true}, []int64{4, 2, 1}},
		"text":                           {Filter{Text: "ÄGIDIUS sam"}, []int64{4, 1}},
		"text with signs of the pattern": {Filter{Text: "100% FULL_"}, []int64{3}},
		"those signs are no pattern":     {Filter{Text: "1%full"}, nil},
		"nothing":                        {Filter{Vehicle: "AB 12"}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			entries, err := b.Tests(t.Context(), c.filter)
			require.NoError(t, err)
			assert.Equal(t, c.want, numbers(entries))
		})
	}
}

func TestTestsPageByPage(t *testing.T) { onEach(t, testTestsPageByPage) }

func testTestsPageByPage(t *testing.T) {
	b := fresh(t)
	for i := range 10 { // three of one moment
		add(t, b, "", set(int64(1+i/3), leakback.FieldVehicle, "AB"))
	}
	for _, f := range []Filter{{Most: 2}, {Most: 3, Vehicle: "ab"}} {
		all, err := b.Tests(t.Context(), Filter{})
		require.NoError(t, err)
		var paged []Entry
		for {
			page, err := b.Tests(t.Context(), f)
			require.NoError(t, err)
			paged = append(paged, page...)
			if len(page) < f.Most {
				break
			}
			f.Before = &page[len(page)-1]
		}
		assert.Len(t, all, 10)
		assert.Equal(t, all, paged)
	}
}

func TestListsWalkAlongAnIndex(t *testing.T) { onEach(t, testListsWalkAlongAnIndex) }

func testListsWalkAlongAnIndex(t *testing.T) {
	b := fresh(t)
	for _, f := range []Filter{{Most: 5}, {Most: 5, Open: true}, {Most: 5, Vehicle: "a"}, {Most: 5, Engine: "a"},
		{Most: 5, Vehicle: "a", Engine: "b", SinceUS: 3}, {Most: 5, SinceUS: 1, UntilUS: 9}, {Most: 5, Before: &Entry{}}} {
		steps := plan(t, b, f)
		for _, step := range steps {
			assert.NotRegexp(t, "^SCAN tests$|Seq Scan", step, "%+v", f)
			if len(f.ways()) == 1 {
				assert.NotRegexp(t, "TEMP B-TREE|Sort", step, "%+v", f)
			}
		}
	}
}

// plan is how the database goes about a list.
func plan(t *testing.T, b *Book, f Filter) (steps []string) {
	clause, args := f.clause()
	query := "SELECT " + entryColumns + " FROM tests " + clause
	tx, err := b.db.BeginTx(t.Context(), nil)
	require.NoError(t, err)
	defer tx.Rollback()
	explain := "EXPLAIN QUERY PLAN "
	if isPostgres(t) { // whose planner reads small tables as they are
		explain = "EXPLAIN "
		_, err = tx.ExecContext(t.Context(), "SET LOCAL enable_seqscan = off")
		require.NoError(t, err)
	}
	rows, err := tx.QueryContext(t.Context(), explain+b.dialect.bind(query), args...)
	require.NoError(t, err)
	defer rows.Close()
	for rows.Next() {
		var step string
		targets := []any{&step}
		if !isPostgres(t) {
			targets = []any{new(int), new(int), new(int), &step}
		}
		require.NoError(t, rows.Scan(targets...))
		steps = append(steps, step)
	}
	require.NoError(t, rows.Err())
	require.NotEmpty(t, steps)
	return steps
}

func TestFind(t *testing.T) { onEach(t, testFind) }

func testFind(t *testing.T) {
	b := fresh(t)
	ids := []string{
		"01890000-0000-7000-8000-00000000abcd",
		"01890000-0000-7000-8000-10000000abcd",
		"01890000-0000-7000-8000-000000123456",
	}
	for _, id := range ids {
		add(t, b, id, set(1, leakback.FieldVehicle, "x"))
	}
	for ref, want := range map[string]string{
		"1": ids[0], " 3 ": ids[2], "123456": ids[2], ids[1]: ids[1], "10000000ABCD": ids[1],
		"8000-10000000abcd": ids[1], "000000000abcd": ids[0],
	} {
		e, err := b.Find(t.Context(), ref)
		require.NoError(t, err, ref)
		assert.Equal(t, want, e.ID, ref)
	}
	for _, ref := range []string{"", "4", "abcd", "99abcd", "x", "123456789012345678901234567890", "%", "01890000"} {
		_, err := b.Find(t.Context(), ref)
		var missing *NotFoundError
		require.ErrorAs(t, err, &missing, ref)
	}
	_, err := b.Find(t.Context(), "00abcd")
	var several *AmbiguousError
	require.ErrorAs(t, err, &several)
	assert.ElementsMatch(t, []int64{1, 2}, numbers(several.Entries))
	require.ErrorContains(t, err, ids[0])
}

func TestEarlierAnswers(t *testing.T) { onEach(t, testEarlierAnswers) }

func testEarlierAnswers(t *testing.T) {
	b := shop(t)
	for i := range 3 {
		add(t, b, "", set(int64(10+i)*1e6, leakback.FieldWorkshop, fmt.Sprintf("Workshop %d", i/2)))
	}
	for _, c := range []struct {
		field string
		most  int
		want  []string
	}{
		{leakback.FieldVehicle, 9, []string{"zz", "ab12 cd", "xy 34"}},
		{leakback.FieldVehicle, 2, []string{"zz", "ab12 cd"}},
		{leakback.FieldCustomer, 9, []string{"ägidius  SAMPLE"}},
		{leakback.FieldWorkshop, 9, []string{"Workshop 1", "Workshop 0"}},
		{leakback.FieldNote, 9, nil},
	} {
		got, err := b.Earlier(t.Context(), c.field, c.most)
		require.NoError(t, err)
		assert.Equal(t, c.want, got, c.field)
	}
}
