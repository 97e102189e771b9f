package command

import (
	"bytes"
	"context"
	"encoding/json"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// runPlan runs leakback plan with a configuration folder of its own.
func runPlan(config string, args ...string) sheetRun {
	var stdout, stderr bytes.Buffer
	env := &environment{screen: screen{width: usualWidth, unicode: true},
		stdin: strings.NewReader(""), stdout: &stdout, stderr: &stderr,
		getenv: func(string) string { return "" }, configDir: config,
	}
	code := run(context.Background(), env, append([]string{"plan"}, args...))
	return sheetRun{code, stdout.String(), stderr.String()}
}

// starterSheet has the starter's figures and limits of every kind.
const starterSheet = `name = "Invented sheet"
engine = "Northmoor Six-90"
cylinders = 6
firing_order = [1, 5, 3, 6, 2, 4]
[measurement]
max_crank_s = 15
rest_s = 60
source = "invented"
[[limit]]
condition = "cranking"
max_volume_ml = 10
interval_s = 15
cranks = 1
max_ratio_to_median = 2.0
source = "invented service sheet 12-3"
[[limit]]
condition = "idle"
injectors = "driven"
max_rate_ml_min = 40
min_rate_ml_min = 20
rail_pressure_bar = [300, 400]
source = "invented service sheet 12-3"
[[limit]]
condition = "raised-idle"
rail_pressure_bar = [300, 400]
max_rate_ml_min = 40
source = "invented"
[[limit]]
condition = "raised-idle"
rail_pressure_bar = [401, 600]
max_rate_ml_min = 60
source = "invented"
[[limit]]
condition = "total-only"
max_total_ml_min = 200
source = "invented"
`

func sheetFile(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "sheet.toml")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	return path
}

