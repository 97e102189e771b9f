package command

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"leakback/leakback"
	"leakback/leakback/entry"
	"leakback/limits"
	"leakback/report"
)

// bench is a command's surroundings with the sheets of testdata/batch.
type bench struct {
	environment
	out, messages bytes.Buffer
}

func newBench(t testing.TB, stdin io.Reader) *bench {
	t.Helper()
	b := &bench{}
	b.environment = environment{
		stdin: stdin, stdout: &b.out, stderr: &b.messages,
		getenv: func(string) string { return "" }, configDir: batchConfig(t),
		screen: screen{width: usualWidth, unicode: true},
	}
	return b
}

func (b *bench) run(args ...string) int {
	return run(context.Background(), &b.environment, append([]string{"check"}, args...))
}

// serial is what the command prints of readings where one test is judged after
// the other, each by itself and in full: the result of every test that stands
// before the first fault.
func serial(t *testing.T, readings, configDir, format string) string {
	t.Helper()
	var out bytes.Buffer
	if format == "csv" {
		out.WriteString(report.CSVHeader())
	}
	r := entry.NewReader(strings.NewReader(readings), "stdin", "stdin", entry.NoDefaults())
	for {
		test, err := r.Next()
		if err != nil {
			return out.String()
		}
		sheet, err := limits.Find(test.Engine, "", func(string) string { return "" }, configDir)
		require.NoError(t, err)
		result, err := leakback.Evaluate(test, sheet)
		require.NoError(t, err)
		if format == "json" {
			require.NoError(t, report.JSON(&out, result))
			continue
		}
		out.Write(report.AppendCSV(nil, result))
	}
}

// everyFinding are the codes that the varied batch meets.
var everyFinding = []leakback.Code{
	leakback.OverLimit, leakback.UnderLimit, leakback.OverRatio, leakback.HighInSet, leakback.CloseToLimit,
	leakback.CloseInSet, leakback.LowInSet, leakback.Unsteady, leakback.OverRange, leakback.NoReturn,
	leakback.BelowFirstMark, leakback.OverTotal, leakback.OverDifference, leakback.CloseToTotal,
	leakback.CloseToDifference, leakback.NoConsensus, leakback.TooLittleReturn, leakback.BackPressure,
	leakback.OutsideLimitState, leakback.StateUnknown, leakback.OtherCrankPattern, leakback.SetTogetherHigh,
	leakback.HalfSet, leakback.FewCylinders, leakback.NoAbsoluteLimit,
}

// On all cores a batch comes out as it does one test after the other, byte for
// byte, whatever is found in it.
func TestBatchIsTheSerialResult(t *testing.T) {
	readings := variedBatch(4000, 21)
	for _, format := range []string{"csv", "json"} {
		b := newBench(t, strings.NewReader(readings))
		require.Zero(t, b.run("-", "--format", format), b.messages.String())
		require.Empty(t, b.messages.String())
		want := serial(t, readings, b.configDir, format)
		require.True(t, want == b.out.String(), "%s differs from the serial result", format)
		for _, code := range everyFinding {
			assert.Contains(t, want, code, "the batch meets every finding")
		}
	}
}

func TestBatchAsTables(t *testing.T) {
	b := newBench(t, strings.NewReader(variedBatch(300, 22)))
	require.Zero(t, b.run("-"))
	heads := strings.Count(b.out.String(), " Return-flow test T")
	assert.Equal(t, 300, heads)
	assert.Equal(t, 299, strings.Count(b.out.String(), "\n\n Return-flow test T"), "an empty line between two tests")
	for i := range 300 {
		require.Contains(t, b.out.String(), fmt.Sprintf(" Return-flow test T%06d: ", i))
	}
}

