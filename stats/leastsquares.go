package stats

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// worstCondition is the condition number (of the design with its columns
// scaled to length 1) beyond which columns count as dependent: a solution
// would have fewer than about five good digits.
const worstCondition = 1e10

// DependentError says that a design does not determine its coefficients.
type DependentError struct {
	// Rank is how many of the columns are independent of one another.
	Rank int
	// Columns is how many coefficients were asked for.
	Columns int
}

// Error names rank and columns.
func (e *DependentError) Error() string {
	return fmt.Sprintf("the equations determine %d of %d unknowns", e.Rank, e.Columns)
}

// Fit is a weighted linear least-squares solution.
type Fit struct {
	// Coefficients b minimise sum w (y - X b)^2.
	Coefficients []float64
	// Cofactor is (X'WX)^-1; times the variance of an observation of weight 1
	// it is the covariance of the coefficients.
	Cofactor [][]float64
	// Residuals are y - X b.
	Residuals []float64
	// Leverages are the diagonal of the hat matrix, from 0 to 1; an observation
	// of leverage 1 is met exactly whatever it is.
	Leverages []float64
	// SumSquares is sum w (y - X b)^2.
	SumSquares float64
	// DoF is observations less rank.
	DoF int
	// Condition is an estimate of the condition number after scaling columns.
	Condition float64

	qr    mat.QR
	scale []float64 // length of each weighted column
	root  []float64 // square root of each weight
}

// LeastSquares solves y = X b + e for the rows of X, with the weight of an
// observation inversely proportional to its variance (nil: all 1):
// b = (X'WX)^-1 X'Wy, by Householder QR of sqrt(W) X with its columns scaled to
// length 1 (Golub and Van Loan, Matrix Computations, 5.3). The error is a
// *DependentError where the columns are not independent, fewer rows than
// columns among it; another where lengths differ, a figure is not finite or a
// weight is not above zero.
func LeastSquares(rows [][]float64, y, weights []float64) (*Fit, error) {
	f, err := newFit(rows, y, weights)
	if err != nil {
		return nil, err
	}
	design := f.scaled(rows)
	columns := len(f.scale)
	if len(rows) < columns {
		return nil, &DependentError{rank(design), columns}
	}
	f.qr.Factorize(design)
	f.Condition = f.qr.Cond()
	if !(f.Condition <= worstCondition) {
		return nil, &DependentError{rank(design), columns}
	}
	f.Coefficients = f.Apply(y)
	f.spread(design)
	f.DoF = len(rows) - columns
	f.Residuals = make([]float64, len(y))
	for k, row := range rows {
		f.Residuals[k] = y[k] - floats.Dot(row, f.Coefficients)
		e := f.root[k] * f.Residuals[k]
		f.SumSquares += e * e
	}
	return f, nil
}

// Rank is how many columns of X are linearly independent, by the singular
// values of X with its columns scaled to length 1; 0 of no rows.
func Rank(rows [][]float64) int {
	if len(rows) == 0 || len(rows[0]) == 0 {
		return 0
	}
	f := &Fit{scale: make([]float64, len(rows[0])), root: make([]float64, len(rows))}
	for k := range f.root {
		f.root[k] = 1
	}
	return rank(f.scaled(rows))
}

func rank(scaled *mat.Dense) int {
	var svd mat.SVD
	if !svd.Factorize(scaled, mat.SVDNone) {
		return 0 // did not converge: nothing can be relied upon
	}
	return svd.Rank(1 / worstCondition)
}

// newFit checks what goes in and takes the square roots of the weights.
func newFit(rows [][]float64, y, weights []float64) (*Fit, error) {
	if len(rows) == 0 || len(rows[0]) == 0 {
		return nil, errors.New("least squares need at least one row and one column")
	}
	if len(y) != len(rows) || weights != nil && len(weights) != len(rows) {
		return nil, fmt.Errorf("least squares of %d rows got %d values and %d weights",
			len(rows), len(y), len(weights))
	}
	f := &Fit{scale: make([]float64, len(rows[0])), root: make([]float64, len(rows))}
	for k, row := range rows {
		f.root[k] = 1
		if weights != nil {
			f.root[k] = math.Sqrt(weights[k])
		}
		if len(row) != len(f.scale) || !finite(y[k], f.root[k]) || !finite(row...) || f.root[k] == 0 {
			return nil, fmt.Errorf("least squares, row %d: expected %d finite figures, "+
				"a finite value and a weight above zero", k+1, len(f.scale))
		}
	}
	return f, nil
}

