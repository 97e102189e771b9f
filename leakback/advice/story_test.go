package advice

import (
	"fmt"
	"math"
	"math/rand/v2"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/repair"
	"leakback/limits"
)

// tested is one test of the invented Northmoor Six-90: volumes of one minute at
// idle in the order of cylinder numbers ("24 >100 -"), and what is not as usual.
type tested struct {
	volumes, condition, at string
	tempC                  float64
}

// warm is a test with the fuel at 55 degC.
func warm(volumes string) tested { return tested{volumes: volumes, tempC: 55, at: "return"} }

func (d tested) result(t testing.TB, sheet *limits.Sheet) *leakback.Result {
	t.Helper()
	run := leakback.Run{Number: 1, IntervalS: 60, State: leakback.UnknownState()}
	run.State.RailPressureBar = 350
	if d.tempC != 0 {
		run.State.FuelTempC, run.State.FuelTempAt = d.tempC, d.at
	}
	for i, word := range strings.Fields(d.volumes) {
		r := leakback.Reading{Cylinder: i + 1, Typed: word, Tube: leakback.Tube{GraduationML: 1, CapacityML: 250, ToleranceML: 1}}
		r.VolumeML, _ = strconv.ParseFloat(strings.TrimLeft(word, "<>"), 64)
		switch word[0] {
		case '-':
			r.VolumeML, r.Typed = math.NaN(), ""
		case '>':
			r.Bound = leakback.AtLeast
		case '<':
			r.Bound = leakback.AtMost
		}
		run.Readings = append(run.Readings, r)
	}
	condition := "idle"
	if d.condition != "" {
		condition = d.condition
	}
	r, err := leakback.Evaluate(&leakback.Test{ID: "t", Engine: "Northmoor Six-90", Condition: condition,
		Method: leakback.MethodIndividual, Runs: []leakback.Run{run}}, sheet)
	require.NoError(t, err)
	return r
}

// sheet is the built-in one with a limit of 40 mL/min at idle.
func sheet() *limits.Sheet {
	s, most := limits.Builtin(), 40.0
	s.Limits = []limits.Limit{{Condition: "idle", MaxRateMLMin: &most, Source: "invented service information"}}
	return s
}

// stepped is that sheet with two tightening steps.
func stepped() *limits.Sheet {
	s := sheet()
	s.Tightening = []limits.Step{
		{Step: 1, Part: "feed tube nut", TorqueNM: 30, Source: "invented service information"},
		{Step: 2, Part: "hold-down", AngleDeg: 60, Source: "invented service information"},
	}
	return s
}

// logged are works of lines "4 feed_tube = new; 4 step@1 = 1", each work after a
// bar.
func logged(t testing.TB, text string) []repair.Work {
	t.Helper()
	record := &leakback.Record{}
	for i, work := range strings.Split(text, "|") {
		for _, line := range strings.Split(work, ";") {
			key, value, said := strings.Cut(strings.TrimSpace(line), " = ")
			if !said {
				continue
			}
			number, field, _ := strings.Cut(key, " ")
			cylinder, err := strconv.Atoi(number)
			require.NoError(t, err)
			e := leakback.Event{Seq: int64(len(record.Events) + 1), Value: value, Key: repair.Key(i+1, cylinder, field)}
			if name, place, isStep := strings.Cut(field, "@"); isStep {
				at, err := strconv.Atoi(place)
				require.NoError(t, err)
				e.Key = repair.StepKey(i+1, cylinder, at, name)
			}
			record.Add(e)
		}
	}
	works, err := repair.Works(record)
	require.NoError(t, err)
	return works
}

// repaired holds tests against one another, with the work before the second.
func repaired(t testing.TB, s *limits.Sheet, work string, tests ...tested) *repair.Comparison {
	t.Helper()
	sides := make([]repair.Side, len(tests))
	for i, one := range tests {
		sides[i].Result = one.result(t, s)
	}
	sides[1].Work = logged(t, work)
	c, err := repair.Compare(sides, repair.AssumedFuel())
	require.NoError(t, err)
	return c
}

