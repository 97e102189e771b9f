package leakback_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/limits"
	"leakback/stats"
	"leakback/stats/reference"
)

var nan = math.NaN()

// goal is a rate against a limit (NaN for none), with the built-in sheet and
// the shop's 100 mL tube.
func goal(expect, limit float64, changes ...func(*leakback.CollectionGoal)) leakback.CollectionGoal {
	sheet := limits.Builtin()
	g := leakback.CollectionGoal{ExpectMLMin: expect, LimitMLMin: limit, Tube: plainTube, Runs: 1,
		IntervalS: nan, Set: sheet.Set, Measurement: sheet.Measurement}
	for _, change := range changes {
		change(&g)
	}
	return g
}

func cranked(g *leakback.CollectionGoal) {
	g.Cranking, g.Measurement.MaxCrankS, g.Measurement.RestS = true, 15, 60
}

func cylinders(n int) func(*leakback.CollectionGoal) {
	return func(g *leakback.CollectionGoal) { g.Cylinders = n }
}

func planned(t *testing.T, g leakback.CollectionGoal) *leakback.CollectionPlan {
	t.Helper()
	p, err := leakback.PlanCollection(g)
	require.NoError(t, err)
	return p
}

// byGUM is the uncertainty of a planned mean from the terms of JCGM 100:2008,
// written out: reading to a mark (F.2.2.1), scale (4.3.7, rectangular and the
// same in all runs), repeatability, start and stop of each crank, what the run
// shares; degrees of freedom by G.4.1, 8 for what is assumed (G.4.2).
func byGUM(g *leakback.CollectionGoal, tube leakback.Tube, runs, cranks int, t float64) (u, dof float64) {
	q, R, m := g.ExpectMLMin, float64(runs), g.Measurement
	reading := 60 * tube.GraduationML / t / math.Sqrt(12*R)
	scale := 60 * tube.ToleranceML / t / math.Sqrt(3)
	rep := q * m.RepeatabilityCV / math.Sqrt(R)
	timing := q * m.TimingS * math.Sqrt(2*float64(max(1, cranks))) / t / math.Sqrt(R)
	common := q * m.CommonCV / math.Sqrt(R)
	u = math.Sqrt(reading*reading + scale*scale + rep*rep + timing*timing + common*common)
	return u, math.Floor(math.Pow(u, 4) / ((math.Pow(rep, 4) + math.Pow(common, 4)) / 8))
}

// What is planned is the shortest that holds |q - L| >= (t_0.95 + 1.645) u and
// collects ten marks; a second more than that changes nothing for the worse.
func TestPlanIsTheShortestTime(t *testing.T) {
	marks := func(g *leakback.CollectionGoal, tube leakback.Tube) float64 {
		return 600 * tube.GraduationML / g.ExpectMLMin
	}
	for _, g := range []leakback.CollectionGoal{
		goal(30, 40), goal(33, 40), goal(36, 40), goal(44, 40), goal(38, 40), goal(5, 40), goal(250, 300),
		goal(36, 40, cranked), goal(33, 40, cranked),
		goal(36, 40, func(g *leakback.CollectionGoal) { g.Runs = 3 }),
	} {
		p := planned(t, g)
		for _, c := range append(append(p.Tubes[:len(p.Tubes):len(p.Tubes)], p.ByRuns...), p.Take) {
			if !c.Answers {
				continue
			}
			cranks := 0
			if g.Cranking {
				cranks = int(math.Ceil(c.ShortestS/15 - 1e-9))
			}
			u, dof := byGUM(&g, c.Tube, c.Runs, cranks, c.ShortestS)
			distance, needed := math.Abs(g.ExpectMLMin-g.LimitMLMin), (stats.T95(dof)+1.645)*u
			name := fmt.Sprintf("%v against %v: %+v", g.ExpectMLMin, g.LimitMLMin, c)
			assert.GreaterOrEqual(t, c.ShortestS, marks(&g, c.Tube)-1e-9, name)
			switch within := c.ShortestS - 15*math.Floor(c.ShortestS/15); {
			case c.ShortestS < marks(&g, c.Tube)*(1+1e-9): // ten marks are what it takes
				assert.GreaterOrEqual(t, distance, needed-1e-9, name)
			case c.Cranks > 0 && within < 1e-6: // a crank more made it
				assert.GreaterOrEqual(t, distance, needed-1e-9, name)
			default:
				assert.InDelta(t, distance, needed, 1e-6*distance, name)
			}
			assert.GreaterOrEqual(t, c.CollectS, c.ShortestS-1e-9, name)
			assert.Equal(t, math.Floor(c.CollectS), c.CollectS, name)
		}
	}
}

