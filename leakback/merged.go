package leakback

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"leakback/leakback/blockoff"
	"leakback/limits"
	"leakback/limits/quantity"
	"leakback/stats"
)

// notRead keeps a run whose total was not read out of the fit: time passed
// during it all the same.
const notRead = "not read"

// solve finds every cylinder's share of the merged return, line by line.
func (e *evaluation) solve() error {
	lines, err := e.returnLines()
	if err != nil {
		return err
	}
	for _, line := range lines {
		solved, err := e.solveLine(&line)
		if err != nil && len(lines) > 1 {
			err = fmt.Errorf("return line %s: %w", line.Name, err)
		}
		if err != nil {
			return err
		}
		if solved == nil {
			e.unmeasured = true
			continue
		}
		solved.index = len(e.lines)
		e.lines = append(e.lines, solved)
	}
	e.takeShares()
	return nil
}

// returnLines are the engine's return lines and their cylinders, as far as the
// readings ask for them: where these name no line, or one that no sheet knows,
// all cylinders drain into it.
func (e *evaluation) returnLines() ([]limits.ReturnLine, error) {
	names := e.lineNames()
	known := e.sheet.ReturnLines
	switch {
	case len(names) == 1 && (names[0] == "" || len(known) == 0):
		return []limits.ReturnLine{{Name: names[0], Cylinders: e.numbers}}, nil
	case slices.Contains(names, ""):
		return nil, fmt.Errorf("readings without a return line beside others of %s: expected the line of each",
			strings.Join(slices.DeleteFunc(names, func(n string) bool { return n == "" }), " and "))
	case len(known) == 0 && e.test.Method == MethodTotal:
		return namedLines(names), nil
	case len(known) == 0:
		return nil, fmt.Errorf("return lines %s: expected return_lines in the limits sheet %s, which say what "+
			"cylinders drain into each", strings.Join(names, " and "), e.sheet.Name)
	}
	return known, e.fitLines(names, known)
}

// fitLines holds the lines that readings name, and their cylinders, against
// those of the sheet.
func (e *evaluation) fitLines(names []string, known []limits.ReturnLine) error {
	var all []string
	for i := range known {
		all = append(all, known[i].Name)
		if most := slices.Max(known[i].Cylinders); e.test.Method == MethodBlockOff && most > len(e.numbers) {
			return fmt.Errorf("%s, and in the limits sheet %s cylinder %d drains into return line %s: expected one engine",
				count(len(e.numbers), "cylinder"), e.sheet.Name, most, known[i].Name)
		}
	}
	for _, name := range names {
		if !slices.ContainsFunc(all, func(n string) bool { return sameLine(n, name) }) {
			return fmt.Errorf("return line %s: expected %s, as the limits sheet %s has",
				quantity.Quote(name), strings.Join(all, " or "), e.sheet.Name)
		}
	}
	return nil
}

// sameLine compares what people typed for a return line.
func sameLine(a, b string) bool { return strings.EqualFold(a, b) }

// namedLines are lines of which the cylinders do not matter.
func namedLines(names []string) []limits.ReturnLine {
	lines := make([]limits.ReturnLine, len(names))
	for i, name := range names {
		lines[i].Name = name
	}
	return lines
}

// lineNames are the return lines that the readings name, each once.
func (e *evaluation) lineNames() []string {
	var names []string
	for i := range e.entered.Runs {
		for k := range e.entered.Runs[i].Readings {
			name := e.entered.Runs[i].Readings[k].ReturnLine
			if !slices.ContainsFunc(names, func(n string) bool { return sameLine(n, name) }) {
				names = append(names, name)
			}
		}
	}
	return names
}

// solveLine solves one line; nil where nothing of it was read.
func (e *evaluation) solveLine(line *limits.ReturnLine) (*solvedLine, error) {
	runs, parts := e.totalsOf(line.Name)
	if !slices.ContainsFunc(runs, func(r blockoff.Run) bool { return r.LeftOut != notRead }) {
		return nil, nil
	}
	opts := blockoff.Options{
		Cylinders: line.Cylinders, RepeatabilityCV: e.sheet.Measurement.RepeatabilityCV, SheetDoF: stats.AssumedDoF,
	}
	for _, c := range e.numbers {
		if !slices.Contains(line.Cylinders, c) {
			opts.OtherLines = append(opts.OtherLines, c)
		}
	}
	if e.test.FitDrift {
		opts.Drift = blockoff.DriftRequired
	}
	solution, err := blockoff.Solve(runs, opts)
	if err != nil {
		return nil, err
	}
	solution.Residuals = slices.DeleteFunc(solution.Residuals, func(r blockoff.Residual) bool { return r.Run.LeftOut == notRead })
	solved := &solvedLine{name: line.Name, Solution: solution}
	solved.describe(runs, parts, line.Cylinders)
	return solved, nil
}

// totalsOf are the runs of one line as package blockoff takes them, with what
// each reading contributes.
func (e *evaluation) totalsOf(line string) ([]blockoff.Run, []part) {
	var runs []blockoff.Run
	var parts []part
	for i := range e.entered.Runs {
		run := &e.entered.Runs[i]
		for k := range run.Readings {
			r := &run.Readings[k]
			if !sameLine(r.ReturnLine, line) {
				continue
			}
			p := newPart(i, run, r, &e.sheet.Measurement)
			one := blockoff.Run{
				Number: run.Number, Blocked: run.Blocked, LeftOut: run.LeftOut,
				TotalMLMin: p.rateMLMin, AtLeast: p.bound == AtLeast, AtMost: p.bound == AtMost,
				IntervalS: run.IntervalS, GraduationML: r.Tube.GraduationML, Levels: int(p.levels),
				RailPressureBar: run.State.RailPressureBar,
			}
			if !r.Read() {
				one.LeftOut = notRead
			}
			runs, parts = append(runs, one), append(parts, p)
		}
	}
	return runs, parts
}