// What stands before a fault has been printed, nothing behind it has.
func TestFaultInTheMiddle(t *testing.T) {
	readings := variedBatch(2000, 23)
	at := strings.Index(readings, "\nT001234,") + 1
	before, rest := readings[:at], readings[at:]
	for name, c := range map[string]struct{ readings, message string }{
		"a cell": {before + "X1,,idle,,1,60,,,,,,1,100,1,1,,much\n" + rest,
			`stdin: row \d+, column volume_ml: "much": expected a number such as 22.5`},
		"a sheet": {before + "X1,Northmoor Broken,idle,,1,60,,,,,,1,100,1,1,,21\n" + rest,
			`stdin: .*northmoor-broken.toml:1:1: wrong: unknown key`},
		"a test that does not fit its sheet": {
			before + "X1,Northmoor Two,idle,,1,60,,,,,,1,100,1,3,,21\n" + rest,
			`stdin: test X1: cylinder 3: expected a number from 1 to 2`},
	} {
		t.Run(name, func(t *testing.T) {
			b := newBench(t, strings.NewReader(c.readings))
			sheets := filepath.Join(b.configDir, limits.Folder)
			require.NoError(t, os.WriteFile(filepath.Join(sheets, "northmoor-broken.toml"), []byte("wrong = 1\n"), 0o600))
			require.NoError(t, os.WriteFile(filepath.Join(sheets, "northmoor-two.toml"),
				[]byte("cylinders = 2\n[set]\nsource = \"invented\"\n"), 0o600))
			assert.Equal(t, exitBadInput, b.run("-", "--format", "csv", "--exit-code"))
			assert.Regexp(t, `^leakback: `+c.message, b.messages.String())
			assert.True(t, serial(t, before, b.configDir, "csv") == b.out.String(), "all tests before it, and no other")
		})
	}
}

// --exit-code is about the worst verdict, wherever it stands.
func TestExitCodeOfABatch(t *testing.T) {
	path := plainBatch(t, 6000)
	assert.Equal(t, exitDone, newBench(t, nil).run(path, "--exit-code"))
	high := strings.NewReader("test_id,cylinder,volume_ml,interval_s\nz,1,20,60\nz,2,21,60\nz,3,90,60\n")
	assert.Equal(t, exitNotPass, newBench(t, high).run("-", path, "--exit-code", "--format", "csv"))
}

// endless are readings of so many tests that never stand in memory together.
type endless struct {
	tests, next int
	rest        []byte
}

// Read gives the header and then test after test.
func (e *endless) Read(p []byte) (int, error) {
	if len(e.rest) == 0 {
		switch {
		case e.next == 0:
			e.rest = []byte("test_id,cylinder,volume_ml,interval_s\n")
		case e.next > e.tests:
			return 0, io.EOF
		}
		for c := range 4 * min(e.next, 1) {
			e.rest = fmt.Appendf(e.rest, "T%07d,%d,%d,60\n", e.next, c+1, 20+(e.next+c)%7)
		}
		e.next++
	}
	n := copy(p, e.rest)
	e.rest = e.rest[n:]
	return n, nil
}

// weighing is an output that looks at the memory in use every so often.
type weighing struct {
	writes int
	most   uint64
}

// Write throws away.
func (w *weighing) Write(p []byte) (int, error) {
	if w.writes++; w.writes%40 == 0 {
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		w.most = max(w.most, m.HeapAlloc)
	}
	return len(p), nil
}

// Memory grows by what it takes to find an id again, and by nothing else:
// the contract says 32 bytes a test, tables that double may hold twice that.
func TestBatchMemory(t *testing.T) {
	const tests = 60_000
	weigh := func(n int) float64 {
		w := &weighing{}
		b := newBench(t, &endless{tests: n})
		b.stdout = w
		require.Zero(t, b.run("-", "--format", "csv"))
		require.Positive(t, w.most)
		return float64(w.most)
	}
	weigh(tests)
	once, twice := weigh(tests), weigh(2*tests)
	assert.Less(t, twice-once, 2*32.0*tests+1<<20)
}

// stuck gives what it has and then waits until the test is over.
type stuck struct {
	io.Reader
	over chan struct{}
}

// Read reads, and waits at the end.
func (s stuck) Read(p []byte) (int, error) {
	n, err := s.Reader.Read(p)
	if err == io.EOF {
		<-s.over
	}
	return n, err
}

