package stats

// Drift is a linear change over time that values of several things share.
type Drift struct {
	// PerStep is the change from one place in time to the next.
	PerStep float64
	// Middle is the mean place of the values, to which Correct brings a value.
	Middle float64
	// Squares is the sum of (t - mean t of its thing)^2: the variance of PerStep
	// is that of a value over Squares.
	Squares float64
}

// FitDrift fits y_ik = a_i + d (t_ik - middle) by least squares, a row of places
// t and of values y for each thing, of equal lengths: d is the sum of
// (t - mean t)(y - mean y) over that of (t - mean t)^2, means of each thing. It
// is false where nothing was measured at two places, so that no change shows.
func FitDrift(t, y [][]float64) (d Drift, ok bool) {
	var products, n float64
	for i := range t {
		meanT, meanY := Mean(t[i]), Mean(y[i])
		for k := range t[i] {
			off := t[i][k] - meanT
			products += off * (y[i][k] - meanY)
			d.Squares += off * off
			d.Middle += t[i][k]
			n++
		}
	}
	if d.Squares == 0 {
		return Drift{}, false
	}
	d.Middle /= n
	d.PerStep = products / d.Squares
	return d, true
}

// Correct brings a value from its place in time to the middle.
func (d *Drift) Correct(t, y float64) float64 { return y - d.PerStep*(t-d.Middle) }

// Extra is the variance that correction adds to the mean of n values of one
// thing around meanT, in parts of the variance of that mean:
// n (mean t - middle)^2 / Squares.
func (d *Drift) Extra(n int, meanT float64) float64 {
	off := meanT - d.Middle
	return float64(n) * off * off / d.Squares
}