// The promise: a collection as planned, simulated with the model it rests on
// (known r, c and timing, a scale error that stays, readings to the nearest
// mark), is decided in 92 to 100 of 100 cases. 1500 trials at 95 % scatter by
// 0.56 %; what lies above 95 is the rounding up to whole seconds, ten marks at
// least, and an r that repeats confirm.
func TestPlannedCollectionsAreDecided(t *testing.T) {
	random := rand.New(rand.NewPCG(2026, 3))
	for _, g := range []leakback.CollectionGoal{
		goal(30, 40), goal(35, 40), goal(36, 40), goal(45, 40), goal(37, 40),
		goal(2.5, 3), goal(36, 40, cranked), goal(34.5, 40, cranked),
		goal(34, 40, func(g *leakback.CollectionGoal) {
			g.Tube = leakback.Tube{GraduationML: 0.5, CapacityML: 25, ToleranceML: 0.34}
		}),
	} {
		p := planned(t, g)
		require.NotEqual(t, leakback.OutOfReach, p.Outcome)
		decided := simulatedDecisions(t, random, &g, &p.Take, 1500)
		t.Logf("%v against %v: %d of %.4g s, %d cranks, promised %.1f %%, decided %.1f %%", g.ExpectMLMin, g.LimitMLMin,
			p.Take.Runs, p.Take.CollectS, p.Take.Cranks, 100*p.Take.Chance, 100*decided)
		assert.GreaterOrEqual(t, decided, 0.92)
		assert.InDelta(t, p.Take.Chance, decided, 0.03)
	}
}

// The same for invented goals of every kind, each of 600 trials (0.9 %).
func TestAnyPlannedCollectionIsDecided(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 6))
	tubes := []leakback.Tube{plainTube, {GraduationML: 0.5, CapacityML: 25, ToleranceML: 0.34},
		{GraduationML: 1, CapacityML: 50, ToleranceML: 1}, {GraduationML: 2, CapacityML: 250, ToleranceML: 2}}
	least, reached := 1.0, 0
	for range 40 {
		g := goal(5*math.Exp(3.2*random.Float64()), nan)
		g.LimitMLMin = g.ExpectMLMin / (0.6 + 0.35*random.Float64())
		if random.IntN(3) == 0 {
			g.LimitMLMin = g.ExpectMLMin / (1.08 + 0.5*random.Float64())
		}
		g.Tube = tubes[random.IntN(len(tubes))]
		if random.IntN(3) == 0 {
			cranked(&g)
		}
		if p := planned(t, g); p.Outcome != leakback.OutOfReach {
			reached++
			least = math.Min(least, simulatedDecisions(t, random, &g, &p.Take, 600))
		}
	}
	t.Logf("%d goals, the least decided in %.1f %%", reached, 100*least)
	assert.Greater(t, reached, 30)
	assert.GreaterOrEqual(t, least, 0.92)
}

// simulatedDecisions is how often the cylinder that was planned for is decided
// against the limit, beside three others that are well within it.
func simulatedDecisions(t *testing.T, random *rand.Rand, g *leakback.CollectionGoal, c *leakback.Collection, trials int) float64 {
	sheet := maximum(g.LimitMLMin)
	sheet.Measurement = g.Measurement
	m, decided := g.Measurement, 0
	for range trials {
		test := idle()
		var scale [4]float64
		for i := range scale {
			scale[i] = (random.Float64()*2 - 1) * c.Tube.ToleranceML
		}
		for k := range c.Runs {
			common := 1 + m.CommonCV*random.NormFloat64()
			late := m.TimingS * math.Sqrt(2*float64(max(1, c.Cranks))) * random.NormFloat64()
			r := run(k+1, c.CollectS, "0 0 0 0")
			r.State.Cranks = c.Cranks
			for i := range r.Readings {
				rate := g.LimitMLMin * 0.6
				if i == 0 {
					rate = g.ExpectMLMin
				}
				own := 1 + m.RepeatabilityCV*random.NormFloat64()
				level := rate*own*common*(c.CollectS+late)/60 + scale[i]
				r.Readings[i].Tube = c.Tube
				r.Readings[i].VolumeML = math.Round(level/c.Tube.GraduationML) * c.Tube.GraduationML
			}
			test.Runs = append(test.Runs, r)
		}
		if c := &evaluate(t, test, sheet).Cylinders[0]; !c.Has(leakback.CloseToLimit) {
			decided++
		}
	}
	return float64(decided) / float64(trials)
}

