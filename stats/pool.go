package stats

import "math"

// AssumedDoF is how far an assumed relative figure is trusted: to a quarter,
// which JCGM 100:2008, G.4.2 makes 8 degrees of freedom.
const AssumedDoF = 8

// PoolVariance weighs an assumed variance with what was measured, a sum of
// squares on dof degrees of freedom: (8 assumed + squares)/(8 + dof).
func PoolVariance(assumed, squares, dof float64) float64 {
	return (AssumedDoF*assumed + squares) / (AssumedDoF + dof)
}

// LogSpread is the log standard deviation that a relative spread cv stands
// for: sqrt(ln(1 + cv^2)), exact for the lognormal distribution.
func LogSpread(cv float64) float64 { return math.Sqrt(math.Log1p(cv * cv)) }

// RelativeSpread is the relative spread that a log standard deviation s stands
// for: sqrt(exp(s^2) - 1), the inverse of LogSpread.
func RelativeSpread(s float64) float64 { return math.Sqrt(math.Expm1(s * s)) }

// TwoWaySquares gives the sum of squared residuals of every row after row
// means and column means are taken out, and the degrees of freedom of all of
// them together, (rows-1)(columns-1). The rows are of one length; no rows give
// nothing. Divided by (1 - 1/rows) a row's sum has columns-1 degrees of
// freedom on average.
func TwoWaySquares(table [][]float64) (squares []float64, dof float64) {
	rows := len(table)
	if rows == 0 {
		return nil, 0
	}
	columns := len(table[0])
	columnMean := make([]float64, columns)
	var grand float64
	for _, row := range table {
		for k, v := range row {
			columnMean[k] += v / float64(rows)
			grand += v / float64(rows*columns)
		}
	}
	squares = make([]float64, rows)
	for i, row := range table {
		rowMean := Mean(row)
		for k, v := range row {
			e := v - rowMean - columnMean[k] + grand
			squares[i] += e * e
		}
	}
	return squares, float64((rows - 1) * (columns - 1))
}

// ScaleReading is one amount read from a graduated scale.
type ScaleReading struct {
	// Amount is what the error is held against, > 0.
	Amount float64
	// Step is the distance of two marks, in the unit of Amount.
	Step float64
	// Levels is how many levels were read for it: 1, or 2 for a difference.
	Levels float64
	// HalfWidth is the largest error of the scale, in the unit of Amount.
	HalfWidth float64
}

// ScaleVariance is the relative variance that scales give the mean of R
// readings of one thing: reading to the nearest mark averages down, the error
// of the scale itself does not (JCGM 100:2008, 4.3.7 and F.2.2.1):
// sum levels g^2/(12 V^2)/R^2 + (mean of T/V)^2/3. NaN of nothing.
func ScaleVariance(readings []ScaleReading) float64 {
	runs := float64(len(readings))
	var mark, scale float64
	for _, r := range readings {
		u := ResolutionU(r.Step) / r.Amount
		mark += r.Levels * u * u
		scale += r.HalfWidth / r.Amount
	}
	u := RectangularU(scale / runs)
	return mark/(runs*runs) + u*u
}
