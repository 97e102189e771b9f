package command

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"leakback/leakback"
	"leakback/leakback/entry"
	"leakback/leakback/entry/frame"
	"leakback/leakback/logbook"
	"leakback/limits"
	"leakback/limits/quantity"
)

// checkOptions are the flags of leakback check.
type checkOptions struct {
	volumes   string
	format    string
	output    string
	overwrite bool
	exitCode  bool
	log       bool
	logbook   logbookOptions
	limits    string
	drift     bool
	leaveOut  leaveOutOptions
	state     stateOptions
	job       leakback.Job
}

var formats = []string{"table", "json", "csv"}

func newCheckCommand(env *environment) *cobra.Command {
	o := &checkOptions{}
	cmd := &cobra.Command{
		Use:   "check [FILE...]",
		Short: "judge a return-flow test, or many",
		Long: `Judge return-flow tests: every cylinder's rate with its uncertainty, held against
the limits sheet and against the engine's own consensus.

FILE is a readings file (CSV; see the README) or a filled-in entry form (.xlsx;
see leakback form), - is standard input. With
--volumes no file is needed: the volumes of one run in the order of cylinder
numbers, ">100" where a tube overflowed, "<2" below the first mark, "skip" where
a cylinder was not read. Flags fill in what a cell of the file leaves empty.

A file whose rows name blocked cylinders holds merged returns, which are solved
for each cylinder's share; one with neither column holds the total alone. Where
the returns were collected one after the other with one tube, collect the first
again last. --interval unknown compares the cylinders and judges no rate.
--leave-out keeps a run that stumbled or spilled out of the evaluation and, with
its reason, in the report.

--output writes the customer's workbook of a single test, and of several tests a
history workbook with a row for each cylinder. An existing one is replaced only
with --overwrite. --log keeps the tests in the logbook.

Exit codes: 0 evaluated, whatever the verdict; 1 only with --exit-code, when the
verdict is not pass; 2 bad use or bad input; 3 cannot read or write;
130 interrupted.`,
		Example: `  leakback check --interval 60s --volumes "21 22.5 23 >100 21 22"
  leakback check idle.csv --limits engine.toml --output report.xlsx
  leakback check block-off.csv --cylinders 6 --leave-out 4 --reason "hose slipped"
  leakback check month.csv --format csv`,
		RunE: func(c *cobra.Command, args []string) error {
			return newCheck(env, o).run(c.Context(), args)
		},
		ValidArgsFunction: cobra.FixedCompletions(nil, cobra.ShellCompDirectiveDefault),
	}
	o.addFlags(cmd.Flags())
	completeWords(cmd, map[string][]string{"format": formats})
	completeWords(cmd, stateWords)
	return cmd
}

func (o *checkOptions) addFlags(f *pflag.FlagSet) {
	f.SortFlags = false
	f.StringVar(&o.volumes, "volumes", "", "volumes in mL of one run, by cylinder number")
	f.StringVar(&o.format, "format", "table", "table, json or csv")
	addFile(f, &o.output, "output", "o", "write a workbook (.xlsx) as well")
	f.BoolVar(&o.overwrite, "overwrite", false, "replace an existing report")
	f.BoolVar(&o.exitCode, "exit-code", false, "exit with 1 when the verdict is not pass")
	f.BoolVar(&o.log, "log", false, "keep the tests in the logbook; what it has already is not added again")
	o.logbook.addFlag(f)
	addFile(f, &o.limits, "limits", "", "limits sheet (TOML); else LEAKBACK_LIMITS, else by engine")
	o.leaveOut.addFlags(f)
	f.BoolVar(&o.drift, "drift", false, "refuse runs that cannot show drift")
	o.state.addFlags(f)
	addJobFlags(f, &o.job)
}

func addJobFlags(f *pflag.FlagSet, j *leakback.Job) {
	for _, flag := range []struct {
		to          *string
		name, usage string
	}{
		{&j.Workshop, "workshop", "workshop on the report"},
		{&j.Technician, "technician", "who did the test"},
		{&j.Customer, "customer", "customer on the report"},
		{&j.WorkOrder, "work-order", "number of the work order"},
		{&j.Vehicle, "vehicle", "vehicle, as the customer knows it"},
		{&j.VIN, "vin", "vehicle identification number"},
		{&j.Odometer, "odometer", "odometer or hour meter, with its unit"},
		{&j.EngineSerial, "engine-serial", "serial number of the engine"},
		{&j.Complaint, "complaint", "what the customer complained of"},
		{&j.Tested, "tested", "date, time and zone of the test"},
		{&j.Note, "note", "a note for the report"},
	} {
		f.StringVar(flag.to, flag.name, "", flag.usage)
	}
}

