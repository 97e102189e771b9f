package formula

import (
	"math"
	"strconv"

	"gonum.org/v1/gonum/mat"
)

// Array is the formula of a block of cells at once, without the equals sign,
// with the value of each of its cells. Faults are NaN.
type Array struct {
	Text   string
	Values [][]float64
}

// Block is the cells of a sheet from one corner on with what they hold, row by
// row; what is no number is NaN.
func Block(col, row int, values [][]float64) Array {
	last := fixed(col+len(values[0])-1, row+len(values)-1)
	return Array{Text: fixed(col, row) + ":" + last, Values: values}
}

// Transposed has rows for columns.
func (a Array) Transposed() Array {
	t := zeros(len(a.Values[0]), len(a.Values))
	for i, row := range a.Values {
		for j, x := range row {
			t[j][i] = x
		}
	}
	return Array{Text: "TRANSPOSE(" + a.Text + ")", Values: t}
}

// Times is the matrix product: as many rows as a has, as many columns as b.
func (a Array) Times(b Array) Array {
	out := zeros(len(a.Values), len(b.Values[0]))
	for i := range out {
		for j := range out[i] {
			for k, x := range a.Values[i] {
				out[i][j] += x * b.Values[k][j]
			}
		}
	}
	return Array{Text: "MMULT(" + a.Text + "," + b.Text + ")", Values: out}
}

// Inverted is the inverse of a square block; NaN throughout where it has none.
func (a Array) Inverted() Array {
	n := len(a.Values)
	flat := mat.NewDense(n, n, nil)
	for i, row := range a.Values {
		flat.SetRow(i, row)
	}
	out := zeros(n, n)
	var inverse mat.Dense
	err := inverse.Inverse(flat)
	for i := range out {
		for j := range out[i] {
			out[i][j] = math.NaN()
			if err == nil {
				out[i][j] = inverse.At(i, j)
			}
		}
	}
	return Array{Text: "MINVERSE(" + a.Text + ")", Values: out}
}

func zeros(rows, columns int) [][]float64 {
	out := make([][]float64, rows)
	for i := range out {
		out[i] = make([]float64, columns)
	}
	return out
}

// Range is the cells that the array takes up from a corner on, as $A$1:$B$2
// without the signs.
func (a Array) Range(col, row int) string {
	return letters(col) + strconv.Itoa(row) + ":" + letters(col+len(a.Values[0])-1) + strconv.Itoa(row+len(a.Values)-1)
}
