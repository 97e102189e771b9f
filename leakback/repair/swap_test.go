package repair_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/repair"
	"leakback/limits"
)

const (
	swapped24 = "1 4 injector = swapped|1 4 injector_swapped_with = 2"
	newTubes  = "|1 4 feed_tube = new|1 2 feed_tube = new"
)

// What a swap test shows, each way; what it means is common practice, no source.
func TestSwapTestsAreReadOut(t *testing.T) {
	const exchanged = "the injectors of cylinders 2 and 4 were exchanged, and "
	unclear := func(why string) string { return exchanged + "what that shows is unclear: " + why }
	const (
		notShown = "the later test does not show for certain where the leak is now"
		oneHigh  = "one of the two must be high before, and the other not"
	)
	for name, c := range map[string]struct {
		work, before, after string
		outcome             repair.Outcome
		text                string
	}{
		"follows":                            {swapped24 + newTubes, high4, "24 48 23 24 24 25", repair.Followed, exchanged + "the leak followed the injector from cylinder 4 to cylinder 2: it is the injector's"},
		"follows, used tube":                 {swapped24 + "|1 4 feed_tube = new|1 2 feed_tube = reused", high4, "24 48 23 24 24 25", repair.Followed, exchanged + "the leak followed the injector from cylinder 4 to cylinder 2: it is the injector's, or the used feed tube's that was fitted with it"},
		"follows, the tube left behind used": {swapped24 + "|1 4 feed_tube = reused|1 2 feed_tube = new", high4, "24 48 23 24 24 25", repair.Followed, exchanged + "the leak followed the injector from cylinder 4 to cylinder 2: it is the injector's"},
		"stays, the other tube used":         {swapped24 + "|1 4 feed_tube = new|1 2 feed_tube = reused", high4, "24 25 23 48 24 25", repair.Stayed, exchanged + "the leak stayed with cylinder 4: it is the seat's or the line's, or the new feed tube does not seal"},
		"said at both":                       {swapped24 + "|1 2 injector = swapped|1 2 injector_swapped_with = 4", high4, "24 48 23 24 24 25", repair.Followed, ""},
		"stays, new tubes":                   {swapped24 + newTubes, high4, "24 25 23 48 24 25", repair.Stayed, exchanged + "the leak stayed with cylinder 4: it is the seat's or the line's, or the new feed tube does not seal"},
		"stays, old tubes":                   {swapped24 + "|1 4 feed_tube = reused|1 2 feed_tube = new", high4, "24 25 23 48 24 25", repair.Stayed, exchanged + "the leak stayed with cylinder 4: it is the feed tube's, the line's or the seat's, and a tube that was used before is the first to suspect"},
		"stays, tubes unsaid":                {swapped24, high4, "24 25 23 48 24 25", repair.Stayed, exchanged + "the leak stayed with cylinder 4: it is the feed tube's, the line's or the seat's"},
		"gone, new tubes":                    {swapped24 + newTubes, high4, healed, repair.Vanished, exchanged + "the leak is gone from both: it was the fit, not the injector (or the old feed tube)"},
		"gone, old tubes":                    {swapped24 + "|1 4 feed_tube = reseated", high4, healed, repair.Vanished, exchanged + "the leak is gone from both: it was the fit, not the injector; a feed tube that was used again may leak again"},
		"both high now":                      {swapped24, high4, "24 47 23 48 24 25", repair.Unclear, unclear("both cylinders are high now")},
		"in between":                         {swapped24, high4, "24 33 23 24 24 25", repair.Unclear, unclear(notShown)},
		"none high before":                   {swapped24, healed, "24 25 23 48 24 25", repair.Unclear, unclear(oneHigh)},
		"both high before":                   {swapped24, "24 47 23 48 24 25", healed, repair.Unclear, unclear(oneHigh)},
		"not read":                           {swapped24, high4, "24 - 23 24 24 25", repair.Unclear, unclear("both cylinders must be read in both tests")},
		"and replaced":                       {swapped24 + "|2 2 injector = replaced", high4, healed, repair.Unclear, unclear("another injector was fitted, or one was cleaned, at the same time")},
	} {
		t.Run(name, func(t *testing.T) {
			got := compared(t, limits.Builtin(), logged(t, c.work), bench{volumes: c.before}, bench{volumes: c.after}).Whole.Swaps
			require.Len(t, got, 1)
			assert.Equal(t, [2]int{2, 4}, [2]int{got[0].A, got[0].B})
			assert.Equal(t, c.outcome, got[0].Outcome, got[0].Text)
			assert.Equal(t, repair.CommonPractice, got[0].Basis)
			if c.text != "" {
				assert.Equal(t, c.text, got[0].Text)
			}
		})
	}
}

func TestWhatIsNoSwapTest(t *testing.T) {
	for _, work := range []string{
		newTube,
		"1 4 injector = swapped", // with whom?
		swapped24 + "|1 2 injector = swapped|1 2 injector_swapped_with = 3", // who is right?
		swapped24 + "|1 2 injector = replaced",                              // not the one that came out
		swapped24 + "|2 4 injector = swapped|2 4 injector_swapped_with = 2", // and back
	} {
		assert.Empty(t, compared(t, limits.Builtin(), logged(t, work), bench{volumes: high4}, bench{volumes: healed}).Whole.Swaps, work)
	}
	// A test in another state shows nothing of it.
	got := compared(t, limits.Builtin(), logged(t, swapped24), bench{volumes: high4}, bench{volumes: healed, condition: "cranking"}).Whole.Swaps
	assert.Contains(t, got[0].Text, "the two tests cannot be compared")
	// Nor does one that is so much warmer that the leak would hide in the set.
	got = compared(t, limits.Builtin(), logged(t, swapped24), bench{volumes: "18 19 17 36 18 19", tempC: 20, at: "return"},
		bench{volumes: "36 37 35 37 36 37", tempC: 60, at: "return"}).Whole.Swaps
	assert.Equal(t, repair.Unclear, got[0].Outcome)
}

