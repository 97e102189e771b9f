package command

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/clipperhouse/displaywidth"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/limits"
)

// runLearn runs leakback limits learn on a day of its own.
func runLearn(on screen, stdin string, args ...string) sheetRun {
	var stdout, stderr bytes.Buffer
	env := &environment{
		screen: on, stdin: strings.NewReader(stdin), stdout: &stdout, stderr: &stderr,
		getenv: func(string) string { return "" },
		now:    func() time.Time { return time.Date(2026, 3, 2, 23, 59, 0, 0, time.Local) },
	}
	code := run(context.Background(), env, append([]string{"limits", "learn"}, args...))
	return sheetRun{code, stdout.String(), stderr.String()}
}

var paper = screen{width: usualWidth, unicode: true}

const (
	learnTen    = root + "/testdata/demo/learn-ten.csv"
	makersSheet = root + "/testdata/demo/northmoor-six-90.toml"
)

// minuteOf is a test as rows of a readings file: one run of a minute, in which
// these volumes in mL came.
func minuteOf(id, engine, volumes string) string {
	text := ""
	for i, volume := range strings.Fields(volumes) {
		text += fmt.Sprintf("%s,%s,idle,%d,%s,60\n", id, engine, i+1, volume)
	}
	return text
}

const minuteHeader = "test_id,engine,condition,cylinder,volume_ml,interval_s\n"

func TestLimitsLearnWritesASheet(t *testing.T) {
	path := filepath.Join(t.TempDir(), "learned six.toml")
	got := runLearn(paper, "", learnTen, "--limits", makersSheet, "-o", path)
	assert.Zero(t, got.code)
	assert.Equal(t, "leakback: wrote "+path+"\nleakback: next: leakback limits show --limits \""+path+"\"\n", got.stderr)

	maker, err := limits.Load(makersSheet)
	require.NoError(t, err)
	learned, err := limits.Load(path)
	require.NoError(t, err)
	assert.Equal(t, maker.Name, learned.Name)
	assert.Equal(t, maker.FiringOrder, learned.FiringOrder)
	assert.Equal(t, maker.Tightening, learned.Tightening)
	maker.Limits[0].Line = learned.Limits[0].Line
	assert.Equal(t, maker.Limits, learned.Limits)
	assert.Less(t, learned.Set.HealthyCV, maker.Set.HealthyCV)
	assert.Equal(t, "learned 2026-03-02 from 10 tests (idle, injectors driven) with 60 cylinders, 3 of them set aside in 3 tests, "+
		"in "+learnTen+"; pooled with the assumed 0.15", learned.Set.Source)
	assert.Equal(t, "learned 2026-03-02 from repeated runs of 4 tests, 0 cylinders left out as unsteady, "+
		"in "+learnTen+"; pooled with the assumed 0.03 and the assumed 0.02", learned.Measurement.Source)

	// What is there stays, unless told otherwise.
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	got = runLearn(paper, "", learnTen, "-o", path)
	assert.Equal(t, sheetRun{3, "", "leakback: " + path + ": already exists and is left as it is\n" +
		"leakback: hint: choose another name, or replace it with --overwrite\n"}, got)
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, before, after)
	assert.Zero(t, runLearn(paper, "", learnTen, "-o", path, "--overwrite").code)
	after, err = os.ReadFile(path)
	require.NoError(t, err)
	assert.Contains(t, string(after), "\nname = \"learned for Northmoor Six-90\"\n")
}

// Everything that the pictures can hold, row by row.
func TestLimitsLearnDraws(t *testing.T) {
	file := minuteHeader
	for _, test := range [][2]string{
		{"a", "20 22 24 26"}, {"b", "20 21 22 >90"}, {"c", "24 25 26 0"}, {"d", "30 31 32 12"}, {"e", "40 40 41 400"},
		{"a-test-with-a-name-too-long", "30 32 34 36"}, {"few", "20 21"}, {"over", "20 22 >23 21"}, {"worn", "10 20 40 80"},
	} {
		file += minuteOf(test[0], "N", test[1])
	}
	got := runLearn(paper, file, "-")
	require.Zero(t, got.code, got.stderr)
	assert.Equal(t, learnedDrawing, got.stdout)
	// The same in ASCII, sign by sign.
	got = runLearn(screen{width: usualWidth}, file, "-")
	assert.Equal(t, strings.NewReplacer("●", "o", "▲", "H", "▼", "L", "◆", "*", "┊", ":", "│", "|",
		"─", "-", "├", "+", "┴", "+").Replace(learnedDrawing), got.stdout)
}

