package leakback

import (
	"fmt"
	"math"

	"leakback/limits"
	"leakback/limits/quantity"
	"leakback/stats"
)

// CollectionGoal is what a collection of every cylinder into its own tube is
// planned for, before it is taken. Figures that are not known are NaN.
type CollectionGoal struct {
	// ExpectMLMin is the rate to expect of a cylinder, > 0.
	ExpectMLMin float64
	// LimitMLMin is the limit to be over or under; NaN where only the
	// comparison within the set speaks.
	LimitMLMin float64
	// Tube is the tube at hand.
	Tube Tube
	// Runs is how many runs are taken at least, from 1 to MostRuns.
	Runs int
	// IntervalS is the length of a run where that is settled.
	IntervalS float64
	// Cylinders is how many the engine has; 0 where it was not said.
	Cylinders int
	// Cranking says that the starter turns the engine, Cranks how often in each
	// run; 0 for as often as it takes.
	Cranking bool
	Cranks   int
	// Set and Measurement are the sheet's.
	Set         limits.Set
	Measurement limits.Measurement
}

// MostRuns is how many runs of one test are ever proposed.
const MostRuns = mostRuns

// GoalError says which part of a goal cannot be planned for.
type GoalError struct {
	// Part is the goal's part: expect, limit, interval, runs, cylinders,
	// condition, cranks, passes or tube.
	Part string
	// Value is what it was, Want what was expected.
	Value, Want string
}

// Error names part, value and what was expected.
func (e *GoalError) Error() string { return e.Part + ": " + e.Value + ": expected " + e.Want }

// Outcome says what it takes to reach a goal.
type Outcome string

// The outcomes of planning.
const (
	// AsAsked: the tube at hand and the runs asked for do.
	AsAsked Outcome = "as-asked"
	// MoreRuns: the tube does, with more runs.
	MoreRuns Outcome = "more-runs"
	// OtherTube: it takes another tube.
	OtherTube Outcome = "other-tube"
	// OutOfReach: collecting cannot do it.
	OutOfReach Outcome = "out-of-reach"
)

// Collection is one way to collect.
type Collection struct {
	Tube Tube
	Runs int
	// CollectS is the length of each run, in whole seconds where it was not
	// given; ShortestS is the shortest that answers. Both are NaN where none does.
	CollectS, ShortestS float64
	// Answers says that it reaches the goal.
	Answers bool
	// Cranks is how often the starter is used in each run, CrankS how long each
	// time; 0 where it is not.
	Cranks int
	CrankS float64
	// RestsS is all the rest that the starter needs between the first crank and
	// the last.
	RestsS float64
	// VolumeML is what a run brings at the expected rate.
	VolumeML float64
	// FullS is when the expected rate fills the tube, SpareFullS when the rate
	// that should be told from it does; NaN without a capacity.
	FullS, SpareFullS float64
	// Overflows says that the latter comes before the run is over: such an
	// overflow proves nothing.
	Overflows bool
	// Budget is the uncertainty to expect, OwnCV the part of it that counts
	// between cylinders, relative to the rate.
	Budget Budget
	OwnCV  float64
	// Chance is the chance of a decided answer; NaN without a limit.
	Chance float64
}

// TotalS is how long all runs together collect, and the starter turns.
func (c *Collection) TotalS() float64 { return float64(c.Runs) * c.CollectS }

// SetPlan is what the comparison within the set can do with a collection.
type SetPlan struct {
	// Cylinders is how many are compared.
	Cylinders int
	// SpreadLog is the log standard deviation of healthy injectors.
	SpreadLog float64
	// BitingRatio is the ratio to the others from which the rule speaks,
	// BitingAtBest what it would be if measuring were perfect.
	BitingRatio, BitingAtBest float64
	// MeasuredWell says that measuring is not the larger doubt (u <= s/2).
	MeasuredWell bool
}

