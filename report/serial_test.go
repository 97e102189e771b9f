package report

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Dates as numbers: the examples and the last one of ECMA-376 part 1, 18.17.4.1, and
// 1970-01-01, which every converter of Unix time knows as 25569.
func TestSerial(t *testing.T) {
	for at, want := range map[string]float64{
		"1900-03-01T00:00:00Z": 61, "1970-01-01T00:00:00Z": 25569, "2192-05-01T12:00:00Z": 106774.5,
		"2400-02-29T00:00:00Z": 182682, "9999-12-31T00:00:00Z": 2958465,
	} {
		moment, err := time.Parse(time.RFC3339, at)
		require.NoError(t, err)
		assert.Equal(t, want, serial(moment), at)
	}
}

func TestDated(t *testing.T) {
	for at, want := range map[time.Time]bool{
		time.Date(-3, 5, 6, 0, 0, 0, 0, time.UTC):        false,
		time.Date(1, 1, 1, 0, 0, 0, 0, time.UTC):         false,
		time.Date(1900, 2, 28, 23, 59, 0, 0, time.UTC):   false,
		time.Date(1900, 3, 1, 0, 0, 0, 0, time.UTC):      true,
		time.Date(9999, 12, 31, 23, 59, 59, 0, time.UTC): true,
		time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC):     false,
		time.Date(2026, 3, 4, 14, 30, 0, 0, time.UTC):    true,
		time.Date(123456, 3, 4, 14, 30, 0, 0, time.UTC):  false,
	} {
		assert.Equal(t, want, Dated(at), at)
	}
}
