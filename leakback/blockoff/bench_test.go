package blockoff_test

import (
	"math/rand/v2"
	"testing"

	"leakback/leakback/blockoff"
)

func BenchmarkSolveSixMirrored(b *testing.B) {
	w := world{shares: []float64{30, 25, 35, 28, 31, 70}, sigma: 3}
	runs := w.runs(plan(b, 6, 2).Blocked, rand.New(rand.NewPCG(1, 1)))
	opts := options(6)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := blockoff.Solve(runs, opts); err != nil {
			b.Fatal(err)
		}
	}
}