// CollectionPlan is how to reach a CollectionGoal.
type CollectionPlan struct {
	Goal    CollectionGoal
	Outcome Outcome
	// Take is the way to take; where the goal is out of reach it is the best
	// there is.
	Take Collection
	// ByRuns are the ways to do it with the tube to take, by number of runs;
	// Longer is what runs gain that are longer than they need to be.
	ByRuns, Longer []Collection
	// LongestS is the longest run that the tube at hand and the starter allow.
	LongestS float64
	// Tubes are the common tubes that reach the goal, each at its best, from
	// the smallest; Best is the place of the one to take, -1 where there is none.
	Tubes []Collection
	Best  int
	// SpareMLMin is the rate at which an overflow is looked at: the limit, or
	// the one from which the comparison within the set speaks.
	SpareMLMin float64
	// LeastMLMin is the smallest distance between rate and limit that the most
	// runs could decide; NaN where the goal is reached.
	LeastMLMin float64
	// FixedMLMin is the part of the uncertainty of one run that no longer run lowers.
	FixedMLMin float64
	// RepeatFromS is the length of a run from which a second one says more than
	// a run of twice the length; NaN where the tube holds no such run.
	RepeatFromS float64
	// Set is nil for fewer than three cylinders.
	Set *SetPlan
}

// PlanCollection finds how long to collect, how often and from which tube for
// about a 95 % chance of a decided answer or, without a limit, for measuring
// not to be the larger doubt. A goal that cannot be planned for is a *GoalError.
func PlanCollection(g CollectionGoal) (*CollectionPlan, error) {
	if err := g.check(); err != nil {
		return nil, err
	}
	p, ask := g.plan(), g.question()
	found, ok := p.search(ask)
	c := &CollectionPlan{Goal: g, LongestS: p.longestS, SpareMLMin: p.spareMLMin,
		LeastMLMin: math.NaN(), RepeatFromS: math.NaN()}
	c.Outcome = p.outcome(found, ok)
	if !ok {
		found = p.most()
		c.LeastMLMin = p.leastMLMin()
	}
	c.Take = found.collection(&g, ok)
	if ok {
		p = p.withTube(found.tube)
		c.byRuns(p, ask)
		c.longer(p)
	}
	ways, best := g.plan().inTubes(ask)
	c.Best = best
	for _, way := range ways {
		c.Tubes = append(c.Tubes, way.collection(&g, true))
	}
	c.repeats(p)
	if g.Cylinders >= fewest {
		c.Set = g.setPlan(c.Take.OwnCV)
	}
	return c, nil
}

// check refuses what cannot be planned for.
func (g *CollectionGoal) check() error {
	expect := quantity.Format(quantity.Rate, g.ExpectMLMin)
	switch {
	case !(g.ExpectMLMin > 0):
		return &GoalError{"expect", expect, "a rate above zero"}
	case g.LimitMLMin <= 0:
		return &GoalError{"limit", quantity.Format(quantity.Rate, g.LimitMLMin), "a rate above zero"}
	case stats.Round6(g.ExpectMLMin) == stats.Round6(g.LimitMLMin):
		return &GoalError{"expect", expect, "another rate than the limit: what lies on it is decided by no collecting"}
	case g.Runs < 1 || g.Runs > MostRuns:
		return &GoalError{"runs", fmt.Sprint(g.Runs), fmt.Sprintf("1 to %d runs", MostRuns)}
	case math.IsNaN(g.LimitMLMin) && g.Cylinders < fewest:
		return &GoalError{"cylinders", countText(g.Cylinders),
			fmt.Sprintf("%d or more to compare with one another, or a limit", fewest)}
	}
	if err := checkStarter(g.Cranking, g.Cranks, &g.Measurement); err != nil {
		return err
	}
	p := g.plan()
	if p.givenS > p.longestS {
		return &GoalError{"interval", quantity.Format(quantity.Interval, g.IntervalS),
			fmt.Sprintf("at most %s, as the tube%s allows", p.longest(), p.orStarter())}
	}
	return nil
}

