package repair_test

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback/repair"
	"leakback/limits"
	"leakback/limits/quantity"
	"leakback/stats/reference"
)

// sheetStep is a step as a sheet has it.
func sheetStep(t testing.TB, number int, part, torque string, change func(*limits.Step)) limits.Step {
	t.Helper()
	s := limits.Step{Step: number, Part: part, Source: "invented service information"}
	if torque != "" {
		nm, err := quantity.Parse(quantity.Torque, torque)
		require.NoError(t, err)
		s.TorqueNM, s.TorqueText = nm, torque
	}
	if change != nil {
		change(&s)
	}
	return s
}

// Three steps in the trade's figures (common practice, no source).
func threeSteps(t testing.TB) []limits.Step {
	return []limits.Step{
		sheetStep(t, 1, "hold-down, snug", "30 lbf·in", nil),
		sheetStep(t, 2, "feed tube nut", "37 lbf·ft", nil),
		sheetStep(t, 3, "hold-down", "11 lbf·ft", func(s *limits.Step) { s.AngleDeg, s.NewFastener = 60, true }),
	}
}

func TestStepsAreHeldAgainstTheSheet(t *testing.T) {
	const good = "1 4 step@1 = 1|1 4 torque@1 = 30 lbf·in|1 4 step@2 = 2|1 4 torque@2 = 50 N·m"
	const last = "|1 4 step@3 = 3|1 4 torque@3 = 11 lbf·ft|1 4 angle_deg@3 = 61|1 4 new_fastener@3 = yes"
	const dash = "1 4 injector = refitted|"
	for name, c := range map[string]struct {
		lines string
		want  []string
	}{
		"as the sheet has it": {dash + good + last, nil},
		"nothing recorded":    {"1 4 feed_tube = new", []string{"steps-not-recorded cylinder 4: none of the sheet's 3 tightening steps was recorded"}},
		"nothing opened":      {"1 4 seals = new|1 0 relief_valve = checked", nil},
		"skipped at the end":  {good, []string{"step-skipped cylinder 4: step 3 (hold-down) was not done"}},
		"out of order": {"1 4 step@1 = 2|1 4 torque@1 = 37 lbf·ft|1 4 step@2 = 1|1 4 torque@2 = 30 lbf·in" + last,
			[]string{"step-out-of-order cylinder 4: step 1 was done after step 2: expected it before"}},
		"again": {good + "|1 4 step@4 = 2|1 4 torque@4 = 37 lbf·ft" + last,
			[]string{"step-done-twice cylinder 4: step 2 was done again"}},
		"unknown": {good + last + "|1 4 step@4 = 7", []string{"step-unknown cylinder 4: step 7 is none of the sheet's steps"}},
		"outside": {"1 4 step@1 = 1|1 4 torque@1 = 32 lbf·in|1 4 step@2 = 2|1 4 torque@2 = 37 lbf·ft" + last,
			[]string{"torque-outside cylinder 4: step 1 (hold-down, snug), 32 lbf·in: expected 30 lbf·in ± 1.5 lbf·in (5 %, assumed; the sheet gives no tolerance)"}},
		"missing": {good + "|1 4 step@3 = 3", []string{
			"torque-missing cylinder 4: step 3 (hold-down), no torque entered: expected 11 lbf·ft",
			"angle-missing cylinder 4: step 3 (hold-down), no angle entered: expected 60°",
			"fastener-not-said cylinder 4: step 3 (hold-down), nobody said whether the fastener was new: expected a new one"}},
		"angle and fastener": {good + "|1 4 step@3 = 3|1 4 torque@3 = 11 lbf·ft|1 4 angle_deg@3 = 64|1 4 new_fastener@3 = no", []string{
			"angle-outside cylinder 4: step 3 (hold-down), 64°: expected 60° ± 3° (5 %, assumed; the sheet gives no tolerance)",
			"fastener-not-new cylinder 4: step 3 (hold-down), the old fastener went back: expected a new one"}},
	} {
		t.Run(name, func(t *testing.T) {
			w := works(t, strings.Split(c.lines, "|")...)[0]
			var got []string
			for _, f := range w.StepFaults(threeSteps(t)) {
				got = append(got, string(f.Code)+" "+f.String())
			}
			assert.Equal(t, c.want, got)
			assert.Empty(t, w.StepFaults(nil), "a sheet without steps finds nothing")
		})
	}
}