const (
	high4  = "24 25 23 48 24 25"
	high2  = "24 48 23 24 24 25"
	healed = "24 25 23 24 24 25"
	worn   = "70 72 69 71 70 73"

	newTube    = "4 injector = refitted; 4 feed_tube = new"
	rightSteps = "; 4 step@1 = 1; 4 torque@1 = 30 N·m; 4 step@2 = 2; 4 angle_deg@2 = 60"
	swap24     = "4 injector = swapped; 4 injector_swapped_with = 2"
	newTubes   = "; 4 feed_tube = new; 2 feed_tube = new"
)

// What each repair calls for, in this order: common practice, no source.
func TestNextAfter(t *testing.T) {
	bare := limits.Builtin()
	swapped := func(more string) string { return swap24 + more }
	allNew := ""
	for c := range 6 {
		allNew += strings.ReplaceAll("; # injector = replaced; # feed_tube = new", "#", strconv.Itoa(c+1))
	}
	for _, test := range []struct {
		name          string
		sheet         *limits.Sheet
		before, after tested
		work, want    string
	}{
		// One high, its tube renewed.
		{"retest cold", sheet(), warm("36 37 35 60 36 37"), tested{volumes: "21 20 21 24 20 21", tempC: 25, at: "return"}, newTube,
			"settle-first same-temperature"},
		{"normal, complaint gone", stepped(), warm(high4), warm(healed), newTube + rightSteps + "; 0 complaint_gone = yes", "leak-check close"},
		{"normal, complaint stays", sheet(), warm(high4), warm(healed), newTube + "; 0 complaint_gone = no", "leak-check look-elsewhere"},
		{"normal, not tried", sheet(), warm(high4), warm(healed), newTube + "; 0 complaint_gone = not tried", "leak-check try-it"},
		{"normal, not asked", sheet(), warm(high4), warm(healed), newTube, "leak-check try-it"},
		{"normal, no limit", bare, warm(high4), warm(healed), newTube, "leak-check even-wear try-it"},
		{"normal, no temperature", sheet(), tested{volumes: high4}, tested{volumes: healed}, newTube, "leak-check write-temperature try-it"},
		{"still high, tube new", sheet(), warm(high4), warm(high4), newTube, "tube-is-new swap"},
		{"still high, complaint gone", sheet(), warm(high4), warm(high4), newTube + "; 0 complaint_gone = yes", "tube-is-new swap gone-not-normal"},
		{"still high, more was declined", sheet(), warm(high4), warm(high4), newTube + "; 4 declined = return line", "tube-is-new swap declined"},
		{"another is high", sheet(), warm(high4), warm(high2), newTube, "disturbed tube-first new-tube-there swap"},
		{"still high, and another", sheet(), warm(high4), warm("24 50 23 49 24 25"), newTube, "disturbed tube-is-new tube-first new-tube-there swap"},

		// The injector renewed: the tube first, then the steps, then the injector.
		{"injector new, tube used", stepped(), warm(high4), warm(high4), "4 injector = replaced; 4 feed_tube = reused" + rightSteps,
			"tube-not-injector swap"},
		{"injector new, tube unsaid", sheet(), warm(high4), warm(high4), "4 injector = replaced", "tube-not-injector then-steps swap"},
		{"injector new, no steps", stepped(), warm(high4), warm(high4), "4 injector = replaced; 4 feed_tube = reseated",
			"tube-not-injector steps-written-with-tube swap"},
		{"injector new, steps not kept", stepped(), warm(high4), warm(high4), "4 injector = replaced; 4 feed_tube = reused; 4 step@1 = 2; 4 angle_deg@1 = 60",
			"tube-not-injector steps-with-tube swap"},
		{"used tube seals, no steps", stepped(), warm(high4), warm(healed), "4 injector = refitted; 4 feed_tube = reused",
			"steps-unwritten leak-check try-it used-tube-holds"},
		{"both new", sheet(), warm(high4), warm(high4), "4 injector = replaced; 4 feed_tube = new", "both-are-new swap"},
		{"both new, one after the other", sheet(), warm(high4), warm(high4), "4 injector = replaced; 4 feed_tube = reused | " + newTube, "both-are-new swap"},
		{"tube new, then used again", sheet(), warm(high4), warm(high4), newTube + " | 4 injector = refitted; 4 feed_tube = reused", "used-tube swap"},
		{"cleaned, tube used", sheet(), warm(high4), warm(high4), "4 injector = cleaned; 4 feed_tube = reused", "used-tube swap"},
		{"both new, normal", sheet(), warm(high4), warm(healed), "4 injector = replaced; 4 feed_tube = new; 0 complaint_gone = yes", "leak-check which-part core close"},
		{"core is back", sheet(), warm(high4), warm(healed), "4 injector = replaced; 4 core = returned; 4 feed_tube = new; 0 complaint_gone = yes", "leak-check which-part close"},
		{"used tube, normal", sheet(), warm(high4), warm(healed), "4 injector = refitted; 4 feed_tube = reused", "leak-check try-it used-tube-holds"},

		// Swap tests.
		{"follows", sheet(), warm(high4), warm(high2), swapped(newTubes), "swap-followed"},
		{"follows, tubes used", sheet(), warm(high4), warm(high2), swapped("; 4 feed_tube = reused; 2 feed_tube = reused"), "swap-followed-used"},
		{"follows, the tube left behind used", sheet(), warm(high4), warm(high2), swapped("; 4 feed_tube = reused; 2 feed_tube = new"), "swap-followed"},
		{"follows, seals used", sheet(), warm(high4), warm(high2), swapped(newTubes + "; 2 seals = reused"), "swap-followed used-seals"},
		{"follows, codes not moved", sheet(), warm(high4), warm(high2), swapped(newTubes + "; 4 correction_code_out = AA; 4 correction_code_in = AA; " +
			"2 correction_code_out = BB; 2 correction_code_in = BB"), "codes swap-followed"},
		{"stays, tubes new", sheet(), warm(high4), warm(high4), swapped(newTubes), "swap-stayed-new"},
		{"stays, its tube used", sheet(), warm(high4), warm(high4), swapped("; 4 feed_tube = reused; 2 feed_tube = new"), "swap-stayed"},
		{"stays, the other tube used", sheet(), warm(high4), warm(high4), swapped("; 4 feed_tube = new; 2 feed_tube = reused"), "swap-stayed-new swap-used-tubes"},
		{"stays, tubes unsaid", sheet(), warm(high4), warm(high4), swap24, "swap-stayed swap-tubes-unsaid"},
		{"gone, tubes new", sheet(), warm(high4), warm(healed), swapped(newTubes), "leak-check swap-vanished try-it"},
		{"gone, tubes used", sheet(), warm(high4), warm(healed), swapped("; 4 feed_tube = reused; 2 feed_tube = reused; 0 complaint_gone = yes"),
			"leak-check swap-vanished swap-used-tubes close"},
		{"unclear, both high", sheet(), warm(high4), warm("24 47 23 48 24 25"), swapped(newTubes), "swap-unclear disturbed tube-is-new"},
		{"unclear, another state", sheet(), warm(high4), tested{volumes: high2, condition: "raised-idle"}, swapped(newTubes),
			"keep-the-same write-temperature swap-unclear disturbed tube-is-new"},
		{"with whom", sheet(), warm(high4), warm(high4), "4 injector = swapped", "record-doubt tube-first new-tube swap"},

		// The whole set.
		{"worn before and after", sheet(), warm(worn), warm(worn), newTube, "evenly-high high-together high-together-wear"},
		{"worn, all renewed", sheet(), warm(worn), warm(worn), allNew, "high-together high-together-new"},
		{"worn, no limit", bare, warm(worn), warm(worn), "0 relief_valve = replaced", "settle-first still-no-answer"},
		{"high since", sheet(), warm(healed), warm(worn), newTube, "now-high-together high-together high-together-wear"},

		// What comes before any part: safety, the steps, the measurement.
		{"nothing comes back", sheet(), warm(high4), warm("0 0 0 0 0 0"), newTube, "near-zero-stop near-zero-work near-zero-look"},
		{"next to none comes back", sheet(), warm(high4), warm("2 2 2 2 2 2"), newTube, "near-zero-stop near-zero-work near-zero-look"},
		{"nothing came back before", sheet(), warm("0 0 0 0 0 0"), warm(healed), newTube, "settle-first nothing-before"},
		{"one of two has nothing", sheet(), warm("24 48"), warm("24 <1"), "2 feed_tube = new", "low-stop low-after-work settle-first too-few"},
		{"a new one among worn", bare, warm("60 61 59 60 62 61"), warm("60 62 59 30 60 61"), "4 injector = replaced; 4 feed_tube = new",
			"low-stop low-after-work new-among-worn settle-first"},
		{"a new one with next to nothing", sheet(), warm(high4), warm("24 25 23 2 24 25"), "4 injector = replaced; 4 feed_tube = new",
			"low-stop low-after-work settle-first"},
		{"little where work was done", sheet(), warm(high4), warm("24 25 23 2 24 25"), newTube, "low-stop low-after-work settle-first"},
		{"little somewhere else", sheet(), warm(high4), warm("24 2 23 24 24 25"), newTube, "low-stop low-look settle-first"},
		{"out of order", stepped(), warm(high4), warm(healed), newTube + "; 4 step@1 = 2; 4 angle_deg@1 = 60; 4 step@2 = 1; 4 torque@2 = 30 N·m",
			"steps-first leak-check try-it"},
		{"outside its tolerance", stepped(), warm(high4), warm(high4), newTube + "; 4 step@1 = 1; 4 torque@1 = 30 lbf·ft; 4 step@2 = 2; 4 angle_deg@2 = 60",
			"steps-first tube-is-new swap"},
		{"tightened again as asked", stepped(), warm(high4), warm(healed), newTube + "; 4 step@1 = 1; 4 torque@1 = 30 N·m | " + newTube + rightSteps, "leak-check try-it"},
		{"tightened nobody knows where", stepped(), warm(high4), warm(healed), newTube + "; 0 step@1 = 2; 0 angle_deg@1 = 60", "steps-nowhere leak-check try-it"},
		{"tightened nobody knows where, then as asked", stepped(), warm(high4), warm(healed), newTube + rightSteps + "; 0 step@1 = 2 | " + strings.ReplaceAll(rightSteps[2:], "4 ", "0 "), "leak-check try-it"},
		{"injector new, then refitted with a new tube", sheet(), warm(high4), warm(high4), "4 injector = replaced; 4 feed_tube = reused | 4 injector = refitted; 4 feed_tube = new", "both-are-new swap"},
		{"a new injector moved away", sheet(), warm(high4), warm(high4), "4 injector = replaced; 4 feed_tube = new | " + swap24 + newTubes, "swap-unclear tube-is-new"},
		{"seals of the engine used", sheet(), warm(high4), warm(high4), newTube + "; 0 seals = reused", "used-seals tube-is-new swap"},
		{"lines of the engine", sheet(), warm(high4), warm(high4), "0 lines = new", "tube-first new-tube swap"},
		{"another state", sheet(), warm(high4), tested{volumes: healed, condition: "raised-idle", tempC: 55, at: "return"}, newTube, "settle-first keep-the-same even-wear"},
		{"temperature taken elsewhere", sheet(), warm(high4), tested{volumes: healed, tempC: 55, at: "supply"}, newTube, "settle-first same-place"},
		{"not read again", sheet(), warm(high4), warm("24 25 23 - 24 25"), newTube, "settle-first unread"},
		{"close to the limit", sheet(), warm(high4), warm("35 34 33 38 35 34"), newTube, "settle-first"},
		{"within noise", sheet(), warm("30 31 30 >40.1 30 31"), warm("30 31 30 37 30 31"), newTube, "settle-first within-noise"},
		{"the wrong cylinder", sheet(), warm(high4), warm(high4), "2 feed_tube = new", "right-cylinder tube-first new-tube-there swap"},
		{"no work", sheet(), warm(high4), warm(high4), "", "write-work tube-first new-tube swap"},
		{"back without work there", sheet(), warm("24 48 23 48 24 25"), warm(healed), newTube, "leak-check back-by-itself try-it"},
		{"normal before", sheet(), warm(healed), warm(healed), newTube + "; 0 complaint_gone = no", "leak-check normal-before look-elsewhere"},
	} {
		t.Run(test.name, func(t *testing.T) {
			c := repaired(t, test.sheet, test.work, test.before, test.after)
			assert.Equal(t, test.want, strings.Join(spoken(factsAfter(c)), " "))
			wellAdvised(t, NextAfter(c), c.Whole.Work)
		})
	}
}

