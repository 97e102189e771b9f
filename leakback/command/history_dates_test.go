package command

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"leakback/leakback"
	"leakback/leakback/logbook"
)

// A date that was typed counts where every spreadsheet has it; else the test's own
// first entry does.
func TestStartedUS(t *testing.T) {
	first := time.Date(2026, 3, 5, 8, 0, 0, 0, time.UTC).UnixMicro()
	for tested, want := range map[string]int64{
		"2026-03-04 14:30 +01:00":   time.Date(2026, 3, 4, 13, 30, 0, 0, time.UTC).UnixMicro(),
		"2400-02-29":                time.Date(2400, 2, 29, 0, 0, 0, 0, time.UTC).UnixMicro(),
		"":                          first,
		"in March":                  first,
		"0001-01-01":                first,
		"1900-02-28":                first,
		"9999-12-31T23:59:59-12:00": first, // in UTC the year 10000
	} {
		record := leakback.NewRecord([]leakback.Event{{
			Key: leakback.Key{Kind: leakback.KindSet, Field: leakback.FieldTested}, Value: tested}})
		env := &environment{place: time.UTC}
		assert.Equal(t, want, startedUS(env, &logbook.Entry{StartedUS: first}, record), tested)
	}
}
