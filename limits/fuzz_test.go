package limits_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"leakback/limits"
)

// engines are the names and sources in the sheets of the testdata, good and
// bad, beside what somebody may type to get out of the folder.
func engines(f *testing.F) []string {
	f.Helper()
	files, err := filepath.Glob(filepath.Join(sheets, "*", "*.toml"))
	require.NoError(f, err)
	require.NotEmpty(f, files)
	names := []string{"", "..", "../../etc/passwd", `C:\sheets`, "a/b\\c", "CON", ".hidden", "ＮＯＲＴＨ", "İstanbul 6", "\x00", "\xff\xfe", "ﬃ", "-"}
	for _, file := range files {
		data, err := os.ReadFile(file)
		require.NoError(f, err)
		for i, text := range strings.Split(string(data), `"`) {
			if i%2 == 1 {
				names = append(names, text)
			}
		}
	}
	return names
}

// Whatever an engine is called, its sheet stays in its folder: a name of
// letters, digits and single hyphens, and the same of itself.
func FuzzSlug(f *testing.F) {
	for _, name := range engines(f) {
		f.Add(name)
	}
	f.Fuzz(func(t *testing.T, name string) {
		slug := limits.Slug(name)
		require.True(t, utf8.ValidString(slug))
		require.NotContains(t, slug, "--")
		require.Equal(t, strings.Trim(slug, "-"), slug)
		require.False(t, strings.ContainsAny(slug, "./\\:* \x00"), "%q", slug)
		require.True(t, slug == "" || filepath.Base(slug+".toml") == slug+".toml")
		require.Equal(t, slug, limits.Slug(slug))
		require.Equal(t, slug, limits.Slug(" "+name+" "))
	})
}

// Whatever was recorded, a limit applies or a sentence says why none does, and
// the one that applies is for that condition and those injectors.
func FuzzFor(f *testing.F) {
	files, err := filepath.Glob(filepath.Join(sheets, "*", "*.toml"))
	require.NoError(f, err)
	for _, file := range files {
		data, err := os.ReadFile(file)
		require.NoError(f, err)
		f.Add(data, "idle", "driven", 1, 350.0, 41.0, 700.0)
		f.Add(data, "Cranking ", "", 0, 0.0, -60.0, 250.0)
	}
	both := []byte("[[limit]]\ncondition = 'idle'\ninjectors = 'driven'\nmax_rate_ml_min = 40\nsource = 'a'\n" +
		"[[limit]]\ncondition = 'idle'\ninjectors = 'off'\nmax_rate_ml_min = 5\nsource = 'a'\n")
	for _, injectors := range []string{"driven", "off", "", "other"} {
		f.Add(both, "idle", injectors, 0, 350.0, 41.0, 700.0)
	}
	f.Fuzz(func(t *testing.T, data []byte, condition, injectors string, cranks int, bar, degC, rpm float64) {
		s, err := limits.Parse(data, "bay.toml")
		if err != nil {
			s = limits.Builtin()
		}
		m := s.For(condition, injectors, limits.State{
			Cranks: cranks, RailPressureBar: []float64{bar}, FuelTempC: []float64{degC}, EngineRPM: []float64{rpm},
		})
		require.NotEqual(t, m.Limit == nil, m.Reason == "")
		if m.Limit == nil {
			require.True(t, strings.HasSuffix(m.Reason, "."), m.Reason)
			return
		}
		require.True(t, m.Limit.Injectors == "" || injectors == "" || m.Limit.Injectors == injectors)
		squeeze := func(text string) string { return strings.Join(strings.Fields(text), " ") }
		require.True(t, strings.EqualFold(squeeze(m.Limit.Condition), squeeze(condition)))
	})
}