func TestPlanOutcomes(t *testing.T) {
	fine := leakback.Tube{GraduationML: 0.1, CapacityML: 5, ToleranceML: 0.1}
	coarse := leakback.Tube{GraduationML: 10, CapacityML: 1000, ToleranceML: 10}
	tube := func(tube leakback.Tube) func(*leakback.CollectionGoal) {
		return func(g *leakback.CollectionGoal) { g.Tube = tube }
	}
	for _, c := range []struct {
		name    string
		goal    leakback.CollectionGoal
		outcome leakback.Outcome
	}{
		{"far from the limit", goal(30, 40), leakback.AsAsked},
		{"above it", goal(50, 40), leakback.AsAsked},
		{"near", goal(36, 40), leakback.MoreRuns},
		{"near, with runs enough", goal(36, 40, func(g *leakback.CollectionGoal) { g.Runs = 2 }), leakback.AsAsked},
		{"full before ten marks", goal(200, 260, tube(leakback.Tube{GraduationML: 1, CapacityML: 5, ToleranceML: 1})), leakback.OtherTube},
		{"full at once", goal(900, 1200, tube(fine)), leakback.OtherTube},
		{"marks too coarse for the time given", goal(30, 40, tube(coarse), func(g *leakback.CollectionGoal) { g.IntervalS = 60 }), leakback.OtherTube},
		{"too near", goal(39.5, 40), leakback.OutOfReach},
		{"the set alone", goal(30, nan, cylinders(6)), leakback.AsAsked},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := planned(t, c.goal)
			assert.Equal(t, c.outcome, p.Outcome)
			assert.Equal(t, c.outcome != leakback.OutOfReach, p.Take.Answers)
			if p.Outcome == leakback.OutOfReach {
				assert.Greater(t, p.LeastMLMin, 0.5)
				assert.Negative(t, p.Best)
			}
		})
	}
}

// What is out of reach says how far apart they would have to be: there it is
// within reach, and just inside of it it is not.
func TestPlanLeastDistance(t *testing.T) {
	least := planned(t, goal(39.5, 40)).LeastMLMin
	assert.NotEqual(t, leakback.OutOfReach, planned(t, goal(39.5, 39.5+1.001*least)).Outcome)
	assert.Equal(t, leakback.OutOfReach, planned(t, goal(39.5, 39.5+0.98*least)).Outcome)
}

// A tube of 100 mL is full at 30 mL/min after 60*100/30 s, at 40 mL/min after
// 60*100/40 s; no run is longer, and one that another cylinder at the limit
// would overflow is only taken where nothing else does.
func TestPlanKeepsWithinTheTube(t *testing.T) {
	p := planned(t, goal(30, 40))
	assert.Equal(t, 200.0, p.Take.FullS)
	assert.Equal(t, 150.0, p.Take.SpareFullS)
	for _, c := range p.Tubes {
		assert.Less(t, c.CollectS, c.SpareFullS)
		assert.False(t, c.Overflows)
	}
	long := planned(t, goal(5, 40, func(g *leakback.CollectionGoal) { g.Tube.CapacityML = 50 }))
	assert.True(t, long.Take.Overflows) // ten marks take 120 s, the limit fills 50 mL in 75 s
	assert.Equal(t, 120.0, long.Take.CollectS)
	unknown := planned(t, goal(30, 40, func(g *leakback.CollectionGoal) { g.Tube.CapacityML = 0 }))
	assert.True(t, math.IsNaN(unknown.Take.FullS))
}

