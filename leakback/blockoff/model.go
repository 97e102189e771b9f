package blockoff

import (
	"errors"
	"math"
	"slices"

	"leakback/stats"
)

// The unknowns stand in this order: the shares, R0, drift, D.

func (m Model) constantAt(shares int) int { return shares }

func (m Model) driftAt(shares int) int {
	if m.ConstantReturn {
		shares++
	}
	return shares
}

func (m Model) levelAt(shares int) int {
	if m.Drift {
		return m.driftAt(shares) + 1
	}
	return m.driftAt(shares)
}

// row is what a run is made of under a model: the sum of open shares + R0 +
// d (k - mean k), a baseline + D.
func (p *problem) row(pt *point, m Model) []float64 {
	row := make([]float64, 0, len(pt.open)+3)
	row = append(row, pt.open...)
	if m.ConstantReturn {
		row = append(row, 1)
	}
	if m.Drift {
		row = append(row, pt.place-p.meanPlace)
	}
	if m.NotAddingUp {
		level := 0.0
		if pt.baseline() {
			level = 1
		}
		row = append(row, level)
	}
	return row
}

func (p *problem) rows(m Model) [][]float64 {
	rows := make([][]float64, len(p.fitted))
	for k, pt := range p.fitted {
		rows[k] = p.row(pt, m)
	}
	return rows
}

// solved is one model's fit with the pooled scatter.
type solved struct {
	*stats.Fit
	model Model
	// factor is the variance of a run over the sheet's: (dof0 + SumSquares) over
	// dof, the sheet's figure pooled with the residuals.
	factor float64
	dof    float64
	// quantile is the two-sided 99 % Student quantile at dof.
	quantile float64
}

func (s *solved) sd(j int) float64 { return s.SD(j, math.Sqrt(s.factor)) }

// covariance is that of the shares, the first unknowns.
func (s *solved) covariance(shares int) [][]float64 {
	c := make([][]float64, shares)
	for i := range c {
		c[i] = make([]float64, shares)
		for j := range c[i] {
			c[i][j] = s.factor * s.Cofactor[i][j]
		}
	}
	return c
}

// fit solves one model.
func (p *problem) fit(m Model) (*solved, error) {
	y, weights := make([]float64, len(p.fitted)), make([]float64, len(p.fitted))
	for k, pt := range p.fitted {
		y[k], weights[k] = pt.totalMLMin, 1/p.variance[k]
	}
	f, err := stats.LeastSquares(p.rows(m), y, weights)
	if err != nil {
		return nil, err
	}
	dof := p.opts.SheetDoF + float64(f.DoF)
	return &solved{
		Fit: f, model: m, dof: dof,
		factor:   (p.opts.SheetDoF + f.SumSquares) / dof,
		quantile: stats.StudentQuantile(otherReturn, dof),
	}, nil
}

// ladder fits shares, drift and D; else without D, else without drift; else it
// says which run to add.
func (p *problem) ladder() (*solved, error) {
	base := Model{ConstantReturn: p.sealed > 0}
	full := Model{ConstantReturn: p.sealed > 0, Drift: true, NotAddingUp: p.baselines > 0}
	f, err := p.fit(full)
	if !dependent(err) {
		return f, err
	}
	level, drift := full, full
	level.Drift, drift.NotAddingUp = false, false
	rungs := []Model{drift}
	// Drift is kept only where it shows without taking for granted that
	// everything adds up: in one pass it would be read from D.
	if stats.Rank(p.rows(full)) == stats.Rank(p.rows(level)) {
		rungs = []Model{level, base}
	}
	for _, m := range rungs {
		f, err := p.fit(m)
		switch {
		case dependent(err):
			continue
		case err == nil && p.opts.Drift == DriftRequired && !m.Drift:
			return nil, &DriftError{Add: slices.Clone(p.fitted[0].run.Blocked)}
		}
		return f, err
	}
	return nil, p.undetermined(base)
}

func dependent(err error) bool {
	var e *stats.DependentError
	return errors.As(err, &e)
}

// undetermined names the cylinders that the runs leave open, and the fewest
// runs that would determine them: one cylinder blocked where that helps, else
// a baseline.
func (p *problem) undetermined(base Model) error {
	rows := p.rows(base)
	rank := stats.Rank(rows)
	e := &UndeterminedError{}
	unit := make([]float64, len(rows[0]))
	for i, c := range p.opts.Cylinders {
		unit[i] = 1
		if stats.Rank(append(slices.Clip(rows), unit)) > rank {
			e.Cylinders = append(e.Cylinders, c)
		}
		unit[i] = 0
	}
	for _, blocked := range p.candidates(e.Cylinders) {
		pt := &point{run: &Run{Blocked: blocked}}
		_ = p.open(pt) // the line's own cylinders
		more := append(slices.Clip(rows), p.row(pt, base))
		if r := stats.Rank(more); r > rank {
			rows, rank = more, r
			e.Add = append(e.Add, blocked)
		}
	}
	return e
}

// candidates are the runs to think of: the open cylinders singly, the others
// singly, a baseline.
func (p *problem) candidates(open []int) [][]int {
	var list [][]int
	for _, c := range open {
		list = append(list, []int{c})
	}
	for _, c := range p.opts.Cylinders {
		if !slices.Contains(open, c) {
			list = append(list, []int{c})
		}
	}
	return append(list, nil)
}