// describe gathers what the uncertainty of the line's figures rests on beside
// the fit.
func (l *solvedLine) describe(runs []blockoff.Run, parts []part, cylinders []int) {
	l.repeats = make([]int, len(cylinders))
	fitted := 0.0
	for k := range runs {
		if runs[k].LeftOut != "" {
			continue
		}
		p := &parts[k]
		fitted++
		l.timing += p.timingS * p.timingS / (p.intervalS * p.intervalS)
		l.tubeMLMin += 60 * p.tube.ToleranceML / p.intervalS
		open := true
		for i, c := range cylinders {
			if slices.Contains(runs[k].Blocked, c) {
				l.repeats[i]++
				open = false
			}
		}
		if open {
			l.baselines++
		}
	}
	l.timing = math.Sqrt(l.timing / fitted)
	l.tubeMLMin = stats.RectangularU(l.tubeMLMin / fitted)
	for i := range l.repeats {
		l.repeats[i] = max(1, l.repeats[i])
	}
}

// takeShares makes the shares the cylinders' rates.
func (e *evaluation) takeShares() {
	e.all, e.shares = resized(e.all, len(e.numbers)), resized(e.shares, len(e.numbers))
	nan := math.NaN()
	for i, c := range e.numbers {
		e.all[i] = series{cylinder: c, rateMLMin: nan, numberMLMin: nan}
	}
	solutions := make([]*blockoff.Solution, len(e.lines))
	for l, line := range e.lines {
		solutions[l] = line.Solution
	}
	contrasts := blockoff.Contrasts(solutions...)
	for l, line := range e.lines {
		for k := range line.Shares {
			i := slices.Index(e.numbers, line.Shares[k].Cylinder)
			e.takeShare(i, line, k, contrasts[l][k])
		}
	}
}

func (e *evaluation) takeShare(i int, line *solvedLine, at int, contrastMLMin float64) {
	from := &line.Shares[at]
	e.shares[i] = share{
		line: line, at: at, plainMLMin: from.ShareMLMin, contrastMLMin: contrastMLMin,
		leastMLMin: from.LeastMLMin(), repeats: line.repeats[at],
		budget: line.budget(from.ShareMLMin, from.SDMLMin, line.repeats[at], e.sheet.Measurement.CommonCV),
	}
	s := &e.all[i]
	s.rateMLMin, s.numberMLMin, s.share = from.RateMLMin, from.NumberMLMin, &e.shares[i]
	if from.AtMost {
		s.bound = AtMost
	}
}

// mergedTotal is the return of all lines with nothing blocked and its
// uncertainty: what runs scatter is each line's own, what start, stop, state
// and scale do is common to all.
func (e *evaluation) mergedTotal() (valueMLMin float64, b Budget) {
	var parts []stats.Part
	for _, line := range e.lines {
		repeats := max(1, line.baselines)
		if !line.Total.FromBaselines {
			repeats = slices.Min(line.repeats)
		}
		own := line.budget(line.Total.MLMin, line.Total.SDMLMin, repeats, e.sheet.Measurement.CommonCV)
		valueMLMin += line.Total.MLMin
		b.RepeatabilityMLMin = math.Hypot(b.RepeatabilityMLMin, own.RepeatabilityMLMin)
		b.TubeMLMin = math.Hypot(b.TubeMLMin, line.tubeMLMin)
		b.TimingMLMin += own.TimingMLMin
		b.CommonMLMin += own.CommonMLMin
		parts = append(parts, stats.Part{U: own.RepeatabilityMLMin, DoF: line.SigmaDoF})
	}
	b.StandardMLMin = stats.Quadrature(b.TubeMLMin, b.RepeatabilityMLMin, b.TimingMLMin, b.CommonMLMin)
	b.DoF = stats.EffectiveDoF(b.StandardMLMin, append(parts, stats.Part{U: b.CommonMLMin, DoF: stats.AssumedDoF})...)
	b.ExpandedMLMin = stats.T95(b.DoF) * b.StandardMLMin
	return valueMLMin, b
}

// blockOff is what the lines say beside the shares, all of them together.
func (e *evaluation) blockOff() *BlockOff {
	b := &BlockOff{}
	for _, line := range e.lines {
		b.Lines = append(b.Lines, Line{line.name, line.Solution})
		b.NotAddingUpMLMin += line.NotAddingUp.MLMin
		b.SDMLMin = math.Hypot(b.SDMLMin, line.NotAddingUp.SDMLMin)
		b.SigmaMLMin = math.Hypot(b.SigmaMLMin, line.SigmaMLMin)
		b.DriftMLMinPerRun += line.DriftMLMinPerRun
		b.DoF += line.DoF
	}
	if len(e.lines) == 0 {
		nan := math.NaN()
		b.NotAddingUpMLMin, b.SDMLMin, b.SigmaMLMin, b.DriftMLMinPerRun = nan, nan, nan, nan
	}
	return b
}
