package command

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"leakback/leakback"
	"leakback/leakback/learn"
	"leakback/limits"
	"leakback/limits/quantity"
	"leakback/report"
)

// learnOptions are the flags of leakback limits learn.
type learnOptions struct {
	fromBook  bool
	logbook   logbookOptions
	limits    string
	output    string
	overwrite bool
	state     stateOptions
}

func newLimitsLearnCommand(env *environment) *cobra.Command {
	o := &learnOptions{}
	cmd := &cobra.Command{
		Use:   "learn [FILE...]",
		Short: "learn an engine's healthy spread from your own tests",
		Long: `Learn from your own tests of one kind of engine how far its healthy injectors
differ and, where tests have repeated runs, how well your readings repeat. You
need not say which injectors were good: what stands apart in its own test is set
aside. A leak is then told from a healthy injector by what this kind is known to
do, and no longer by an assumed figure.

FILE is a readings file (CSV; see the README), - is standard input, as in check.
Give every engine once: a second test of the same one shows the same injectors
again. With --engine, tests of other engines are passed over. Running states are
put together, and each is shown by itself. --from-logbook takes the first finished
test of every engine of the logbook, told apart by serial number, VIN or vehicle,
as long as nothing had been done to it.

It learns no absolute limit: those belong to the engine's maker. --output writes
a sheet with the learned figures in place of those of the sheet that applies
now; the maker's limits and the tightening steps stay as they are, comments do
not. Without --output nothing is written. An existing file is replaced only with
--overwrite.

Exit codes: 0 learned; 2 bad use, bad input or too few tests; 3 cannot read or
write; 130 interrupted.`,
		Example: `  leakback limits learn year.csv --engine "My engine"
  leakback limits learn year.csv --limits maker.toml --output my-engine.toml
  leakback limits learn --from-logbook --engine "My engine" --output my-engine.toml`,
		Args: func(_ *cobra.Command, files []string) error { return o.someTests(files) },
		RunE: func(c *cobra.Command, files []string) error {
			return newLearning(env, o, files).run(c.Context())
		},
		ValidArgsFunction: cobra.FixedCompletions(nil, cobra.ShellCompDirectiveDefault),
	}
	o.addFlags(cmd)
	return cmd
}

// someTests refuses to learn from nothing.
func (o *learnOptions) someTests(files []string) error {
	switch {
	case o.fromBook && len(files) > 0:
		return errors.New("--from-logbook and readings files: expected one of them")
	case o.logbook.address != "" && !o.fromBook:
		return errors.New("--logbook: expected with --from-logbook")
	case o.fromBook || len(files) > 0:
		return nil
	}
	return &hintedError{errors.New("nothing to learn from: expected readings files, -, or --from-logbook"),
		"see leakback limits learn --help"}
}

func (o *learnOptions) addFlags(cmd *cobra.Command) {
	f := cmd.Flags()
	f.SortFlags = false
	addFile(f, &o.output, "output", "o", "write the learned sheet (.toml)")
	f.BoolVar(&o.overwrite, "overwrite", false, "replace an existing file")
	f.BoolVar(&o.fromBook, "from-logbook", false, "learn from the first test of every engine in the logbook")
	o.logbook.addFlag(f)
	addFile(f, &o.limits, "limits", "", "limits sheet (TOML); else LEAKBACK_LIMITS, else by engine")
	o.state.addFlags(f)
	f.Lookup("engine").Usage = "the engine's name, which picks its tests and its limits sheet"
	completeWords(cmd, stateWords)
	for _, flag := range []string{"output", "limits"} {
		_ = cmd.MarkFlagFilename(flag, "toml") // it fails only for a flag that does not exist
	}
}

// learning is one run of the command.
type learning struct {
	env   *environment
	o     *learnOptions
	files []string
	check *check // knows how to read tests and to find sheets

	engine string // that the tests are of
	tests  []fileTest
	known  map[string]string // the file of every test read
	others int               // tests of other engines
}

// fileTest is a test and the file it stands in.
type fileTest struct {
	*leakback.Test
	file string
}