// Between the work and the last test lies one in which the cylinder passed: the
// work did not cause what is wrong there now.
func TestWhatPassedAfterTheWork(t *testing.T) {
	for name, c := range map[string]struct {
		work  [2]string // before the second test, and before the third
		tests [3]string
		want  string
	}{
		"high since":             {[2]string{newTube, ""}, [3]string{high4, healed, high2}, "high-since tube-first new-tube-there swap"},
		"high at once":           {[2]string{newTube, ""}, [3]string{high4, high2, high2}, "disturbed tube-first new-tube-there swap"},
		"worked on again":        {[2]string{newTube, "3 seals = new"}, [3]string{high4, healed, high2}, "disturbed tube-first new-tube-there swap"},
		"not read in between":    {[2]string{newTube, ""}, [3]string{high4, "24 - 23 24 24 25", high2}, "disturbed tube-first new-tube-there swap"},
		"all high since":         {[2]string{newTube, ""}, [3]string{healed, healed, worn}, "high-together-since high-together high-together-wear"},
		"all high at once":       {[2]string{newTube, ""}, [3]string{healed, worn, worn}, "now-high-together high-together high-together-wear"},
		"normal at both ends":    {[2]string{"", newTube}, [3]string{healed, high4, healed}, "leak-check try-it"},
		"normal all the time":    {[2]string{"", newTube}, [3]string{healed, healed, healed}, "leak-check normal-before try-it"},
		"still high, with a gap": {[2]string{newTube, ""}, [3]string{high4, healed, high4}, "tube-is-new swap"},
	} {
		t.Run(name, func(t *testing.T) {
			var sides []repair.Side
			for i, volumes := range c.tests {
				sides = append(sides, repair.Side{Result: warm(volumes).result(t, sheet())})
				if i > 0 {
					sides[i].Work = logged(t, c.work[i-1])
				}
			}
			all, err := repair.Compare(sides, repair.AssumedFuel())
			require.NoError(t, err)
			assert.Equal(t, c.want, strings.Join(spoken(factsAfter(all)), " "))
			wellAdvised(t, NextAfter(all), all.Whole.Work)
		})
	}
}

