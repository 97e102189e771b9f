package command

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"leakback/leakback"
	"leakback/leakback/entry/recorded"
	"leakback/leakback/logbook"
	"leakback/leakback/repair"
	"leakback/limits"
	"leakback/limits/quantity"
)

// spoof is what no message may look like, whoever is quoted in it.
const spoof = "leakback: wrote forged.xlsx"

// obeyed are texts that terminals obey (ECMA-48: CSI, OSC, C1), that turn the
// direction of writing (UAX 9), that cannot be seen or that break the line.
var obeyed = []string{
	"a\x1b[31mred\x1b[2J\x1b]0;title\x07\x1bc\u009b31m\u0085\x7f\x08\u202eturned\u2066\u200b\ufeff\u00ad\n" + spoof + "\r\t\v",
	"bad\xff\xfe\xc0\xaf\xed\xa0\x80\u2028" + spoof + "\u2029end",
	"e" + strings.Repeat("\u0301", 300) + strings.Repeat("👩‍🔧", 60) + strings.Repeat("wide 燃料 ", 60),
}

// requireSafe requires that a terminal obeys nothing of an output: UTF-8, no
// character but printable ones and line ends, and no line that the program did not
// mean.
func requireSafe(t *testing.T, text, about string) {
	t.Helper()
	assert.True(t, utf8.ValidString(text), "%s: %q", about, text)
	if i := strings.IndexFunc(text, func(r rune) bool {
		return r != '\n' && (unicode.IsControl(r) || unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp))
	}); i >= 0 {
		assert.Fail(t, "a terminal obeys it, or nobody sees it", "%s: %q behind %q", about, text[i:min(len(text), i+20)], text[max(0, i-60):i])
	}
	assert.NotRegexp(t, "(?m)^(leakback: )+wrote forged", text, about)
}

// stage is a folder with a program in it that runs within this process.
type stage struct {
	*testing.T
	folder string
}

func newStage(t *testing.T) *stage {
	t.Chdir(t.TempDir())
	return &stage{t, "."}
}

// run runs the program and requires that what it says is safe.
func (s *stage) run(args ...string) string {
	s.Helper()
	var stdout, stderr bytes.Buffer
	env := &environment{stdin: strings.NewReader(""), stdout: &stdout, stderr: &stderr, getenv: func(string) string { return "" },
		configDir: "config", logbook: "usual.db", screen: screen{width: 80, unicode: true}}
	run(context.Background(), env, args)
	requireSafe(s.T, stdout.String(), fmt.Sprintf("stdout of %q", args))
	requireSafe(s.T, stderr.String(), fmt.Sprintf("stderr of %q", args))
	return stdout.String() + stderr.String()
}

// file writes a file.
func (s *stage) file(name, content string) {
	s.Helper()
	require.NoError(s, os.WriteFile(name, []byte(content), 0o600))
}

// commands are all commands that do something, the generated ones among them.
func commands(c *cobra.Command) []*cobra.Command {
	var all []*cobra.Command
	if c.Runnable() {
		all = append(all, c)
	}
	for _, sub := range c.Commands() {
		all = append(all, commands(sub)...)
	}
	return all
}

// Whatever stands in a flag or an argument of any command, and whatever the flags
// will be, nothing of it is obeyed.
func TestArgumentsAreNotObeyed(t *testing.T) {
	s := newStage(t)
	s.file("in.csv", "cylinder,volume_ml,interval_s\n1,21,60\n2,22,60\n3,23,60\n")
	root := newRoot(&environment{})
	root.InitDefaultCompletionCmd()
	root.InitDefaultHelpCmd()
	flags := 0
	for _, c := range commands(root) {
		path := strings.Fields(c.CommandPath())[1:]
		for _, text := range obeyed {
			s.run(append(slices.Clone(path), text)...)
			s.run(append(slices.Clone(path), text, text)...)
			s.run(append(slices.Clone(path), "--"+text)...)
			c.Flags().VisitAll(func(f *pflag.Flag) {
				flags++
				args := append(slices.Clone(path), "--"+f.Name+"="+text)
				if c.Name() == "check" || c.Name() == "retest" {
					args = append(args, "in.csv")
				}
				s.run(args...)
			})
		}
	}
	assert.Greater(t, flags, 300)
}