// signalling says when something was written.
type signalling struct {
	bytes.Buffer
	written chan struct{}
}

// Write writes and says so once.
func (s *signalling) Write(p []byte) (int, error) {
	defer func() {
		select {
		case s.written <- struct{}{}:
		default:
		}
	}()
	return s.Buffer.Write(p)
}

// An interruption ends a batch though its input never does. What was printed
// stands, whole tests of it, and no report is written.
func TestInterrupt(t *testing.T) {
	folder := t.TempDir()
	for _, args := range [][]string{{}, {"-o", filepath.Join(folder, "report.xlsx")}} {
		over := make(chan struct{})
		defer close(over)
		readings := variedBatch(400, 24)
		out := &signalling{written: make(chan struct{}, 1)}
		b := newBench(t, stuck{strings.NewReader(readings), over})
		b.stdout = out
		ctx, interrupt := context.WithCancel(context.Background())
		code := make(chan int)
		go func() {
			code <- run(ctx, &b.environment, append([]string{"check", "-", "--format", "csv"}, args...))
		}()
		<-out.written
		interrupt()
		select {
		case got := <-code:
			assert.Equal(t, exitInterrupted, got)
		case <-time.After(time.Minute):
			t.Fatal("still running")
		}
		assert.Equal(t, "leakback: interrupted; what was printed before stands, no report was written\n", b.messages.String())
		want := serial(t, readings, b.configDir, "csv")
		require.True(t, strings.HasPrefix(want, out.String()))
		assert.True(t, strings.HasSuffix(out.String(), "\n"))
		only(t, folder)
	}
}

// A waiting input is left at once where nothing has come of it yet.
func TestInterruptBeforeTheFirstTest(t *testing.T) {
	over := make(chan struct{})
	defer close(over)
	ctx, interrupt := context.WithCancel(context.Background())
	interrupt()
	for _, args := range [][]string{{}, {"-o", filepath.Join(t.TempDir(), "report.xlsx")}} {
		b := newBench(t, stuck{strings.NewReader(""), over})
		assert.Equal(t, exitInterrupted, run(ctx, &b.environment, append([]string{"check", "-"}, args...)))
		assert.Empty(t, b.out.String())
	}
}

// The history holds every cylinder of the batch in its order, and its figures
// are those of the CSV.
func TestHistoryOfABatch(t *testing.T) {
	path := filepath.Join(t.TempDir(), "history.xlsx")
	b := newBench(t, strings.NewReader(variedBatch(700, 25)))
	require.Zero(t, b.run("-", "--format", "csv", "-o", path), b.messages.String())
	assert.Equal(t, "leakback: wrote "+path+"\n", b.messages.String())
	f, err := excelize.OpenFile(path)
	require.NoError(t, err)
	defer f.Close()
	rows, err := f.GetRows("Tests", excelize.Options{RawCellValue: true})
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSpace(b.out.String()), "\n")
	require.Len(t, rows, len(lines))
	words := map[string]string{"pass": "pass", "fail": "FAIL", "undecided": "undecided", "unread": "not read"}
	for i, line := range lines[1:] {
		cells, row := strings.Split(line, ","), append(rows[i+1], make([]string, 15)...)
		require.Equal(t, []string{cells[0], cells[1], words[cells[5]], words[cells[7]]},
			[]string{row[0], row[5], row[11], row[13]})
		require.Equal(t, strings.ReplaceAll(cells[6], ";", "; "), row[12])
		require.Equal(t, strings.ReplaceAll(cells[8], ";", "; "), row[14])
		require.Equal(t, cells[9], row[6])
		for csv, column := range map[int]int{2: 7, 3: 8, 4: 10} {
			require.Equal(t, len(cells[csv]) > 0, len(row[column]) > 0)
			require.True(t, strings.HasPrefix(cells[csv]+"0", row[column][:max(len(row[column])-1, 0)]),
				"%s and %s", cells[csv], row[column])
		}
	}
}