// Every flag that cannot be gets one clear line, exit code 2, and no file.
func TestPlanRefuses(t *testing.T) {
	sheet := sheetFile(t, starterSheet)
	folder := t.TempDir()
	sheetOut, fillIn := filepath.Join(folder, "plan.xlsx"), filepath.Join(folder, "fill-in.csv")
	one := "--expect 30mL/min --limit 40mL/min --tube 100/1 --cylinders 6"
	block := "--method block-off --expect 30mL/min --tube 100/1"
	for _, test := range []struct{ args, want string }{
		{"", "--expect: expected the rate to expect of a cylinder, such as 30mL/min\nleakback: hint: "},
		{"--limit 40", "--expect: expected the rate"},
		{"--expect 30 --limit=-5", `--limit: "-5": expected a rate from 0 to 100,000 mL/min`},
		{"--expect 30 --limit 0", "--limit: 0 mL/min: expected a rate above zero"},
		{"--expect 0 --limit 40", "--expect: 0 mL/min: expected a rate above zero"},
		{"--expect abc --limit 40", `"abc": expected a rate in mL/min`},
		{"--expect 40 --limit 40", "--expect: 40 mL/min: expected another rate than the limit"},
		{"--expect 2.4L/h --limit 40mL/min", "--expect: 40 mL/min: expected another rate than the limit"},
		{"--expect 30", "--cylinders: not said: expected 3 or more to compare with one another, or a limit"},
		{"--expect 30 --cylinders 2", "--cylinders: 2: expected 3 or more"},
		{one + " --tube 100", `"100": expected capacity and marks in mL, such as 100/1`},
		{one + " --tube 100/1/2", `"100/1/2": expected capacity and marks`},
		{one + " --tube /1", `"": expected a volume`},
		{one + " --tube 100/x", `"x": expected a volume`},
		{one + " --tube 100/0", `"100/0": expected capacity and marks`},
		{one + " --tube 1/100", `"1/100": marks of 100 mL are more than the tube holds`},
		{one + " --tube-class C", `--tube-class: "C": expected A or B`},
		{"--expect 30 --limit 40 --tube-class A", "--tube-class: expected with --tube"},
		{"--expect 30 --limit 40 --tube 120/1 --tube-class A", "--tube-class: 120 mL: expected a capacity that ASTM E1272 has"},
		{one + " --tube-class A --tolerance 1", "--tube-class and --tolerance: expected one of them"},
		{one + " --runs 0", "--runs: 0: expected 1 to 10 runs"},
		{one + " --runs 11", "--runs: 11: expected 1 to 10 runs"},
		{one + " --runs many", `--runs: "many": expected a whole number`},
		{one + " --interval 300s", "--interval: 300 s: expected at most 200 s, as the tube allows"},
		{one + " --cylinders 0", "--cylinders: 0: expected a number from 1 to 64"},
		{one + " --cylinders 65", "--cylinders: 65: expected a number from 1 to 64"},
		{one + " --method total", `--method: "total": expected individual or block-off`},
		{one + " --format csv", `--format: "csv": expected text or json`},
		{one + " --injectors on", `--injectors: "on": expected driven or off`},
		{one + " --rpm nan", `--rpm: "nan": expected a speed from 0 to 10,000 rpm`},
		{one + " --passes 2", "--passes: not with --method individual: block-off is planned in passes"},
		{one + " --order firing", "--order: not with --method individual"},
		{one + " --cranks 2", "--cranks: 2: expected cranks of a run whose condition is cranking"},
		{one + " --condition cranking --cranks 100", "--cranks: 100: expected a whole number from 1 to 99"},
		{one + " --condition Cranking", "--condition: cranking: expected a limits sheet with max_crank_s and rest_s"},
		{one + " extra", "1 argument given: expected none"},
		{one + " --overwrite", "--overwrite: expected with --output or --csv"},
		{one + " --output plan.pdf", `--output: "plan.pdf": expected a name that ends in .xlsx`},
		{one + " --csv plan.txt", `--csv: "plan.txt": expected a name that ends in .csv`},
		{"--expect 30 --limit 40 --csv " + fillIn, "--csv: expected with --cylinders"},
		{"--expect 39.9 --limit 40 --cylinders 6 --csv " + fillIn + " -o " + sheetOut, "no file was written: collecting cannot decide this"},

		{"--expect 30 --limit 40 --cylinders 4 --limits " + sheet, "--cylinders: 4: expected 6, as the limits sheet Invented sheet has"},
		{"--expect 30 --limit 45 --condition idle --limits " + sheet, "--limit: 45 mL/min: the limits sheet Invented sheet has 40 mL/min for idle; expected one of the two"},
		{"--expect 40 --condition idle --limits " + sheet, "--expect: 40 mL/min: expected another rate than the limit"},
		{"--expect 30 --condition cranking --cranks 3 --limits " + sheet, "--cranks: 3: expected 1, as the limit asks"},
		{"--expect 30 --condition cranking --interval 20s --limits " + sheet, "--interval: 20 s: expected at most 15 s, as the tube or the starter allows"},

		{block, "--cylinders: expected how many cylinders the engine has; the limits sheet does not say"},
		{block + " --cylinders 1", "--cylinders: 1: expected two or more on each return line"},
		{block + " --cylinders 6 --passes 3", "--passes: 3: expected an even number from 2 to 20"},
		{block + " --cylinders 6 --passes 22", "--passes: 22: expected an even number from 2 to 20"},
		{block + " --cylinders 6 --passes 0", "--passes: 0: expected an even number from 2 to 20"},
		{block + " --cylinders 6 --runs 2", "--runs: not with --method block-off: block-off is planned in --passes"},
		{block + " --cylinders 6 --limit 40", "--limit: not with --method block-off"},
		{block + " --cylinders 6 --interval 60s", "--interval: 60 s: expected at most 33 s, as tube and starter allow with nothing blocked"},
		{block + " --cylinders 6 --tube 5/1", "--tube: 5 mL with 1 mL marks: expected one in which the total reaches 10 marks"},
		{block + " --cylinders 6 --order firing", "--order: firing: the limits sheet built-in has no firing order of 6 cylinders"},
		{block + " --cylinders 4 --order 1-3-4", `--order: "1-3-4": expected cylinder, firing, or each of the 4 cylinders once`},
		{block + " --cylinders 4 --order 1-3-4-4", `--order: "1-3-4-4": expected cylinder`},
		{block + " --cylinders 4 --order 1-3-4-5", `--order: "1-3-4-5": expected cylinder`},
		{block + " --cylinders 6 --condition cranking", "--condition: cranking: expected a limits sheet with max_crank_s"},
	} {
		args := strings.Fields(test.args)
		if !strings.Contains(test.args, "-o ") && !strings.Contains(test.args, "--output") && !strings.Contains(test.args, "--overwrite") {
			args = append(args, "--output", sheetOut)
		}
		got := runPlan("", args...)
		assert.Equal(t, 2, got.code, test.args)
		assert.True(t, strings.HasPrefix(got.stderr, "leakback: "), got.stderr)
		assert.Contains(t, got.stderr, test.want, test.args)
		if !strings.HasPrefix(test.want, "no file") {
			assert.Empty(t, got.stdout, test.args)
		}
	}
	left, err := os.ReadDir(folder)
	require.NoError(t, err)
	assert.Empty(t, left)
	assert.Equal(t, 3, runPlan("", "--expect", "30", "--limits", filepath.Join(folder, "none.toml")).code)
}

