package blockoff_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"leakback/leakback/blockoff"
)

// world is an invented engine: what its cylinders return, and what else there is.
type world struct {
	shares    []float64 // of cylinders 1, 2 ...
	constant  float64   // in every run
	level     float64   // in baselines only
	drift     float64   // from run to run, nothing in the middle of them
	sigma     float64   // of one run's total
	intervalS float64   // 60 where it is 0
	graduate  float64   // 1 where it is 0
}

// runs measures a schedule in that world.
func (w world) runs(blocked [][]int, random *rand.Rand) []blockoff.Run {
	list := make([]blockoff.Run, len(blocked))
	for k, set := range blocked {
		total := w.constant + w.drift*(float64(k)-float64(len(blocked)-1)/2)
		for i, share := range w.shares {
			if !slices.Contains(set, i+1) {
				total += share
			}
		}
		if len(set) == 0 {
			total += w.level
		}
		if w.sigma > 0 {
			total += w.sigma * random.NormFloat64()
		}
		list[k] = blockoff.Run{Number: k + 1, Blocked: set, TotalMLMin: total,
			IntervalS: 60, GraduationML: 1, Levels: 1}
		if w.intervalS > 0 {
			list[k].IntervalS = w.intervalS
		}
		if w.graduate > 0 {
			list[k].GraduationML = w.graduate
		}
	}
	return list
}

func numbered(n int) []int {
	list := make([]int, n)
	for i := range list {
		list[i] = i + 1
	}
	return list
}

func options(n int) blockoff.Options {
	return blockoff.Options{Cylinders: numbered(n), RepeatabilityCV: 0.03, SheetDoF: 8}
}

func plan(t testing.TB, n, passes int) blockoff.Plan {
	t.Helper()
	p, err := blockoff.Schedule(numbered(n), passes)
	require.NoError(t, err)
	return p
}

func solve(t testing.TB, runs []blockoff.Run, opts blockoff.Options) *blockoff.Solution {
	t.Helper()
	s, err := blockoff.Solve(runs, opts)
	require.NoError(t, err)
	return s
}

func shares(s *blockoff.Solution) []float64 {
	list := make([]float64, len(s.Shares))
	for i, share := range s.Shares {
		list[i] = share.ShareMLMin
	}
	return list
}

// singles is baseline, then each cylinder once: one pass.
func singles(n int) [][]int {
	list := [][]int{nil}
	for _, c := range numbered(n) {
		list = append(list, []int{c})
	}
	return list
}

// pattern is a random set of shares around 30 mL/min.
func pattern(n int, random *rand.Rand) []float64 {
	list := make([]float64, n)
	for i := range list {
		list[i] = 20 + 20*random.Float64()
	}
	return list
}
