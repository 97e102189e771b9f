package command

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// variedHeader names every column that a test of this batch may fill.
const variedHeader = "test_id,engine,condition,injectors,run,interval_s,cranks,rail_pressure_bar,fuel_temp_c," +
	"engine_rpm,back_pressure_bar,graduation_ml,capacity_ml,tolerance_ml,cylinder,start_ml,volume_ml\n"

// variedBatch is a readings file of invented tests, the same for a seed: 1 to
// 16 cylinders, 1 to 3 runs, tubes of several kinds, overflows, readings below
// the first mark, unread ones and start levels, states recorded or not, and
// engines whose sheets (testdata/batch) hold limits of every kind.
func variedBatch(tests int, seed uint64) string {
	v := varied{rng: rand.New(rand.NewPCG(seed, 1))}
	v.WriteString(variedHeader)
	for i := range tests {
		v.test(i)
	}
	return v.String()
}

type varied struct {
	strings.Builder
	rng *rand.Rand
}

// oneOf picks a word; a word twice in the list is twice as likely.
func (v *varied) oneOf(words ...string) string { return words[v.rng.IntN(len(words))] }

func (v *varied) test(i int) {
	id := fmt.Sprintf("T%06d,%s,%s,%s", i,
		v.oneOf("", "Northmoor Rate", "Northmoor Rate", "Northmoor Crank", "Northmoor States", "Northmoor Held"),
		v.oneOf("idle", "idle", "idle", "cranking", "", "warm-up"), v.oneOf("", "driven", "driven", "off"))
	tube := v.oneOf("1,100,1", "1,100,1", "1,,1", "0.2,25,0.2", "2,250,1", "5,500,5")
	var step float64
	_, err := fmt.Sscan(strings.Split(tube, ",")[0], &step)
	if err != nil {
		panic(err) // written above
	}
	level := []float64{0.4, 5, 20, 30, 30, 60}[v.rng.IntN(6)]
	spread := []float64{0.02, 0.1, 0.15, 0.4}[v.rng.IntN(4)]
	rates := make([]float64, []int{1, 2, 3, 4, 4, 5, 6, 6, 6, 8, 12, 16}[v.rng.IntN(12)])
	for c := range rates {
		rates[c] = level * math.Exp(spread*v.rng.NormFloat64())
		if v.rng.IntN(9) == 0 {
			rates[c] *= []float64{0.2, 0.5, 1.4, 1.6, 2, 3, 6}[v.rng.IntN(7)]
		}
	}
	for run := range []int{1, 1, 1, 2, 3}[v.rng.IntN(5)] {
		state := fmt.Sprintf("%s,%d,%s,%s,%s,%s,%s,%s,%s", id, run+1, v.oneOf("15", "30", "60", "60", "120"),
			v.oneOf("", "1", "1", "2"), v.oneOf("", "280", "350", "350", "420"), v.oneOf("", "20", "45", "45", "70"),
			v.oneOf("", "500", "750", "750", "1000"), v.oneOf("", "5", "10", "10", "10"), tube)
		v.run(state, rates, step)
	}
}

// run writes one row a cylinder, its level read to the nearest mark.
func (v *varied) run(state string, rates []float64, step float64) {
	cells := strings.Split(state, ",")
	interval, _ := strconv.ParseFloat(cells[5], 64) // written above
	capacity, err := strconv.ParseFloat(cells[12], 64)
	if err != nil {
		capacity = math.Inf(1)
	}
	scatter := []float64{0.01, 0.03, 0.2}[v.rng.IntN(3)]
	for c, rate := range rates {
		net := rate * interval / 60 * math.Exp(scatter*v.rng.NormFloat64())
		start, level := "", net
		if v.rng.IntN(8) == 0 {
			level += 2 * step
			start = strconv.FormatFloat(2*step, 'f', -1, 64)
		}
		fmt.Fprintf(v, "%s,%d,%s,%s\n", state, c+1, start, v.volume(level, step, capacity, start != ""))
	}
}

func (v *varied) volume(level, step, capacity float64, started bool) string {
	marks := math.Round(level/step) * step
	switch {
	case v.rng.IntN(60) == 0:
		return ""
	case marks > capacity:
		return ">" + strconv.FormatFloat(capacity, 'f', -1, 64)
	case level < step && !started && v.rng.IntN(2) == 0:
		return "<" + strconv.FormatFloat(step, 'f', -1, 64)
	case started:
		marks = max(marks, 2*step)
	}
	return strconv.FormatFloat(marks, 'f', 3, 64)
}

// batchConfig is a configuration folder with the sheets of testdata/batch.
func batchConfig(t testing.TB) string {
	t.Helper()
	dir := t.TempDir()
	sheets := filepath.Join(dir, "leakback", "limits")
	require.NoError(t, os.CopyFS(sheets, os.DirFS(root+"/testdata/batch")))
	return dir
}
