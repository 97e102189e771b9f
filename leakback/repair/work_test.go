package repair_test

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/repair"
)

// entered makes a record of lines "work cylinder field = value"; of a step the
// field has its place, "step@1".
func entered(lines ...string) *leakback.Record {
	r := &leakback.Record{}
	for i, line := range lines {
		key, value, _ := strings.Cut(line, " = ")
		word := strings.Fields(key)
		field, place, isStep := strings.Cut(word[2], "@")
		e := leakback.Event{Seq: int64(i + 1), AtUS: int64(1000 * (i + 1)), Person: "A. Example", Value: value}
		work, cylinder := int(word[0][0]-'0'), int(word[1][0]-'0')
		if e.Key = repair.Key(work, cylinder, field); isStep {
			e.Key = repair.StepKey(work, cylinder, int(place[0]-'0'), field)
		}
		r.Add(e)
	}
	return r
}

func works(t testing.TB, lines ...string) []repair.Work {
	t.Helper()
	list, err := repair.Works(entered(lines...))
	require.NoError(t, err)
	return list
}

func TestWorksAreFoldedFromEvents(t *testing.T) {
	list := works(t,
		"1 4 injector = refitted", "1 4 feed_tube = reused", "1 0 relief_valve = checked", "1 0 symptom_before = hard hot start",
		"1 4 feed_tube = new", "1 4 old_part_tag = T-17", "1 4 step@1 = 1", "1 4 torque@1 = 44 lbf·ft", "1 4 step@2 = 2", "1 4 angle_deg@2 = 60",
		"1 4 new_fastener@2 = yes", "1 0 complaint_gone = not tried",
		"2 4 injector = replaced", "2 4 injector_serial_out = A1", "2 4 injector_serial_in = B2", "2 4 core = yes", "2 4 declined = return line", "2 4 lines = ")
	require.Len(t, list, 2)
	first, second := list[0], list[1]
	assert.Equal(t, repair.New, first.At(4).FeedTube, "the correction stands")
	assert.Equal(t, repair.Checked, first.At(0).ReliefValve)
	assert.Equal(t, "hard hot start", first.SymptomBefore)
	assert.Equal(t, repair.NotTried, first.ComplaintGone)
	assert.Equal(t, int64(1000), first.FirstUS)
	assert.Equal(t, int64(12000), first.LastUS)
	assert.Equal(t, []string{"A. Example"}, first.People)
	steps := first.StepsAt(4)
	require.Len(t, steps, 2)
	assert.InDelta(t, 59.656, steps[0].TorqueNM, 0.0005) // NIST SP 811: 44 * 1.355818
	assert.True(t, math.IsNaN(steps[0].AngleDeg))
	assert.Equal(t, 60.0, steps[1].AngleDeg)
	assert.Equal(t, repair.Yes, steps[1].NewFastener)
	assert.Empty(t, second.At(4).Lines, "taken back")

	var said []string
	for _, w := range list {
		for _, item := range w.Items() {
			said = append(said, item.String())
		}
	}
	assert.Equal(t, []string{"engine: relief valve checked", "cylinder 4: injector refitted (old part's tag T-17)",
		"cylinder 4: feed tube new", "cylinder 4: injector replaced (serial number out A1, serial number in B2, core to return yes)"}, said)
	assert.Equal(t, []int{4}, repair.WorkedOn(list))
}

func TestComplaintIsKeptApart(t *testing.T) {
	assert.Empty(t, repair.ComplaintGone(entered("1 4 injector = replaced")))
	r := entered("2 0 complaint_gone = not tried", "0 0 complaint_gone = no", "1 4 injector = replaced")
	assert.Equal(t, repair.No, repair.ComplaintGone(r))
	list, err := repair.Works(r)
	require.NoError(t, err)
	assert.Len(t, list, 2, "what is said of the test itself is no work")
}