// The page of a report holds 14 lines of some 80 characters before it goes on
// below.
const pageLines, pageColumns = 14, 80

// wellAdvised holds advice to the room on the page and to the work that was done.
func wellAdvised(t *testing.T, advice []string, works []repair.Work) {
	t.Helper()
	assert.NotEmpty(t, advice)
	lines := 0
	for _, text := range advice {
		wellSaid(t, text)
		fitsTheWork(t, text, works)
		lines += (len(text) + pageColumns - 1) / pageColumns
	}
	assert.LessOrEqual(t, lines, pageLines, strings.Join(advice, "\n"))
}

// Texts that send somebody for a tube, and texts that say which parts are new.
var (
	wantsTube    = regexp.MustCompile(`^On engines with a feed tube|[Ff]it a new tube|a used tube went back|fit a new one and`)
	knowsTube    = regexp.MustCompile(`the feed tube was renewed|injector and feed tube were|a new tube: order`)
	knowsNoTube  = regexp.MustCompile(`the injector was renewed and the feed tube`)
	cylindersSet = regexp.MustCompile(`cylinders? ([0-9]+(?:(?:, | and )[0-9]+)*)`)
	figures      = regexp.MustCompile(`[0-9]+`)
)

// fitsTheWork holds a text against the last word on each tube: no tube is asked
// for where that is a new one, and none is called new that is not.
func fitsTheWork(t *testing.T, text string, works []repair.Work) {
	t.Helper()
	wants, knows := wantsTube.MatchString(text) || knowsNoTube.MatchString(text), knowsTube.MatchString(text)
	if !wants && !knows {
		return
	}
	for _, cylinder := range named(text) {
		last := lastTube(works, cylinder)
		if wants && last == repair.New || knows && last != repair.New {
			t.Errorf("cylinder %d, tube %q: %s", cylinder, last, text)
		}
	}
	if len(named(text)) == 0 { // said of no cylinder: no tube may be new at all
		for c := range 6 {
			assert.NotEqual(t, repair.New, lastTube(works, c+1), text)
		}
	}
}

