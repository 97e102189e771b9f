// Package command is the command line: flags in, exit code out. It puts the
// page of a report together from the packages below and is the one home of
// messages to people, of exit codes and of how a file is replaced.
//
// Messages on stderr follow these rules: the program's name first, lower case,
// no full stop, one line for each fault, then hints that say what to do.
// Results go to stdout, everything else to stderr.
package command

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"os/signal"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"leakback/leakback/entry"
	"leakback/leakback/logbook"
	"leakback/leakback/terminal"
	"leakback/limits"
)

// Exit codes of the program; the file contracts name them.
const (
	exitDone        = 0
	exitNotPass     = 1 // only with --exit-code
	exitBadInput    = 2
	exitFile        = 3
	exitInterrupted = 130
)

// environment is what a command sees of the world around it.
type environment struct {
	stdin          io.Reader
	stdout, stderr io.Writer
	getenv         func(string) string
	// configDir is the user's configuration folder; "" where there is none.
	configDir string
	// logbook is the usual logbook; "" where there is no data folder.
	logbook string
	// place is the time zone of what people read; nil is the machine's.
	place *time.Location
	// screen says how stdout may be drawn on.
	screen screen
	// watched says that progress may be shown on stderr.
	watched bool
	// now is the clock; nil is the machine's.
	now func() time.Time
}

// today is the day, as sources of figures are dated.
func (env *environment) today() string { return env.clock().Format(time.DateOnly) }

// Main runs the program with the arguments after its name and gives its exit
// code.
func Main(args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	surviveFileSizeLimit()
	ctx, stop := signal.NotifyContext(context.Background(), endings()...)
	defer stop()
	configDir, err := os.UserConfigDir()
	if err != nil {
		configDir = ""
	}
	env := &environment{
		stdin: stdin, stdout: stdout, stderr: stderr,
		getenv: os.Getenv, configDir: configDir, logbook: usualLogbook(os.Getenv), screen: screenOf(stdout, os.Getenv),
		watched: watched(stdout, stderr, os.Getenv),
	}
	return run(ctx, env, args)
}

// usualLogbook is the logbook in the data folder; "" where nobody says whose that
// would be, as a folder at the root of the machine is nobody's.
func usualLogbook(getenv func(string) string) string {
	if _, err := os.UserHomeDir(); err != nil && getenv("XDG_DATA_HOME") == "" {
		return ""
	}
	return logbook.DefaultPath()
}

func run(ctx context.Context, env *environment, args []string) int {
	root := newRoot(env)
	root.SetArgs(args)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return exitDone
	}
	env.complain(err)
	return exitCode(err)
}

func newRoot(env *environment) *cobra.Command {
	root := &cobra.Command{
		Use:   "leakback",
		Short: "find the injector that sends too much fuel back to the return",
		Long: `leakback judges an injector return-flow (leak-back) test: volumes collected from
each injector's return over a timed interval, held against the limits of the
engine's maker and against one another.

The engine maker's service information, local rules and a licensed technician's
judgement come before anything this program says. Fuel in the rail can be above
2,000 bar: never feel for a leak by hand, never loosen a pressurised joint.`,
		Example: `  leakback record --engine "My engine"
  leakback check --interval 60s --volumes "21 22.5 23 >100 21 22"
  leakback check idle.csv --limits engine.toml --output report.xlsx
  leakback plan --expect 30mL/min --limit 40mL/min --tube 100/1
  leakback limits start "My engine" --output engine.toml`,
		Version:           version(),
		Args:              onlyCommands,
		SilenceErrors:     true,
		SilenceUsage:      true,
		DisableAutoGenTag: true,
		RunE:              func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	root.SetIn(env.stdin)
	root.SetOut(env.stdout)
	root.SetErr(env.stderr)
	root.SetVersionTemplate("leakback {{.Version}}\n")
	root.SetFlagErrorFunc(flagFault)
	root.AddCommand(newCheckCommand(env), newRecordCommand(env), newWorkCommand(env), newRetestCommand(env), newHistoryCommand(env), newReportCommand(env),
		newFormCommand(env), newPlanCommand(env), newLimitsCommand(env), newLogbookCommand(env))
	return root
}

// hintedError is an error with what to do about it.
type hintedError struct {
	error
	hint string
}

func (e *hintedError) Unwrap() error { return e.error }

// fileError is a failure to read or write, as distinct from bad content.
type fileError struct{ error }

func (e *fileError) Unwrap() error { return e.error }

// interruptedError is an end before the last question that somebody chose. It
// says itself what was kept.
type interruptedError struct{ error }

func (e *interruptedError) Unwrap() error { return e.error }

// errNotPass ends a run with exit code 1 and without a message.
var errNotPass = errors.New("the verdict is not pass")

// exitCode is the one place where errors become exit codes.
func exitCode(err error) int {
	var (
		faults      *entry.FaultError
		sheetFaults *limits.FaultError
		file        *fileError
		kept        *logbook.Error
		left        *interruptedError
		path        *fs.PathError
		link        *os.LinkError
	)
	switch {
	case errors.Is(err, errNotPass):
		return exitNotPass
	case errors.As(err, &left), errors.Is(err, context.Canceled):
		return exitInterrupted
	case errors.As(err, &kept):
		return exitFile
	case errors.As(err, &faults), errors.As(err, &sheetFaults):
		return exitBadInput
	case errors.As(err, &file), errors.As(err, &path), errors.As(err, &link):
		return exitFile
	}
	return exitBadInput
}

// complain prints an error, a line for each fault, then its hint.
func (env *environment) complain(err error) {
	if errors.Is(err, errNotPass) {
		return
	}
	var left *interruptedError
	if errors.Is(err, context.Canceled) && !errors.As(err, &left) {
		err = errors.New("interrupted; what was printed before stands, no report was written")
	}
	for line := range strings.SplitSeq(err.Error(), "\n") {
		env.say(line)
	}
	var hinted *hintedError
	var kept *logbook.Error
	switch {
	case errors.As(err, &hinted):
		env.say("hint: " + hinted.hint)
	case errors.As(err, &kept) && kept.Hint() != "":
		env.say("hint: " + kept.Hint())
	}
}

// say prints one line to stderr, of which no terminal obeys anything: the names of
// files are other people's words. There is nowhere to report that it failed.
func (env *environment) say(line string) {
	fmt.Fprintln(env.stderr, "leakback: "+terminal.Printable(line))
}

// arguments wants those of the names, as the help has them: "TEST", "[TEST]" where
// it may be left out, "FILE..." where there may be more.
func arguments(names ...string) cobra.PositionalArgs {
	least, most := len(names), len(names)
	for _, name := range names {
		if strings.HasPrefix(name, "[") {
			least--
		}
		if strings.Contains(name, "...") {
			most = math.MaxInt
		}
	}
	return func(c *cobra.Command, args []string) error {
		if n := len(args); n < least || n > most {
			return &hintedError{
				fmt.Errorf("%s given: expected %s", counted(n, "argument"), cmp.Or(strings.Join(names, " "), "none")),
				"see " + c.CommandPath() + " --help",
			}
		}
		return nil
	}
}
