package blockoff

import (
	"fmt"
	"math"

	"leakback/stats"
)

// MostPasses is how many passes are ever planned.
const MostPasses = 20

// Expected are standard deviations in units of sigma, the standard deviation
// of one run's total.
type Expected struct {
	// Share is that of a share, Contrast that of a share less the mean share.
	Share, Contrast float64
	// Total is that of the total that the blocked runs add up to.
	Total float64
	// NotAddingUp is that of D; +Inf without a baseline.
	NotAddingUp float64
	// DriftPerRun is that of the drift from one run to the next.
	DriftPerRun float64
}

// Expect gives the standard deviations of a mirrored schedule of single
// blocking: n >= 2 cylinders, each blocked in p runs, and b baselines.
//
//	share         sqrt((n-2)^2 + n - 1)/((n-1) sqrt(p))
//	contrast      sqrt(1 - 1/n)/sqrt(p)
//	total         sqrt(n/p)/(n-1)
//	not adding up sqrt(1/b + n/(p (n-1)^2))
//	drift         1/sqrt(sum (k - mean k)^2) = sqrt(12/(m^3 - m)), m = p n + b runs
func Expect(cylinders, passes, baselines int) Expected {
	n, p, b := float64(cylinders), float64(passes), float64(baselines)
	m := p*n + b
	return Expected{
		Share:       math.Sqrt((n-2)*(n-2)+n-1) / ((n - 1) * math.Sqrt(p)),
		Contrast:    math.Sqrt(1-1/n) / math.Sqrt(p),
		Total:       math.Sqrt(n/p) / (n - 1),
		NotAddingUp: math.Sqrt(1/b + n/(p*(n-1)*(n-1))),
		DriftPerRun: math.Sqrt(12 / (m*m*m - m)),
	}
}

// Plan is a schedule of runs.
type Plan struct {
	Cylinders []int
	// Passes is how often each cylinder is blocked, Baselines how many runs
	// have nothing blocked.
	Passes, Baselines int
	// Blocked are the blocked cylinders of each run in the order of time; none
	// in a baseline.
	Blocked [][]int
	// Expected are the standard deviations that the schedule leads to.
	Expected Expected
}

// Schedule is the mirrored schedule B, 1..n, n..1, B for the cylinders of one
// return line in the order given. Each two passes more add 1..n, n..1, B, so
// that it stays its own mirror image, drift cancels, and a schedule that was
// measured can be gone on with.
func Schedule(cylinders []int, passes int) (Plan, error) {
	if err := checkCylinders(cylinders, nil); err != nil {
		return Plan{}, err
	}
	if len(cylinders) < 2 {
		return Plan{}, fmt.Errorf("blocking the only cylinder %d measures nothing: expected two or more", cylinders[0])
	}
	if passes < 2 || passes%2 != 0 || passes > MostPasses {
		return Plan{}, fmt.Errorf("%d passes: expected an even number from 2 to %d", passes, MostPasses)
	}
	plan := Plan{Cylinders: cylinders, Passes: passes, Baselines: passes/2 + 1, Blocked: [][]int{nil}}
	for range passes / 2 {
		for _, c := range cylinders {
			plan.Blocked = append(plan.Blocked, []int{c})
		}
		for i := len(cylinders) - 1; i >= 0; i-- {
			plan.Blocked = append(plan.Blocked, []int{cylinders[i]})
		}
		plan.Blocked = append(plan.Blocked, nil)
	}
	plan.Expected = Expect(len(cylinders), passes, plan.Baselines)
	return plan, nil
}

// Goal is what a schedule is planned for.
type Goal struct {
	// Cylinders of the return line, at least 2.
	Cylinders int
	// ShareMLMin is the median share to expect, > 0.
	ShareMLMin float64
	// IntervalS, GraduationML and Levels are those of each run.
	IntervalS    float64
	GraduationML float64
	Levels       int
	// RepeatabilityCV is the sheet's, or what a measured line showed: its sigma
	// over its mean total.
	RepeatabilityCV float64
}

// Reach is how far a number of passes gets.
type Reach struct {
	Passes int
	// SigmaMLMin is the standard deviation of one run.
	SigmaMLMin float64
	// ContrastSDMLMin is that of a share less the mean share, and Contrast that
	// over the expected share.
	ContrastSDMLMin float64
	Contrast        float64
	// Enough says that Contrast is below TargetContrast.
	Enough bool
}

// After is how far a number of passes of the mirrored schedule gets.
func (g Goal) After(passes int) Reach {
	n, blocked, baselines := float64(g.Cylinders), float64(passes*g.Cylinders), float64(passes/2+1)
	mean := g.ShareMLMin * (blocked*(n-1) + baselines*n) / (blocked + baselines)
	r := Reach{Passes: passes}
	r.SigmaMLMin = math.Sqrt(runVariance(g.RepeatabilityCV*mean, g.GraduationML, g.IntervalS, g.Levels))
	r.ContrastSDMLMin = r.SigmaMLMin * Expect(g.Cylinders, passes, passes/2+1).Contrast
	r.Contrast = r.ContrastSDMLMin / g.ShareMLMin
	r.Enough = stats.Round6(r.Contrast) < TargetContrast
	return r
}

// Reach is the fewest passes that are enough, or how far the most that are
// ever planned get.
func (g Goal) Reach() Reach {
	passes := 2
	for passes < MostPasses && !g.After(passes).Enough {
		passes += 2
	}
	return g.After(passes)
}