const learnedDrawing = `Learned from 6 tests of the N

  files          stdin
  limits sheet   built in, as no sheet was found
  conditions     idle: 6 tests
  cylinders      24; 20 agree with the others of their engine, 4 were set aside
                 in 4 tests
  set aside      b: 4 overflowed; c: 4 below the first mark; d: 4 low; e: 4 high
  not used       few: fewer than three cylinders to compare
                 over: a tube overflowed that may belong to those that agree
                 worn: its cylinders do not agree with one another; most of them
                 may leak
  repeated runs  none; repeatability_cv and common_cv stay as they are

Within each engine: each return as a multiple of those that agree

  test                   cyl  0.1    0.2  0.3  0.5    1       2   3     5
                              ├──────┴────┴────┴──────┊───│───┴───┴─────┴───────
  a                        4                         ●●●● │
  b                        4                          ●2  │           >
  c                        4  <                       ●2  │
  d                        4                ▼         ●2  │
  e                        4                          2●  │                    ▲
  a-test-with-a-na..       4                          22  │
  worn                     4                       ?  ┊   ?       ▲      ▲
  ● agrees; a digit where several do
  ▲ set aside as high
  ▼ set aside as low
  > overflowed: at least
  < below the first mark: at most
  ? of a test that is not used
  │ the learned sheet speaks from 1.42 on

Between engines: what each one's cylinders agree on, mL/min (idle)

  test                mL/min    20        25       30        35        40
                              ├─┴─────────┴────────┴─────────┴─────────┴────────
  a                     22.9          ◆
  b                     21.0      ◆
  c                     25.0              ◆
  d                     31.0                         ◆
  e                     40.3                                           ◆
  a-test-with-a-na..    32.9                             ◆
  engines differ by 25 %, one standard deviation; no limit follows from it

What changes, for an engine of 4 cylinders that is measured like these

                                    before   learned   tests alone
  healthy_cv                          0.15     0.102   0.058 (14)
  repeatability_cv                    0.03      0.03   -
  common_cv                           0.02      0.02   -
  one stands out from ... times       1.65      1.42
  a leak of 1.5 times is found        23 %      66 %
  a leak of 2 times is found          94 %    > 99 %
  a leak of 3 times is found        > 99 %    > 99 %

  In brackets: degrees of freedom. Before, assumed: healthy_cv,
  repeatability_cv, common_cv. The chances hold where one injector leaks and the
  others differ as learned. No absolute limit was learned: those belong to the
  engine's maker.
`

// No line is wider than the screen, nothing but ASCII is printed where there is
// no more, and names may be anything. Of many tests forty are drawn.
func TestLimitsLearnFitsTheScreen(t *testing.T) {
	file := minuteHeader
	r := rand.New(rand.NewPCG(4, 4))
	for i := range 60 {
		volumes := ""
		for range 6 {
			volumes += fmt.Sprintf(" %.1f", 25*math.Exp(0.1*r.NormFloat64()))
		}
		file += minuteOf(fmt.Sprint(i, strings.Repeat("日", i/2)), "Größe "+strings.Repeat("Nörd", 20), volumes)
	}
	for _, on := range []screen{paper, {width: usualWidth}, {width: 200, unicode: true}} {
		got := runLearn(on, file, "-")
		require.Zero(t, got.code, got.stderr)
		assert.Equal(t, 2, strings.Count(got.stdout, "  and 20 more tests\n"))
		for line := range strings.Lines(got.stdout) {
			assert.LessOrEqual(t, displaywidth.String(strings.TrimSuffix(line, "\n")), on.width, line)
			if !on.unicode {
				assert.Equal(t, -1, strings.IndexFunc(line, func(r rune) bool { return r > '~' }), line)
			}
		}
	}
}

