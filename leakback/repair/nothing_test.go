package repair_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/repair"
	"leakback/limits"
)

// withMinimum is a sheet with a maximum and a minimum.
func withMinimum(most, least float64) *limits.Sheet {
	s := maximum(most)
	s.Limits[0].MinRateMLMin = &least
	return s
}

// No return, or next to none, proves nothing; that it is met by a maximum is no
// repair.
func TestNextToNoReturnProvesNothing(t *testing.T) {
	const zero = "0 0 0 0 0 0"
	for name, c := range map[string]struct {
		sheet         *limits.Sheet
		before, after string
		work, want    string
	}{
		"nothing now":                     {maximum(40), high4, zero, newTube, "undecided next-to-nothing-after:1:2:3:4:5:6 -> check-hose"},
		"below the first mark now":        {maximum(40), high4, "<1 <1 <1 <1 <1 <1", newTube, "undecided next-to-nothing-after:1:2:3:4:5:6 -> check-hose"},
		"next to none now":                {maximum(40), high4, "2 2 2 2 2 2", newTube, "undecided next-to-nothing-after:1:2:3:4:5:6 -> check-hose"},
		"nothing from most now":           {maximum(40), high4, "0 0 0 24 0 0", newTube, "undecided next-to-nothing-after:1:2:3:5:6 after-open:4 -> check-hose"},
		"nothing now, no limit":           {limits.Builtin(), high4, zero, newTube, "undecided next-to-nothing-after:1:2:3:4:5:6 after-open:1:2:3:4:5:6 -> check-hose"},
		"nothing then":                    {maximum(40), zero, healed, newTube, "undecided next-to-nothing-before -> earlier-test"},
		"nothing then, one over":          {maximum(40), "0 0 0 80 0 0", healed, newTube, "undecided next-to-nothing-before -> earlier-test"},
		"next to none then":               {maximum(40), "2 2 2 2 2 2", healed, newTube, "undecided next-to-nothing-before -> earlier-test"},
		"nothing in either":               {maximum(40), zero, zero, newTube, "undecided next-to-nothing-after:1:2:3:4:5:6 next-to-nothing-before -> check-hose"},
		"one has nothing, worked on":      {maximum(40), high4, "24 25 23 0 24 25", newTube, "undecided next-to-nothing-after:4 after-open:4 -> check-hose"},
		"one below the mark, worked on":   {maximum(40), high4, "24 25 23 <1 24 25", newTube, "undecided next-to-nothing-after:4 after-open:4 -> check-hose"},
		"one low, worked on":              {maximum(40), high4, "24 25 23 8 24 25", newTube, "undecided after-open:4 -> check-hose"},
		"one of two":                      {maximum(40), "24 48", "24 0", "1 2 feed_tube = new", "undecided next-to-nothing-after:2 -> check-hose"},
		"one of two then":                 {maximum(40), "24 0", "24 25", "1 2 feed_tube = new", "back to normal before-open"},
		"little by nature":                {maximum(10), "3 3 3 18 3 3", "3 3 3 3 3 3", newTube, "back to normal came-back:4"},
		"much less, and plainly there":    {maximum(40), "300 310 305 300 310 305", "25 25 24 26 25 25", newTube, "back to normal came-back:1:2:3:4:5:6"},
		"too little, says the sheet":      {withMinimum(40, 5), high4, zero, newTube, "not back to normal still-fails:4 now-fails:1:2:3:5:6"},
		"too little then, says the sheet": {withMinimum(40, 5), zero, healed, newTube, "back to normal came-back:1:2:3:4:5:6"},
		"enough, says the sheet":          {withMinimum(40, 1), high4, "2.9 2.9 2.8 2.9 2.9 2.9", newTube, "back to normal came-back:4"},
		"still over, nothing else":        {maximum(40), high4, "0 0 0 80 0 0", newTube, "not back to normal still-fails:4"},
	} {
		t.Run(name, func(t *testing.T) {
			got := compared(t, c.sheet, logged(t, c.work), bench{volumes: c.before}, bench{volumes: c.after}).Whole
			assert.Equal(t, c.want, told(got))
		})
	}
}

