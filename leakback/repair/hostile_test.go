package repair_test

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"leakback/leakback"
	"leakback/leakback/repair"
	"leakback/limits"
)

// Figures that are none are not read: nothing is decided by them.
func TestFiguresThatAreNone(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	for name, spoil := range map[string]func(*leakback.Cylinder){
		"rate endless":           func(c *leakback.Cylinder) { c.RateMLMin, c.RatioToConsensus = inf, inf },
		"rate endless below":     func(c *leakback.Cylinder) { c.RateMLMin, c.RatioToConsensus = -inf, nan },
		"uncertainty endless":    func(c *leakback.Cylinder) { c.Budget.StandardMLMin, c.RatioToConsensus = inf, nan },
		"no uncertainty":         func(c *leakback.Cylinder) { c.Budget, c.RatioToConsensus = leakback.Budget{StandardMLMin: nan}, nan },
		"no degrees of freedom":  func(c *leakback.Cylinder) { c.Budget.DoF, c.RatioToConsensus = nan, nan },
		"endless, and a bound":   func(c *leakback.Cylinder) { c.RateMLMin, c.Bound, c.RatioToConsensus = inf, leakback.AtLeast, nan },
		"neither rate nor ratio": func(c *leakback.Cylinder) { c.RateMLMin, c.RatioToConsensus = nan, nan },
	} {
		t.Run(name, func(t *testing.T) {
			before := evaluated(t, bench{volumes: high4, tempC: 55, at: "return"}, maximum(40))
			after := evaluated(t, bench{volumes: healed, tempC: 25, at: "return"}, maximum(40))
			spoil(&after.Cylinders[3])
			for _, order := range [][2]*leakback.Result{{before, after}, {after, before}} {
				c, err := repair.Compare([]repair.Side{{Result: order[0]}, {Result: order[1], Work: logged(t, newTube)}}, repair.AssumedFuel())
				require.NoError(t, err)
				c.Facts()
				assert.Equal(t, "cannot be told", c.Whole.At(4).Rate.Words())
				if order[1] == after {
					assert.Equal(t, "undecided after-open:4 -> read", told(c.Whole))
				}
			}
		})
	}
}

// Temperatures that no fuel has are not known.
func TestTemperaturesThatAreNone(t *testing.T) {
	for _, tempC := range []float64{-300, 1e9, math.Inf(1), math.Inf(-1)} {
		c := compared(t, maximum(40), logged(t, newTube), bench{volumes: high4, tempC: 55, at: "return"}, bench{volumes: healed, tempC: tempC, at: "return"})
		assert.True(t, c.Whole.Has(repair.TemperatureUnknown), "%v", tempC)
		assert.False(t, c.Whole.Temperature.Apart)
		assert.Nil(t, c.Whole.At(4).Range)
	}
}

// Tests that do not have the same cylinders: what was worked on must be read.
func TestOtherCylinders(t *testing.T) {
	for name, c := range map[string]struct{ before, after, work, want string }{
		"fewer now":                     {high4, "24 25 23 24", newTube, "undecided after-open:5:6 -> read"},
		"more now":                      {"24 25 23 48", healed, newTube, "back to normal came-back:4"},
		"worked on and in neither":      {"24 25 23", "24 25 23", newTube, "undecided after-open:4 -> read"},
		"worked on, not read in either": {"24 25 23 - 24 25", "24 25 23 - 24 25", newTube, "undecided after-open:4 -> read"},
		"worked on, only now":           {"24 25 23 - 24 25", healed, newTube, "back to normal before-open"},
	} {
		t.Run(name, func(t *testing.T) {
			got := compared(t, maximum(40), logged(t, c.work), bench{volumes: c.before}, bench{volumes: c.after})
			assert.Equal(t, c.want, told(got.Whole))
		})
	}
}

// blocked is a block-off test in which every cylinder returns 24 mL/min and the
// given one more, read to the mL: each blocked twice, between two baselines.
func blocked(more float64, high int) bench {
	return bench{change: func(x *leakback.Test) {
		x.Method, x.Runs = leakback.MethodBlockOff, nil
		total := 6*24 + more
		for k, n := range []int{0, 1, 2, 3, 4, 5, 6, 6, 5, 4, 3, 2, 1, 0} {
			run := leakback.Run{Number: k + 1, IntervalS: 60, State: leakback.UnknownState()}
			volume := total
			switch n {
			case 0:
			case high:
				run.Blocked, volume = []int{n}, total-24-more
			default:
				run.Blocked, volume = []int{n}, total-24
			}
			run.Readings = []leakback.Reading{{VolumeML: volume, Typed: fmt.Sprint(volume), Tube: leakback.Tube{GraduationML: 1, CapacityML: 250}}}
			x.Runs = append(x.Runs, run)
		}
	}}
}

