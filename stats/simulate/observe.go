package simulate

import (
	"math"

	"leakback/stats"
)

// Sample is what the rules get of an engine.
type Sample struct {
	// RateMLMin is each cylinder's mean rate as read, half a mark where the
	// reading was below the first mark.
	RateMLMin []float64
	// Y is their logarithm, OwnVariance its variance by measurement alone.
	Y           []float64
	OwnVariance []float64
	// BelowFirstMark says that the median rate is below the first mark of the
	// coarsest tube: the tool then compares with that mark instead of the set,
	// which is not simulated.
	BelowFirstMark bool

	readings []stats.ScaleReading
	table    [][]float64
	drift    stats.Drift // of runs that do not hold every cylinder
}

// Observe makes the sample of an engine drawn from the scene, reusing the
// sample it is given; a zero Sample will do.
func (s *Scene) Observe(e *Engine, out *Sample) {
	n := s.Cylinders
	if len(out.Y) != n {
		*out = Sample{RateMLMin: make([]float64, n), Y: make([]float64, n), OwnVariance: make([]float64, n)}
	}
	var firstMark float64
	out.drift = s.drift(e)
	for i := range n {
		rate, bound, mark := s.rate(e, i, &out.drift)
		if bound {
			rate /= 2
		}
		out.RateMLMin[i], out.Y[i] = rate, math.Log(rate)
		firstMark = math.Max(firstMark, mark)
	}
	median := stats.Median(out.RateMLMin)
	out.BelowFirstMark = stats.Round6(median) < stats.Round6(firstMark)
	repeatability := s.pooled(e, out)
	for i := range n {
		out.OwnVariance[i] = s.ownVariance(i, median, repeatability, out)
	}
}

// drift is that of the logarithms of the rates over the runs, where these do
// not hold every cylinder; none where nothing was read again.
func (s *Scene) drift(e *Engine) stats.Drift {
	if s.shared() {
		return stats.Drift{}
	}
	t, y := make([][]float64, s.Cylinders), make([][]float64, s.Cylinders)
	for i, volumes := range e.VolumeML {
		for k, v := range volumes {
			if v > 0 {
				t[i], y[i] = append(t[i], float64(k)), append(y[i], math.Log(60*v/s.Runs[k].IntervalS))
			}
		}
	}
	d, _ := stats.FitDrift(t, y)
	return d
}

// rate is the mean over a cylinder's runs, free of drift, whether it is only an
// upper bound because a reading was below the first mark, and the rate of that
// mark.
func (s *Scene) rate(e *Engine, i int, d *stats.Drift) (rateMLMin float64, bound bool, markMLMin float64) {
	var runs float64
	graduation := s.tube(i).GraduationML
	for k, volume := range e.VolumeML[i] {
		if math.IsNaN(volume) {
			continue
		}
		if volume <= 0 {
			volume, bound = graduation, true
		}
		runs++
		rateMLMin += 60 * volume / s.Runs[k].IntervalS * math.Exp(d.Correct(float64(k), 0))
		markMLMin += 60 * graduation / s.Runs[k].IntervalS
	}
	return rateMLMin / runs, bound, markMLMin / runs
}

// pooled is the squared repeatability: the scene's, pooled with what repeated
// runs of the cylinders with a plain reading in every run show.
func (s *Scene) pooled(e *Engine, out *Sample) float64 {
	assumed := s.RepeatabilityCV * s.RepeatabilityCV
	if len(s.Runs) < 2 {
		return assumed
	}
	out.table = out.table[:0]
	for _, volumes := range e.VolumeML {
		if row := logRates(volumes, s.Runs); row != nil {
			out.table = append(out.table, row)
		}
	}
	if len(out.table) < 2 {
		return assumed
	}
	squares, dof := stats.TwoWaySquares(out.table)
	var sum float64
	for _, q := range squares {
		sum += q
	}
	return stats.PoolVariance(assumed, sum, dof)
}

// logRates are the logarithms of a cylinder's rates; nil unless each is plain.
func logRates(volumesML []float64, runs []Run) []float64 {
	row := make([]float64, len(volumesML))
	for k, v := range volumesML {
		if !(v > 0) {
			return nil
		}
		row[k] = math.Log(60 * v / runs[k].IntervalS)
	}
	return row
}

// ownVariance is the relative own variance of cylinder i at the set's level.
// Where cylinders do not share their runs, what a run does to all of them
// counts too.
func (s *Scene) ownVariance(i int, levelMLMin, repeatability float64, out *Sample) float64 {
	tube := s.tube(i)
	out.readings = out.readings[:0]
	wider := 1 + s.driftExtra(i, &out.drift)
	var timing float64
	for k, run := range s.Runs {
		if !s.reads(k, i) {
			continue
		}
		out.readings = append(out.readings, stats.ScaleReading{
			Amount: levelMLMin * run.IntervalS / 60,
			Step:   tube.GraduationML, Levels: wider, HalfWidth: tube.ToleranceML,
		})
		u := s.TimingS * math.Sqrt2 / run.IntervalS
		timing += u * u
	}
	runs := float64(len(out.readings))
	averaged := repeatability / runs
	if !s.shared() {
		averaged += timing/(runs*runs) + s.CommonCV*s.CommonCV/runs
	}
	return averaged*wider + stats.ScaleVariance(out.readings)
}

// driftExtra is what taking drift out adds to the variance of a cylinder's mean.
func (s *Scene) driftExtra(i int, d *stats.Drift) float64 {
	if d.Squares == 0 {
		return 0
	}
	var n, places int
	for k := range s.Runs {
		if s.reads(k, i) {
			n++
			places += k
		}
	}
	return d.Extra(n, float64(places)/float64(n))
}

// shared says whether every run holds every cylinder.
func (s *Scene) shared() bool {
	for _, run := range s.Runs {
		if run.Cylinders != 0 && run.Cylinders < s.Cylinders {
			return false
		}
	}
	return true
}
