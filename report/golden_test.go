package report_test

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/limits"
	"leakback/report"
)

var update = flag.Bool("update", false, "write the golden files instead of comparing with them: read the diff")

// goldenPage is a page with a few words of advice of its own, so that the
// golden files show layout and not the wording of other packages' tables.
func goldenPage(t *testing.T, test *leakback.Test, sheet *limits.Sheet) *report.Page {
	p := evaluated(t, test, sheet, fullJob())
	p.Advice = []string{
		"Look first at what is asked for here, in a sentence that is long enough to be broken over two lines of the table.",
		"Then look there.",
	}
	p.NotSeen = []string{"What drips elsewhere.", "A normal return clears no injector."}
	p.CautionLine = "Never feel for a leak by hand. The maker's service information comes first."
	return p
}

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("..", "testdata", "golden", "report", name)
	if *update {
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, got, 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, string(want), string(got), "%s: go test ./report -update, and read the diff", path)
}

func TestGoldenTable(t *testing.T) {
	wide, plain, narrow := report.TableOptions{Unicode: true}, report.TableOptions{}, report.TableOptions{Width: 40, Unicode: true}
	six := typed{"21", "22,5", "23", "48", "36.5", "22"}
	for _, test := range []struct {
		name    string
		runs    []typed
		sheet   *limits.Sheet
		options report.TableOptions
	}{
		{"one-over.txt", []typed{six}, baySheet(), wide},
		{"one-over-ascii.txt", []typed{six}, baySheet(), plain},
		{"one-over-40.txt", []typed{six}, baySheet(), narrow},
		{"one-over-color.txt", []typed{six}, baySheet(), report.TableOptions{Unicode: true, Color: true}},
		{"overflow-and-hose.txt", []typed{{"21", "<1", "23", ">100", "20", "22"}}, limits.Builtin(), wide},
		{"all-agree.txt", []typed{{"21", "22", "23", "20"}}, limits.Builtin(), wide},
		{"all-high.txt", []typed{{"51", "52", "53", "50"}}, baySheet(), wide},
		{"near-zero.txt", []typed{{"0", "0", "<1", "0"}}, baySheet(), wide},
		{"two-runs.txt", []typed{six, {"22", "22", "24", "47", "37", "22"}}, baySheet(), wide},
		{"two-of-four-read.txt", []typed{{"21", "", "22", ""}}, limits.Builtin(), wide},
		{"sixteen.txt", []typed{{"21", "22", "23", "20", "61", "22", "21", "23", "20", ">100", "22", "21", "39", "23", "<1", ""}},
			baySheet(), wide},
	} {
		t.Run(test.name, func(t *testing.T) {
			var out bytes.Buffer
			p := goldenPage(t, bayTest(t, test.runs...), test.sheet)
			require.NoError(t, report.Table(&out, p, test.options))
			golden(t, test.name, out.Bytes())
		})
	}
}
