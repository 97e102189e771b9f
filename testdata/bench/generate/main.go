// Generate writes a readings file for the speed comparison: invented tests of
// six cylinders, the same for every run. Usage: generate [ROWS] > FILE
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
	rows := 1_000_000
	if len(os.Args) > 1 {
		var err error
		if rows, err = strconv.Atoi(os.Args[1]); err != nil || rows < 1 {
			fmt.Fprintln(os.Stderr, "usage: generate [ROWS]")
			os.Exit(2)
		}
	}
	w := bufio.NewWriterSize(os.Stdout, 1<<16)
	write(w, rows)
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