// soundJob refuses what no report could show on a line.
func soundJob(j *leakback.Job) error {
	var faults []entry.Fault
	for _, field := range leakback.JobFields() {
		if _, expected := frame.Words(leakback.Longest(field))(*j.Field(field)); expected != "" {
			faults = append(faults, entry.Fault{Column: "--" + strings.ReplaceAll(field, "_", "-"), Value: *j.Field(field), Expected: expected})
		}
	}
	if len(faults) == 0 {
		return nil
	}
	return &entry.FaultError{Faults: faults}
}

// check is one run of the command.
type check struct {
	env    *environment
	o      *checkOptions
	sheets map[string]*limits.Sheet
	alone  bool          // the input holds one test, and all of it was read
	book   *logbook.Book // nil without --log
	logged loggedCount
}

func newCheck(env *environment, o *checkOptions) *check {
	return &check{env: env, o: o, sheets: map[string]*limits.Sheet{}}
}

func (c *check) run(ctx context.Context, files []string) error {
	if err := c.sound(files); err != nil {
		return err
	}
	src, err := c.newSource(files)
	if err != nil {
		return err
	}
	worst, err := c.evaluateInto(ctx, src)
	if err != nil {
		return err
	}
	if c.o.exitCode && worst != leakback.Pass {
		return errNotPass
	}
	return nil
}

// evaluateInto evaluates all tests and keeps them in the logbook, where they are
// to be.
func (c *check) evaluateInto(ctx context.Context, src *source) (worst leakback.Verdict, err error) {
	if c.o.log {
		if c.book, err = c.o.logbook.toWrite(ctx, c.env); err != nil {
			return leakback.Pass, err
		}
		defer c.book.Close()
		defer c.sayLogged()
	}
	return c.evaluateAll(ctx, src)
}

// evaluateAll prints the result of every test of the source and gives the
// worst verdict. Without a workbook to write all tests go the way of a batch.
func (c *check) evaluateAll(ctx context.Context, src *source) (leakback.Verdict, error) {
	if c.o.output == "" && !c.o.leaveOut.any() && !c.o.log {
		return c.batch(ctx, src, nil)
	}
	err := await(ctx, func() (err error) {
		c.alone, err = src.alone()
		return err
	})
	if err == nil && c.o.leaveOut.any() {
		err = c.o.leaveOut.apply(src.ahead)
	}
	switch {
	case err != nil:
		return leakback.Pass, err
	case c.o.output == "":
		return c.batch(ctx, src, nil)
	case c.alone:
		return c.single(ctx, src)
	}
	return c.history(ctx, src)
}

// await is f's error, or the context's where that ends first: f may wait for
// input that never comes, and is then left behind.
func await(ctx context.Context, f func() error) error {
	done := make(chan error, 1)
	go func() { done <- f() }()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
		return ctx.Err()
	}
}

// sound refuses flags and arguments that contradict one another.
func (c *check) sound(files []string) error {
	switch o := c.o; {
	case len(files) == 0 && o.volumes == "":
		return &hintedError{errors.New("nothing to check: expected a readings file, - or --volumes"),
			"see leakback check --help"}
	case len(files) > 0 && o.volumes != "":
		return errors.New("--volumes and a readings file: expected one of them")
	case !slices.Contains(formats, o.format):
		return fmt.Errorf("--format: %s: expected %s", quantity.Quote(o.format), strings.Join(formats, ", "))
	case o.overwrite && o.output == "":
		return errors.New("--overwrite: expected with --output FILE")
	case o.logbook.address != "" && !o.log:
		return errors.New("--logbook: expected with --log")
	}
	if err := c.o.leaveOut.sound(); err != nil {
		return err
	}
	if err := soundJob(&c.o.job); err != nil || c.o.output == "" {
		return err
	}
	return soundWorkbook(c.o.output, c.o.overwrite, append([]string{c.o.limits}, files...)...)
}

// soundWorkbook refuses a name that no workbook can be written to, that of a file
// that is read among them.
func soundWorkbook(path string, overwrite bool, read ...string) error {
	if err := soundName(path); err != nil {
		return err
	}
	if err := another("output", path, read...); err != nil {
		return err
	}
	return replaceable(path, overwrite)
}

// another refuses an output that is what is read, whatever the two are called.
func another(flag, output string, read ...string) error {
	for _, in := range read {
		if sameFile(in, output) {
			return fmt.Errorf("--%s: %s: expected another file than what is read", flag, quantity.Name(output))
		}
	}
	return nil
}

// soundName refuses a name that is no workbook's.
func soundName(path string) error {
	if !strings.HasSuffix(strings.ToLower(path), ".xlsx") {
		return fmt.Errorf("--output: %s: expected a name that ends in .xlsx", quantity.Quote(path))
	}
	return nil
}

func sameFile(a, b string) bool {
	infoA, errA := os.Stat(a)
	infoB, errB := os.Stat(b)
	return errA == nil && errB == nil && os.SameFile(infoA, infoB)
}