// Whatever stands in a readings file, in a limits sheet or in their names, nothing of
// it is obeyed.
func TestFilesAreNotObeyed(t *testing.T) {
	s := newStage(t)
	for i, text := range obeyed {
		cell := `"` + strings.ReplaceAll(text, `"`, `""`) + `"`
		for _, column := range []string{"cylinder", "blocked", "volume_ml", "interval_s", "test_id", "run", "start_ml", "over_range",
			"graduation_ml", "capacity_ml", "tolerance_ml", "condition", "injectors", "cranks", "fuel_temp_c", "fuel_temp_at",
			"rail_pressure_bar", "back_pressure_bar", "engine_rpm", "return_line", "density_g_ml", "engine", cell} {
			s.file("in.csv", "cylinder,volume_ml,"+column+"\n1,21,"+cell+"\n2,22,"+cell+"\n3,23,"+cell+"\n")
			s.run("check", "in.csv", "--interval", "60")
		}
		quoted := fmt.Sprintf("%q", strings.ToValidUTF8(text, "?"))
		quoted = strings.NewReplacer(`\x1b`, `\u001b`, `\x7f`, `\u007f`, `\a`, `\u0007`, `\v`, `\u000b`).Replace(quoted)
		for _, sheet := range []string{
			quoted + " = 1", quoted + " = 1\n" + quoted + " = 2", "[" + quoted + "]\n", "name = " + quoted, "engine = " + quoted,
			"name = " + text, text, "set = " + quoted, "[set]\nhealthy_cv = " + quoted + "\nsource = \"x\"", "[set]\nhealthy_cv = 0.1\nsource = " + quoted,
			"[set]\nhealthy_cv = 0.1\nsource = \"x\"\n" + quoted + " = 1",
			"cylinders = 3\nreturn_lines = { " + quoted + " = [1, 2, 3] }\n[set]\nhealthy_cv = 0.1\nsource = \"x\"",
			"cylinders = 3\nreturn_lines = { " + quoted + " = [1, 2, 9] }\n[set]\nhealthy_cv = 0.1\nsource = \"x\"",
			"[[limit]]\ncondition = " + quoted + "\nmax_rate_ml_min = 22\nsource = " + quoted,
			"[[tightening]]\nstep = 1\npart = " + quoted + "\ntorque = \"60 N·m\"\nsource = " + quoted,
			"[[tightening]]\nstep = 1\npart = \"x\"\ntorque = " + quoted + "\nsource = \"x\"",
		} {
			s.file("sheet.toml", sheet)
			s.file("in.csv", "cylinder,volume_ml\n1,21\n2,22\n3,23\n")
			s.run("limits", "check", "sheet.toml")
			s.run("limits", "show", "--limits", "sheet.toml")
			for _, format := range formats {
				s.run("check", "in.csv", "--interval", "60", "--limits", "sheet.toml", "--format", format)
			}
			s.run("plan", "--expect", "30mL/min", "--limit", "40mL/min", "--limits", "sheet.toml")
		}
		name := strings.NewReplacer("/", "", "\x00", "").Replace(text)
		if name = name[:min(len(name), 100)]; i == 0 {
			err := os.WriteFile(name, []byte("cylinder,volume_ml\n1,21\n2,x\n"), 0o600)
			require.True(t, err == nil || runtime.GOOS == "windows", "%v", err) // which has no such names
		}
		s.run("check", name, "--interval", "60")
		s.run("limits", "check", name)
		s.run("logbook", "import", name)
		s.run("logbook", "check", "--logbook", name)
		s.run("logbook", "verify", name)
		s.run("logbook", "verify", "--heads", name)
	}
}

// log adds a test of which every text is that one, as no honest program enters it.
func (s *stage) log(book *logbook.Book, text string) {
	s.Helper()
	s.logFields(book, func() string { return text }, leakback.FieldName, "condition")
}

// logFields is log with a text for each thing that is said, and with these fields
// beside those of the job.
func (s *stage) logFields(book *logbook.Book, next func() string, fields ...string) {
	s.Helper()
	test := &leakback.Test{ID: "a", Condition: "idle", Method: leakback.MethodIndividual}
	run := leakback.Run{Number: 1, IntervalS: 60, State: leakback.UnknownState()}
	for c, v := range []float64{21, 22, 23, 39} {
		run.Readings = append(run.Readings, leakback.Reading{Cylinder: c + 1, Typed: fmt.Sprint(v), VolumeML: v,
			Tube: leakback.Tube{GraduationML: 1, ToleranceML: 1}})
	}
	test.Runs = []leakback.Run{run}
	events := recorded.Events(test, leakback.Job{}, limits.Builtin())
	said := func(k leakback.Key) {
		events = append(events, leakback.Event{Key: k, Person: next(), Value: next(), Typed: next(), Reason: next()})
	}
	for _, field := range append(leakback.JobFields(), fields...) {
		said(leakback.Key{Kind: leakback.KindSet, Field: field})
	}
	for _, f := range repair.Fields() {
		if f.Most == 0 {
			continue // a word of its own, or a number
		}
		said(leakback.Key{Kind: leakback.KindWork, Run: 1, Field: f.Name, Cylinder: map[repair.Place]int{repair.OfCylinder: 1}[f.Place]})
		events[len(events)-1].Value = fitting(next, f.Most)
	}
	for _, kind := range leakback.Kinds() {
		if !slices.Contains([]leakback.Kind{leakback.KindReading, leakback.KindSet, leakback.KindTime}, kind) {
			field := next()
			said(leakback.Key{Kind: kind, Field: strings.ToValidUTF8(field[:min(len(field), 500)], ""), Line: next()})
		}
	}
	for i := range events {
		events[i].AtUS = 1_700_000_000_000_000 + int64(i)
	}
	_, err := book.Append(s.Context(), logbook.NewTestID(), events)
	require.NoError(s, err)
}