// named are the cylinders that a text is about.
func named(text string) []int {
	var list []int
	if found := cylindersSet.FindStringSubmatch(text); found != nil {
		for _, digits := range figures.FindAllString(found[1], -1) {
			n, _ := strconv.Atoi(digits)
			list = append(list, n)
		}
	}
	return list
}

// lastTube is the last that was written down of a cylinder's tube.
func lastTube(works []repair.Work, cylinder int) string {
	for _, w := range slices.Backward(works) {
		if tube := w.At(cylinder).FeedTube; tube != "" {
			return tube
		}
	}
	return ""
}

// Whatever is fitted and measured, the advice fits the work, and every entry is
// said at some time.
func TestEveryEntrySpeaks(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 4))
	heard := map[string]bool{}
	hear := func(f facts) {
		for _, name := range spoken(f) {
			heard[name] = true
		}
	}
	for round := range 1200 {
		r := randomResult(random)
		hear(factsOf(r))
		c := randomRepair(t, random, round >= 800)
		hear(factsAfter(c))
		for _, text := range NextAfter(c) {
			wellSaid(t, text)
			fitsTheWork(t, text, c.Whole.Work)
		}
	}
	for _, e := range entries() {
		assert.True(t, heard[e.Name], "%s was never said", e.Name)
	}
}

