package leakback_test

import (
	"errors"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/blockoff"
	"leakback/limits"
)

func merged(order []int, changes ...func(*leakback.BlockOffGoal)) leakback.BlockOffGoal {
	g := leakback.BlockOffGoal{Order: order, ExpectMLMin: 30, IntervalS: nan, Passes: 2,
		Tube:        leakback.Tube{GraduationML: 2, CapacityML: 250, ToleranceML: 2},
		Measurement: limits.Builtin().Measurement}
	for _, change := range changes {
		change(&g)
	}
	return g
}

func starter(g *leakback.BlockOffGoal) {
	g.Cranking, g.Measurement.MaxCrankS, g.Measurement.RestS = true, 15, 60
}

func scheduled(t *testing.T, g leakback.BlockOffGoal) *leakback.BlockOffPlan {
	t.Helper()
	p, err := leakback.PlanBlockOff(g)
	require.NoError(t, err)
	return p
}

func blockedOf(p *leakback.BlockOffPlan) [][]int {
	var list [][]int
	for _, r := range p.Runs {
		list = append(list, r.Blocked)
	}
	return list
}

func TestBlockOffPlanIsMirrored(t *testing.T) {
	assert.Equal(t, [][]int{nil, {1}, {3}, {4}, {2}, {2}, {4}, {3}, {1}, nil}, blockedOf(scheduled(t, merged([]int{1, 3, 4, 2}))))
	four := scheduled(t, merged([]int{1, 2}, func(g *leakback.BlockOffGoal) { g.Passes = 4 }))
	assert.Equal(t, [][]int{nil, {1}, {2}, {2}, {1}, nil, {1}, {2}, {2}, {1}, nil}, blockedOf(four))
	assert.Equal(t, 11, four.Runs[10].Number)
}

// The standard deviations are those of the closed form of the mirrored
// schedule, with the standard deviation of one run from its two parts: r_0 of
// the mean total and the reading to a mark (JCGM 100:2008, F.2.2.1).
func TestBlockOffPlanExpects(t *testing.T) {
	for _, n := range []int{3, 4, 6, 8, 12} {
		for _, passes := range []int{2, 4} {
			order := make([]int, n)
			for i := range order {
				order[i] = i + 1
			}
			p := scheduled(t, merged(order, func(g *leakback.BlockOffGoal) { g.Passes, g.IntervalS = passes, 30; g.Tube.CapacityML = 0 }))
			N, P, B := float64(n), float64(passes), float64(passes/2+1)
			mean := 30 * (P*N*(N-1) + B*N) / (P*N + B)
			sigma := math.Hypot(0.03*mean, 60*2/30.0/math.Sqrt(12))
			line := p.Lines[0]
			assert.InDelta(t, sigma, line.Reached.SigmaMLMin, 1e-9)
			assert.InDelta(t, sigma/math.Sqrt(P)*math.Sqrt((N-2)*(N-2)+N-1)/(N-1), line.ShareSDMLMin(), 1e-9)
			assert.InDelta(t, sigma/math.Sqrt(P)*math.Sqrt(1-1/N), line.Reached.ContrastSDMLMin, 1e-9)
			assert.InDelta(t, line.Reached.ContrastSDMLMin/30, line.Reached.Contrast, 1e-12)
			assert.InDelta(t, 0.03*mean, line.RepeatMLMin, 1e-9)
			assert.Equal(t, 30*N, line.TotalMLMin)
			assertSolverAgrees(t, p, sigma)
		}
	}
}

// assertSolverAgrees solves totals of the schedule by the general least squares
// and finds the same standard deviations.
func assertSolverAgrees(t *testing.T, p *leakback.BlockOffPlan, sigma float64) {
	t.Helper()
	line := &p.Lines[0]
	var runs []blockoff.Run
	for _, r := range p.Runs {
		runs = append(runs, blockoff.Run{Number: r.Number, Blocked: r.Blocked, IntervalS: 60, GraduationML: 1e-9, Levels: 1,
			TotalMLMin: 30 * float64(len(p.Goal.Order)-len(r.Blocked)), RailPressureBar: nan})
	}
	s, err := blockoff.Solve(runs, blockoff.Options{Cylinders: p.Goal.Order, RepeatabilityCV: 0.03, SheetDoF: 1e12})
	require.NoError(t, err)
	scale := sigma / s.SigmaMLMin
	assert.InDelta(t, line.ShareSDMLMin(), scale*s.Shares[0].SDMLMin, 1e-6)
	assert.InDelta(t, line.Reached.ContrastSDMLMin, scale*s.Shares[0].ContrastSDMLMin, 1e-6)
}

func TestBlockOffPlanSaysHowManyPassesReach(t *testing.T) {
	p := scheduled(t, merged([]int{1, 2, 3, 4, 5, 6}))
	line := p.Lines[0]
	require.Len(t, line.Reaches, 2)
	assert.False(t, p.Enough())
	assert.False(t, line.Reaches[0].Enough)
	assert.True(t, line.Reaches[1].Enough)
	assert.Less(t, line.Reaches[1].Contrast, 0.08)
	assert.True(t, scheduled(t, merged([]int{1, 2, 3, 4})).Enough())
	assert.Len(t, scheduled(t, merged([]int{1, 2, 3, 4}, func(g *leakback.BlockOffGoal) { g.Passes = 6 })).Lines[0].Reaches, 3)
}

