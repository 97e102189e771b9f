package command

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/exec"
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

// The programs of the speed comparison build: nothing else looks at them.
func TestBenchPrograms(t *testing.T) {
	if _, err := exec.LookPath("go"); err != nil {
		t.Skip("Go itself is not there: ", err)
	}
	for _, name := range []string{"bare", "generate"} {
		cmd := exec.CommandContext(t.Context(), "go", "vet", "./testdata/bench/"+name)
		cmd.Dir = root
		out, err := cmd.CombinedOutput()
		require.NoError(t, err, "%s", out)
	}
}
