package entry

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
)

func TestBlockOffFile(t *testing.T) {
	tests := readFile(t, "block-off.csv", NoDefaults())
	require.Len(t, tests, 1)
	test := tests[0]
	assert.Equal(t, leakback.MethodBlockOff, test.Method)
	assert.Equal(t, 0, test.Cylinders, "as many as the evaluation finds blocked")
	require.Len(t, test.Runs, 5)
	var blocked [][]int
	for i, run := range test.Runs {
		assert.Equal(t, i+1, run.Number, "the row's place")
		assert.Len(t, run.Readings, 1)
		blocked = append(blocked, run.Blocked)
	}
	assert.Equal(t, [][]int{nil, {1}, {2}, {2, 3}, nil}, blocked)
	equal(t, leakback.Reading{Typed: "74", VolumeML: 74, Tube: leakback.Tube{GraduationML: 1, CapacityML: 250, ToleranceML: 1}},
		test.Runs[1].Readings[0])
	assert.Equal(t, 352.0, test.Runs[1].State.RailPressureBar)
}

// The returns of two lines read in one run are one run.
func TestTwoLinesFile(t *testing.T) {
	test := readFile(t, "two-lines.csv", minute())[0]
	require.Len(t, test.Runs, 3)
	assert.Equal(t, []int{2}, test.Runs[2].Blocked)
	require.Len(t, test.Runs[2].Readings, 2)
	assert.Equal(t, "left", test.Runs[2].Readings[0].ReturnLine)
	assert.Equal(t, 44.5, test.Runs[2].Readings[0].VolumeML)
	assert.Equal(t, 31.0, test.Runs[2].Readings[1].VolumeML)
}

func TestTotalFile(t *testing.T) {
	test := readFile(t, "total.csv", NoDefaults())[0]
	assert.Equal(t, leakback.MethodTotal, test.Method)
	require.Len(t, test.Runs, 2)
	assert.Equal(t, 2, test.Runs[1].Number)
	assert.Equal(t, 131.5, test.Runs[1].Readings[0].VolumeML)
	assert.Equal(t, 0, test.Runs[1].Readings[0].Cylinder)
}

// In a file with both columns each row says by itself how it was collected.
func TestMixedFile(t *testing.T) {
	tests := readFile(t, "mixed.csv", NoDefaults())
	require.Len(t, tests, 2)
	assert.Equal(t, leakback.MethodIndividual, tests[0].Method)
	assert.Len(t, tests[0].Runs, 1)
	assert.Equal(t, leakback.MethodBlockOff, tests[1].Method)
	require.Len(t, tests[1].Runs, 4)
	assert.Nil(t, tests[1].Runs[0].Blocked)
	assert.Equal(t, 1, tests[1].Runs[0].Number, "its place in the test, not in the file")
	assert.Equal(t, []int{3}, tests[1].Runs[3].Blocked)
}

func TestOneTubeFile(t *testing.T) {
	test := readFile(t, "one-tube.csv", NoDefaults())[0]
	require.Len(t, test.Runs, 4)
	for i, cylinder := range []int{1, 2, 3, 1} {
		require.Len(t, test.Runs[i].Readings, 1)
		assert.Equal(t, cylinder, test.Runs[i].Readings[0].Cylinder)
	}
}

func TestUnknownInterval(t *testing.T) {
	run := readFile(t, "untimed.csv", NoDefaults())[0].Runs[0]
	assert.True(t, math.IsNaN(run.IntervalS))
	assert.Len(t, run.Readings, 3)

	d := NoDefaults()
	d.IntervalS = math.Inf(1)
	tests, err := readString("cylinder,volume_ml\n1,44\n2,>50\n", d)
	require.NoError(t, err)
	assert.True(t, math.IsNaN(tests[0].Runs[0].IntervalS))
	test, err := Volumes("44 >50 41", d)
	require.NoError(t, err)
	assert.True(t, math.IsNaN(test.Runs[0].IntervalS))

	_, err = readString("blocked,volume_ml\n,44\n1,40\n", d)
	requireFaults(t, err, []string{
		`idle.csv: row 2, column interval_s: "unknown": expected the length of the collection, which a merged return is measured by`,
		`idle.csv: row 3, column interval_s: "unknown": expected the length of the collection, which a merged return is measured by`})
}

// 20.75 g at 0.83 g/mL are 25 mL; 16.8 g at 0.84 g/mL are 20 mL.
func TestWeighedFile(t *testing.T) {
	rd := readFile(t, "weighed.csv", minute())[0].Runs[0].Readings
	assert.InDelta(t, 25, rd[0].VolumeML, 1e-12)
	assert.Equal(t, "20.75 g", rd[0].Typed)
	assert.True(t, rd[0].DensityAssumed)
	assert.InDelta(t, 20, rd[1].VolumeML, 1e-12)
	assert.Equal(t, 0.84, rd[1].DensityGML)
	assert.False(t, rd[1].DensityAssumed)
	assert.False(t, rd[2].Read())
	assert.Equal(t, leakback.AtMost, rd[3].Bound)
	assert.InDelta(t, 1, rd[3].VolumeML, 1e-12)

	d := minute()
	d.DensityGML = 0.84
	rd = readFile(t, "weighed.csv", d)[0].Runs[0].Readings
	assert.InDelta(t, 20.75/0.84, rd[0].VolumeML, 1e-12)
	assert.False(t, rd[0].DensityAssumed)

	rd = func() []leakback.Reading {
		tests, err := readString("cylinder,mass_g,over_range,capacity_ml\n1,,1,100\n2,20,1,100\n", minute())
		require.NoError(t, err)
		return tests[0].Runs[0].Readings
	}()
	assert.Equal(t, ">100", rd[0].Typed, "the tube's capacity is no mass")
	assert.Equal(t, 100.0, rd[0].VolumeML)
	assert.Equal(t, leakback.AtLeast, rd[1].Bound)
}

// However many lists of blocked cylinders a batch has, few are kept.
func TestBlockedListsKept(t *testing.T) {
	var text strings.Builder
	text.WriteString("test_id,run,blocked,volume_ml\n")
	for i := range 3 * mostWords {
		fmt.Fprintf(&text, "t%d,1,%d+%d+%d,21\n", i, 1+i%20, 21+i/20%20, 41+i/400%20)
	}
	rd := NewReader(strings.NewReader(text.String()), "batch.csv", "batch", minute())
	for i := range 3 * mostWords {
		test, err := rd.Next()
		require.NoError(t, err)
		require.Equal(t, []int{1 + i%20, 21 + i/20%20, 41 + i/400%20}, test.Runs[0].Blocked)
		require.LessOrEqual(t, len(rd.blocked), mostWords)
	}
}