// The sheet's own tolerance stands before the assumed one.
func TestTheSheetsToleranceStands(t *testing.T) {
	step := sheetStep(t, 1, "nut", "60 N·m", func(s *limits.Step) { s.TorqueToleranceNM, s.AngleDeg, s.AngleToleranceDeg = 6, 90, 15 })
	done := repair.StepDone{Step: 1, Torque: "66 N·m", TorqueNM: 66, AngleDeg: 105}
	assert.Empty(t, repair.CheckSteps([]limits.Step{step}, []repair.StepDone{done}, true))
	done.TorqueNM, done.Torque, done.AngleDeg = 66.1, "66.1 N·m", 105.5
	faults := repair.CheckSteps([]limits.Step{step}, []repair.StepDone{done}, true)
	require.Len(t, faults, 2)
	assert.Equal(t, "step 1 (nut), 66.1 N·m: expected 60 N·m ± 6 N·m", faults[0].Text)
	assert.Equal(t, "step 1 (nut), 105.5°: expected 90° ± 15°", faults[1].Text)
}

// What a step that was passed over shows at once, and what only at the end.
func TestSkippedStepsShowAtOnce(t *testing.T) {
	steps := threeSteps(t)
	done := []repair.StepDone{{Cylinder: 4, Place: 1, Step: 2, Torque: "37 lbf·ft", TorqueNM: steps[1].TorqueNM, AngleDeg: math.NaN()}}
	now := repair.CheckSteps(steps, done, false)
	require.Len(t, now, 1)
	assert.Equal(t, "cylinder 4: step 1 (hold-down, snug) was not done", now[0].String())
	assert.Len(t, repair.CheckSteps(steps, done, true), 2)
	next, more := repair.NextStep(steps, done)
	assert.True(t, more)
	assert.Equal(t, 1, next.Step)
	_, more = repair.NextStep(steps[1:2], done)
	assert.False(t, more)
}

// A value that would be right in another unit is asked about. The factors are
// those of NIST SP 811 (2008), Appendix B, in testdata/reference/unit_factors.csv.
func TestTorqueInTheOtherUnitIsAskedAbout(t *testing.T) {
	factor := map[string]float64{"N·m": 1}
	for _, row := range reference.Rows(t, "unit_factors.csv") {
		if row["to"] == "N.m" && row["from"] != "ozf.in" {
			factor[map[string]string{"lbf.ft": "lbf·ft", "lbf.in": "lbf·in", "kgf.m": "kgf·m"}[row["from"]]] = row.Float(t, "factor_published")
		}
	}
	require.Len(t, factor, 4)
	for meant, want := range factor {
		step := sheetStep(t, 1, "nut", "30 "+meant, nil)
		for unit, f := range factor {
			typed, err := repair.ParseTorque("30 " + unit)
			require.NoError(t, err)
			assert.InEpsilon(t, 30*f, typed.NM, 5e-7)
			assert.Equal(t, unit, typed.Unit)
			ask := repair.AskUnit(step, typed)
			if unit == meant {
				assert.Nil(t, ask)
				continue
			}
			require.NotNil(t, ask, "%s for %s", unit, meant)
			assert.Equal(t, "30 "+meant, ask.Meant)
			assert.InEpsilon(t, f/want, ask.Times, 1e-6)
		}
	}
	ask := func(step, typed string) string {
		torque, err := repair.ParseTorque(typed)
		require.NoError(t, err)
		if q := repair.AskUnit(sheetStep(t, 1, "nut", step, nil), torque); q != nil {
			return q.Text
		}
		return ""
	}
	assert.Equal(t, "30 lbf·ft is 12 times the step's 30 lbf·in: did you mean 30 lbf·in?", ask("30 lbf·in", "30 ft-lb"))
	assert.Equal(t, "30 lbf·in is 0.083 times the step's 30 lbf·ft: did you mean 30 lbf·ft?", ask("30 lbf·ft", "30 in-lb"))
	assert.Equal(t, "44 N·m is 0.74 times the step's 44 lbf·ft: did you mean 44 lbf·ft?", ask("44 lbf·ft", "44 Nm"))
	assert.Equal(t, "44,5 N·m is 0.75 times the step's 44 lbf·ft: did you mean 44,5 lbf·ft?", ask("44 lbf·ft", "44,5 N·m"), "within the tolerance of the other unit")
	assert.Empty(t, ask("44 lbf·ft", "60 N·m"), "right in its own unit")
	assert.Empty(t, ask("44 lbf·ft", "20 N·m"), "wrong in every unit")
	angle := sheetStep(t, 1, "nut", "", func(s *limits.Step) { s.AngleDeg = 90 })
	torque, err := repair.ParseTorque("30 N·m")
	require.NoError(t, err)
	assert.Nil(t, repair.AskUnit(angle, torque))
}
