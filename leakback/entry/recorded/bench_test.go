package recorded

import (
	"testing"

	"github.com/stretchr/testify/require"

	"leakback/leakback"
)

// BenchmarkTest is what a list of tests pays for each: one run of six cylinders,
// and fourteen runs of a merged return.
func BenchmarkTest(b *testing.B) {
	for _, name := range []string{"overflow.csv", "block-off.csv"} {
		b.Run(name, func(b *testing.B) {
			r := leakback.NewRecord(Events(demo(b, name), leakback.Job{}, nil))
			b.ReportAllocs()
			for b.Loop() {
				_, err := Test(r)
				require.NoError(b, err)
			}
		})
	}
}
