package blockoff

import (
	"fmt"
	"math"

	"leakback/stats"
)

// Mirrored is a mirrored schedule solved in closed form, as the formulas of a
// workbook have it.
type Mirrored struct {
	// Passes is how often each cylinder was blocked, Baselines how many runs had
	// nothing blocked.
	Passes, Baselines int
	// MeansMLMin are the mean totals with each cylinder blocked, Ybar_i.
	MeansMLMin []float64
	// TotalMLMin is T = sum Ybar_i/(n-1).
	TotalMLMin float64
	// SharesMLMin are x_i = T - Ybar_i.
	SharesMLMin []float64
	// BaselineMLMin is the mean of the baselines; NaN without one.
	BaselineMLMin float64
	// NotAddingUpMLMin is D, the baselines' mean less T; NaN without one.
	NotAddingUpMLMin float64
	// DriftMLMinPerRun is sum (k - mean k) y_k / sum (k - mean k)^2.
	DriftMLMinPerRun float64
	// Expected are the standard deviations in units of one run's sigma.
	Expected Expected
}

// SolveMirrored solves runs in which each cylinder is blocked alone, equally
// often and at the same mean place in time, the baselines too, and all are
// measured alike: there drift cancels, and Solve comes to the same without a
// constant return. The error is a *NotMirroredError where that is not so, else
// as for Solve.
func SolveMirrored(runs []Run, cylinders []int) (Mirrored, error) {
	p, err := newProblem(runs, Options{Cylinders: cylinders})
	if err != nil {
		return Mirrored{}, err
	}
	cells, err := p.cells()
	if err != nil {
		return Mirrored{}, err
	}
	n := len(cylinders)
	m := Mirrored{Passes: len(cells[0]), Baselines: len(cells[n]), BaselineMLMin: meanTotal(cells[n])}
	for _, cell := range cells[:n] {
		m.MeansMLMin = append(m.MeansMLMin, meanTotal(cell))
		m.TotalMLMin += meanTotal(cell) / float64(n-1)
	}
	for _, mean := range m.MeansMLMin {
		m.SharesMLMin = append(m.SharesMLMin, m.TotalMLMin-mean)
	}
	m.NotAddingUpMLMin = m.BaselineMLMin - m.TotalMLMin
	m.Expected = Expect(n, m.Passes, m.Baselines)
	m.DriftMLMinPerRun, m.Expected.DriftPerRun = p.slope()
	return m, nil
}

// slope is the drift by itself, and its standard deviation in units of sigma.
func (p *problem) slope() (perRun, sd float64) {
	var squares float64
	for _, pt := range p.fitted {
		k := pt.place - p.meanPlace
		perRun += k * pt.totalMLMin
		squares += k * k
	}
	return perRun / squares, 1 / math.Sqrt(squares)
}

// cells gathers the runs by the one cylinder they block, the baselines last,
// and refuses what is not mirrored.
func (p *problem) cells() ([][]*point, error) {
	n := len(p.opts.Cylinders)
	cells := make([][]*point, n+1)
	for _, pt := range p.fitted {
		at := n
		if !pt.baseline() {
			if at = pt.alone(); at < 0 || n < 2 {
				return nil, &NotMirroredError{fmt.Sprintf("run %d does not block one cylinder of several", pt.run.Number)}
			}
		}
		if !alike(pt.run, p.fitted[0].run) {
			return nil, &NotMirroredError{fmt.Sprintf("run %d was not measured like run %d",
				pt.run.Number, p.fitted[0].run.Number)}
		}
		cells[at] = append(cells[at], pt)
	}
	return cells, p.balanced(cells)
}

// balanced wants every cylinder blocked equally often, and whatever is done
// done at the same mean place in time.
func (p *problem) balanced(cells [][]*point) error {
	for i, cell := range cells {
		if i < len(cells)-1 && (len(cell) == 0 || len(cell) != len(cells[0])) {
			return &NotMirroredError{fmt.Sprintf("cylinder %d is blocked alone in %d runs, cylinder %d in %d",
				p.opts.Cylinders[i], len(cell), p.opts.Cylinders[0], len(cells[0]))}
		}
		if len(cell) > 0 && stats.Round6(meanPlace(cell)-p.meanPlace) != 0 {
			return &NotMirroredError{fmt.Sprintf("run %d and those like it do not lie around the middle of the time",
				cell[0].run.Number)}
		}
	}
	return nil
}

// alone is the index of the one blocked cylinder; -1 where there are more.
func (pt *point) alone() int {
	if pt.count != len(pt.open)-1 {
		return -1
	}
	for i, open := range pt.open {
		if open == 0 {
			return i
		}
	}
	return -1
}

func alike(a, b *Run) bool {
	return a.IntervalS == b.IntervalS && a.GraduationML == b.GraduationML && a.Levels == b.Levels
}

func meanTotal(cell []*point) float64 {
	x := make([]float64, len(cell))
	for i, pt := range cell {
		x[i] = pt.totalMLMin
	}
	return stats.Mean(x)
}

func meanPlace(cell []*point) float64 {
	x := make([]float64, len(cell))
	for i, pt := range cell {
		x[i] = pt.place
	}
	return stats.Mean(x)
}