func countText(n int) string {
	if n == 0 {
		return "not said"
	}
	return fmt.Sprint(n)
}

// checkStarter refuses to plan cranking without the starter's figures, and
// cranks without cranking.
func checkStarter(cranking bool, cranks int, m *limits.Measurement) error {
	switch {
	case cranks < 0 || cranks > 0 && !cranking:
		return &GoalError{"cranks", fmt.Sprint(cranks), "cranks of a run whose condition is " + Cranking}
	case cranking && m.MaxCrankS <= 0:
		return &GoalError{"condition", Cranking, "a limits sheet with max_crank_s and rest_s in [measurement]: " +
			"without the starter's own figures no cranking time is proposed"}
	}
	return nil
}

func (p plan) longest() string { return quantity.Format(quantity.Interval, p.longestS) }

func (p plan) orStarter() string {
	if p.maxCrankS > 0 {
		return " or the starter"
	}
	return ""
}

// plan is the tube at hand with the runs asked for.
func (g *CollectionGoal) plan() plan {
	m := &g.Measurement
	p := plan{
		rule: rule{
			rep:    repeatability{CV: m.RepeatabilityCV, DoF: stats.AssumedDoF, SheetCV: m.RepeatabilityCV},
			common: m.CommonCV, shared: true,
		},
		rateMLMin: g.ExpectMLMin, levels: 1, timingS: m.TimingS, runs: g.Runs, cranks: 1,
		boundS: math.Inf(1), spareMLMin: g.spareMLMin(),
	}
	if g.Cranking {
		p.crank(m, g.Cranks)
	}
	if !math.IsNaN(g.LimitMLMin) {
		p.limitMLMin = g.LimitMLMin
	}
	if g.IntervalS > 0 {
		p.givenS = g.IntervalS
	}
	return p.withTube(g.Tube)
}

// spareMLMin is the rate of another cylinder that matters: one at the limit,
// or one that the comparison within the set speaks about.
func (g *CollectionGoal) spareMLMin() float64 {
	if math.IsNaN(g.LimitMLMin) {
		return g.ExpectMLMin * g.setPlan(stats.LogSpread(g.Set.HealthyCV)/2).BitingRatio
	}
	return math.Max(g.LimitMLMin, g.ExpectMLMin)
}

func (g *CollectionGoal) question() question {
	if math.IsNaN(g.LimitMLMin) {
		return measuredWell(g.ExpectMLMin, stats.LogSpread(g.Set.HealthyCV))
	}
	return rateAgainst(g.LimitMLMin)
}

// setPlan is what the comparison does with readings that are so uncertain: one
// cylinder against all others, as the evaluation has it.
func (g *CollectionGoal) setPlan(ownCV float64) *SetPlan {
	s := &SetPlan{Cylinders: g.Cylinders, SpreadLog: stats.LogSpread(g.Set.HealthyCV)}
	critical := stats.SidakC(g.Cylinders, g.Set.FalseAlarm)
	bites := func(u float64) float64 {
		return stats.BitingRatio(g.Set.PracticalRatio, critical, math.Hypot(s.SpreadLog, u), g.Cylinders-1)
	}
	s.BitingRatio, s.BitingAtBest = bites(ownCV), bites(0)
	s.MeasuredWell = ownCV <= s.SpreadLog/2
	return s
}

func (p plan) outcome(found plan, ok bool) Outcome {
	switch {
	case !ok:
		return OutOfReach
	case found.tube != p.tube:
		return OtherTube
	case found.runs > p.runs:
		return MoreRuns
	}
	return AsAsked
}

// most is the plan with as many and as long runs as are ever proposed.
func (p plan) most() plan {
	p.runs = mostRuns
	if p.givenS > 0 {
		return p.withTime(p.givenS)
	}
	return p.withTime(p.longestS)
}