// A minute, or as long as the tube holds when one of the cylinders returns
// three times its share; as long as one crank where it is cranked.
func TestBlockOffPlanProposesATime(t *testing.T) {
	six := []int{1, 2, 3, 4, 5, 6}
	tube := func(capacity, graduation float64) func(*leakback.BlockOffGoal) {
		return func(g *leakback.BlockOffGoal) { g.Tube.CapacityML, g.Tube.GraduationML = capacity, graduation }
	}
	assert.Equal(t, 60.0, scheduled(t, merged(six)).IntervalS)
	assert.Equal(t, 25.0, scheduled(t, merged(six, tube(100, 1))).IntervalS) // 100 mL at 240 mL/min
	assert.Equal(t, 33.0, scheduled(t, merged(six, tube(100, 1), func(g *leakback.BlockOffGoal) { g.IntervalS = 33 })).IntervalS)
	p := scheduled(t, merged(six, starter))
	assert.Equal(t, 15.0, p.IntervalS)
	assert.Equal(t, 1, p.Cranks)
	assert.Equal(t, 13*60.0, p.RestsS)
	assert.Equal(t, 14*15.0, p.TotalS())
	two := scheduled(t, merged(six, starter, func(g *leakback.BlockOffGoal) { g.Cranks = 2 }))
	assert.Equal(t, 30.0, two.IntervalS)
	assert.Equal(t, 15.0, two.CrankS)
	assert.Equal(t, 27*60.0, two.RestsS)

	// Nothing to expect: the list stands, its figures do not.
	bare := scheduled(t, merged(six, func(g *leakback.BlockOffGoal) { g.ExpectMLMin = nan }))
	assert.Len(t, bare.Runs, 14)
	assert.True(t, math.IsNaN(bare.IntervalS))
	assert.Empty(t, bare.Lines[0].Reaches)
	assert.False(t, math.IsNaN(bare.Lines[0].Schedule.Expected.Share))
}

// Banks are measured one after the other, each with a schedule of its own, in
// the order that was asked for.
func TestBlockOffPlanOfTwoBanks(t *testing.T) {
	lines := []limits.ReturnLine{{Name: "left", Cylinders: []int{1, 2, 3}}, {Name: "right", Cylinders: []int{4, 5, 6}}}
	p := scheduled(t, merged([]int{1, 5, 3, 6, 2, 4}, func(g *leakback.BlockOffGoal) { g.Lines = lines }))
	require.Len(t, p.Lines, 2)
	require.Len(t, p.Runs, 16)
	assert.Equal(t, [][]int{nil, {1}, {3}, {2}, {2}, {3}, {1}, nil, nil, {5}, {6}, {4}, {4}, {6}, {5}, nil}, blockedOf(p))
	assert.Equal(t, leakback.BlockOffRun{Number: 10, Line: "right", Blocked: []int{5}}, p.Runs[9])
	assert.Equal(t, 90.0, p.Lines[1].TotalMLMin)
}

func TestBlockOffPlanRefuses(t *testing.T) {
	six := []int{1, 2, 3, 4, 5, 6}
	for want, g := range map[string]leakback.BlockOffGoal{
		"expect: 0 mL/min: expected a rate above zero":                                                   merged(six, func(g *leakback.BlockOffGoal) { g.ExpectMLMin = 0 }),
		"passes: 3: expected an even number from 2 to 20":                                                merged(six, func(g *leakback.BlockOffGoal) { g.Passes = 3 }),
		"passes: 22: expected an even number from 2 to 20":                                               merged(six, func(g *leakback.BlockOffGoal) { g.Passes = 22 }),
		"passes: 0: expected an even number from 2 to 20":                                                merged(six, func(g *leakback.BlockOffGoal) { g.Passes = 0 }),
		"cylinders: 1: expected two or more on each return line: blocking the only one measures nothing": merged([]int{1}),
		"interval: 200 s: expected at most 83 s, as tube and starter allow with nothing blocked":         merged(six, func(g *leakback.BlockOffGoal) { g.IntervalS = 200 }),
		"interval: 20 s: expected at most 15 s, as tube and starter allow with nothing blocked":          merged(six, starter, func(g *leakback.BlockOffGoal) { g.IntervalS = 20 }),
		"tube: 250 mL with 50 mL marks: expected one in which the total reaches 10 marks in 60 s and does not run over": merged(six, func(g *leakback.BlockOffGoal) {
			g.Tube.GraduationML = 50
		}),
		"condition: cranking: expected a limits sheet with max_crank_s and rest_s in [measurement]: without the starter's own figures no cranking time is proposed": merged(six, func(g *leakback.BlockOffGoal) { g.Cranking = true }),
	} {
		_, err := leakback.PlanBlockOff(g)
		var fault *leakback.GoalError
		require.True(t, errors.As(err, &fault), want)
		assert.Equal(t, want, err.Error())
	}
}
