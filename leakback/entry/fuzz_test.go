package entry

import (
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"leakback/limits/quantity"
)

// corpus are the readings files of the testdata, good and bad.
func corpus(t testing.TB) []string {
	t.Helper()
	var texts []string
	for _, pattern := range []string{"*.csv", "*.tsv", "bad/*.csv"} {
		names, err := filepath.Glob(filepath.Join(readings, pattern))
		require.NoError(t, err)
		for _, name := range names {
			data, err := os.ReadFile(name)
			require.NoError(t, err)
			texts = append(texts, string(data))
		}
	}
	require.GreaterOrEqual(t, len(texts), 9)
	return texts
}

// flags are defaults of several kinds.
func flags(kind uint8) Defaults {
	d := NoDefaults()
	if kind&1 != 0 {
		d.IntervalS, d.Condition = 60, "idle"
	}
	if kind&2 != 0 {
		d.CapacityML, d.TubeClass = 100, "A"
	}
	if kind&4 != 0 {
		d.Cylinders, d.Injectors, d.RailPressureBar = 6, "off", 300
	}
	return d
}

// checkReader reads text and holds everything that comes of it against what
// Next promises: sound tests, then one error that stays; the faults in the
// order of rows, each one line.
func checkReader(t *testing.T, text string, d Defaults) {
	t.Helper()
	rd := NewReader(strings.NewReader(text), "idle.csv", "idle", d)
	seen := map[string]bool{}
	for {
		test, err := rd.Next()
		if err == nil {
			requireSound(t, test)
			require.False(t, seen[test.ID], "a test comes once")
			seen[test.ID] = true
			continue
		}
		require.Nil(t, test)
		again, same := rd.Next()
		require.Nil(t, again)
		require.Equal(t, err, same)
		if err == io.EOF {
			require.NotEmpty(t, seen, "a file without a test is a fault")
			return
		}
		requireFaultsInOrder(t, err)
		return
	}
}

func requireFaultsInOrder(t *testing.T, err error) {
	t.Helper()
	var faults *FaultError
	require.ErrorAs(t, err, &faults)
	require.NotEmpty(t, faults.Faults)
	require.LessOrEqual(t, len(faults.Faults), 20)
	require.True(t, !faults.More || len(faults.Faults) == 20)
	for i, f := range faults.Faults {
		require.True(t, i == 0 || f.Row >= faults.Faults[i-1].Row)
		require.NotEmpty(t, f.Expected)
		require.True(t, quantity.Printable(f.Error()), "%q", f.Error())
	}
}

func FuzzReader(f *testing.F) {
	hostile := []string{"", "\ufeff", "c\x00y\x00", "cylinder,volume_ml\n1,\"21\n", "cylinder;volume_ml\r1;22,5\r",
		"test_id,cylinder,volume_ml\n\"A\"x,1,2\n\"B,1,2\nA,1,2,3\n"}
	for _, text := range append(corpus(f), hostile...) {
		f.Add(text, uint8(0))
		f.Add(text, uint8(7))
	}
	f.Fuzz(func(t *testing.T, text string, kind uint8) { checkReader(t, text, flags(kind)) })
}

func FuzzVolumes(f *testing.F) {
	for _, text := range []string{"21 22.5 23 >100 21 22", "21, 22,5; 23mL skip - <2", "5 drops", "> 100 mL 1 US fl oz"} {
		f.Add(text, uint8(1))
	}
	f.Fuzz(func(t *testing.T, text string, kind uint8) {
		test, err := Volumes(text, flags(kind))
		if err == nil {
			requireSound(t, test)
			return
		}
		require.Nil(t, test)
		requireFaultsInOrder(t, err)
	})
}

func FuzzTestID(f *testing.F) {
	f.Add("idle.csv")
	f.Fuzz(func(t *testing.T, name string) {
		_, ok := usualID(TestID(name))
		require.True(t, ok)
	})
}

// scraps are what goes wrong in a file.
var scraps = []string{",", ";", "\t", "\n", "\r", "\r\n", "\"", "\"\"", ">", "<", "-", "0", "9", ".", ",5", "x", "A", " ",
	"\x00", "\xff", "\ufeff", "\u00a0", "unknown", "1e400", "1+2", "blocked", "mass_g", "cylinder", "NaN", "interval_s", "volume_ml", "test_id", "run", "drops"}

// Damage any file in any way: no panic, no unsound test, no error beside a value.
func TestDamagedFiles(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	texts := corpus(t)
	for range 4000 {
		text := texts[rng.IntN(len(texts))]
		for range rng.IntN(4) {
			i, j := rng.IntN(len(text)+1), 0
			if rng.IntN(3) == 0 {
				j = min(rng.IntN(6), len(text)-i)
			}
			text = text[:i] + scraps[rng.IntN(len(scraps))] + text[i+j:]
		}
		checkReader(t, text, flags(uint8(rng.IntN(8))))
	}
}

// The order of a test's rows says nothing: shuffled, they make the same test.
func TestRowsInAnyOrder(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for _, name := range []string{"short.csv", "runs.csv", "tubes.csv", "state.tsv", "two-lines.csv", "one-tube.csv", "weighed.csv"} {
		data, err := os.ReadFile(filepath.Join(readings, name))
		require.NoError(t, err)
		header, rows, _ := strings.Cut(string(data), "\n")
		want, err := readString(string(data), minute())
		require.NoError(t, err)
		for range 20 {
			shuffled := strings.SplitAfter(strings.TrimSuffix(rows, "\n"), "\n")
			shuffled[len(shuffled)-1] += "\n"
			rng.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
			got, err := readString(header+"\n"+strings.Join(shuffled, ""), minute())
			require.NoError(t, err)
			equal(t, want, got)
		}
	}
}