func newLearning(env *environment, o *learnOptions, files []string) *learning {
	return &learning{
		env: env, o: o, files: files, engine: o.state.engine, known: map[string]string{},
		check: newCheck(env, &checkOptions{limits: o.limits, state: o.state}),
	}
}

func (l *learning) run(ctx context.Context) error {
	if err := l.sound(); err != nil {
		return err
	}
	if err := l.readAll(ctx); err != nil {
		return err
	}
	sheet, samples, err := l.samples()
	if err != nil {
		return err
	}
	learned, err := learn.Learn(samples, sheet)
	if err != nil {
		return l.explained(err)
	}
	var text bytes.Buffer
	l.print(&text, learned, sheet)
	if _, err := l.env.stdout.Write(text.Bytes()); err != nil {
		return stdoutError(err)
	}
	return l.write(learned, sheet)
}

// sound refuses flags that contradict one another and an output that may not
// be written, before any work is done.
func (l *learning) sound() error {
	o := l.o
	switch {
	case o.output == "" && o.overwrite:
		return errors.New("--overwrite: expected with --output FILE")
	case o.output == "":
		return nil
	case !strings.HasSuffix(strings.ToLower(o.output), ".toml"):
		return fmt.Errorf("--output: %s: expected a name that ends in .toml", quantity.Quote(o.output))
	}
	if err := another("output", o.output, l.files...); err != nil {
		return err
	}
	return replaceable(o.output, o.overwrite)
}

// readAll takes in the tests of all files.
func (l *learning) readAll(ctx context.Context) error {
	if l.o.fromBook {
		return l.readLogbook(ctx)
	}
	src, err := l.check.newSource(l.files)
	if err != nil {
		return err
	}
	progress := l.env.watch(src)
	defer progress.stop()
	return await(ctx, func() error { return l.read(ctx, src, progress) })
}

// read takes in the tests one by one. The sheet is found later, for the one
// engine that they turn out to be of.
func (l *learning) read(ctx context.Context, src *source, progress *progress) error {
	defer src.close()
	for ctx.Err() == nil {
		if err := src.open(); err == io.EOF {
			return nil
		} else if err != nil {
			return err
		}
		switch t, err := src.tests.Next(); err {
		case nil:
			if err := l.take(t, src.job.file); err != nil {
				return err
			}
			progress.add(1)
		case io.EOF:
			src.close()
		default:
			return err
		}
	}
	return ctx.Err()
}

// take keeps a test of the engine that is asked for. The same test twice would
// count its injectors twice.
func (l *learning) take(t *leakback.Test, file string) error {
	if l.o.state.engine != "" && limits.Slug(t.Engine) != limits.Slug(l.engine) {
		l.others++
		return nil
	}
	key := fingerprint(t)
	if before, known := l.known[key]; known {
		return fmt.Errorf("%s: %s: stands in %s already: expected every test once", file, nameOf(t.ID), before)
	}
	l.known[key] = file
	l.tests = append(l.tests, fileTest{t, file})
	return nil
}

// fingerprint is the same for two tests of one name with the same readings.
func fingerprint(t *leakback.Test) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%q %q", t.ID, t.Condition)
	for i := range t.Runs {
		fmt.Fprintf(&b, "\n%v", t.Runs[i].IntervalS)
		for _, r := range t.Runs[i].Readings {
			fmt.Fprintf(&b, " %d %v %v", r.Cylinder, r.VolumeML, r.Bound)
		}
	}
	return b.String()
}

// oneEngine takes the engine from the tests where none was asked for. There is one
// sheet for all of them, so they must be of one kind.
func (l *learning) oneEngine() error {
	if len(l.tests) == 0 {
		return nil
	}
	engines := make([]string, len(l.tests))
	for i, t := range l.tests {
		engines[i] = t.Engine
	}
	if err := learn.OneEngine(engines); err != nil {
		return l.explained(err)
	}
	l.engine = cmp.Or(l.engine, engines[0])
	return nil
}

// nameOf is a test in messages. One of the logbook is named by its number alone.
func nameOf(id string) string { return "test " + strings.TrimPrefix(id, "test ") }

