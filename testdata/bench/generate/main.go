// Generate writes a readings file for the speed comparison: invented tests of
// six cylinders, the same for every run; of merged returns, 14 runs a test, with
// the word block-off. Usage: generate [block-off] [ROWS] > FILE
package main

import (
	"bufio"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
)

const (
	cylinders = 6
	seed      = 20260101
)

func main() {
	rows, args, make := 1_000_000, os.Args[1:], write
	if len(args) > 0 && args[0] == "block-off" {
		args, make = args[1:], writeBlockOff
	}
	if len(args) > 0 {
		var err error
		if rows, err = strconv.Atoi(args[0]); err != nil || rows < 1 {
			fmt.Fprintln(os.Stderr, "usage: generate [block-off] [ROWS]")
			os.Exit(2)
		}
	}
	w := bufio.NewWriterSize(os.Stdout, 1<<16)
	make(w, rows)
	if err := w.Flush(); err != nil {
		fmt.Fprintln(os.Stderr, "generate:", err)
		os.Exit(3)
	}
}

// write makes tests of healthy injectors with a spread of 12 %, one in six of
// them with a cylinder that returns 1.3 to 3 times as much.
func write(w *bufio.Writer, rows int) {
	rng := rand.New(rand.NewPCG(seed, 0))
	fmt.Fprintln(w, "test_id,cylinder,volume_ml,interval_s,condition")
	for row, test, high := 0, 0, -1; row < rows; row++ {
		cylinder := row % cylinders
		if cylinder == 0 {
			test++
			high = rng.IntN(6 * cylinders) // no cylinder, mostly
		}
		volume := 25 * math.Exp(0.12*rng.NormFloat64())
		if cylinder == high {
			volume *= 1.3 + 1.7*rng.Float64()
		}
		fmt.Fprintf(w, "T%06d,%d,%.0f,60,idle\n", test, cylinder+1, volume)
	}
}

// writeBlockOff makes tests of the mirrored schedule: nothing blocked, 1 to 6, 6
// to 1, nothing blocked; every total repeats within 3 %, and one engine in six
// has a cylinder as above.
func writeBlockOff(w *bufio.Writer, rows int) {
	rng := rand.New(rand.NewPCG(seed, 1))
	fmt.Fprintln(w, "test_id,blocked,volume_ml,interval_s,condition")
	const runs = 2*cylinders + 2
	var shares [cylinders + 1]float64 // by number; none of 0
	for row := range rows {
		if row%runs == 0 {
			for c := 1; c <= cylinders; c++ {
				shares[c] = 30 * math.Exp(0.12*rng.NormFloat64())
			}
			if high := rng.IntN(6 * cylinders); high < cylinders {
				shares[high+1] *= 1.3 + 1.7*rng.Float64()
			}
		}
		blocked := min(row%runs, runs-1-row%runs)
		total := -shares[blocked]
		for _, share := range shares {
			total += share
		}
		cell := strconv.Itoa(blocked)
		if blocked == 0 {
			cell = ""
		}
		fmt.Fprintf(w, "T%06d,%s,%.0f,60,idle\n", row/runs+1, cell, total*(1+0.03*rng.NormFloat64()))
	}
}