// planOf is the plan as JSON.
func planOf(t *testing.T, args ...string) map[string]any {
	t.Helper()
	got := runPlan("", append(args, "--format", "json")...)
	require.Zero(t, got.code, got.stderr)
	var plan map[string]any
	require.NoError(t, json.Unmarshal([]byte(got.stdout), &plan))
	return plan
}

// The limit is the flag's, else the one of the sheet's for that state that lies
// nearer to what is expected.
func TestPlanTakesTheLimitOfTheSheet(t *testing.T) {
	sheet := sheetFile(t, starterSheet)
	limit := func(args ...string) any {
		return planOf(t, append(args, "--limits", sheet, "--tube", "25/0.2")...)["individual"].(map[string]any)["limit_ml_min"]
	}
	assert.Equal(t, 40.0, limit("--expect", "34", "--condition", "idle"))
	assert.Equal(t, 20.0, limit("--expect", "26", "--condition", "Idle"))
	assert.Equal(t, 40.0, limit("--expect", "26", "--condition", "idle", "--limit", "40"))
	assert.Equal(t, 40.0, limit("--expect", "30", "--condition", "cranking"))
	assert.Equal(t, 60.0, limit("--expect", "30", "--condition", "raised-idle", "--rail-pressure", "450bar"))
	assert.Nil(t, limit("--expect", "30", "--condition", "raised-idle"))
	assert.Nil(t, limit("--expect", "30", "--condition", "total-only"))
	assert.Nil(t, limit("--expect", "30", "--condition", "idle", "--injectors", "off"))
	assert.Nil(t, limit("--expect", "30"))
}

// What the limit needs and what the plan leaves aside is said.
func TestPlanSaysWhatTheLimitNeeds(t *testing.T) {
	sheet := sheetFile(t, starterSheet)
	text := func(args ...string) string {
		got := runPlan("", append(args, "--limits", sheet)...)
		require.Zero(t, got.code, got.stderr)
		return strings.Join(strings.Fields(got.stdout), " ")
	}
	idle := text("--expect", "30", "--condition", "idle", "--rail-pressure", "280bar")
	assert.Contains(t, idle, "The limit holds for injectors driven and rail pressure 300 to 400 bar: measure in that state")
	assert.Contains(t, idle, "The rail pressure given lies outside what the limit is given for: being within it proves nothing there.")
	assert.Contains(t, text("--expect", "30", "--condition", "idle", "--rail-pressure", "410bar"), "not being within it proves nothing there.")
	assert.Contains(t, text("--expect", "24", "--condition", "idle", "--rail-pressure", "410bar"), ": being within it proves nothing there.")
	assert.NotContains(t, text("--expect", "30", "--condition", "idle", "--rail-pressure", "350bar"), "lies outside")
	crank := text("--expect", "30", "--condition", "cranking", "--tube", "25/0.2")
	for _, want := range []string{"limit 40 mL/min (10 mL in 15 s)", "Not planned for, though the sheet has them: max_ratio_to_median.",
		"Park brake", "lead it outside", "Crank once, for ", "invented service sheet 12-3"} {
		assert.Contains(t, crank, want)
	}
	assert.Contains(t, text("--expect", "30", "--condition", "total-only"), "has no figure for the rate of one cylinder")
	assert.Contains(t, text("--expect", "30"), "No condition was recorded, so no absolute limit applies. A set that is worn evenly looks healthy")
}

