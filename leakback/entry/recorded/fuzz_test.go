package recorded

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/limits/quantity"
)

var errLine = errors.New("expected kind run.cylinder field=value")

// parseEvent reads "kind run.cylinder field=value because reason".
func parseEvent(line string) (leakback.Event, error) {
	kind, rest, _ := strings.Cut(line, " ")
	at, rest, _ := strings.Cut(rest, " ")
	field, rest, found := strings.Cut(rest, "=")
	value, reason, _ := strings.Cut(rest, " because ")
	run, spot, _ := strings.Cut(at, ".")
	number, err := strconv.Atoi(run)
	if err != nil || !found {
		return leakback.Event{}, errLine
	}
	e := leakback.Event{Key: leakback.Key{Kind: leakback.Kind(kind), Run: number, Field: field}, Value: value, Reason: reason}
	if e.Cylinder, err = strconv.Atoi(spot); err != nil {
		e.Line = spot
	}
	return e, nil
}

// eventLine is the opposite of parseEvent.
func eventLine(e leakback.Event) string {
	spot := strconv.Itoa(e.Cylinder)
	if e.Line != "" {
		spot = e.Line
	}
	line := fmt.Sprintf("%s %d.%s %s=%s", e.Kind, e.Run, spot, e.Field, e.Value)
	if e.Reason != "" {
		line += " because " + e.Reason
	}
	return line
}

// Whatever was entered, there is a test that comes back as it is, or one line
// for each fault.
func FuzzTest(f *testing.F) {
	for _, name := range []string{"overflow.csv", "two-banks.csv", "one-tube.csv", "block-off.csv"} {
		f.Add(lines(Events(demo(f, name), leakback.Job{}, nil)))
	}
	f.Add("set 0.0 interval_s=unknown\nset 2.left capacity_ml=none\ntime 1.0 crank 2=5,5\nreading 1.left mass_g=<2\nreading -1.70 volume_floz=1 cc")
	f.Add("set 0.0 interval_s=60\nset 1.0 tube_class=B\nset 0.0 capacity_ml=100\nreading 1.2 volume_ml=2 US fl oz\nset 1.2 over_range=1")
	f.Fuzz(func(t *testing.T, text string) {
		r := &leakback.Record{}
		for line := range strings.SplitSeq(text, "\n") {
			if e, err := parseEvent(line); err == nil {
				r.Add(e)
			}
		}
		test, err := Test(r)
		var faults *FaultError
		switch {
		case err == nil:
			roundTrip(t, test)
		case errors.Is(err, ErrNoReadings):
		default:
			require.ErrorAs(t, err, &faults)
			require.NotEmpty(t, faults.Faults)
			for _, fault := range faults.Faults {
				require.True(t, quantity.Printable(fault.Error()), "%q", fault.Error())
			}
		}
	})
}
