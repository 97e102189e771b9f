// Table prints how often the tool's comparison, the usual outlier rules and
// the likelihood-ratio limit are right on simulated engines, as Markdown:
//
//	go run ./stats/simulate/table -seed 1 -engines 20000
//
// The model is that of package simulate. The same seed and number of engines
// give the same table on any machine.
package main

import (
	"flag"
	"fmt"
	"io"
	"os"

	"leakback/stats/simulate"
)

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

// run prints the table; the exit code is 2 for bad use and 3 where the table
// could not be written.
func run(args []string, stdout, stderr io.Writer) int {
	flags := flag.NewFlagSet("table", flag.ContinueOnError)
	flags.SetOutput(stderr)
	seed := flags.Uint64("seed", 1, "seed of every random number")
	engines := flags.Int("engines", 20000, "engines for a line; five times as many for false alarms")
	if err := flags.Parse(args); err != nil {
		return 2
	}
	if flags.NArg() > 0 || *engines < 1 {
		fmt.Fprintln(stderr, "table: expected -seed and -engines (at least 1), nothing else")
		return 2
	}
	p := printer{w: stdout, seed: *seed, engines: *engines}
	for _, section := range []func(*printer){
		(*printer).falseAlarms, (*printer).falseAlarmsByKnowledge, (*printer).oneLeak,
		(*printer).hardCases, (*printer).otherSpreads, (*printer).usual, (*printer).learned,
	} {
		if section(&p); p.err != nil {
			fmt.Fprintln(stderr, "table:", p.err)
			return 3
		}
	}
	return 0
}

// knowledge is what a shop may know of the healthy spread, with the relative
// spread it stands for where that is fixed.
type knowledge struct {
	name  string
	knows simulate.Knowledge
	cv    float64
}

// The true spread of the scenes is 12 %.
const (
	trueCV    = 0.12
	assumedCV = 0.15
)

var (
	known       = knowledge{"known", simulate.Known, trueCV}
	assumed     = knowledge{"default 15 %", simulate.Assumed(assumedCV), assumedCV}
	tooSmall    = knowledge{"8 %, 1.5 times too small", simulate.Assumed(trueCV / 1.5), trueCV / 1.5}
	tooLarge    = knowledge{"18 %, 1.5 times too large", simulate.Assumed(trueCV * 1.5), trueCV * 1.5}
	learned3    = knowledge{"learned from 3", simulate.Learned(3), 0}
	learned10   = knowledge{"learned from 10", simulate.Learned(10), 0}
	learned30   = knowledge{"learned from 30", simulate.Learned(30), 0}
	allKnowings = []knowledge{known, assumed, tooSmall, tooLarge, learned3, learned10, learned30}
	learnFrom   = []int{3, 10, 30}
)