// randomRepair is a repair of an engine with six cylinders, of anything the work
// log can hold; more is a third test.
func randomRepair(t *testing.T, random *rand.Rand, more bool) *repair.Comparison {
	pick := picker(random)
	state := func() tested {
		return tested{
			volumes: pick(high4, high4, high4, high2, healed, healed, worn, "0 0 0 0 0 0", "24 25 23 2 24 25", "24 47 23 48 24 25",
				"24 25 23 - 24 25", "30 31 30 >40.1 30 31", "30 31 30 37 30 31", "24 25 23 33 24 25"),
			condition: pick("idle", "idle", "idle", "idle", "raised-idle"),
			tempC:     []float64{55, 55, 55, 25, 0}[random.IntN(5)],
			at:        pick("return", "return", "return", "supply"),
		}
	}
	s := []*limits.Sheet{limits.Builtin(), sheet(), stepped()}[random.IntN(3)]
	tests := []tested{state(), state()}
	if more {
		tests = append(tests, state())
	}
	works := []string{swap24 + newTubes, swap24 + strings.ReplaceAll(newTubes, "new", "reused"), "", randomWork(random), randomWork(random), randomWork(random) + "|" + randomWork(random)}
	c := repaired(t, s, works[random.IntN(len(works))], tests...)
	if random.IntN(10) == 0 {
		note(c.Sides[c.Whole.To].Result, leakback.Undecided, leakback.OtherReturn)
	}
	return c
}

// picker picks one of some words.
func picker(random *rand.Rand) func(words ...string) string {
	return func(words ...string) string { return words[random.IntN(len(words))] }
}

