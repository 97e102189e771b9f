package leakback

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestLongest(t *testing.T) {
	for field, most := range map[string]int{
		FieldVehicle: 200, FieldTechnician: 200, FieldTested: 200, FieldComplaint: 1000, FieldNote: 1000,
		FieldEngine: 100, "condition": 100, "return_line": 100, FieldName: 100,
	} {
		assert.Equal(t, most, Longest(field), field)
	}
}
