package formula_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"leakback/report/formula"
)

// The inverse of the Hilbert matrix of order 3 has whole numbers (from memory;
// the product with it is checked too).
func TestArrays(t *testing.T) {
	hilbert := formula.Block(2, 5, [][]float64{{1, 1. / 2, 1. / 3}, {1. / 2, 1. / 3, 1. / 4}, {1. / 3, 1. / 4, 1. / 5}})
	inverse := hilbert.Inverted()
	assert.Equal(t, "MINVERSE($B$5:$D$7)", inverse.Text)
	for i, row := range [][]float64{{9, -36, 30}, {-36, 192, -180}, {30, -180, 180}} {
		assert.InDeltaSlice(t, row, inverse.Values[i], 1e-9)
	}
	product := hilbert.Transposed().Times(inverse)
	assert.Equal(t, "MMULT(TRANSPOSE($B$5:$D$7),MINVERSE($B$5:$D$7))", product.Text)
	for i, row := range [][]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}} {
		assert.InDeltaSlice(t, row, product.Values[i], 1e-12)
	}
	assert.Equal(t, "C9:E11", product.Range(3, 9))
}

func TestArraysOfOtherShapes(t *testing.T) {
	a := formula.Block(1, 1, [][]float64{{1, 2, 3}, {4, 5, 6}})
	assert.Equal(t, [][]float64{{1, 4}, {2, 5}, {3, 6}}, a.Transposed().Values)
	assert.Equal(t, [][]float64{{14, 32}, {32, 77}}, a.Times(a.Transposed()).Values)
	singular := formula.Block(1, 1, [][]float64{{1, 2}, {2, 4}}).Inverted()
	assert.True(t, math.IsNaN(singular.Values[0][0]))
}
