package recorded

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/entry"
	"leakback/limits"
)

// shown is a test with all its fields; NaN equals NaN in it.
func shown(t *leakback.Test) string { return fmt.Sprintf("%#v", *t) }

// rapidT is what testing.T and rapid.T have in common.
type rapidT interface {
	require.TestingT
	Helper()
}

// roundTrip makes a test of what a test says.
func roundTrip(t rapidT, want *leakback.Test) []leakback.Event {
	t.Helper()
	said := Events(want, leakback.Job{}, nil)
	got, err := Test(leakback.NewRecord(said))
	require.NoError(t, err, "%v", said)
	require.Equal(t, shown(want), shown(got), "%v", said)
	return said
}

// flags are those of a technician who leaves much to them.
func flags() entry.Defaults {
	d := entry.NoDefaults()
	d.IntervalS, d.Cylinders, d.FitDrift = 60, 6, true
	return d
}

func testsOf(t rapidT, text, name string, d entry.Defaults) []*leakback.Test {
	rd := entry.NewReader(strings.NewReader(text), name, entry.TestID(name), d)
	var tests []*leakback.Test
	for {
		test, err := rd.Next()
		if err == io.EOF {
			return tests
		}
		require.NoError(t, err)
		tests = append(tests, test)
	}
}

func TestEveryFileThatCanBeReadComesBack(t *testing.T) {
	total := 0
	for _, pattern := range []string{"../../../testdata/readings/*.?sv", "../../../testdata/demo/*.csv"} {
		names, err := filepath.Glob(pattern)
		require.NoError(t, err)
		for _, name := range names {
			data, err := os.ReadFile(name)
			require.NoError(t, err)
			for _, test := range testsOf(t, string(data), name, flags()) {
				roundTrip(t, test)
				total++
			}
		}
	}
	require.GreaterOrEqual(t, total, 30)
}

func TestJobAndSheetComeBack(t *testing.T) {
	var job leakback.Job
	for i, name := range leakback.JobFields() {
		*job.Field(name) = fmt.Sprintf("%s %d", name, i)
	}
	sheet, err := limits.Load("../../../testdata/demo/northmoor-six-90.toml")
	require.NoError(t, err)
	sheet.Origin = limits.OriginNamed
	for _, s := range []*limits.Sheet{sheet, limits.Builtin()} {
		r := leakback.NewRecord(Events(&leakback.Test{}, job, s))
		require.Equal(t, job, r.Job())
		got, err := Sheet(r)
		require.NoError(t, err)
		require.Equal(t, s, got)
	}
}
