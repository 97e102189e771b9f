package report_test

import (
	"bytes"
	"io"
	"testing"

	"github.com/stretchr/testify/require"

	"leakback/report"
)

// One workbook, with its working, of engines of three sizes.
func BenchmarkWorkbook(b *testing.B) {
	for _, name := range []string{"four", "six", "sixteen"} {
		p := pages(b)[name]
		var out bytes.Buffer
		require.NoError(b, report.Workbook(&out, p))
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if err := report.Workbook(io.Discard, p); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(out.Len())/1024, "KiB/file")
		})
	}
}
