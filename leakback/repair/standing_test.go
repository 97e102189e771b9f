package repair_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"leakback/leakback/repair"
	"leakback/limits"
)

// stood is how works leave an engine, a line a cylinder.
func stood(t testing.TB, lines string, cylinders ...int) string {
	var list []string
	for _, s := range repair.Stand(logged(t, lines), cylinders...) {
		var words []string
		add := func(what, word string) {
			if word != "" {
				words = append(words, what+" "+word)
			}
		}
		add("injector", s.Injector)
		if s.From != 0 {
			add("from", fmt.Sprint(s.From))
		}
		add("tube", s.FeedTube)
		add("lines", s.Lines)
		add("seals", s.Seals)
		add("valve", s.ReliefValve)
		add("declined", s.Declined)
		if s.CoreOpen {
			words = append(words, "core open")
		}
		list = append(list, fmt.Sprintf("%d %s", s.Cylinder, strings.Join(words, ", ")))
	}
	return strings.Join(list, "; ")
}

// The last word on each part stands, and means what it says: what was refitted
// is the injector that it was.
func TestHowThingsStand(t *testing.T) {
	const (
		replaced4 = "1 4 injector = replaced"
		swap      = "|2 4 injector = swapped|2 4 injector_swapped_with = 2"
		back      = "|3 4 injector = swapped|3 4 injector_swapped_with = 2"
	)
	for name, c := range map[string]struct {
		lines, want string
		cylinders   []int
	}{
		"nothing":                      {"1 0 complaint_gone = yes", "", nil},
		"new, then refitted":           {replaced4 + "|2 4 injector = refitted|2 4 feed_tube = new", "4 injector replaced, tube new, core open", nil},
		"new, then cleaned":            {replaced4 + "|2 4 injector = cleaned", "4 injector replaced, core open", nil},
		"refitted, then new":           {"1 4 injector = refitted|2 4 injector = replaced", "4 injector replaced, core open", nil},
		"cleaned, then refitted":       {"1 4 injector = cleaned|2 4 injector = refitted", "4 injector refitted", nil},
		"tube new, then used":          {"1 4 feed_tube = new|2 4 feed_tube = reseated", "4 tube reseated", nil},
		"a new one moves":              {replaced4 + swap, "2 injector replaced, from 4; 4 injector swapped, from 2, core open", nil},
		"and back":                     {replaced4 + swap + back, "2 ; 4 injector replaced, core open", nil},
		"moved, then cleaned":          {swap[1:] + "|3 2 injector = cleaned", "2 injector swapped, from 4; 4 injector swapped, from 2", nil},
		"moved, then a new one":        {swap[1:] + "|3 2 injector = replaced|3 2 core = returned", "2 injector replaced; 4 injector swapped, from 2", nil},
		"with whom":                    {"1 4 injector = swapped", "4 injector swapped", nil},
		"both say something else":      {"1 4 injector = swapped|1 4 injector_swapped_with = 2|1 2 injector = replaced", "2 injector replaced, core open; 4 injector swapped", nil},
		"core back later":              {replaced4 + "|2 4 core = returned", "4 injector replaced", nil},
		"core owed again":              {replaced4 + "|1 4 core = returned|2 4 injector = replaced", "4 injector replaced, core open", nil},
		"lines new, then tightened":    {"1 4 lines = new|2 4 lines = tightened", "4 lines new", nil},
		"lines new, then used":         {"1 4 lines = new|2 4 lines = reused", "4 lines reused", nil},
		"valve new, then checked":      {"1 0 relief_valve = replaced|2 0 relief_valve = checked", "0 valve replaced", nil},
		"declined":                     {"1 4 declined = line|2 4 seals = new", "4 seals new, declined line", nil},
		"seals of the engine":          {"1 0 seals = reused|1 2 seals = new", "0 seals reused; 1 seals reused; 2 seals new; 3 seals reused", []int{1, 2, 3}},
		"seals of the engine, later":   {"1 2 seals = reused|2 0 seals = new", "0 seals new; 1 seals new; 2 seals new", []int{1, 2}},
		"lines of the engine, unknown": {"1 0 lines = new", "0 lines new", nil},
	} {
		t.Run(name, func(t *testing.T) { assert.Equal(t, c.want, stood(t, c.lines, c.cylinders...)) })
	}
}

// rightly are the three steps of the sheet, done as it asks.
func rightly(work, cylinder string) string {
	lines := "W C step@1 = 1|W C torque@1 = 30 lbf·in|W C step@2 = 2|W C torque@2 = 37 lbf·ft|" +
		"W C step@3 = 3|W C torque@3 = 11 lbf·ft|W C angle_deg@3 = 60|W C new_fastener@3 = yes"
	return strings.NewReplacer("W", work, "C", cylinder).Replace(lines)
}

