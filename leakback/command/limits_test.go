package command

import (
	"bytes"
	"context"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/clipperhouse/displaywidth"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/limits"
)

// sheetRun is one run of a command about limits sheets.
type sheetRun struct {
	code           int
	stdout, stderr string
}

// runLimits runs leakback limits with a configuration folder and environment
// of its own.
func runLimits(config string, environ map[string]string, args ...string) sheetRun {
	var stdout, stderr bytes.Buffer
	env := &environment{screen: screen{width: usualWidth, unicode: true},
		stdin: strings.NewReader(""), stdout: &stdout, stderr: &stderr,
		getenv: func(name string) string { return environ[name] }, configDir: config,
	}
	code := run(context.Background(), env, append([]string{"limits"}, args...))
	return sheetRun{code, stdout.String(), stderr.String()}
}

const (
	goodSheet = root + "/testdata/limits/good/northmoor-six-90.toml"
	badSheet  = root + "/testdata/limits/bad/min-above-max.toml"
)

func TestLimitsShow(t *testing.T) {
	got := runLimits("", nil, "show", "--limits", goodSheet)
	assert.Zero(t, got.code)
	assert.Empty(t, got.stderr)
	assert.Equal(t, `Bay sheet for the Northmoor Six-90

  found          named on the command line
  file           ../../testdata/limits/good/northmoor-six-90.toml
  engine         Northmoor Six-90
  cylinders      6
  firing order   1-5-3-6-2-4
  return line    rear: 4, 5, 6
  return line    front: 1, 2, 3
  back-pressure  8 to 12 bar

Comparison within the engine
  healthy_cv             0.12               [1]
  false_alarm            0.02               [1]
  false_hint             0.1                [1]
  practical_ratio        1.25               [1]
  within_limit           fail               [1]

Uncertainty of a rate
  repeatability_cv       0.025              [2]
  common_cv              0.015              [2]
  timing_s               0.2 s              [2]
  max_crank_s            15 s               [2]
  rest_s                 60 s               [2]

Limit for idle (line 25): injectors driven, rail pressure 300 to 400 bar, fuel
temperature 35 to 60 °C
  max_rate_ml_min        40 mL/min          [3]
  min_rate_ml_min        2 mL/min           [3]
  max_total_ml_min       180 mL/min         [3]

Limit for Idle (line 35): injectors driven, rail pressure 401 to 600 bar, engine
speed 1200 to 1400 rpm
  max_rate_ml_min        55 mL/min          [3]

Limit for cranking (line 43): injectors off, cranks 1
  max_volume_ml          10 mL              [4]
  interval_s             15 s               [4]
    compared as a rate   40 mL/min          [4]
  max_ratio_to_median    2                  [4]
  max_ratio_to_mean      1.8                [4]
  max_ratio_to_lowest    3                  [4]
  max_difference_ml_min  20 mL/min          [4]

Tightening
  1   injector hold-down, both: 44 lbf·ft (59.656 N·m) [5]
  2   feed tube nut: 27 lbf.ft (36.607 N·m), 60 degrees, new fastener [5]

Sources
  [1]   24 engines of this shop, invented
  [2]   ten runs on one engine, invented
  [3]   invented service information, section 3, 2024-05-01
  [4]   invented service information, section 4, 2024-05-01
  [5]   invented service information, section 9, 2024-05-01
`, got.stdout)
}

func TestLimitsShowSaysWhatIsAssumedAndFitsTheScreen(t *testing.T) {
	got := runLimits("", nil, "show")
	assert.Zero(t, got.code)
	assert.Contains(t, got.stdout, "built in, as no sheet was found")
	assert.Contains(t, got.stdout, "  healthy_cv             0.15               assumed [1]\n")
	assert.Contains(t, got.stdout, "No absolute limit")

	path := filepath.Join(t.TempDir(), "long.toml")
	long := strings.Repeat("section and paragraph, ", 20) + strings.Repeat("x", 200)
	text := "name = '" + long + "'\nengine = 'Northmoor'\n[set]\nhealthy_cv = 0.12\nsource = '" + long + "'\n" +
		"[measurement]\nsource = 'assumed; to be measured'\n"
	require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	got = runLimits("", map[string]string{limits.EnvironmentVariable: path}, "show", "--engine", "northmoor")
	assert.Zero(t, got.code)
	assert.Contains(t, got.stdout, "named by LEAKBACK_LIMITS")
	assert.Regexp(t, `healthy_cv +0.12 +\[1\]\n  false_alarm +0.01 +assumed \[2\]\n`, got.stdout)
	assert.Contains(t, got.stdout, "  [2]   assumed\n")
	for line := range strings.Lines(got.stdout) {
		assert.LessOrEqual(t, displaywidth.String(strings.TrimSuffix(line, "\n")), 80, line)
	}
}

