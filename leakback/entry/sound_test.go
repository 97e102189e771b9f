package entry

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/stats"
)

// format shows a value with all its fields; NaN equals NaN in it.
func format(x any) string {
	if tests, ok := x.([]*leakback.Test); ok {
		var b strings.Builder
		for _, test := range tests {
			fmt.Fprintf(&b, "%+v\n", *test)
		}
		return b.String()
	}
	return fmt.Sprintf("%+v", x)
}

// requireSound holds a test against what its types promise.
func requireSound(t *testing.T, test *leakback.Test) {
	t.Helper()
	_, ok := usualID(test.ID)
	require.True(t, ok, "id %q", test.ID)
	require.Contains(t, []leakback.Method{leakback.MethodIndividual, leakback.MethodBlockOff, leakback.MethodTotal}, test.Method)
	require.Contains(t, []string{"", "driven", "off"}, test.Injectors)
	for _, text := range []string{test.Engine, test.Condition} {
		_, ok = usualText(text)
		require.True(t, ok, "%q", text)
	}
	require.NotEmpty(t, test.Runs)
	for i, run := range test.Runs {
		require.True(t, i == 0 || run.Number > test.Runs[i-1].Number, "runs in order")
		requireSoundRun(t, test, run)
	}
}

func requireSoundRun(t *testing.T, test *leakback.Test, run leakback.Run) {
	t.Helper()
	require.True(t, run.Number >= 1)
	require.NotEmpty(t, run.Readings)
	if merged := test.Method != leakback.MethodIndividual; merged || !math.IsNaN(run.IntervalS) {
		require.True(t, run.IntervalS >= 1 && run.IntervalS <= 86_400, "interval %v", run.IntervalS)
	}
	require.Empty(t, run.LeftOut)
	for i, c := range run.Blocked {
		require.Equal(t, leakback.MethodBlockOff, test.Method)
		require.True(t, c >= 1 && c <= 64 && (i == 0 || c > run.Blocked[i-1]))
		require.True(t, test.Cylinders == 0 || c <= test.Cylinders)
	}
	require.Contains(t, []string{"", "supply", "rail", "return", "tube"}, run.State.FuelTempAt)
	require.True(t, run.State.Cranks >= 0)
	for _, x := range []float64{run.State.RailPressureBar, run.State.BackPressureBar, run.State.EngineRPM} {
		require.False(t, x < 0 || math.IsInf(x, 0))
	}
	for i, rd := range run.Readings {
		if test.Method == leakback.MethodIndividual {
			require.True(t, rd.Cylinder > 0 && (i == 0 || rd.Cylinder > run.Readings[i-1].Cylinder), "cylinders in order, each once")
		} else {
			require.True(t, rd.Cylinder == 0 && (i == 0 || rd.ReturnLine > run.Readings[i-1].ReturnLine), "lines in order, each once")
		}
		require.True(t, test.Cylinders == 0 || rd.Cylinder <= test.Cylinders)
		requireSoundReading(t, rd)
	}
}

func requireSoundReading(t *testing.T, rd leakback.Reading) {
	t.Helper()
	require.True(t, rd.Cylinder >= 0 && rd.Cylinder <= 64)
	require.True(t, rd.DensityGML == 0 || rd.Read() && rd.DensityGML >= 0.6 && rd.DensityGML <= 1.1)
	require.True(t, !rd.DensityAssumed || rd.DensityGML == leakback.AssumedDensityGML)
	tube := rd.Tube
	require.True(t, tube.GraduationML > 0 && tube.ToleranceML >= 0 && tube.CapacityML >= 0, "%+v", tube)
	require.True(t, tube.CapacityML == 0 || tube.GraduationML <= tube.CapacityML, "%+v", tube)
	require.Equal(t, rd.Read(), rd.Typed != "")
	require.True(t, rd.StartML >= 0 && (rd.StartRead || rd.StartML == 0))
	if !rd.Read() {
		require.Equal(t, leakback.Exact, rd.Bound)
		return
	}
	level := stats.Round6(rd.VolumeML)
	require.True(t, level >= stats.Round6(rd.StartML) && level <= 10_000/0.6, "%+v", rd)
	require.True(t, tube.CapacityML == 0 || level <= stats.Round6(tube.CapacityML), "%+v", rd)
	require.True(t, rd.Bound == leakback.Exact || rd.VolumeML > 0)
	require.Equal(t, strconv.QuoteToGraphic(rd.Typed), `"`+rd.Typed+`"`)
}