func TestWorkThatDoesNotFitTogether(t *testing.T) {
	for work, want := range map[string][]string{
		newTube:                  nil,
		"1 4 injector = swapped": {"swap-without-partner cylinder 4: the injector was swapped, and nobody said with which cylinder"},
		swapped24 + "|1 2 injector = replaced": {
			"swap-disagrees cylinder 4: the injector was swapped with that of cylinder 2, of which the log says something else"},
		swapped24 + "|1 4 correction_code_out = AA|1 4 correction_code_in = BB|1 2 correction_code_out = BB|1 2 correction_code_in = AA": nil,
		swapped24 + "|1 4 correction_code_out = AA|1 4 correction_code_in = AA|1 2 correction_code_out = BB|1 2 correction_code_in = BB": {
			"codes-not-moved cylinder 2: the correction code that went in is not the one that came out at cylinder 4: codes move with their injectors",
			"codes-not-moved cylinder 4: the correction code that went in is not the one that came out at cylinder 2: codes move with their injectors"},
		"1 4 injector = replaced|1 4 injector_serial_out = A1|1 4 injector_serial_in = A1": {
			"same-serial cylinder 4: the injector was replaced, yet the serial number that went in is the one that came out"},
		"1 4 injector = replaced|1 4 correction_code_out = AA|1 4 feed_tube = reused": {
			"correction-code-missing cylinder 4: no correction code is written down for the injector that went in",
			"tube-used-again cylinder 4: a feed tube that seals by being crushed seats once: used again it may leak"},
	} {
		var got []string
		for _, w := range logged(t, work) {
			for _, d := range w.Doubts() {
				got = append(got, string(d.Code)+" "+d.String())
			}
		}
		assert.Equal(t, want, got, work)
	}
}

func TestFactsThatAdviceIsMatchedOn(t *testing.T) {
	sheet := limits.Builtin()
	sheet.Tightening = threeSteps(t)
	with := func(work, before, after string) repair.Facts {
		return compared(t, sheet, logged(t, work), bench{volumes: before}, bench{volumes: after}).Facts()
	}
	// An injector renewed and its tube used again, and still high: the tube first.
	f := with("1 4 injector = replaced|1 4 feed_tube = reused", high4, high4)
	for _, name := range []string{"worked-on", "new-injector-alone", "has-old-tube", "still-high", "steps-unwritten", "core-open", "has-new-injector"} {
		assert.Equal(t, []int{4}, f[name], name)
	}
	for _, name := range []string{"not-back-to-normal", "complaint-not-asked", "temperature-unknown"} {
		assert.True(t, f.Has(name), name)
	}
	for _, name := range []string{"came-back", "has-new-tube", "new-injector-and-tube", "still-high-untouched", "swap-stayed", "step-fault-engine", "set-new", "back-to-normal", "work-doubt"} {
		assert.False(t, f.Has(name), name)
	}
	f = with(newTube+"|1 0 complaint_gone = no", high4, healed)
	assert.Equal(t, []int{4}, f["came-back"])
	assert.True(t, f.Has("back-to-normal") && f.Has("complaint-stays") && f.Has("has-new-tube"))
	f = with(newTube, high4, "24 50 23 49 24 25")
	assert.Equal(t, []int{4}, f["new-tube-alone"])
	assert.Equal(t, []int{2}, f["other-now-high"])
	f = with("1 2 feed_tube = new", high4, high4)
	assert.Equal(t, []int{4}, f["still-high-untouched"])
	f = with(swapped24+newTubes, high4, "24 48 23 24 24 25")
	assert.Equal(t, []int{4}, f["swap-followed"])
	assert.Equal(t, []int{2}, f["swap-now-at"])
	assert.True(t, f.Has("swap-new-tubes"))
	f = with(swapped24, healed, healed)
	assert.Equal(t, []int{2, 4}, f["swap-unclear"])
	f = with("1 0 relief_valve = replaced", "70 72 69 71 70 73", "69 71 70 72 70 71")
	assert.True(t, f.Has("nothing-stood-out") && f.Has("relief-valve-work") && f.Has("repair-undecided"))
	over := compared(t, maximum(40), nil, bench{volumes: "70 72 69 71 70 73"}, bench{volumes: "69 71 70 72 70 71"}).Facts()
	assert.True(t, over.Has("evenly-high-before-and-after") && over.Has("no-work-recorded"))
	assert.NotContains(t, over, "step-fault")
}

// Every fact that can hold is listed, each once.
func TestFactNamesAreKnown(t *testing.T) {
	names := repair.FactNames()
	assert.Len(t, slices.Compact(slices.Sorted(slices.Values(names))), len(names))
	for name := range compared(t, limits.Builtin(), logged(t, swapped24), bench{volumes: high4}, bench{volumes: healed}).Facts() {
		assert.Contains(t, names, name)
		assert.Equal(t, strings.ToLower(name), name)
	}
	assert.True(t, repair.High(&leakback.Cylinder{Findings: []leakback.Finding{{Code: leakback.OverRatio}}}))
	assert.False(t, repair.High(&leakback.Cylinder{Findings: []leakback.Finding{{Code: leakback.LowInSet}}}))
}