// A fault stands until the cylinder was tightened by all steps, and comes back
// with the next work that is not.
func TestStepFaultsThatStand(t *testing.T) {
	const wrong = "1 4 feed_tube = new|1 4 step@1 = 1|1 4 torque@1 = 60 lbf·in"
	for name, c := range map[string]struct {
		lines string
		want  []string
	}{
		"wrong":                  {wrong, []string{"4 torque-outside", "4 step-skipped", "4 step-skipped"}},
		"put right":              {wrong + "|" + rightly("2", "4"), nil},
		"in part":                {wrong + "|2 4 step@1 = 1|2 4 torque@1 = 30 lbf·in", []string{"4 step-skipped", "4 step-skipped"}},
		"another was put right":  {"1 4 feed_tube = new|" + rightly("2", "5"), []string{"4 steps-not-recorded"}},
		"opened again":           {rightly("1", "4") + "|2 4 injector = cleaned", []string{"4 steps-not-recorded"}},
		"looked at again":        {rightly("1", "4") + "|2 4 seals = new|2 4 declined = line", nil},
		"of no cylinder":         {"1 0 step@1 = 1|1 0 torque@1 = 60 lbf·in", []string{"0 torque-outside", "0 step-skipped", "0 step-skipped"}},
		"of none, then right":    {"1 0 step@1 = 1|1 0 torque@1 = 60 lbf·in|" + rightly("2", "0"), nil},
		"of none, right at four": {"1 0 step@1 = 2|" + rightly("2", "4"), []string{"0 torque-missing", "0 step-skipped", "0 step-skipped"}},
	} {
		t.Run(name, func(t *testing.T) {
			var got []string
			for _, f := range repair.StandingFaults(logged(t, c.lines), threeSteps(t)) {
				got = append(got, fmt.Sprintf("%d %s", f.Cylinder, f.Code))
			}
			assert.Equal(t, c.want, got)
			assert.Empty(t, repair.StandingFaults(logged(t, c.lines), nil))
		})
	}
}

// What the works of a repair leave behind are facts of how it stands now.
func TestFactsOfWorks(t *testing.T) {
	sheet := limits.Builtin()
	sheet.Tightening = threeSteps(t)
	six := []int{1, 2, 3, 4, 5, 6}
	facts := func(lines string) repair.Facts { return repair.WorkFacts(logged(t, lines), six, sheet) }

	f := facts("1 4 injector = replaced|1 4 feed_tube = reused|2 4 injector = refitted|2 4 feed_tube = new")
	assert.Equal(t, []int{4}, f["new-injector-and-tube"], "a new injector that was refitted is a new injector")
	assert.NotContains(t, f, "new-tube-alone")
	assert.Equal(t, []int{4}, f["steps-unwritten"])
	assert.Equal(t, []int{4}, f["steps-open"])
	assert.NotContains(t, f, "step-fault", "nobody wrote one down that is wrong")
	assert.NotContains(t, f, "steps-kept")
	f = facts("1 4 feed_tube = new|1 4 step@1 = 2")
	assert.Equal(t, []int{4}, f["step-fault"])
	assert.Equal(t, []int{4}, f["steps-open"])
	assert.NotContains(t, f, "steps-unwritten")
	f = facts("1 4 feed_tube = new|" + rightly("2", "4"))
	assert.Equal(t, []int{4}, f["steps-kept"])
	assert.NotContains(t, f, "step-fault")
	assert.NotContains(t, f, "steps-open")
	f = facts("1 4 feed_tube = new|1 0 step@1 = 1")
	assert.True(t, f.Has("step-fault-engine"))
	assert.Empty(t, f["step-fault-engine"], "of no cylinder")
	assert.NotContains(t, f, "step-fault")
	f = facts("1 0 seals = reused|1 2 seals = new|1 0 declined = pump")
	assert.Equal(t, []int{1, 3, 4, 5, 6}, f["seals-reused"])
	assert.True(t, f.Has("declined"))
	all := ""
	for _, n := range six {
		all += fmt.Sprintf("|1 %d injector = replaced", n)
	}
	assert.True(t, facts(all[1:]).Has("set-new"))
	assert.False(t, facts(all[1:]+"|2 3 injector = swapped").Has("set-new"))
	assert.NotContains(t, repair.WorkFacts(logged(t, "1 4 feed_tube = new"), six, nil), "step-fault")
}

// Lines and seals of the engine are work at every cylinder of it.
func TestWorkOnTheWholeEngine(t *testing.T) {
	for _, part := range []string{"lines", "seals"} {
		work := logged(t, "1 0 "+part+" = new")
		assert.Empty(t, repair.WorkedOn(work))
		assert.Equal(t, []int{1, 2, 3}, repair.WorkedOn(work, 1, 2, 3))
		c := compared(t, maximum(40), work, bench{volumes: high4}, bench{volumes: high4})
		f := c.Facts()
		assert.Equal(t, []int{1, 2, 3, 4, 5, 6}, f["worked-on"])
		assert.NotContains(t, f, "still-high-untouched")
	}
	assert.Empty(t, repair.WorkedOn(logged(t, "1 0 relief_valve = checked"), 1, 2, 3))

	// The set is no yardstick across temperatures where all of it was worked on.
	warm, cold := bench{volumes: high4, tempC: 55, at: "return"}, bench{volumes: healed, tempC: 25, at: "return"}
	assert.True(t, compared(t, maximum(40), logged(t, newTube), warm, cold).Whole.At(4).RatioCounts)
	assert.False(t, compared(t, maximum(40), logged(t, "1 0 seals = new"), warm, cold).Whole.At(4).RatioCounts)
}
