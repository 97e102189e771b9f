package repair_test

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/repair"
	"leakback/limits"
	"leakback/stats"
)

// bench describes one test of the invented Northmoor Six-90.
type bench struct {
	volumes   string // of one minute, in the order of cylinder numbers: "24 >100 -"
	runs      int    // alike; 1 where 0
	tempC     float64
	at        string
	condition string
	railBar   float64
	change    func(*leakback.Test)
}

func (b bench) test() *leakback.Test {
	t := &leakback.Test{ID: "t", Engine: "Northmoor Six-90", Condition: "idle", Method: leakback.MethodIndividual}
	if b.condition != "" {
		t.Condition = b.condition
	}
	for k := range max(1, b.runs) {
		run := leakback.Run{Number: k + 1, IntervalS: 60, State: leakback.UnknownState()}
		if b.tempC != 0 {
			run.State.FuelTempC, run.State.FuelTempAt = b.tempC, b.at
		}
		if b.railBar != 0 {
			run.State.RailPressureBar = b.railBar
		}
		for i, word := range strings.Fields(b.volumes) {
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
		t.Runs = append(t.Runs, run)
	}
	if b.change != nil {
		b.change(t)
	}
	return t
}

// maximum is a sheet with one limit for idle, perhaps for fuel temperatures.
func maximum(rate float64, fuelTempC ...float64) *limits.Sheet {
	s := limits.Builtin()
	l := limits.Limit{Condition: "idle", MaxRateMLMin: &rate, Source: "invented service information"}
	if len(fuelTempC) == 2 {
		l.FuelTempC = &limits.Range{Low: fuelTempC[0], High: fuelTempC[1]}
	}
	s.Limits = []limits.Limit{l}
	return s
}

func evaluated(t testing.TB, b bench, sheet *limits.Sheet) *leakback.Result {
	t.Helper()
	r, err := evaluate(b, sheet)
	require.NoError(t, err)
	return r
}

func evaluate(b bench, sheet *limits.Sheet) (*leakback.Result, error) {
	return leakback.Evaluate(b.test(), sheet)
}

// compared holds tests against one another; work is done before the last.
func compared(t testing.TB, sheet *limits.Sheet, work []repair.Work, tests ...bench) *repair.Comparison {
	t.Helper()
	sides := make([]repair.Side, len(tests))
	for i, b := range tests {
		sides[i] = repair.Side{Result: evaluated(t, b, sheet), Label: fmt.Sprintf("test %d", i+1)}
	}
	sides[len(sides)-1].Work = work
	c, err := repair.Compare(sides, repair.AssumedFuel())
	require.NoError(t, err)
	return c
}

// told is the answer with the codes of its reasons and the action that settles it.
func told(p *repair.Pair) string {
	text := string(p.Answer)
	for _, r := range p.Reasons {
		text += " " + string(r.Code)
		for _, n := range r.Cylinders {
			text += ":" + strconv.Itoa(n)
		}
	}
	if p.Settle != nil {
		text += " -> " + string(p.Settle.Action)
	}
	return text
}

const (
	high4   = "24 25 23 48 24 25"
	healed  = "24 25 23 24 24 25"
	newTube = "1 4 injector = refitted|1 4 feed_tube = new"
)

func logged(t testing.TB, lines string) []repair.Work {
	return works(t, strings.Split(lines, "|")...)
}

// The story of a repair: one cylinder high, its feed tube renewed.
func TestAnswers(t *testing.T) {
	warm := func(v string) bench { return bench{volumes: v, tempC: 55, at: "return"} }
	for name, c := range map[string]struct {
		sheet         *limits.Sheet
		before, after bench
		work          string
		want          string
	}{
		"healed, within the limit":    {maximum(40), warm(high4), warm(healed), newTube, "back to normal came-back:4"},
		"healed, no limit":            {limits.Builtin(), warm(high4), warm(healed), newTube, "back to normal came-back:4 no-absolute-limit"},
		"still high":                  {maximum(40), warm(high4), warm("24 25 23 47 24 25"), newTube, "not back to normal still-fails:4"},
		"another is high now":         {maximum(40), warm(high4), warm("24 50 23 24 24 25"), newTube, "not back to normal now-fails:2"},
		"still high, and another":     {maximum(40), warm(high4), warm("24 50 23 49 24 25"), newTube, "not back to normal still-fails:4 now-fails:2"},
		"too close to the limit":      {maximum(40), warm(high4), warm("35 34 33 38 35 34"), newTube, "undecided after-open:4 -> repeat"},
		"not read again":              {maximum(40), warm(high4), warm("24 25 23 - 24 25"), newTube, "undecided after-open:4 -> read"},
		"fewer cylinders":             {maximum(40), warm(high4), warm("24 25 23 24"), newTube, "undecided after-open:5:6 -> read"},
		"normal before":               {maximum(40), warm(healed), warm(healed), newTube, "back to normal normal-before"},
		"worn evenly, no limit":       {limits.Builtin(), warm("70 72 69 71 70 73"), warm("69 71 70 72 70 71"), "1 0 relief_valve = replaced", "undecided nothing-stood-out -> limit"},
		"worn evenly, all replaced":   {limits.Builtin(), warm("70 72 69 71 70 73"), warm("20 21 20 19 20 21"), "1 1 injector = replaced", "undecided nothing-stood-out -> limit"},
		"worn evenly, over the limit": {maximum(40), warm("70 72 69 71 70 73"), warm("69 71 70 72 70 71"), newTube, "not back to normal still-fails:1:2:3:4:5:6"},
		"overflowed before":           {maximum(40), warm("24 25 23 >100 24 25"), warm(healed), newTube, "back to normal came-back:4"},
		"overflows still":             {maximum(40), warm("24 25 23 >100 24 25"), warm("24 25 23 >100 24 25"), newTube, "not back to normal still-fails:4"},
		"another condition":           {maximum(40), warm(high4), bench{volumes: healed, tempC: 55, at: "return", condition: "raised-idle"}, newTube, "undecided not-comparable -> same-state"},
		"less pressure":               {maximum(40), bench{volumes: high4, railBar: 350}, bench{volumes: healed, railBar: 300}, newTube, "undecided not-comparable -> same-state"},
		"more pressure":               {maximum(40), bench{volumes: high4, railBar: 350}, bench{volumes: healed, railBar: 400}, newTube, "back to normal came-back:4"},
		"fails at more pressure":      {maximum(40), bench{volumes: "44 45 43 48 44 45", railBar: 350}, bench{volumes: "44 45 43 47 44 45", railBar: 400}, newTube, "undecided still-fails:1:2:3:4:5:6 not-comparable -> same-state"},
		"taken elsewhere":             {maximum(40), warm(high4), bench{volumes: healed, tempC: 55, at: "supply"}, newTube, "undecided not-comparable -> same-state"},
		"no temperatures":             {maximum(40), bench{volumes: high4}, bench{volumes: healed}, newTube, "back to normal came-back:4"},
		"within 5 K":                  {maximum(40), warm(high4), bench{volumes: healed, tempC: 50, at: "return"}, newTube, "back to normal came-back:4"},
	} {
		t.Run(name, func(t *testing.T) {
			got := compared(t, c.sheet, logged(t, c.work), c.before, c.after)
			assert.Equal(t, c.want, told(got.Whole))
		})
	}
}

// What a test says of the time before is true of every test before it.
func TestNormalBeforeSpeaksOfEveryTest(t *testing.T) {
	for name, c := range map[string]struct {
		tests [3]string
		pair  func(*repair.Comparison) *repair.Pair
		want  string
	}{
		"a step behind a fail": {[3]string{high4, healed, healed}, func(c *repair.Comparison) *repair.Pair { return &c.Steps[1] },
			"nothing stood out in test 2 either; what was found in test 1 (fail) stands with the other comparisons"},
		"a step behind an open test": {[3]string{"35 34 33 38 35 34", healed, healed}, func(c *repair.Comparison) *repair.Pair { return &c.Steps[1] },
			"nothing stood out in test 2 either; what was found in test 1 (undecided) stands with the other comparisons"},
		"a step behind an undecided one": {[3]string{healed, "35 34 33 38 35 34", healed}, func(c *repair.Comparison) *repair.Pair { return &c.Steps[1] },
			"test 3 passes; test 2 was not clear in itself and does not show what was wrong"},
		"a fail in between": {[3]string{healed, high4, healed}, func(c *repair.Comparison) *repair.Pair { return c.Whole },
			"nothing stood out in test 1 either; what was found in test 2 (fail) stands with the other comparisons"},
		"normal all the time": {[3]string{healed, healed, healed}, func(c *repair.Comparison) *repair.Pair { return c.Whole },
			"nothing stood out in test 1 either: the return was normal before, so that the complaint has another cause or cannot be seen by this test"},
	} {
		t.Run(name, func(t *testing.T) {
			var tests []bench
			for _, volumes := range c.tests {
				tests = append(tests, bench{volumes: volumes, tempC: 55, at: "return"})
			}
			p := c.pair(compared(t, maximum(40), nil, tests...))
			assert.Equal(t, repair.BackToNormal, p.Answer)
			assert.Equal(t, c.want, p.Reasons[0].Text)
		})
	}
}

// The temperatures of the story: warm, then cold, then warm again. The assumed
// diesel returns 1.75 times as much through a clearance at 55 degC as at 25.
func TestTemperaturesApart(t *testing.T) {
	at := func(c float64, v string) bench { return bench{volumes: v, tempC: c, at: "return"} }
	warm, cold, again := at(55, "36 37 35 60 36 37"), at(25, "21 20 21 24 20 21"), at(54, "36 37 35 34 36 37")
	work := logged(t, newTube)

	c := compared(t, maximum(40), work, warm, cold)
	assert.Equal(t, "undecided temperature-decides:4 -> same-temperature", told(c.Whole))
	assert.Equal(t, "test again with the fuel at 55 °C (within 5 K), as in test 1", c.Whole.Settle.Text)
	assert.Equal(t, "whether cylinder 4 would be within the limit at the 55 °C of test 1 depends on how far its leak follows the "+
		"viscosity of the fuel, which is not known: 24.0 mL/min as measured would be 24.0 to 41.9, against a limit of 40", c.Whole.Reasons[0].Text)
	four := c.Whole.At(4)
	assert.Equal(t, -36.0, four.Rate.Value, "as measured")
	assert.True(t, four.RatioCounts)
	require.NotNil(t, four.Range)
	assert.Equal(t, 24.0, four.Range.Zero.RateMLMin)
	assert.InDelta(t, 24*3.6540/2.0922, four.Range.One.RateMLMin, 0.005) // viscosities worked apart, to 4 decimals
	require.Len(t, four.Range.Pieces, 2, "within the limit, then too close to call")
	assert.Equal(t, stats.Below, four.Range.Pieces[0].Limit)
	assert.Equal(t, stats.Open, four.Range.Pieces[1].Limit)

	// One limit for both temperatures, by the sheet's own word.
	c = compared(t, maximum(40, 20, 60), work, warm, cold)
	assert.Equal(t, "back to normal came-back:4", told(c.Whole))
	// A limit for warm fuel only: the later test is undecided by itself.
	c = compared(t, maximum(40, 35, 60), work, warm, cold)
	assert.Equal(t, "undecided after-open:1:2:3:4:5:6 -> same-temperature", told(c.Whole))
	// All three: each step, and the last against the first.
	c = compared(t, maximum(40), work, warm, cold, again)
	require.Len(t, c.Steps, 2)
	assert.Equal(t, "back to normal came-back:4", told(c.Whole))
	assert.False(t, c.Whole.Temperature.Apart)
	assert.True(t, c.Steps[0].Temperature.Apart)
	assert.Empty(t, c.Steps[0].Work)
	assert.Len(t, c.Steps[1].Work, 1)
	// A leak that does not grow with the temperature hides in a set that does.
	c = compared(t, limits.Builtin(), work, at(20, "18 19 17 36 18 19"), at(60, "36 37 35 37 36 37"))
	assert.Equal(t, "undecided temperature-decides:4 -> same-temperature", told(c.Whole))
	assert.Contains(t, c.Whole.Reasons[0].Text, "1.02 times the set as measured would be 1.02 to 2.")
	// Hot fuel over a limit that does not say for which: not the leak, for all one knows.
	c = compared(t, maximum(40), work, at(20, "38 37 38 60 38 37"), at(60, "44 45 43 46 44 45"))
	assert.Equal(t, "undecided still-fails:4 now-fails:1:2:3:5:6 temperature-decides:1:2:3:4:5:6 -> same-temperature", told(c.Whole))
	// So much over that no temperature explains it.
	c = compared(t, maximum(40), work, at(20, "38 37 38 60 38 37"), at(60, "144 145 143 146 144 145"))
	assert.Equal(t, "not back to normal still-fails:4 now-fails:1:2:3:5:6", told(c.Whole))
}

func TestReasonsAreClauses(t *testing.T) {
	text := func(before, after string) (list []string) {
		for _, r := range compared(t, maximum(40), nil, bench{volumes: before}, bench{volumes: after}).Whole.Reasons {
			list = append(list, r.Text)
		}
		return list
	}
	assert.Equal(t, []string{"cylinder 4 failed before and fails in test 2, with no change beyond measurement noise",
		"cylinder 2 fails in test 2 and did not in test 1"}, text(high4, "24 50 23 49 24 25"))
	assert.Equal(t, []string{"cylinders 1 and 4 failed before and fail in test 2"}, text("80 25 23 90 24 25", "60 25 23 70 24 25"))
	assert.Equal(t, []string{"cylinder 4 failed in test 1 and passes now: its rate went from 48.0 to 24.0 mL/min, more than measurement noise (99 %)"}, text(high4, healed))
	assert.Equal(t, []string{"test 2 is undecided by itself: cylinder 4"}, text(high4, "35 34 33 38 35 34"))
	assert.Equal(t, []string{"nothing stood out in test 1 either: the return was normal before, so that the complaint has another cause or cannot be seen by this test"}, text(healed, healed))
}

func TestRemarksSayWhatDiffers(t *testing.T) {
	before := bench{volumes: high4, railBar: 350, tempC: 55, at: "return", change: func(x *leakback.Test) { x.Runs[0].State.EngineRPM = 750 }}
	after := bench{volumes: healed, railBar: 330, tempC: 40, at: "supply", condition: "cranking", change: func(x *leakback.Test) {
		x.Injectors, x.Runs[0].IntervalS, x.Runs[0].State.Cranks, x.Runs[0].State.EngineRPM = limits.Off, 30, 2, 250
	}}
	c := compared(t, limits.Builtin(), nil, before, after)
	var got []string
	for _, r := range c.Whole.Remarks {
		got = append(got, string(r.Code)+": "+r.Text)
	}
	assert.Equal(t, []string{
		"other-condition: the condition differs: idle in test 1, cranking in test 2",
		"other-interval: the interval differs: 60 s in test 1, 30 s in test 2",
		"injectors-unknown: the state of the injectors was not recorded in test 1",
		"cranks-unknown: the number of cranks was not recorded in test 1",
		"other-rail-pressure: the rail pressure differs: 350 bar in test 1, 330 bar in test 2",
		"other-speed: the engine speed differs: 750 rpm in test 1, 250 rpm in test 2",
		"fuel-temperature-elsewhere: the place where the fuel temperature was taken differs: return in test 1, supply in test 2; fuel can be tens of kelvin warmer at one than at the other",
		"fuel-temperatures-apart: the fuel temperature differs: 55 °C in test 1, 40 °C in test 2; by a typical diesel, assumed (2.7 mm²/s at 40 °C, slope B 3.75) the same healthy injector returns up to 1.29 times as much in the warmer of the two",
	}, got)
	assert.False(t, c.Whole.Comparable)

	c = compared(t, limits.Builtin(), nil, bench{volumes: high4}, bench{volumes: healed, condition: "IDLE"})
	got = nil
	for _, r := range c.Whole.Remarks {
		got = append(got, r.Text)
	}
	assert.Equal(t, []string{"the rail pressure was not recorded in either test", "the fuel temperature was not recorded in either test"}, got)
	assert.True(t, c.Whole.Comparable)
}

func TestOnlyTestsOfOneEngineAreCompared(t *testing.T) {
	side := func(label string, change func(*leakback.Test)) repair.Side {
		return repair.Side{Label: label, Result: evaluated(t, bench{volumes: healed, change: change}, limits.Builtin())}
	}
	one := side("test 1", nil)
	_, err := repair.Compare([]repair.Side{one}, repair.AssumedFuel())
	assert.EqualError(t, err, "1 given: expected two or more tests of one engine")
	_, err = repair.Compare([]repair.Side{one, side("test 2", func(x *leakback.Test) { x.Engine = "Southmoor Four" })}, repair.AssumedFuel())
	assert.EqualError(t, err, "test 1 is of engine Northmoor Six-90 and test 2 of engine Southmoor Four: expected tests of one engine")
	_, err = repair.Compare([]repair.Side{side("test 1", func(x *leakback.Test) { x.Cylinders = 6 }), side("test 2", func(x *leakback.Test) { x.Cylinders = 8 })}, repair.AssumedFuel())
	assert.EqualError(t, err, "test 1 has 6 cylinders and test 2 has 8: expected tests of one engine")
	_, err = repair.Compare([]repair.Side{one, side("test 2", func(x *leakback.Test) { x.Engine = "" })}, repair.AssumedFuel())
	assert.NoError(t, err)
}

// One cylinder by hand: 48 mL and 24 mL in a minute. Each budget is worked in
// package leakback's tests (24 mL: u = 1.092826 with 35 degrees of freedom); 48
// mL has u^2 = 1/12 + 1/3 + 1.44^2 + 0.339411^2 + 0.96^2 = 3.527067, and
// (1.44^4 + 0.96^4)/8 = 0.643645 gives 19.3 degrees of freedom.
func TestChangeByHand(t *testing.T) {
	c := compared(t, maximum(40), nil, bench{volumes: high4}, bench{volumes: healed})
	s := c.Whole.At(4).Rate
	assert.Equal(t, -24.0, s.Value)
	assert.InDelta(t, math.Sqrt(3.527067+1.194269), s.U, 1e-5)
	va, vb := 3.527067, 1.194269
	assert.Equal(t, math.Floor(math.Pow(va+vb, 2)/math.Pow(va/math.Sqrt(19)+vb/math.Sqrt(35), 2)), s.DoF)
	assert.InDelta(t, -24/2.172864, s.T, 1e-4)
	assert.Equal(t, repair.Certain, s.Level)
	assert.Equal(t, "more than measurement noise (99 %)", s.Words())
	assert.Equal(t, "not more than measurement noise", c.Whole.At(1).Rate.Words())
	assert.Equal(t, 1.0, c.Whole.At(1).Rate.P, "nothing changed")
	assert.InDelta(t, -24, c.Whole.Total.Rate.Value, 1e-9)
}

// What bounds can show, and what they cannot.
func TestChangesWithBounds(t *testing.T) {
	for name, c := range map[string]struct {
		before, after string // of cylinder 4
		value         float64
		bound         leakback.Bound
		direction     int
	}{
		"ran over, then plain":          {">100", "24", -76, leakback.AtMost, -1},
		"ran over, then more":           {">100", "160", 60, leakback.AtMost, 0},
		"ran over, then just less":      {">100", "99", -1, leakback.AtMost, 0},
		"ran over, then below the mark": {">100", "<1", -99, leakback.AtMost, -1},
		"plain, then ran over":          {"24", ">100", 76, leakback.AtLeast, +1},
		"plain, then below the mark":    {"24", "<1", -23, leakback.AtMost, -1},
		"below the mark, then plain":    {"<1", "24", 23, leakback.AtLeast, +1},
		"below the mark, then over":     {"<1", ">100", 99, leakback.AtLeast, +1},
		"ran over twice":                {">100", ">200", math.NaN(), leakback.Exact, 0},
		"below the mark twice":          {"<2", "<1", math.NaN(), leakback.Exact, 0},
		"not read":                      {"48", "-", math.NaN(), leakback.Exact, 0},
	} {
		t.Run(name, func(t *testing.T) {
			v := func(four string) bench { return bench{volumes: "24 25 23 " + four + " 24 25"} }
			s := compared(t, maximum(40), nil, v(c.before), v(c.after)).Whole.At(4).Rate
			assert.Equal(t, fmt.Sprint(c.value), fmt.Sprint(s.Value))
			assert.Equal(t, c.bound, s.Bound)
			assert.Equal(t, c.direction, s.Direction())
			if math.IsNaN(c.value) {
				assert.Equal(t, "cannot be told", s.Words())
			}
		})
	}
}

// Without an interval the ratios tell the change, and no rate does.
func TestUnknownIntervals(t *testing.T) {
	untimed := func(v string) bench {
		return bench{volumes: v, change: func(x *leakback.Test) { x.Runs[0].IntervalS = math.NaN() }}
	}
	c := compared(t, maximum(40), logged(t, newTube), untimed(high4), untimed(healed))
	four := c.Whole.At(4)
	assert.True(t, math.IsNaN(four.Rate.Value))
	assert.True(t, four.RatioCounts)
	assert.Equal(t, repair.Certain, four.Level())
	assert.Equal(t, "back to normal came-back:4 no-absolute-limit", told(c.Whole))
	assert.Contains(t, c.Whole.Reasons[0].Text, "its ratio to the cylinders that agree went from 1.98 to 0.99")
}

// A total alone names no cylinder, and is compared as a whole.
func TestTotalsAlone(t *testing.T) {
	most := 180.0
	sheet := maximum(40)
	sheet.Limits[0].MaxTotalMLMin = &most
	total := func(ml string, tempC float64) bench {
		return bench{volumes: ml, tempC: tempC, at: "tube", change: func(x *leakback.Test) {
			x.Method = leakback.MethodTotal
			x.Runs[0].Readings[0].Cylinder = 0
		}}
	}
	c := compared(t, sheet, nil, total("240", 50), total("150", 50))
	assert.Equal(t, "back to normal came-back", told(c.Whole))
	assert.Equal(t, -90.0, c.Whole.Total.Rate.Value)
	c = compared(t, sheet, nil, total("240", 50), total("230", 50))
	assert.Equal(t, "not back to normal whole-fails", told(c.Whole))
	c = compared(t, sheet, nil, total("240", 50), total("120", 20))
	assert.Equal(t, "undecided temperature-decides -> same-temperature", told(c.Whole))
	assert.Contains(t, c.Whole.Reasons[0].Text, "whether the whole return would be within the limit at the 50 °C of test 1")
}

// A cylinder that failed and passes without having changed beyond noise: the two
// verdicts fell on two sides of a line, which is no repair.
func TestNoChangeBeyondNoiseIsNoRepair(t *testing.T) {
	sheet := limits.Builtin()
	sheet.Set.HealthyCV, sheet.Set.FalseHint = 0.10, sheet.Set.FalseAlarm // no hint between fail and pass
	c := compared(t, sheet, logged(t, newTube), bench{volumes: "24 24 24 36 24 24"}, bench{volumes: "24 24 24 32 24 24"})
	assert.Equal(t, "undecided change-within-noise:4 -> repeat", told(c.Whole))
	assert.Contains(t, c.Whole.Reasons[0].Text, "its rate went from 36.0 to 32.0 mL/min, not more than measurement noise")
	assert.Greater(t, c.Whole.Settle.Runs, 1)
	// With so many runs it is told, as the advice says.
	runs := c.Whole.Settle.Runs
	more := compared(t, sheet, logged(t, newTube), bench{volumes: "24 24 24 36 24 24"}, bench{volumes: "24 24 24 32 24 24", runs: runs})
	assert.Equal(t, -1, more.Whole.At(4).Rate.Direction())
	c = compared(t, sheet, logged(t, newTube), bench{volumes: "24 24 24 36 24 24"}, bench{volumes: "24 24 24 35 24 24"})
	assert.NotEqual(t, repair.BackToNormal, c.Whole.Answer)
}

// Whether the complaint is gone is another question than the return.
func TestComplaintNeverEntersTheAnswer(t *testing.T) {
	for _, said := range []string{repair.Yes, repair.No, repair.NotTried, ""} {
		work := newTube
		if said != "" {
			work += "|1 0 complaint_gone = " + said
		}
		c := compared(t, maximum(40), logged(t, work), bench{volumes: high4}, bench{volumes: healed})
		assert.Equal(t, said, c.ComplaintGone)
		assert.Equal(t, "back to normal came-back:4", told(c.Whole))
	}
}

// Limits on both sides: a fail by too little, and a limit that the later test
// does not have.
func TestLimitsOnBothSides(t *testing.T) {
	least := 5.0
	sheet := maximum(40)
	sheet.Limits[0].MinRateMLMin = &least
	c := compared(t, sheet, logged(t, newTube), bench{volumes: "24 25 23 2 24 25"}, bench{volumes: healed})
	assert.Equal(t, "back to normal came-back:4", told(c.Whole))

	sides := []repair.Side{
		{Result: evaluated(t, bench{volumes: "44 45 43 44 44 45"}, maximum(40))},
		{Result: evaluated(t, bench{volumes: "34 35 33 34 34 35"}, limits.Builtin())},
	}
	other, err := repair.Compare(sides, repair.AssumedFuel())
	require.NoError(t, err)
	assert.Equal(t, "undecided no-absolute-limit:1:2:3:4:5:6 -> limit", told(other.Whole))
	assert.Equal(t, "cylinders 1, 2, 3, 4, 5 and 6 failed by a limit in test 1, and no maker's limit was applied to test 2", other.Whole.Reasons[0].Text)
	assert.True(t, other.Whole.Has(repair.OtherMaximum))

	// A limit that names the pressures says that they may differ.
	sheet = maximum(40)
	sheet.Limits[0].RailPressureBar = &limits.Range{Low: 290, High: 400}
	c = compared(t, sheet, logged(t, newTube), bench{volumes: high4, railBar: 350}, bench{volumes: healed, railBar: 300})
	assert.Equal(t, "back to normal came-back:4", told(c.Whole))
	assert.True(t, c.Whole.Comparable)
}

// What ran over in cold fuel, and after.
func TestBoundsAcrossTemperatures(t *testing.T) {
	at := func(c float64, v string) bench { return bench{volumes: v, tempC: c, at: "return"} }
	c := compared(t, limits.Builtin(), logged(t, newTube), at(50, "24 25 23 >100 24 25"), at(30, "15 16 15 14 15 16"))
	assert.Equal(t, "back to normal came-back:4 no-absolute-limit", told(c.Whole))
	assert.Contains(t, c.Whole.Reasons[0].Text, "went from at least 4.1")
	c = compared(t, maximum(40), nil, at(50, high4), at(30, "15 16 15 >60 15 16"))
	assert.Equal(t, "not back to normal still-fails:4", told(c.Whole))
	assert.Equal(t, stats.Above, c.Whole.At(4).Range.Pieces[0].Limit)
	c = compared(t, maximum(40), nil, at(50, high4), at(30, "15 16 15 <1 15 16"))
	assert.Equal(t, stats.Below, c.Whole.At(4).Range.Pieces[0].Limit)
}

// Cylinders collected one after the other share no run: nothing cancels in their
// ratios, which are then less certain.
func TestRatiosOfCylindersCollectedOneByOne(t *testing.T) {
	single := bench{volumes: high4, change: func(x *leakback.Test) {
		all := x.Runs[0].Readings
		x.Runs = nil
		for i, r := range all {
			x.Runs = append(x.Runs, leakback.Run{Number: i + 1, IntervalS: 60, State: leakback.UnknownState(), Readings: []leakback.Reading{r}})
		}
	}}
	one := compared(t, limits.Builtin(), nil, single, single).Whole.At(1).Before
	together := compared(t, limits.Builtin(), nil, bench{volumes: high4}, bench{volumes: high4}).Whole.At(1).Before
	assert.Greater(t, one.RatioU, together.RatioU)
	assert.Equal(t, one.RatioToConsensus, together.RatioToConsensus)
	// By hand: the own parts of 24 mL (mark, scale, 3 %), and those of the five
	// that agree over their number, as if independent.
	own := math.Sqrt(1./12 + 1./3 + 0.72*0.72)
	var sum float64
	for _, q := range []float64{24, 25, 23, 24, 25} {
		sum += (1./12+1./3)/(q*q) + 0.03*0.03
	}
	assert.InDelta(t, together.RatioToConsensus*math.Hypot(own/24, math.Sqrt(sum)/5), together.RatioU, 1e-9)
	assert.InDelta(t, math.Pow(own, 4)*8/math.Pow(0.72, 4), together.RatioDoF, 1, "known to what a whole number leaves")
}

// Of many cylinders one sentence is said, with the level that holds for each.
func TestManyCylindersAreSaidAtOnce(t *testing.T) {
	set := bench{volumes: "60 61 59 60 62 61"}
	c := compared(t, maximum(40), nil, set, bench{volumes: "30 31 29 30 30 31"})
	assert.Equal(t, "back to normal came-back:1:2:3:4:5:6", told(c.Whole))
	assert.Equal(t, "cylinders 1, 2, 3, 4, 5 and 6 failed in test 1 and pass now: what each of them returns changed by "+
		"more than measurement noise (99 %)", c.Whole.Reasons[0].Text)
	// No limit was applied to the later test: that is what is missing, no swap test.
	c = repairCompared(t, maximum(40), limits.Builtin(), set, set)
	assert.Equal(t, "undecided no-absolute-limit:1:2:3:4:5:6 change-within-noise:1:2:3:4:5:6 -> limit", told(c.Whole))
	assert.Equal(t, "cylinders 1, 2, 3, 4, 5 and 6 failed in test 1 and pass now, yet what they return did not come back by "+
		"more than measurement noise", c.Whole.Reasons[1].Text)
}

// repairCompared holds two tests against one another that were judged by two sheets.
func repairCompared(t *testing.T, first, last *limits.Sheet, before, after bench) *repair.Comparison {
	t.Helper()
	b := compared(t, first, nil, before, before).Sides[0]
	a := compared(t, last, nil, after, after).Sides[1]
	c, err := repair.Compare([]repair.Side{b, a}, repair.AssumedFuel())
	require.NoError(t, err)
	return c
}

// Two places say nothing of a temperature that is the same at both, and what was
// not read is what has to be read.
func TestWhatIsSaidOfTheTests(t *testing.T) {
	p := compared(t, maximum(40), logged(t, newTube), bench{volumes: high4, tempC: 50, at: "return"}, bench{volumes: healed, tempC: 50, at: "tube"}).Whole
	assert.True(t, p.Has(repair.TakenElsewhere))
	assert.False(t, p.Has(repair.TemperaturesApart), "50 °C and 50 °C do not differ")
	p = compared(t, maximum(40), logged(t, newTube), bench{volumes: high4, tempC: 50, at: "return"}, bench{volumes: healed, tempC: 30, at: "tube"}).Whole
	assert.True(t, p.Has(repair.TakenElsewhere) && p.Has(repair.TemperaturesApart))

	total := maximum(40)
	most := 160.0
	total.Limits[0].MaxTotalMLMin = &most
	p = compared(t, total, logged(t, newTube), bench{volumes: high4}, bench{volumes: "24 25 23 - 24 25"}).Whole
	assert.Equal(t, "read cylinder 4 as well", p.Settle.Text)
}