// fitting is the next text that may be typed into a field of so many characters,
// the next one where there is none soon.
func fitting(next func() string, most int) string {
	for range 50 {
		if text := next(); utf8.RuneCountInString(text) <= most && quantity.Printable(text) {
			return text
		}
	}
	return next()
}

// Whatever a logbook from elsewhere holds, nothing of it is obeyed. CSV keeps what
// was typed where it goes to a program.
func TestLogbooksAreNotObeyed(t *testing.T) {
	s := newStage(t)
	book, err := logbook.Open(t.Context(), "usual.db", logbook.Options{})
	require.NoError(t, err)
	for _, text := range obeyed {
		text = strings.ReplaceAll(strings.ToValidUTF8(text, "\ufffd"), "\x00", "")
		s.log(book, text)
	}
	require.NoError(t, book.Close())
	for _, args := range [][]string{
		{"history"}, {"history", "--trend"}, {"history", "--story"}, {"history", "--format", "json"}, {"history", "1"}, {"history", "2"},
		{"history", "3"}, {"history", "--vehicle", obeyed[0]}, {"history", "1", "--format", "json"}, {"report", "1", "--output", "a.xlsx"},
		{"retest", "1", "2"}, {"retest", "1", "3", "--format", "json"}, {"logbook", "check"}, {"logbook", "verify", "a.xlsx"}, {"logbook", "heads"},
		{"record", "--plain"}, {"record", "--plain", "--resume", "1"}, {"work", "1", "--plain"}, {"work", "3", "--plain"}, {"limits", "learn", "--from-logbook"},
	} {
		assert.NotEmpty(t, s.run(args...), args)
	}
}

// The program itself, as a shell runs it, is as safe as its parts.
func TestProgramIsNotObeyed(t *testing.T) {
	bin := program(t)
	folder := t.TempDir()
	bin, err := filepath.Abs(bin)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(folder, "in.csv"), []byte("cylinder,volume_ml\n1,"+obeyed[0]+"\n"), 0o600))
	for _, args := range [][]string{
		{"check", "in.csv", "--interval", "60"}, {"check", obeyed[0]}, {obeyed[0]}, {"limits", "check", "in.csv"},
		{"check", "--interval", "60", "--volumes", obeyed[0]}, {"limits", "start", obeyed[0]}, {"__complete", "check", "--" + obeyed[0]},
	} {
		cmd := exec.Command(bin, args...)
		cmd.Dir, cmd.Env = folder, append(os.Environ(), "HOME="+folder, "LC_ALL=C.UTF-8")
		out, _ := cmd.CombinedOutput()
		requireSafe(t, string(out), fmt.Sprintf("%q", args))
		assert.NotEmpty(t, out)
	}
}

// A terminal is given nothing but what the program draws itself: CSV of a logbook
// from elsewhere, which a program would read as it was typed, among it.
func TestTerminalIsGivenNoOther(t *testing.T) {
	s := newStage(t)
	book, err := logbook.Open(t.Context(), "usual.db", logbook.Options{})
	require.NoError(t, err)
	s.log(book, strings.ReplaceAll(strings.ToValidUTF8(obeyed[0], ""), "\x00", ""))
	s.log(book, "b")
	require.NoError(t, book.Close())
	for _, args := range [][]string{{"history", "--format", "csv"}, {"history"}, {"retest", "1", "2", "--format", "csv"}, {"history", "1"}} {
		var stdout bytes.Buffer
		env := &environment{stdin: strings.NewReader(""), stdout: &stdout, stderr: &stdout, getenv: func(string) string { return "" },
			logbook: "usual.db", screen: screen{width: 80, unicode: true, color: true, terminal: true}}
		run(t.Context(), env, args)
		requireSafe(t, regexp.MustCompile("\x1b\\[[0-9;]*m").ReplaceAllString(stdout.String(), ""), fmt.Sprint(args))
	}
}