// randomWork is what was done in one go: at cylinder 4, at some others, and to
// the engine; now and then every injector is renewed.
func randomWork(random *rand.Rand) string {
	pick := picker(random)
	injector := []string{"replaced", "cleaned", "refitted", "swapped", ""}
	all := random.IntN(4) == 0
	if all {
		injector = injector[:1]
	}
	lines := []string{pick(swap24, ""), pick("4 correction_code_out = A; 4 correction_code_in = A; 2 correction_code_out = B; 2 correction_code_in = B", ""),
		pick("0 relief_valve = checked", ""), pick("0 step@1 = 2", "", ""), pick("4 declined = more", ""),
		"0 complaint_gone = " + pick("yes", "no", "not tried", "")}
	for c := 1; c <= 6; c++ {
		if !all && c != 4 && random.IntN(3) > 0 {
			continue
		}
		lines = append(lines, fmt.Sprintf("%[1]d injector = %[2]s; %[1]d feed_tube = %[3]s; %[1]d seals = %[4]s; %[1]d core = %[5]s; %[1]d step@1 = %[6]s", c,
			pick(injector...), pick("new", "new", "reused", "reseated", ""), pick("new", "reused", ""),
			pick("yes", "no", "returned", ""), pick("1", "2", "")))
	}
	return strings.Join(lines, ";")
}

// Every fact is waited for; no two have one name.
func TestFactsAreUsed(t *testing.T) {
	assert.Len(t, slices.Compact(slices.Sorted(slices.Values(names()))), len(names()))
	var used []string
	for _, e := range entries() {
		used = append(used, e.names()...)
	}
	used = append(used, usedInCode...)
	for _, name := range slices.Concat(repair.FactNames(), workNames) {
		assert.Contains(t, used, name)
	}
}

// usedInCode are facts of a comparison that widen one of the test (factsAfter).
var usedInCode = []string{"next-to-nothing", "next-to-nothing-from-most"}

// The tube is named before the injector, and the steps between them.
func TestTubeFirst(t *testing.T) {
	c := repaired(t, sheet(), "4 injector = replaced; 4 feed_tube = reused", warm(high4), warm(high4))
	list := NextAfter(c)
	require.Len(t, list, 3)
	assert.Contains(t, list[0], "At cylinder 4 the injector was renewed and the feed tube, by the record, was not: before the injector is doubted fit a new tube")
	assert.Contains(t, list[1], "tightening at cylinder 4")
	assert.Contains(t, list[2], "change injectors between two cylinders")
}

// No set that is high, or that no limit was held against, is called good.
func TestNoFalseAllGood(t *testing.T) {
	for _, s := range []*limits.Sheet{limits.Builtin(), sheet()} {
		all := strings.Join(NextAfter(repaired(t, s, newTube, warm(worn), warm(worn))), " ")
		assert.Contains(t, all, "worn evenly")
		assert.NotContains(t, all, "Nothing in the return singles out")
		assert.NotContains(t, all, "Close the job")
	}
}

// Where the relief valve was worked on, the other return is looked for there.
func TestOtherReturnAfterWork(t *testing.T) {
	for work, want := range map[string]string{"0 relief_valve = replaced": "other-return-still", newTube: "other-return"} {
		c := repaired(t, sheet(), work, warm(high4), warm(high4))
		note(c.Sides[1].Result, leakback.Undecided, leakback.OtherReturn)
		assert.Equal(t, want, spoken(factsAfter(c))[0])
	}
}

// What must not wait is said first, whatever else is.
func TestStopComesFirstAfterWork(t *testing.T) {
	for _, after := range []string{"24 48 23 2 24 25", "0 0 0 0 0 0"} {
		first := NextAfter(repaired(t, stepped(), newTube, warm(high4), warm(after)))[0]
		assert.Regexp(t, `Stop (the engine before|it, and)`, first)
	}
}

// A total that is back to normal is not said to be too much.
func TestTotalBackToNormal(t *testing.T) {
	f := facts{"total-alone": nil, "retest": nil}
	assert.Equal(t, []string{"total-names-none"}, spoken(f))
	f["back-to-normal"] = nil
	assert.Equal(t, []string{"leak-check"}, spoken(f))
}
