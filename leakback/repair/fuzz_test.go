package repair_test

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/repair"
	"leakback/limits"
	"leakback/limits/quantity"
)

// requireLine wants one line of plain text, and of the error as well.
func requireLine(t *testing.T, text string, err error) {
	t.Helper()
	if err != nil {
		text = err.Error()
	}
	require.True(t, quantity.Printable(text), "%q", text)
}

// Whatever is typed for a field of the work log or of a step: its usual form is
// taken for itself, and a refusal is one line.
func FuzzCheck(f *testing.F) {
	for i, field := range repair.Fields() {
		for _, text := range append([]string{"", "3", "new\u202e", "a\x1b[2J", "\xff", "a\u2028b", strings.Repeat("x", 2000)}, field.Words...) {
			f.Add(uint8(i), 4, 6, text)
		}
	}
	for i, text := range []string{"2", "30 lbf·in", "60°", "yes", "1e400 N·m", "-3 N·m", "90 degrees°"} {
		f.Add(uint8(200+i), 0, 0, text)
	}
	steps := []string{repair.FieldStep, repair.FieldTorque, repair.FieldAngleDeg, repair.FieldNewFastener}
	fields := repair.Fields()
	f.Fuzz(func(t *testing.T, which uint8, cylinder, cylinders int, typed string) {
		check := func(text string) (string, error) { return repair.CheckStepField(steps[int(which)%len(steps)], text) }
		if int(which) < len(fields) {
			check = func(text string) (string, error) { return fields[which].Check(cylinder, cylinders, text) }
		}
		value, err := check(typed)
		if err != nil {
			requireLine(t, "", err)
			return
		}
		again, err := check(value)
		require.NoError(t, err)
		require.Equal(t, value, again)
	})
}

// Whatever torque is typed for a step: it is a figure in bounds, and a question for
// its unit names one in which the same number fits.
func FuzzTorque(f *testing.F) {
	for _, text := range []string{"30 lbf·ft", "30 lbf·in", "50 N·m", "5 kgf m", "1,5 N m", "0 N·m", "1e-300 N·m", "99999999 lbf·ft", "30", "\xff"} {
		f.Add(text, 50.0, 0.0)
		f.Add(text, 3.39, 0.5)
	}
	f.Fuzz(func(t *testing.T, typed string, stepNM, toleranceNM float64) {
		torque, err := repair.ParseTorque(typed)
		if err != nil {
			requireLine(t, "", err)
			return
		}
		low, high := quantity.Torque.Bounds()
		require.True(t, torque.NM > 0 && torque.NM >= low && torque.NM <= high)
		if !(stepNM > 0 && stepNM <= high && toleranceNM >= 0 && toleranceNM < stepNM) {
			return
		}
		step := limits.Step{Step: 1, TorqueNM: stepNM, TorqueToleranceNM: toleranceNM}
		ask := repair.AskUnit(step, torque)
		if ask == nil {
			return
		}
		require.True(t, quantity.Printable(ask.Text) || !quantity.Printable(typed), "%q", ask.Text)
		meant, err := repair.ParseTorque(ask.Meant)
		require.NoError(t, err)
		require.NotEqual(t, torque.NM, meant.NM)
		require.Nil(t, repair.AskUnit(step, meant), "what was meant fits")
	})
}

// Whatever events stand in a record: they are works whose steps can be checked, or
// the first entry that is none is named in one line.
func FuzzWorks(f *testing.F) {
	f.Add("w1 4 injector=replaced\nw1 4 feed_tube=new\ns1 4 step 1=1\ns1 4 torque 1=30 lbf·in\ns1 4 angle_deg 1=60\ns1 4 new_fastener 1=yes")
	f.Add("w1 4 injector=swapped\nw1 4 swapped_with=2\nw1 2 serial_in=A\nw2 0 complaint_gone=yes\nw1 4 injector=")
	f.Add("s1 4 torque 99999999999999999999=1\ns-1 -4 step 0=x\nw9223372036854775807 1 lines=new\ns1 1 step=1\nw1 0 work_done=2024-13-99")
	f.Fuzz(func(t *testing.T, text string) {
		r := &leakback.Record{}
		for line := range strings.SplitSeq(text, "\n") {
			if e, ok := workEvent(line); ok {
				e.Seq = int64(len(r.Events) + 1)
				r.Add(e)
			}
		}
		works, err := repair.Works(r)
		if err != nil {
			requireLine(t, "", err)
			return
		}
		steps := []limits.Step{{Step: 1, TorqueNM: 3.39, TorqueText: "30 lbf·in"}, {Step: 2, TorqueNM: math.Pi, AngleDeg: 60, NewFastener: true}}
		for i := range works {
			for _, item := range works[i].Items() {
				requireLine(t, item.String(), nil)
			}
			works[i].StepFaults(steps)
		}
	})
}

// workEvent reads "w1 4 field=value", or "s1 4 field place=value" of a step, with
// numbers that a logbook takes.
func workEvent(line string) (e leakback.Event, ok bool) {
	key, value, found := strings.Cut(line, "=")
	words := strings.SplitN(key, " ", 3)
	if !found || len(words) < 3 || words[0] == "" {
		return e, false
	}
	work, err := strconv.Atoi(words[0][1:])
	cylinder, errCylinder := strconv.Atoi(words[1])
	e.Key, e.Value = repair.Key(work, cylinder, words[2]), value
	if words[0][0] == 's' {
		e.Kind = leakback.KindStep
	}
	return e, err == nil && errCylinder == nil && min(work, cylinder) >= 0 && max(work, cylinder) <= math.MaxInt32
}