// Where repeating says more than going on, from the terms of JCGM 100:2008: a
// second run of T halves all variances but the scale's, a run of 2 T quarters
// those that go with 1/T^2; equal where T^2 = (a + 3 b + d)/(2 F), with a, b, d
// the reading's, the scale's and the timing's variance times T^2 and F what
// stays.
func TestPlanRepeatsBeatALongerRun(t *testing.T) {
	const q = 30.0
	a, b, d := 60*60/12.0, 60*60/3.0, q*0.3*math.Sqrt2*q*0.3*math.Sqrt2
	fixed := q * q * (0.03*0.03 + 0.02*0.02)
	p := planned(t, goal(q, 40))
	assert.InDelta(t, math.Sqrt((a+3*b+d)/(2*fixed)), p.RepeatFromS, 1e-6)
	assert.InDelta(t, math.Sqrt(fixed), p.FixedMLMin, 1e-12)
	set := planned(t, goal(q, nan, cylinders(6)))
	assert.InDelta(t, math.Sqrt((a+3*b)/(2*q*q*0.03*0.03)), set.RepeatFromS, 1e-6)
}

// The common tubes are those of ASTM E1272, with its tolerances where a class
// is named.
func TestPlanTubesAreThoseOfTheStandard(t *testing.T) {
	tolerance := map[[2]float64]float64{}
	for _, row := range reference.Rows(t, "glassware_cylinders.csv") {
		if strings.HasPrefix(row["standard"], "ASTM E1272") {
			tolerance[[2]float64{row.Float(t, "capacity_ml"), row.Float(t, "graduation_ml")}] = row.Float(t, "mpe_class_b_ml")
		}
	}
	p := planned(t, goal(30, 40, func(g *leakback.CollectionGoal) { g.Tube.Class, g.Tube.ToleranceML = "B", 1 }))
	require.Len(t, p.Tubes, len(tolerance)-1) // 5 mL are full at the limit within ten seconds
	for _, c := range p.Tubes {
		assert.Equal(t, tolerance[[2]float64{c.Tube.CapacityML, c.Tube.GraduationML}], c.Tube.ToleranceML)
	}
	for _, c := range planned(t, goal(30, 40)).Tubes { // shop plastic: good to a mark
		assert.Contains(t, tolerance, [2]float64{c.Tube.CapacityML, c.Tube.GraduationML})
		assert.Equal(t, c.Tube.GraduationML, c.Tube.ToleranceML)
	}
}

// The ratio at which the rule bites is the one that the evaluation then finds
// for a cylinder that stands apart from all others, and by hand
// exp(Phi^-1(0.99^(1/6)) sqrt(s^2 + u^2) sqrt(1 + 1/5)).
func TestPlanOfTheSet(t *testing.T) {
	g := goal(24, nan, cylinders(6), func(g *leakback.CollectionGoal) { g.IntervalS = 60 })
	set := planned(t, g).Set
	r := evaluate(t, minute("24 24 24 60 24 24"), limits.Builtin())
	assert.InDelta(t, r.Cylinders[3].BitingRatio, set.BitingRatio, 1e-9)
	s2, u2 := math.Log1p(0.15*0.15), 0.03*0.03+(1.0/12+1.0/3)/(24*24)
	assert.InDelta(t, math.Exp(2.9346*math.Sqrt((s2+u2)*1.2)), set.BitingRatio, 1e-3)
	assert.InDelta(t, math.Exp(2.9346*math.Sqrt(s2*1.2)), set.BitingAtBest, 1e-3)
	assert.True(t, set.MeasuredWell)
	assert.Nil(t, planned(t, goal(30, 40, cylinders(2))).Set)

	// Without a limit the time is the one from which u <= s/2.
	little := planned(t, goal(30, nan, cylinders(6), func(g *leakback.CollectionGoal) { g.Measurement.RepeatabilityCV = 0.07 })).Take
	v := 30 * little.ShortestS / 60
	assert.InDelta(t, s2/4, 0.07*0.07/float64(little.Runs)+(1/12.0/float64(little.Runs)+1/3.0)/(v*v), 1e-8)
}