func TestNextToNothingSaysWhatToDo(t *testing.T) {
	all := compared(t, maximum(40), logged(t, newTube), bench{volumes: high4}, bench{volumes: "0 0 0 0 0 0"})
	assert.Equal(t, "next to nothing came back from cylinders 1, 2, 3, 4, 5 and 6 in test 2, which can prove nothing", all.Whole.Reasons[0].Text)
	assert.Equal(t, "stop the engine and find out why next to nothing came back: hoses, tubes and return line, injectors and starting "+
		"enabled as in test 1, rail pressure; then collect again, longer where so little is usual", all.Whole.Settle.Text)
	one := compared(t, maximum(40), logged(t, newTube), bench{volumes: high4}, bench{volumes: "24 25 23 0 24 25"})
	assert.Equal(t, "stop the engine, check hose, plug and return bore of cylinder 4, then collect again, longer where so little is usual", one.Whole.Settle.Text)
	assert.True(t, math.IsNaN(one.Whole.Settle.SaidS), "no figure that the action does not need")

	f := all.Facts()
	assert.Equal(t, []int{1, 2, 3, 4, 5, 6}, f["next-to-nothing"])
	assert.True(t, f.Has("next-to-nothing-from-most"))
	assert.NotContains(t, f, "came-back")
	f = one.Facts()
	assert.Equal(t, []int{4}, f["next-to-nothing"])
	assert.False(t, f.Has("next-to-nothing-from-most"))
	assert.NotContains(t, f, "came-back")
	f = compared(t, maximum(40), nil, bench{volumes: "0 0 0 0 0 0"}, bench{volumes: healed}).Facts()
	assert.True(t, f.Has("next-to-nothing-before"))
}

// In another state as little may be as it should: only the state is told.
func TestNextToNothingInAnotherState(t *testing.T) {
	c := compared(t, maximum(40), logged(t, newTube), bench{volumes: high4}, bench{volumes: "2 2 2 2 2 2", condition: "raised-idle"})
	assert.Equal(t, "undecided not-comparable -> same-state", told(c.Whole))
}

// A swap after which nothing comes back shows nothing: least of all that it was
// the fit.
func TestSwapWithoutReturnIsUnclear(t *testing.T) {
	for _, c := range [][2]string{{high4, "0 0 0 0 0 0"}, {"0 0 0 80 0 0", healed}} {
		s := compared(t, maximum(40), logged(t, swapped24), bench{volumes: c[0]}, bench{volumes: c[1]}).Whole.Swaps
		require.Len(t, s, 1)
		assert.Equal(t, repair.Unclear, s[0].Outcome)
		assert.Contains(t, s[0].Text, "next to nothing came back from most of the engine in one of the tests")
	}
	s := compared(t, maximum(40), logged(t, "1 1 injector = swapped|1 1 injector_swapped_with = 2"), bench{volumes: "48 24"}, bench{volumes: "24 0"}).Whole.Swaps
	assert.Equal(t, repair.Unclear, s[0].Outcome)
}

// A merged return alone is held to the same.
func TestTotalsOfNothing(t *testing.T) {
	most := 180.0
	sheet := maximum(40)
	sheet.Limits[0].MaxTotalMLMin = &most
	total := func(ml string) bench {
		return bench{volumes: ml, change: func(x *leakback.Test) {
			x.Method = leakback.MethodTotal
			x.Runs[0].Readings[0].Cylinder = 0
		}}
	}
	for name, c := range map[string]struct{ before, after, want string }{
		"nothing now":      {"240", "0", "undecided next-to-nothing-after change-within-noise -> check-hose"},
		"below the mark":   {"240", "<1", "undecided next-to-nothing-after change-within-noise -> check-hose"},
		"next to none now": {"240", "8", "undecided next-to-nothing-after -> check-hose"},
		"nothing then":     {"0", "150", "undecided next-to-nothing-before -> earlier-test"},
		"not read":         {"240", "-", "undecided after-open -> read"},
	} {
		t.Run(name, func(t *testing.T) {
			got := compared(t, sheet, logged(t, newTube), total(c.before), total(c.after)).Whole
			assert.Equal(t, c.want, told(got))
		})
	}
}