// leastMLMin is the smallest distance that the most runs could decide, with the
// tube at hand or a common one.
func (p plan) leastMLMin() float64 {
	least := math.Inf(1)
	for _, tube := range append(p.tube.common(), p.tube) {
		q := p.withTube(tube).most()
		if q.collectS < q.shortestS() || q.collectS > q.longestS {
			continue
		}
		b := q.budget()
		least = math.Min(least, (stats.T95(b.DoF)+power)*b.StandardMLMin)
	}
	return least
}

// collection is the plan as it is taken, in whole seconds.
func (p plan) collection(g *CollectionGoal, answers bool) Collection {
	c := Collection{
		Tube: p.tube, Runs: p.runs, ShortestS: p.collectS, Answers: answers,
		FullS: math.NaN(), SpareFullS: math.NaN(), Chance: math.NaN(),
	}
	if p.tube.CapacityML > 0 {
		c.FullS, c.SpareFullS = p.fullS(p.rateMLMin), p.fullS(p.spareMLMin)
	}
	p = p.wholeSeconds()
	c.CollectS, c.VolumeML = p.collectS, p.rateMLMin*p.collectS/60
	c.Overflows = p.overflows() > 0
	if p.maxCrankS > 0 {
		c.Cranks, c.CrankS = p.cranks, p.collectS/float64(p.cranks)
		c.RestsS = float64(p.runs*p.cranks-1) * p.restS
	}
	c.Budget, c.OwnCV = p.budget(), p.ownRelative()
	if !math.IsNaN(g.LimitMLMin) {
		c.Chance = p.decidedChance()
	}
	return c
}

// rowsByRuns is how many numbers of runs are shown at least.
const rowsByRuns = 4

// byRuns looks at each number of runs with the tube to take.
func (c *CollectionPlan) byRuns(p plan, ask question) {
	for runs := 1; runs <= min(max(rowsByRuns, c.Take.Runs+1), mostRuns); runs++ {
		p.runs = runs
		found, ok := p.sparing().time(ask)
		if !ok {
			found, ok = p.time(ask)
		}
		if !ok && p.givenS == 0 {
			c.ByRuns = append(c.ByRuns, Collection{Tube: p.tube, Runs: runs,
				CollectS: math.NaN(), ShortestS: math.NaN(), Chance: math.NaN()})
			continue
		}
		c.ByRuns = append(c.ByRuns, found.collection(&c.Goal, ok))
	}
}

// longerS are times that people collect for.
var longerS = []float64{30, 60, 90, 120, 180, 300}

// longer looks at longer runs of what is to be taken, as far as tube and
// starter allow.
func (c *CollectionPlan) longer(p plan) {
	p.runs = c.Take.Runs
	if !c.Take.Overflows {
		p = p.sparing()
	}
	for _, t := range longerS {
		if p.givenS == 0 && t > c.Take.CollectS && t <= p.longestS {
			q := p.withTime(t)
			q.givenS = t
			c.Longer = append(c.Longer, q.collection(&c.Goal, true))
		}
	}
}

// repeats finds what a longer run cannot lower, and from when repeating says
// more than going on.
func (c *CollectionPlan) repeats(p plan) {
	doubt := func(q plan) float64 {
		if math.IsNaN(c.Goal.LimitMLMin) {
			return q.ownRelative()
		}
		return q.budget().StandardMLMin
	}
	p.runs, p.givenS = 1, 0
	b := p.withTime(p.longestS).budget()
	c.FixedMLMin = b.RepeatabilityMLMin
	if !math.IsNaN(c.Goal.LimitMLMin) {
		c.FixedMLMin = math.Hypot(b.RepeatabilityMLMin, b.CommonMLMin)
	}
	again := func(t float64) bool {
		twice := p.withTime(t)
		twice.runs = 2
		return doubt(twice) < doubt(p.withTime(2*t))
	}
	if from, to := p.shortestS(), p.longestS/2; from <= to && again(to) {
		c.RepeatFromS = first(from, to, again)
	}
}