func TestPlanBlockOffOrders(t *testing.T) {
	sheet := sheetFile(t, starterSheet)
	blocked := func(args ...string) []any {
		plan := planOf(t, append(args, "--method", "block-off")...)["block_off"].(map[string]any)
		var list []any
		for _, run := range plan["runs"].([]any)[1:4] {
			list = append(list, run.(map[string]any)["blocked"].([]any)...)
		}
		return list
	}
	assert.Equal(t, []any{1.0, 2.0, 3.0}, blocked("--cylinders", "6"))
	assert.Equal(t, []any{1.0, 5.0, 3.0}, blocked("--limits", sheet, "--order", "firing"))
	assert.Equal(t, []any{4.0, 2.0, 1.0}, blocked("--cylinders", "4", "--order", "4,2,1,3"))

	got := runPlan("", "--method", "block-off", "--limits", sheet, "--condition", "cranking")
	require.Zero(t, got.code, got.stderr)
	text := strings.Join(strings.Fields(got.stdout), " ")
	for _, want := range []string{"14 runs of one crank, 15 s each. Rest the starter for 60 s after every crank.",
		"only with caps rated for rail pressure, and only where the maker allows it. Never cap or pinch the return",
		"undo no high-pressure joint while the engine runs", "Where the maker allows it, one more run with every injector blocked",
		"14. nothing blocked"} {
		assert.Contains(t, text, want)
	}
	idle := runPlan("", "--method", "block-off", "--cylinders", "6").stdout
	assert.NotContains(t, idle, "every injector blocked")
	assert.NotContains(t, idle, "Park brake")
}

// What was planned is filled in and checked: the file that plan writes is one
// that check reads.
func TestPlanFillInIsChecked(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "fill-in.csv")
	got := runPlan("", "--expect", "36", "--limit", "40", "--tube", "100/1", "--cylinders", "4", "--condition", "idle", "--csv", path)
	require.Zero(t, got.code, got.stderr)
	assert.Equal(t, "leakback: wrote "+path+"\n", got.stderr)
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSpace(string(text)), "\n")
	require.Len(t, lines, 1+2*4)
	for i := 1; i < len(lines); i++ {
		lines[i] = strings.Replace(lines[i], ",,50,", ",25,50,", 1)
	}
	require.NoError(t, os.WriteFile(path, []byte(strings.Join(lines, "\n")), 0o644))

	var stdout, stderr bytes.Buffer
	env := &environment{stdin: strings.NewReader(""), stdout: &stdout, stderr: &stderr,
		getenv: func(string) string { return "" }, screen: screen{width: usualWidth}}
	require.Zero(t, run(context.Background(), env, []string{"check", path, "--format", "csv"}), stderr.String())
	assert.Contains(t, stdout.String(), "fill-in,4,30,")

	// An existing file, filled in by now, is left alone.
	again := runPlan("", "--expect", "36", "--limit", "40", "--cylinders", "4", "--csv", path)
	assert.Equal(t, 3, again.code)
	assert.Empty(t, again.stdout)
	assert.Contains(t, again.stderr, "already exists and is left as it is")
	assert.Zero(t, runPlan("", "--expect", "36", "--limit", "40", "--cylinders", "4", "--csv", path, "--overwrite").code)
}

func TestPlanWritesFilesWholeOrNotAtAll(t *testing.T) {
	folder := t.TempDir()
	path := filepath.Join(folder, "plan.xlsx")
	args := []string{"--expect", "30", "--limit", "40", "--cylinders", "6", "-o", path}
	require.Zero(t, runPlan("", args...).code)
	first, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, 3, runPlan("", args...).code)
	assert.Equal(t, 3, runPlan("", "--expect", "30", "--limit", "40", "-o", filepath.Join(folder, "none", "plan.xlsx")).code)
	require.Zero(t, runPlan("", append(args, "--overwrite")...).code)
	again, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, first, again)
	_, err = os.Stat(filepath.Join(folder, "none"))
	assert.ErrorIs(t, err, fs.ErrNotExist)
}

func TestTubeValue(t *testing.T) {
	for text, want := range map[string][2]float64{
		"100/1": {100, 1}, "25mL/0.5mL": {25, 0.5}, "100 cc / 1 cc": {100, 1}, "25/0,2": {25, 0.2}, "1L/10": {1000, 10}, "10/10": {10, 10},
	} {
		var v tubeValue
		require.NoError(t, v.Set(text), text)
		assert.Equal(t, want, [2]float64{v.capacityML, v.graduationML}, text)
		assert.Equal(t, text, v.String())
		var again tubeValue
		require.NoError(t, again.Set(v.String()))
		assert.Equal(t, v, again)
	}
	v := tubeValue{}
	require.NoError(t, v.Set("100/1"))
	assert.Error(t, v.Set("100"))
	assert.Equal(t, tubeValue{}, v) // after an error there is no value
}
