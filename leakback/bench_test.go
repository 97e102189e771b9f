package leakback_test

import (
	"math/rand/v2"
	"testing"

	"leakback/leakback"
	"leakback/limits"
)

// A six-cylinder test, one cylinder high, with and without an absolute limit:
// in full, as a report shows it, and as a batch needs it.
func BenchmarkEvaluateSix(b *testing.B) {
	for _, c := range []struct {
		name   string
		detail leakback.Detail
		sheet  *limits.Sheet
	}{
		{"full/set", leakback.Full, limits.Builtin()},
		{"full/limit", leakback.Full, maximum(40)},
		{"verdicts/set", leakback.Verdicts, limits.Builtin()},
		{"verdicts/limit", leakback.Verdicts, maximum(40)},
	} {
		b.Run(c.name, func(b *testing.B) {
			test, ev := minute("25 27 48 24 26 25"), leakback.NewEvaluator(c.detail)
			b.ReportAllocs()
			for b.Loop() {
				if _, err := ev.Evaluate(test, c.sheet); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// A block-off test of six cylinders, 14 runs, one cylinder high.
func BenchmarkEvaluateBlockOff(b *testing.B) {
	g := gallery{shares: []float64{30, 25, 35, 28, 31, 70}, seconds: 60, sigma: 3}
	test := g.test(mirrored(b, 6, 2), rand.New(rand.NewPCG(1, 1)))
	for _, c := range []struct {
		name   string
		detail leakback.Detail
	}{{"full", leakback.Full}, {"verdicts", leakback.Verdicts}} {
		b.Run(c.name, func(b *testing.B) {
			ev, sheet := leakback.NewEvaluator(c.detail), maximum(60)
			b.ReportAllocs()
			for b.Loop() {
				if _, err := ev.Evaluate(test, sheet); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
