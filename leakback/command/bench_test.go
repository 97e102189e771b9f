package command

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// plainBatch writes a readings file of plain tests of six cylinders.
func plainBatch(t testing.TB, rows int) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "batch.csv")
	f, err := os.Create(path)
	require.NoError(t, err)
	fmt.Fprintln(f, "test_id,cylinder,volume_ml,interval_s,condition")
	for i := range rows {
		fmt.Fprintf(f, "T%06d,%d,%d,60,idle\n", i/6, i%6+1, 20+i*7%11)
	}
	require.NoError(t, f.Close())
	return path
}

// BenchmarkCheck is the whole command on 60,000 rows.
func BenchmarkCheck(b *testing.B) {
	path := plainBatch(b, 60_000)
	for _, format := range []string{"csv", "json"} {
		b.Run(format, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				env := &environment{stdout: io.Discard, stderr: io.Discard, getenv: func(string) string { return "" }}
				require.Zero(b, run(context.Background(), env, []string{"check", path, "--format", format}))
			}
		})
	}
}