func TestValuesAreTakenInTheirUsualForm(t *testing.T) {
	for _, c := range []struct {
		field           string
		cylinder        int
		typed, want, no string
	}{
		{"injector", 4, " Replaced", "replaced", ""},
		{"injector", 4, "new", "", `"new": expected replaced, swapped, cleaned or refitted`},
		{"injector", 0, "replaced", "", `"replaced": expected a cylinder's number: "Injector" is said of one cylinder`},
		{"injector", 7, "replaced", "", `"replaced": expected a cylinder from 1 to 6, not 7`},
		{"relief_valve", 4, "checked", "", `"checked": expected no cylinder: "Relief valve" is said of the engine`},
		{"injector_swapped_with", 4, "2", "2", ""},
		{"injector_swapped_with", 4, "4", "", `"4": expected the number of another cylinder, up to 6`},
		{"injector_swapped_with", 4, "7", "", `"7": expected the number of another cylinder, up to 6`},
		{"injector_swapped_with", 4, "two", "", `"two": expected the number of another cylinder, up to 6`},
		{"feed_tube", 4, "REUSED", "reused", ""},
		{"seals", 0, "new", "new", ""},
		{"core", 4, "maybe", "", `"maybe": expected yes, no or returned`},
		{"complaint_gone", 0, "Not-Tried", "not tried", ""},
		{"work_note", 0, "a\nb", "", `"a\nb": expected one line of at most 500 characters`},
		{"injector_serial_in", 4, strings.Repeat("9", 61), "", `"9999999999999999999999999999999999999999…": expected one line of at most 60 characters`},
		{"feed_tube", 4, "  ", "", ""},
	} {
		f, ok := repair.FieldNamed(c.field)
		require.True(t, ok, c.field)
		got, err := f.Check(c.cylinder, 6, c.typed)
		if c.no != "" {
			assert.EqualError(t, err, c.no)
			continue
		}
		require.NoError(t, err)
		assert.Equal(t, c.want, got)
	}
	for _, f := range repair.Fields() {
		assert.NotEmpty(t, f.Expected(6), f.Name)
	}
}

func TestStepFieldsAreChecked(t *testing.T) {
	for _, c := range []struct{ field, typed, want, no string }{
		{"step", "2", "2", ""},
		{"step", "0", "", `"0": expected the number of a tightening step, from 1`},
		{"torque", "44 lbf.ft", "44 lbf.ft", ""},
		{"torque", "44", "", `"44": expected a torque with its unit: N·m, lbf·ft, lbf·in or kgf·m`},
		{"torque", "0 N·m", "", `"0 N·m": expected a torque above 0`},
		{"angle_deg", "62,5°", "62.5", ""},
		{"angle_deg", "2000", "", `"2000": expected an angle from 0 to 1,080 degrees`},
		{"new_fastener", "Yes", "yes", ""},
		{"new_fastener", "old", "", `"old": expected yes or no`},
		{"colour", "red", "", `"colour": expected a field of a step: step, torque, angle_deg or new_fastener`},
	} {
		got, err := repair.CheckStepField(c.field, c.typed)
		if c.no != "" {
			assert.EqualError(t, err, c.no)
			continue
		}
		require.NoError(t, err)
		assert.Equal(t, c.want, got)
	}
}

func TestWorksRefuseWhatNoWorkLogTakes(t *testing.T) {
	for line, want := range map[string]string{
		"1 4 injector = new":     `work 1, cylinder 4, injector: "new": expected replaced, swapped, cleaned or refitted`,
		"1 4 colour = red":       `work 1, cylinder 4, colour: "colour": expected a field of the work log`,
		"1 4 torque@1 = 60":      `work 1, cylinder 4, torque 1: "60": expected a torque with its unit: N·m, lbf·ft, lbf·in or kgf·m`,
		"2 0 injector = swapped": `work 2, injector: "swapped": expected a cylinder's number: "Injector" is said of one cylinder`,
	} {
		_, err := repair.Works(entered(line))
		assert.EqualError(t, err, want)
	}
	_, err := repair.Works(leakback.NewRecord([]leakback.Event{{Key: leakback.Key{Kind: leakback.KindStep, Run: 1, Cylinder: 4, Field: "step"}, Value: "1"}}))
	assert.EqualError(t, err, `work 1, cylinder 4, step: "step": expected a field of a step with its place: step 1`)
}
