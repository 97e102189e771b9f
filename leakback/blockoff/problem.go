package blockoff

import (
	"fmt"
	"math"
	"slices"

	"leakback/stats"
)

// point is one run made ready for the fit.
type point struct {
	run *Run
	// place is its place in time among all runs, from 1: time passes during a
	// run that is left out, too.
	place float64
	// open has 1 for an open cylinder and 0 for a blocked one; count is how many
	// are open.
	open  []float64
	count int
	// totalMLMin is what stands for the total.
	totalMLMin float64
}

func (pt *point) baseline() bool   { return pt.count == len(pt.open) }
func (pt *point) allBlocked() bool { return pt.count == 0 }

// problem is what is to be solved.
type problem struct {
	opts   Options
	all    []point  // in the order of time
	fitted []*point // those not left out
	// meanPlace centres the drift on the fitted runs.
	meanPlace float64
	// variance is the sheet's variance of each fitted run's total.
	variance []float64
	// baselines and sealed count the fitted runs with nothing, and with
	// everything, blocked.
	baselines, sealed int
}

// newProblem checks the runs and puts them in the order of time.
func newProblem(runs []Run, opts Options) (*problem, error) {
	if err := checkCylinders(opts.Cylinders, opts.OtherLines); err != nil {
		return nil, err
	}
	p := &problem{opts: opts}
	order := make([]*Run, len(runs))
	for i := range runs {
		order[i] = &runs[i]
	}
	slices.SortStableFunc(order, func(a, b *Run) int { return a.Number - b.Number })
	p.all = make([]point, len(order))
	for i, run := range order {
		if i > 0 && order[i-1].Number == run.Number {
			return nil, &RepeatedRunError{run.Number}
		}
		p.all[i] = point{run: run, place: float64(i + 1), totalMLMin: run.TotalMLMin}
		if err := p.open(&p.all[i]); err != nil {
			return nil, err
		}
	}
	return p, p.choose()
}

// checkCylinders wants each cylinder once, and at least one in the line.
func checkCylinders(line, others []int) error {
	if len(line) == 0 {
		return fmt.Errorf("a return line without cylinders: expected at least one")
	}
	var seen []int
	for _, c := range slices.Concat(line, others) {
		if c < 1 || slices.Contains(seen, c) {
			return fmt.Errorf("cylinder %d: expected each of the engine's cylinders once, numbered from 1", c)
		}
		seen = append(seen, c)
	}
	return nil
}

// open works out which of the line's cylinders a run leaves open.
func (p *problem) open(pt *point) error {
	pt.open = make([]float64, len(p.opts.Cylinders))
	for i := range pt.open {
		pt.open[i] = 1
	}
	pt.count = len(pt.open)
	for i, c := range pt.run.Blocked {
		if slices.Contains(pt.run.Blocked[:i], c) {
			return &RepeatedCylinderError{pt.run.Number, c}
		}
		if at := slices.Index(p.opts.Cylinders, c); at >= 0 {
			pt.open[at] = 0
			pt.count--
		} else if !slices.Contains(p.opts.OtherLines, c) {
			known := slices.Sorted(slices.Values(slices.Concat(p.opts.Cylinders, p.opts.OtherLines)))
			return &UnknownCylinderError{pt.run.Number, c, known}
		}
	}
	return nil
}

// choose takes the runs that are not left out into the fit.
func (p *problem) choose() error {
	for i := range p.all {
		pt := &p.all[i]
		if pt.run.LeftOut != "" {
			continue
		}
		if err := pt.check(); err != nil {
			return err
		}
		p.fitted = append(p.fitted, pt)
		p.meanPlace += pt.place
		if pt.baseline() {
			p.baselines++
		}
		if pt.allBlocked() {
			p.sealed++
		}
	}
	if len(p.fitted) == 0 {
		return ErrNoRuns
	}
	p.meanPlace /= float64(len(p.fitted))
	if p.sealed == len(p.fitted) {
		return &AllBlockedOnlyError{p.numbers()}
	}
	return nil
}

func (p *problem) numbers() []int {
	numbers := make([]int, len(p.fitted))
	for k, pt := range p.fitted {
		numbers[k] = pt.run.Number
	}
	return numbers
}

// check refuses figures that cannot be, and bounds: half of an upper bound
// stands only where everything is blocked and nothing is expected to return.
func (pt *point) check() error {
	run := pt.run
	for _, f := range []struct {
		what  string
		value float64
		sound bool
		want  string
	}{
		{"total", run.TotalMLMin, run.TotalMLMin >= 0, "a rate in mL/min that is not negative"},
		{"interval", run.IntervalS, run.IntervalS > 0, "a known time in s above zero"},
		{"graduation", run.GraduationML, run.GraduationML > 0, "a step in mL above zero"},
		{"levels", float64(run.Levels), run.Levels == 1 || run.Levels == 2, "1 or 2 levels read"},
	} {
		if !f.sound || math.IsInf(f.value, 0) {
			return &FigureError{run.Number, f.what, f.value, f.want}
		}
	}
	switch {
	case run.AtMost && !run.AtLeast && pt.allBlocked():
		pt.totalMLMin = run.TotalMLMin / 2
	case run.AtLeast || run.AtMost:
		return &BoundedTotalError{run.Number, run.AtLeast}
	}
	return nil
}

// weigh sets each run's variance by the sheet: (r0 ybar)^2 + levels (60 g/t)^2/12.
func (p *problem) weigh() {
	var mean float64
	for _, pt := range p.fitted {
		mean += pt.totalMLMin / float64(len(p.fitted))
	}
	p.variance = make([]float64, len(p.fitted))
	for k, pt := range p.fitted {
		p.variance[k] = runVariance(p.opts.RepeatabilityCV*mean, pt.run.GraduationML, pt.run.IntervalS, pt.run.Levels)
	}
}

// runVariance is the variance of one total that repeats within repeatMLMin.
func runVariance(repeatMLMin, graduationML, intervalS float64, levels int) float64 {
	reading := stats.ResolutionU(60 * graduationML / intervalS)
	return repeatMLMin*repeatMLMin + float64(levels)*reading*reading
}
