package leakback

import (
	"fmt"
	"math"
	"slices"

	"leakback/leakback/blockoff"
	"leakback/limits"
	"leakback/limits/quantity"
	"leakback/stats"
)

// BlockOffGoal is what a block-off measurement is planned for. Figures that
// are not known are NaN.
type BlockOffGoal struct {
	// Order is the engine's cylinders in the order in which they are blocked.
	Order []int
	// Lines are the return lines (banks), each measured by itself; empty for one.
	Lines []limits.ReturnLine
	// ExpectMLMin is the share to expect of a cylinder, > 0.
	ExpectMLMin float64
	// Tube is the tube that takes the total.
	Tube Tube
	// Passes is how often each cylinder is blocked, an even number.
	Passes int
	// IntervalS is the length of a run where that is settled.
	IntervalS float64
	// Cranking says that the starter turns the engine, Cranks how often in each
	// run; 0 for once.
	Cranking bool
	Cranks   int
	// Measurement is the sheet's.
	Measurement limits.Measurement
}

// BlockOffRun is one run of the list.
type BlockOffRun struct {
	// Number is the run's place in time, from 1.
	Number int
	// Line is the return line that is measured; "" where there is one.
	Line string
	// Blocked are the cylinders to block; none in a baseline.
	Blocked []int
}

// LinePlan is the schedule of one return line.
type LinePlan struct {
	// Name is "" where there is one line.
	Name     string
	Schedule blockoff.Plan
	// TotalMLMin is the return to expect with nothing blocked, FullS when it
	// fills the tube; NaN where that is not known.
	TotalMLMin, FullS float64
	// Reached is how far the passes asked for get, Reaches how far each even
	// number does, up to the first that is enough; empty without ExpectMLMin
	// and IntervalS.
	Reached blockoff.Reach
	Reaches []blockoff.Reach
	// RepeatMLMin is the part of one run's standard deviation that a longer run
	// does not lower.
	RepeatMLMin float64
}

// ShareSDMLMin is the standard deviation to expect of a share.
func (l *LinePlan) ShareSDMLMin() float64 { return l.Reached.SigmaMLMin * l.Schedule.Expected.Share }

// BlockOffPlan is a schedule that is its own mirror image, so that drift cancels.
type BlockOffPlan struct {
	Goal BlockOffGoal
	// IntervalS is the length of each run; NaN where it is left to the bay.
	IntervalS float64
	// Cranks is how often the starter is used in each run, CrankS how long each
	// time; 0 where it is not. RestsS is all its rest between the first crank
	// and the last.
	Cranks         int
	CrankS, RestsS float64
	Lines          []LinePlan
	// Runs are those of all lines in the order of time.
	Runs []BlockOffRun
}

// TotalS is how long all runs together collect, and the starter turns; NaN
// where the length of a run is not settled.
func (p *BlockOffPlan) TotalS() float64 { return float64(len(p.Runs)) * p.IntervalS }

// Bounds of the length of a run that is proposed: our choice, no source.
const (
	blockOffS = 60
	// leaker is how many times its expected share one cylinder may return
	// before the baseline fills the tube.
	leaker = 3
)

// PlanBlockOff makes the schedule and says how far it gets. A goal that cannot
// be planned for is a *GoalError.
func PlanBlockOff(g BlockOffGoal) (*BlockOffPlan, error) {
	if g.ExpectMLMin <= 0 {
		return nil, &GoalError{"expect", quantity.Format(quantity.Rate, g.ExpectMLMin), "a rate above zero"}
	}
	if err := checkStarter(g.Cranking, g.Cranks, &g.Measurement); err != nil {
		return nil, err
	}
	p := &BlockOffPlan{Goal: g}
	if err := p.schedule(); err != nil {
		return nil, err
	}
	if err := p.interval(); err != nil {
		return nil, err
	}
	p.crank()
	for i := range p.Lines {
		p.reach(&p.Lines[i])
	}
	return p, nil
}

// schedule makes the schedule of each line and the list of all runs.
func (p *BlockOffPlan) schedule() error {
	lines := p.Goal.Lines
	if len(lines) == 0 {
		lines = []limits.ReturnLine{{Cylinders: p.Goal.Order}}
	}
	for _, line := range lines {
		order := slices.DeleteFunc(slices.Clone(p.Goal.Order), func(c int) bool { return !slices.Contains(line.Cylinders, c) })
		plan, err := blockoff.Schedule(order, p.Goal.Passes)
		switch {
		case len(order) < 2:
			return &GoalError{"cylinders", fmt.Sprint(len(order)), "two or more on each return line: " +
				"blocking the only one measures nothing"}
		case err != nil:
			return &GoalError{"passes", fmt.Sprint(p.Goal.Passes), fmt.Sprintf("an even number from 2 to %d", blockoff.MostPasses)}
		}
		p.Lines = append(p.Lines, LinePlan{Name: line.Name, Schedule: plan, FullS: math.NaN(),
			TotalMLMin: float64(len(order)) * p.Goal.ExpectMLMin})
		for _, blocked := range plan.Blocked {
			p.Runs = append(p.Runs, BlockOffRun{len(p.Runs) + 1, line.Name, blocked})
		}
	}
	return nil
}