// Shares and single returns are not the same measurement: a pass proves nothing
// across them, a fail stands.
func TestOtherMethods(t *testing.T) {
	c := compared(t, maximum(40), logged(t, newTube), blocked(24, 4), bench{volumes: healed})
	assert.Equal(t, "undecided not-comparable -> same-state", told(c.Whole))
	assert.Equal(t, "the method of collecting differs: block-off in test 1, individual in test 2; what is measured merged may hold "+
		"a return that no injector makes, which what is collected one by one does not", c.Whole.Reasons[0].Text)
	assert.Equal(t, "test again by the method of test 1 (block-off)", c.Whole.Settle.Text)
	assert.True(t, c.Whole.Has(repair.OtherMethod))
	assert.False(t, c.Whole.Comparable)
	c = compared(t, maximum(40), logged(t, newTube), blocked(24, 4), bench{volumes: high4})
	assert.Equal(t, "not back to normal still-fails:4", told(c.Whole))
	c = compared(t, maximum(40), logged(t, newTube), blocked(24, 4), blocked(0, 0))
	assert.Equal(t, "back to normal came-back:4", told(c.Whole))
}

// One test was timed and the other not: the ratios tell, and that is said.
func TestOneTestWithoutInterval(t *testing.T) {
	untimed := bench{volumes: healed, change: func(x *leakback.Test) { x.Runs[0].IntervalS = math.NaN() }}
	c := compared(t, maximum(40), logged(t, newTube), bench{volumes: high4}, untimed)
	assert.True(t, c.Whole.Has(repair.IntervalUnknown))
	assert.True(t, c.Whole.At(4).RatioCounts)
	assert.Equal(t, repair.Certain, c.Whole.At(4).Level())
	assert.Equal(t, "undecided no-absolute-limit:4 -> same-state", told(compared(t, maximum(30), logged(t, newTube),
		bench{volumes: "24 25 23 32.5 24 25"}, untimed).Whole), "failed by a limit, which no untimed test can meet")
	c = compared(t, maximum(40), logged(t, newTube), bench{volumes: high4},
		bench{volumes: "0 0 0 0 0 0", change: untimed.change})
	assert.Equal(t, repair.Undecided, c.Whole.Answer)
	assert.Equal(t, repair.NothingAfter, c.Whole.Reasons[0].Code)
}

// Where there is no figure to tell a change by none is printed, and no swap test
// is asked for.
func TestChangesThatCannotBeTold(t *testing.T) {
	untimed := func(x *leakback.Test) { x.Runs[0].IntervalS = math.NaN() }
	c := compared(t, maximum(40), logged(t, newTube), bench{volumes: "48 - 2 23 26 48"}, bench{volumes: healed, change: untimed})
	require.Equal(t, repair.WithinNoise, c.Whole.Reasons[1].Code)
	assert.Equal(t, "cylinder 1 failed in test 1 and passes now, yet what it returned in the two tests cannot be held against one another", c.Whole.Reasons[1].Text)
	assert.Equal(t, "test again as in test 1, with all that was recorded there", c.Whole.Settle.Text)

	// A rate that nobody knows is held against no limit at another temperature.
	warm, cold := bench{volumes: high4, tempC: 55, at: "return"}, bench{volumes: healed, tempC: 25, at: "return", change: untimed}
	assert.Equal(t, "back to normal came-back:4 no-absolute-limit", told(compared(t, maximum(40), logged(t, "1 1 seals = new"), warm, cold).Whole))
}

// Cylinders are named in their order, whichever of them failed.
func TestSeveralAcrossTemperatures(t *testing.T) {
	at := func(c float64, v string) bench { return bench{volumes: v, tempC: c, at: "return"} }
	c := compared(t, maximum(40), logged(t, "1 2 seals = new|1 4 seals = new"), at(55, "36 37 35 60 36 37"), at(25, "21 24 21 24 20 21"))
	assert.Equal(t, "undecided temperature-decides:2:4 -> same-temperature", told(c.Whole))
	assert.Contains(t, c.Whole.Reasons[0].Text, "whether cylinders 2 and 4 would be within the limit at the 55 °C of test 1 depends on how far their leak")
}

var torn = regexp.MustCompile(`  |\bNaN\b|Inf\b|[,:;] *$|%!|cylinders? [^0-9]?[,.;]`)