func TestLimitsShowFailsAsTheSheetDoes(t *testing.T) {
	got := runLimits("", nil, "show", "--limits", badSheet)
	assert.Equal(t, sheetRun{2, "", `leakback: ../../testdata/limits/bad/min-above-max.toml:4:3: min_rate_ml_min: 50: expected at most the maximum, 40 mL/min
leakback: ../../testdata/limits/bad/min-above-max.toml:5:3: rail_pressure_bar: [400, 300]: expected two numbers in brackets, the lower one first
leakback: ../../testdata/limits/bad/min-above-max.toml:12:3: min_rate_ml_min: 40.5: expected at most the maximum, 40 mL/min
`}, got)
	got = runLimits("", nil, "show", "--limits", goodSheet, "--engine", "Northmoor Four")
	assert.Equal(t, 2, got.code)
	assert.Contains(t, got.stderr, `engine: "Northmoor Six-90": expected a sheet for "Northmoor Four"`)
	got = runLimits("", nil, "show", "--limits", filepath.Join(t.TempDir(), "none.toml"))
	assert.Equal(t, 3, got.code)
	assert.Empty(t, got.stdout)
	assert.Contains(t, got.stderr, "none.toml")
}

func TestLimitsCheck(t *testing.T) {
	missing := filepath.Join(t.TempDir(), "none.toml")
	tests := []struct {
		files  []string
		code   int
		stdout string
		stderr []string
	}{
		{[]string{goodSheet}, 0, goodSheet + ": sound\n", nil},
		{[]string{badSheet, goodSheet}, 2, goodSheet + ": sound\n", []string{badSheet + ":4:3: ", badSheet + ":5:3: ", badSheet + ":12:3: "}},
		{[]string{missing}, 3, "", []string{missing + ": cannot be read: "}},
		{[]string{missing, badSheet}, 2, "", []string{missing + ": cannot be read: ", badSheet + ":4:3: ", badSheet + ":5:3: ", badSheet + ":12:3: "}},
		{nil, 2, "", []string{"0 arguments given: expected FILE...", "hint: see leakback limits check --help"}},
	}
	for _, test := range tests {
		got := runLimits("", nil, append([]string{"check"}, test.files...)...)
		assert.Equal(t, test.code, got.code, test.files)
		assert.Equal(t, test.stdout, got.stdout, test.files)
		lines := strings.SplitAfter(got.stderr, "\n")
		require.Len(t, lines, len(test.stderr)+1, test.files)
		for i, begins := range test.stderr {
			assert.True(t, strings.HasPrefix(lines[i], "leakback: "+begins), lines[i])
		}
	}
}

func TestLimitsStart(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "bay sheet.toml")
	got := runLimits(dir, nil, "start", "Northmoor Six-90", "-o", path)
	assert.Equal(t, sheetRun{0, "", "leakback: wrote " + path + `
leakback: next: fill in the figures from the service information and say where each is from
leakback: then: leakback limits check "` + path + `"
leakback: keep it as ` + filepath.Join(dir, "leakback", "limits", "northmoor-six-90.toml") + ` and --engine finds it
`}, got)
	written, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Contains(t, string(written), "\nengine = \"Northmoor Six-90\"\n")
	assert.Equal(t, 2, runLimits("", nil, "check", path).code)

	// An existing sheet, with figures in it by now, is left alone.
	require.NoError(t, os.WriteFile(path, []byte("figures"), 0o644))
	got = runLimits("", nil, "start", "Northmoor Six-90", "--output", path)
	assert.Equal(t, 3, got.code)
	assert.Contains(t, got.stderr, "already exists and is left as it is\nleakback: hint: ")
	kept, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, "figures", string(kept))
	assert.Zero(t, runLimits("", nil, "start", "Northmoor Six-90", "--output", path, "--overwrite").code)
	again, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, string(written), string(again))

	got = runLimits("", nil, "start", "Northmoor Six-90")
	assert.Zero(t, got.code)
	assert.Equal(t, string(written), got.stdout)
	assert.Contains(t, got.stderr, "leakback: then: leakback limits check FILE\n")
}

func TestLimitsStartRefuses(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "new.toml")
	for _, test := range []struct {
		args   []string
		code   int
		stderr string
	}{
		{[]string{"start"}, 2, "leakback: 0 arguments: expected the engine's name\nleakback: hint: put a name of several words in quotes: leakback limits start \"My engine\"\n"},
		{[]string{"start", "Northmoor", "Six-90", "-o", path}, 2, "leakback: 2 arguments: expected the engine's name\n"},
		{[]string{"start", " ", "-o", path}, 2, "leakback: expected the engine's name, on one line\n"},
		{[]string{"start", "Northmoor", "--overwrite"}, 2, "leakback: --overwrite: expected with --output FILE\n"},
		{[]string{"start", "Northmoor", "-o", filepath.Join(dir, "none", "new.toml")}, 3, "cannot be written: "},
	} {
		got := runLimits("", nil, test.args...)
		assert.Equal(t, test.code, got.code, test.args)
		assert.Contains(t, got.stderr, test.stderr)
		assert.Empty(t, got.stdout)
	}
	_, err := os.Stat(path)
	assert.ErrorIs(t, err, fs.ErrNotExist)
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Empty(t, left)
}

func TestLimitsAloneShowsItsHelp(t *testing.T) {
	got := runLimits("", nil)
	assert.Zero(t, got.code)
	for _, command := range []string{"show", "check", "start"} {
		assert.Contains(t, got.stdout, "\n  "+command+" ")
	}
	assert.Equal(t, 2, runLimits("", nil, "shwo").code)
}
