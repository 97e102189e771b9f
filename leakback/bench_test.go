package leakback_test

import (
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