// spanMLMin is the least and the most to expect of a run, over all lines.
func (p *BlockOffPlan) spanMLMin() (least, most float64) {
	least, most = math.Inf(1), math.Inf(-1)
	for i := range p.Lines {
		least = math.Min(least, p.Lines[i].TotalMLMin-p.Goal.ExpectMLMin)
		most = math.Max(most, p.Lines[i].TotalMLMin)
	}
	return least, most
}

// longestS is the longest run that the tube and the starter allow.
func (p *BlockOffPlan) longestS(mostMLMin float64) float64 {
	longest := math.Inf(1)
	if full := 60 * p.Goal.Tube.CapacityML / mostMLMin; full > 0 {
		longest = full
	}
	if p.Goal.Cranking {
		longest = math.Min(longest, float64(max(1, p.Goal.Cranks))*p.Goal.Measurement.MaxCrankS)
	}
	return longest
}

// interval checks the length of a run, or proposes one: up to a minute, so
// that one cylinder may leak and the baseline still does not fill the tube.
func (p *BlockOffPlan) interval() error {
	g := &p.Goal
	p.IntervalS = g.IntervalS
	leanest, fullest := p.spanMLMin()
	if most := p.longestS(fullest); p.IntervalS > most {
		return &GoalError{"interval", quantity.Format(quantity.Interval, p.IntervalS), fmt.Sprintf(
			"at most %s, as tube and starter allow with nothing blocked", quantity.Format(quantity.Interval, math.Floor(most)))}
	}
	if math.IsNaN(p.IntervalS) && (!math.IsNaN(g.ExpectMLMin) || g.Cranking) {
		p.IntervalS = math.Floor(stats.Round6(math.Min(blockOffS, p.longestS(fullest+(leaker-1)*g.ExpectMLMin))))
	}
	least := 60 * fewestMarks * g.Tube.GraduationML / leanest
	if p.IntervalS < least {
		return &GoalError{"tube", tubeText(g.Tube), fmt.Sprintf("one in which the total reaches %d marks in %s "+
			"and does not run over", fewestMarks, quantity.Format(quantity.Interval, math.Max(1, p.IntervalS)))}
	}
	return nil
}

func tubeText(t Tube) string {
	text := quantity.Format(quantity.Volume, t.GraduationML) + " marks"
	if t.CapacityML > 0 {
		text = quantity.Format(quantity.Volume, t.CapacityML) + " with " + text
	}
	return text
}

// crank divides the runs as the starter needs it.
func (p *BlockOffPlan) crank() {
	if !p.Goal.Cranking {
		return
	}
	p.Cranks = max(1, p.Goal.Cranks)
	p.CrankS = p.IntervalS / float64(p.Cranks)
	p.RestsS = float64(len(p.Runs)*p.Cranks-1) * p.Goal.Measurement.RestS
}

// reach says how far a line's passes get.
func (p *BlockOffPlan) reach(l *LinePlan) {
	if p.Goal.Tube.CapacityML > 0 {
		l.FullS = 60 * p.Goal.Tube.CapacityML / l.TotalMLMin
	}
	if math.IsNaN(p.Goal.ExpectMLMin) || math.IsNaN(p.IntervalS) {
		return
	}
	goal := blockoff.Goal{
		Cylinders: len(l.Schedule.Cylinders), ShareMLMin: p.Goal.ExpectMLMin, IntervalS: p.IntervalS,
		GraduationML: p.Goal.Tube.GraduationML, Levels: 1, RepeatabilityCV: p.Goal.Measurement.RepeatabilityCV,
	}
	l.Reached = goal.After(p.Goal.Passes)
	reading := stats.ResolutionU(60 * goal.GraduationML / goal.IntervalS)
	l.RepeatMLMin = math.Sqrt(l.Reached.SigmaMLMin*l.Reached.SigmaMLMin - reading*reading)
	for passes, most := 2, max(goal.Reach().Passes, p.Goal.Passes); passes <= most; passes += 2 {
		l.Reaches = append(l.Reaches, goal.After(passes))
	}
}

// Enough says that the passes reach blockoff.TargetContrast on every line.
func (p *BlockOffPlan) Enough() bool {
	return !slices.ContainsFunc(p.Lines, func(l LinePlan) bool { return !l.Reached.Enough })
}