func TestPlanCranks(t *testing.T) {
	p := planned(t, goal(36, 40, cranked))
	for _, c := range append(p.Tubes, p.Take) {
		require.Positive(t, c.Cranks)
		assert.LessOrEqual(t, c.CrankS, 15.0)
		assert.InDelta(t, c.CollectS, c.CrankS*float64(c.Cranks), 1e-9)
		assert.Equal(t, 60*float64(c.Cranks*c.Runs-1), c.RestsS)
		assert.Equal(t, float64(c.Runs)*c.CollectS, c.TotalS())
	}
	// The limit's pattern is kept, and then no run is longer than it allows.
	one := planned(t, goal(36, 40, cranked, func(g *leakback.CollectionGoal) { g.Cranks = 1 }))
	for _, c := range append(one.Tubes, one.Take) {
		assert.Equal(t, 1, c.Cranks)
		assert.LessOrEqual(t, c.CollectS, 15.0)
	}
	assert.Zero(t, planned(t, goal(36, 40)).Take.Cranks)
}

// Invariants over invented goals of every kind.
func TestPlansHoldWhatTheyPromise(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 8))
	for range 400 {
		g := goal(math.Exp(random.Float64()*7), nan, cylinders(3+random.IntN(14)))
		if random.IntN(3) > 0 {
			g.LimitMLMin = g.ExpectMLMin * (0.5 + random.Float64()*1.5)
		}
		glass := limits.CommonGlass()[random.IntN(len(limits.CommonGlass()))]
		g.Tube = leakback.Tube{GraduationML: glass.GraduationML, CapacityML: glass.CapacityML, ToleranceML: glass.GraduationML}
		g.Runs = 1 + random.IntN(3)
		if random.IntN(2) == 0 {
			cranked(&g)
			g.Cranks = random.IntN(4)
		}
		p := planned(t, g)
		name := fmt.Sprintf("%+v", g)
		for _, c := range append(p.Tubes, p.Take) {
			if !c.Answers {
				assert.Equal(t, leakback.OutOfReach, p.Outcome, name)
				continue
			}
			assert.GreaterOrEqual(t, c.Runs, g.Runs, name)
			assert.GreaterOrEqual(t, c.VolumeML, 10*c.Tube.GraduationML-1e-6, name)
			assert.LessOrEqual(t, c.VolumeML, c.Tube.CapacityML+1e-6, name)
			assert.Equal(t, c.Overflows, c.SpareFullS <= c.CollectS, name)
			assert.False(t, c.Chance < 0.8, "%v: %v", c.Chance, name)
		}
		if p.Best >= 0 {
			assert.NotEqual(t, leakback.OutOfReach, p.Outcome, name)
		}
	}
}

func TestPlanRefuses(t *testing.T) {
	for want, g := range map[string]leakback.CollectionGoal{
		"expect: 0 mL/min: expected a rate above zero":                                                         goal(0, 40),
		"limit: 0 mL/min: expected a rate above zero":                                                          goal(30, 0),
		"expect: 40 mL/min: expected another rate than the limit: what lies on it is decided by no collecting": goal(40, 40.0000000001),
		"runs: 0: expected 1 to 10 runs":                                                                       goal(30, 40, func(g *leakback.CollectionGoal) { g.Runs = 0 }),
		"runs: 11: expected 1 to 10 runs":                                                                      goal(30, 40, func(g *leakback.CollectionGoal) { g.Runs = 11 }),
		"cylinders: 2: expected 3 or more to compare with one another, or a limit":                             goal(30, nan, cylinders(2)),
		"cranks: 2: expected cranks of a run whose condition is cranking":                                      goal(30, 40, func(g *leakback.CollectionGoal) { g.Cranks = 2 }),
		"condition: cranking: expected a limits sheet with max_crank_s and rest_s in [measurement]: without the starter's own figures no cranking time is proposed": goal(30, 40, func(g *leakback.CollectionGoal) { g.Cranking = true }),
		"interval: 300 s: expected at most 200 s, as the tube allows":              goal(30, 40, func(g *leakback.CollectionGoal) { g.IntervalS = 300 }),
		"interval: 20 s: expected at most 15 s, as the tube or the starter allows": goal(30, 40, cranked, func(g *leakback.CollectionGoal) { g.IntervalS, g.Cranks = 20, 1 }),
	} {
		_, err := leakback.PlanCollection(g)
		var fault *leakback.GoalError
		require.True(t, errors.As(err, &fault), want)
		assert.Equal(t, want, err.Error())
	}
}
