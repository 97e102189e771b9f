package leakback_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leakback/leakback"
)

// entered is one thing entered into run 1, or into the test as a whole.
func entered(kind leakback.Kind, run int, field, value string) leakback.Event {
	return leakback.Event{Key: leakback.Key{Kind: kind, Run: run, Field: field}, Value: value}
}

// recordOf numbers the events as a logbook does.
func recordOf(events ...leakback.Event) *leakback.Record {
	for i := range events {
		events[i].Seq = int64(i + 1)
	}
	return leakback.NewRecord(events)
}

// A length that is typed where a clock had timed the run takes the clock's place,
// whatever the two are entered as.
func TestTypedLengthCorrectsTheClock(t *testing.T) {
	collection := entered(leakback.KindTime, 1, "collection", "4.513")
	length := func(value string) leakback.Event { return entered(leakback.KindSet, 1, "interval_s", value) }
	for _, c := range []struct {
		name   string
		events []leakback.Event
		want   [][2]string // what stood, what was entered in its place
	}{
		{"typed over the clock", []leakback.Event{collection, length("30")}, [][2]string{{"4.513", "30"}}},
		{"then again", []leakback.Event{collection, length("30"), length("31")}, [][2]string{{"4.513", "30"}, {"30", "31"}}},
		{"unknown", []leakback.Event{collection, length("unknown")}, [][2]string{{"4.513", "unknown"}}},
		{"cranks together", []leakback.Event{
			entered(leakback.KindTime, 1, "crank 1", "3.1"), entered(leakback.KindTime, 1, "crank 2", "3"), length("7"),
		}, [][2]string{{"6.1", "7"}}},
		{"the clock's own length", []leakback.Event{collection, length("4.513")}, nil},
		{"never timed", []leakback.Event{length("30")}, nil},
		{"another run's clock", []leakback.Event{entered(leakback.KindTime, 2, "collection", "60"), length("30")}, nil},
		{"of all runs", []leakback.Event{collection, entered(leakback.KindSet, 0, "interval_s", "30")}, nil},
		{"timed again after it was typed", []leakback.Event{
			collection, length("30"), entered(leakback.KindTime, 1, "collection", ""), length(""), entered(leakback.KindTime, 1, "collection", "5"),
		}, [][2]string{{"4.513", "30"}, {"4.513", ""}, {"30", ""}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var got [][2]string
			for _, correction := range recordOf(c.events...).Corrections() {
				got = append(got, [2]string{correction.Before.Value, correction.After.Value})
			}
			require.Equal(t, c.want, got)
		})
	}
}