// anyTest is a test of anything that can be entered.
func anyTest(r *rapid.T, label string) bench {
	draw := func(what string, from ...string) string { return rapid.SampledFrom(from).Draw(r, label+what) }
	b := bench{at: draw("at", "return", "return", "supply", ""), condition: draw("condition", "idle", "idle", "cranking")}
	b.tempC = rapid.SampledFrom([]float64{0, 25, 55, 55, -40}).Draw(r, label+"temperature")
	b.railBar = rapid.SampledFrom([]float64{0, 350, 350, 1800}).Draw(r, label+"pressure")
	for i := range rapid.SampledFrom([]int{6, 6, 6, 2, 1}).Draw(r, label+"cylinders") {
		b.volumes += draw(fmt.Sprint(i), "24", "24", "25", "23", "26", "48", "0", "<1", "2", ">100", "-", "1e-3", "240") + " "
	}
	b.runs = rapid.IntRange(1, 2).Draw(r, label+"runs")
	total, untimed := rapid.IntRange(0, 7).Draw(r, label+"total") == 0, rapid.IntRange(0, 7).Draw(r, label+"untimed") == 0
	b.change = func(x *leakback.Test) {
		for k := range x.Runs {
			switch run := &x.Runs[k]; {
			case total:
				x.Method = leakback.MethodTotal
				run.Readings = run.Readings[:1]
				run.Readings[0].Cylinder = 0
			case untimed:
				run.IntervalS = math.NaN()
			}
		}
	}
	return b
}

// anyWork is work at some cylinders, and to the engine.
func anyWork(r *rapid.T) string {
	work := rapid.SampledFrom([]string{"1 0 seals = reused", "1 0 lines = new", "1 0 relief_valve = checked"}).Draw(r, "engine")
	for i := range rapid.IntRange(0, 3).Draw(r, "works") {
		work += fmt.Sprintf("|%d %d %s", i+1, rapid.IntRange(1, 6).Draw(r, "where"), rapid.SampledFrom([]string{"injector = replaced",
			"injector = refitted", "feed_tube = new", "injector = swapped", "injector_swapped_with = 7", "step@1 = 2"}).Draw(r, "what"))
	}
	return work
}

// Whatever is held against whatever: an answer, and never "back to normal" where
// a cylinder that failed, or was worked on, does not pass, or next to nothing
// came back.
func TestAnyPair(t *testing.T) {
	sheets := []*limits.Sheet{limits.Builtin(), maximum(40), maximum(40, 20, 60), withMinimum(40, 5)}
	rapid.Check(t, func(r *rapid.T) {
		sheet := rapid.SampledFrom(sheets).Draw(r, "sheet")
		var results [2]*leakback.Result
		for i, label := range []string{"before", "after"} {
			result, err := evaluate(anyTest(r, label), sheet)
			if err != nil {
				r.Skip(err)
			}
			results[i] = result
		}
		c, err := repair.Compare([]repair.Side{{Result: results[0]}, {Result: results[1], Work: logged(t, anyWork(r))}}, repair.AssumedFuel())
		require.NoError(r, err)
		p := c.Whole
		c.Facts()
		assert.NotEmpty(r, p.Reasons)
		assert.Equal(r, p.Answer == repair.Undecided, p.Settle != nil)
		for _, reason := range p.Reasons {
			assert.NotRegexp(r, torn, reason.Text)
		}
		if p.Settle != nil {
			assert.NotRegexp(r, torn, p.Settle.Text)
		}
		if p.Answer == repair.BackToNormal {
			normalMeans(r, p, results[1])
		}
	})
}

func normalMeans(r *rapid.T, p *repair.Pair, after *leakback.Result) {
	assert.Equal(r, leakback.Pass, after.Verdict)
	assert.False(r, after.Has(leakback.TooLittleReturn))
	worked := repair.WorkedOn(p.Work)
	for i := range p.Cylinders {
		if c := &p.Cylinders[i]; c.Before.Verdict == leakback.Fail || slices.Contains(worked, c.Cylinder) {
			assert.Equal(r, leakback.Pass, c.After.Verdict, "cylinder %d", c.Cylinder)
		}
	}
	for i := range after.Cylinders {
		c := &after.Cylinders[i]
		assert.False(r, c.Has(leakback.NoReturn) || c.Has(leakback.BelowFirstMark) || c.Has(leakback.LowInSet), "cylinder %d", c.Cylinder)
	}
	for _, n := range worked {
		assert.True(r, after.Test.Method == leakback.MethodTotal || p.At(n) != nil, "cylinder %d is in neither test", n)
	}
}