// scaled is sqrt(W) X with columns of length 1; a column of zeros stays so.
func (f *Fit) scaled(rows [][]float64) *mat.Dense {
	columns := len(f.scale)
	d := mat.NewDense(len(rows), columns, nil)
	for j := range f.scale {
		var length float64
		for k := range rows {
			length = math.Hypot(length, f.root[k]*rows[k][j])
		}
		f.scale[j] = length
		for k := range rows {
			if length > 0 {
				d.Set(k, j, f.root[k]*rows[k][j]/length)
			}
		}
	}
	return d
}

// Apply gives the coefficients that the same design and weights make of other
// observations, as many as the design has rows; it panics otherwise.
func (f *Fit) Apply(y []float64) []float64 {
	right := mat.NewVecDense(len(y), nil)
	for k, v := range y {
		right.SetVec(k, f.root[k]*v)
	}
	var b mat.VecDense
	// The condition has been checked against a stricter bound than its error's.
	_ = f.qr.SolveVecTo(&b, false, right)
	out := make([]float64, len(f.scale))
	for j, length := range f.scale {
		out[j] = b.AtVec(j) / length
	}
	return out
}

// spread sets cofactor and leverages from the inverse of R.
func (f *Fit) spread(design *mat.Dense) {
	columns := len(f.scale)
	var r mat.Dense
	f.qr.RTo(&r)
	upper := mat.NewTriDense(columns, mat.Upper, nil)
	upper.Copy(r.Slice(0, columns, 0, columns))
	var inverse mat.TriDense
	_ = inverse.InverseTri(upper) // as above
	f.Cofactor = make([][]float64, columns)
	for i := range f.Cofactor {
		f.Cofactor[i] = make([]float64, columns)
		for j := range f.Cofactor[i] {
			for k := max(i, j); k < columns; k++ {
				f.Cofactor[i][j] += inverse.At(i, k) * inverse.At(j, k)
			}
			f.Cofactor[i][j] /= f.scale[i] * f.scale[j]
		}
	}
	var q mat.Dense
	q.Mul(design, &inverse)
	f.Leverages = make([]float64, len(f.root))
	for k := range f.Leverages {
		row := q.RawRowView(k)
		f.Leverages[k] = floats.Dot(row, row)
	}
}

// StdDev is the residual standard deviation of an observation of weight 1,
// sqrt(SumSquares/DoF); NaN without degrees of freedom.
func (f *Fit) StdDev() float64 {
	if f.DoF == 0 {
		return math.NaN()
	}
	return math.Sqrt(f.SumSquares / float64(f.DoF))
}

// SD is the standard deviation of coefficient j where an observation of weight
// 1 has the standard deviation sigma.
func (f *Fit) SD(j int, sigma float64) float64 { return sigma * math.Sqrt(f.Cofactor[j][j]) }

// Studentised are the residuals, each over its standard deviation as the other
// observations show it (external studentisation, the t of a mean shift of that
// observation: Cook and Weisberg, Residuals and Influence in Regression, 1982,
// 2.2). A prior variance of 1 per unit weight with priorDoF degrees of freedom
// is pooled with the rest; 0 is the textbook's figure. Each is Student's t with
// dof degrees of freedom. NaN where an observation stands alone (leverage 1)
// or dof is not above zero.
func (f *Fit) Studentised(priorDoF float64) (t []float64, dof float64) {
	dof = float64(f.DoF) + priorDoF - 1
	t = make([]float64, len(f.Residuals))
	for k, e := range f.Residuals {
		free := 1 - f.Leverages[k]
		if free < 1e-9 || dof <= 0 {
			t[k] = math.NaN()
			continue
		}
		e *= f.root[k]
		others := math.Max(0, f.SumSquares-e*e/free)
		t[k] = e / math.Sqrt(free*(priorDoF+others)/dof)
	}
	return t, dof
}

func finite(x ...float64) bool {
	for _, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return false
		}
	}
	return true
}