// Two running states are put together, and each is shown by itself.
func TestLimitsLearnShowsEachCondition(t *testing.T) {
	file := minuteHeader
	for i, volumes := range []string{"20 22 24 26", "30 32 34 36", "40 44 46 50"} {
		file += minuteOf(fmt.Sprint("warm", i), "", volumes)
		file += strings.ReplaceAll(minuteOf(fmt.Sprint("start", i), "", volumes), ",idle,", ",cranking,")
	}
	got := runLearn(paper, file, "-")
	require.Zero(t, got.code, got.stderr)
	assert.Contains(t, got.stdout, "Learned from 6 tests\n")
	assert.Contains(t, got.stdout, "  conditions     idle: 3 tests, healthy injectors differ by ")
	assert.Contains(t, got.stdout, "\n                 cranking: 3 tests, healthy injectors differ by ")
	assert.Contains(t, got.stdout, "agree on, mL/min (idle)\n")
	assert.Contains(t, got.stdout, "agree on, mL/min (cranking)\n")
}

func TestLimitsLearnTakesTheNumberOfCylinders(t *testing.T) {
	path := filepath.Join(t.TempDir(), "learned.toml")
	got := runLearn(paper, "", learnTen, "--cylinders", "8", "-o", path)
	require.Zero(t, got.code, got.stderr)
	assert.Contains(t, got.stdout, "What changes, for an engine of 8 cylinders")
	s, err := limits.Load(path)
	require.NoError(t, err)
	assert.Equal(t, 8, s.Cylinders)
}

func TestLimitsLearnNamesWhatWasUnsteady(t *testing.T) {
	text, err := os.ReadFile(learnTen)
	require.NoError(t, err)
	spoiled := regexp.MustCompile(`(invented-02,.*,driven,2,5,)[0-9]+`).ReplaceAllString(string(text), "${1}35")
	got := runLearn(paper, spoiled, "-")
	require.Zero(t, got.code, got.stderr)
	assert.Contains(t, got.stdout, "  repeated runs  in 4 tests; left out as unsteady: invented-02 cylinder 5\n")
}

func TestLimitsLearnIsInterrupted(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	var stdout, stderr bytes.Buffer
	env := &environment{screen: paper, stdin: neverEnds{}, stdout: &stdout, stderr: &stderr, getenv: func(string) string { return "" }}
	assert.Equal(t, exitInterrupted, run(ctx, env, []string{"limits", "learn", "-"}))
	assert.Empty(t, stdout.String())
}

// neverEnds is an input that never comes.
type neverEnds struct{}

// Read waits for ever.
func (neverEnds) Read([]byte) (int, error) { select {} }

func TestLimitsLearnCannotPrint(t *testing.T) {
	var stderr bytes.Buffer
	path := filepath.Join(t.TempDir(), "learned.toml")
	env := &environment{screen: paper, stdin: strings.NewReader(""), stdout: fullDisk{}, stderr: &stderr, getenv: func(string) string { return "" }}
	assert.Equal(t, exitFile, run(context.Background(), env, []string{"limits", "learn", learnTen, "-o", path}))
	assert.Equal(t, "leakback: standard output: cannot be written: no space left\n", stderr.String())
	assert.NoFileExists(t, path)
}

// fullDisk takes nothing.
type fullDisk struct{}

// Write fails.
func (fullDisk) Write([]byte) (int, error) { return 0, errors.New("no space left") }

func TestPercent(t *testing.T) {
	for x, want := range map[float64]string{
		0: "0 %", 0.004: "< 1 %", 0.005: "1 %", 0.224: "22 %", 0.994: "99 %", 0.996: "> 99 %", 1: "100 %", 1.2: "120 %", math.Inf(1): "+Inf %",
	} {
		assert.Equal(t, want, percent(x), x)
	}
	assert.Equal(t, "unknown", percent(math.NaN()))
}