// samples finds the sheet for the engine and looks at every test with it.
func (l *learning) samples() (*limits.Sheet, []leakback.Sample, error) {
	if len(l.tests) == 0 && l.others > 0 {
		return nil, nil, fmt.Errorf("--engine: %s: no test of that engine among %d", quantity.Quote(l.engine), l.others)
	}
	if err := l.oneEngine(); err != nil {
		return nil, nil, err
	}
	found, err := l.check.sheetFor(l.engine)
	if err != nil {
		return nil, nil, err
	}
	if l.o.output != "" && sameFile(found.Path, l.o.output) {
		return nil, nil, &hintedError{fmt.Errorf("--output: %s: expected another file than the limits sheet in force", quantity.Name(l.o.output)),
			"its comments would be lost: write a new file, look at it, then put it in the old one's place"}
	}
	sheet := *found
	sheet.Cylinders = max(sheet.Cylinders, l.o.state.cylinders)
	samples := make([]leakback.Sample, len(l.tests))
	for i, t := range l.tests {
		if samples[i], err = leakback.SampleOf(t.Test, &sheet); err != nil {
			return nil, nil, fmt.Errorf("%s: %s: %w", t.file, nameOf(t.ID), err)
		}
	}
	return &sheet, samples, nil
}

// explained says what to do about a refusal to learn.
func (l *learning) explained(err error) error {
	var mixed *learn.MixedError
	if errors.As(err, &mixed) {
		return &hintedError{err, `pick one with --engine "NAME"`}
	}
	var few *learn.TooFewError
	if !errors.As(err, &few) {
		return err
	}
	errs := []error{err}
	for i := range few.Tests {
		if t := &few.Tests[i]; !t.Used() && len(errs) <= mostUnused {
			errs = append(errs, fmt.Errorf("%s: %s: not used: %s", l.tests[i].file, nameOf(t.ID), whyUnused(t)))
		}
	}
	if l.others > 0 {
		errs = append(errs, fmt.Errorf("%d tests of other engines were passed over", l.others))
	}
	return errors.Join(errs...)
}

// mostUnused is how many of the tests that were not used are named.
const mostUnused = 20

// whyUnused says why a test does not count for the spread of injectors.
func whyUnused(t *learn.Test) string {
	switch t.Without {
	case leakback.FewCylinders:
		return "fewer than three cylinders to compare"
	case leakback.TooLittleReturn:
		return "too little came back: the median is below ten marks"
	case leakback.BackPressure:
		return "the return was not held up as the limits sheet asks"
	case leakback.OverRange:
		return "a tube overflowed that may belong to those that agree"
	case leakback.BelowFirstMark:
		return "one stayed below the first mark that may belong to those that agree"
	case leakback.Sequential:
		return "collected one after the other and none again: drift would be learned as spread"
	case leakback.Merged:
		return "its returns merge: shares are known too badly to learn from"
	}
	return "its cylinders do not agree with one another; most of them may leak"
}

// write writes the learned sheet, where it is wanted, and says where it serves.
func (l *learning) write(learned *learn.Learned, sheet *limits.Sheet) error {
	if l.o.output == "" {
		l.env.say("nothing written; --output SHEET.toml writes the sheet")
		return nil
	}
	s := learned.Sheet(sheet, l.engine, learn.Basis{Date: l.env.today(), Files: l.fileNames()})
	err := writeFile(l.o.output, l.o.overwrite, func(w io.Writer) error { return limits.Write(w, s) })
	if err != nil {
		return err
	}
	l.env.wrote(l.o.output)
	l.env.say("next: leakback limits show --limits " + quotedWhereSpaced(l.o.output))
	sayWhereToKeep(l.env, s.Engine)
	return nil
}

// fileNames are the names of the files that tests were taken from, as they can
// stand in a sheet.
func (l *learning) fileNames() []string {
	var names []string
	for _, t := range l.tests {
		if name := report.Clean(strings.ToValidUTF8(t.file, "?"), true); !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	return names
}
