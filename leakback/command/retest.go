package command

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"leakback/leakback"
	"leakback/leakback/advice"
	"leakback/leakback/logbook"
	"leakback/leakback/repair"
	"leakback/limits"
	"leakback/limits/quantity"
	"leakback/report"
)

// retestOptions are the flags of leakback retest.
type retestOptions struct {
	logbook   logbookOptions
	format    string
	output    string
	overwrite bool
	exitCode  bool
	gone      string
	fuel      fuelOptions
	limits    string
	state     stateOptions
	job       leakback.Job
}

func newRetestCommand(env *environment) *cobra.Command {
	o := &retestOptions{}
	cmd := &cobra.Command{
		Use:   "retest BEFORE AFTER [LATER...]",
		Short: "hold a test after a repair against the one before it",
		Long: `Hold two or more tests of one engine side by side, in the order of time: how much
every cylinder's return changed, whether that is more than measurement noise, the
verdicts before and after, and what was done between. The answer is back to
normal, not back to normal or undecided, with what settles it. Whether the
complaint is gone is another question: a normal return clears no injector.

Each is a test of the logbook (its number, its id or the end of it) or a readings
file that holds one. Tests of two vehicles or engines, one that is named twice and
one that is older than the test before it are refused.

At different fuel temperatures nothing is corrected: what temperature may have
done is given as a range, by the viscosity of the fuel (--viscosity twice, such as
40C=2.7 and 100C=1.1, in mm2/s; else a typical diesel, assumed).

--output writes the workbook for the customer's file: before and after, the work
with its tightening record, the comparison with its formulas.

Exit codes: 0 compared, whatever the answer; 1 only with --exit-code, when the
answer is not back to normal; 2 bad use or bad input; 3 cannot read or write.`,
		Example: `  leakback retest 17 19
  leakback retest before.csv after.csv --limits engine.toml --output repair.xlsx`,
		Args: arguments("BEFORE", "AFTER", "[LATER...]"),
		RunE: func(c *cobra.Command, args []string) error {
			return (&retest{env: env, o: o}).run(c.Context(), args)
		},
		ValidArgsFunction: cobra.FixedCompletions(nil, cobra.ShellCompDirectiveDefault),
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.StringVar(&o.format, "format", "table", "table, json or csv")
	addFile(f, &o.output, "output", "o", "write the customer's workbook (.xlsx) as well")
	f.BoolVar(&o.overwrite, "overwrite", false, "replace an existing workbook")
	f.BoolVar(&o.exitCode, "exit-code", false, "exit with 1 when the answer is not back to normal")
	f.StringVar(&o.gone, "complaint-gone", "", "whether the complaint is gone: yes, no or not-tried")
	f.StringArrayVar(&o.fuel.points, "viscosity", nil, "the fuel's viscosity in mm2/s at a temperature, such as 40C=2.7; twice")
	o.logbook.addFlag(f)
	addFile(f, &o.limits, "limits", "", "limits sheet (TOML) for readings files; else LEAKBACK_LIMITS, else by engine")
	o.state.addFlags(f)
	addJobFlags(f, &o.job)
	completeWords(cmd, map[string][]string{"format": formats, "complaint-gone": {"yes", "no", "not-tried"}})
	completeWords(cmd, stateWords)
	return cmd
}

// fuelOptions say how the viscosity of the fuel changes with temperature.
type fuelOptions struct{ points []string }

// fuel is that of the flags, or an assumed one.
func (o *fuelOptions) fuel() (repair.Fuel, error) {
	if len(o.points) == 0 {
		return repair.AssumedFuel(), nil
	}
	if len(o.points) != 2 {
		return repair.Fuel{}, fmt.Errorf("--viscosity: %d given: expected two, at different temperatures", len(o.points))
	}
	var points [2]repair.Point
	for i, text := range o.points {
		at, figure, ok := strings.Cut(text, "=")
		temperature, errT := quantity.Parse(quantity.Temperature, strings.TrimSpace(at))
		viscosity, errV := quantity.ParseNumber(strings.TrimSpace(figure), true)
		if !ok || errT != nil || errV != nil {
			return repair.Fuel{}, fmt.Errorf("--viscosity: %s: expected a temperature and the viscosity there in mm2/s, such as 40C=2.7",
				quantity.Quote(text))
		}
		points[i] = repair.Point{TempC: temperature, ViscosityMM2S: viscosity}
	}
	fuel, err := repair.NewFuel(points[0], points[1])
	if err != nil {
		return fuel, fmt.Errorf("--viscosity: %w", err)
	}
	return fuel, nil
}

// retest is one run of the command.
type retest struct {
	env  *environment
	o    *retestOptions
	book *logbook.Book // nil while only files were named
}

func (r *retest) run(ctx context.Context, args []string) error {
	fuel, err := r.sound(args)
	if err != nil {
		return err
	}
	page, err := r.compared(ctx, args, fuel)
	if err != nil {
		return err
	}
	var out bytes.Buffer
	if err := r.print(&out, page); err != nil {
		return err
	}
	if _, err := r.env.stdout.Write(out.Bytes()); err != nil {
		return stdoutError(err)
	}
	if r.o.output != "" {
		err := r.env.publish(r.o.output, r.o.overwrite, func(w io.Writer) error { return report.RepairWorkbook(w, page) })
		if err != nil {
			return err
		}
	}
	if r.o.exitCode && page.Comparison.Whole.Answer != repair.BackToNormal {
		return errNotPass
	}
	return nil
}

// compared reads the tests and holds them against one another.
func (r *retest) compared(ctx context.Context, args []string, fuel repair.Fuel) (*report.RepairPage, error) {
	defer func() {
		if r.book != nil {
			r.book.Close()
		}
	}()
	sides := make([]side, len(args))
	for i, arg := range args {
		var err error
		if sides[i], err = r.side(ctx, arg); err != nil {
			return nil, err
		}
	}
	if err := r.soundSides(args, sides); err != nil {
		return nil, err
	}
	return r.page(ctx, sides, fuel)
}

func (r *retest) sound(args []string) (repair.Fuel, error) {
	o := r.o
	field, _ := repair.FieldNamed(repair.FieldComplaintGone)
	gone, err := field.Check(0, 0, o.gone)
	switch {
	case !slices.Contains(formats, o.format):
		return repair.Fuel{}, fmt.Errorf("--format: %s: expected %s", quantity.Quote(o.format), strings.Join(formats, ", "))
	case err != nil:
		return repair.Fuel{}, fmt.Errorf("--complaint-gone: %w", err)
	case o.overwrite && o.output == "":
		return repair.Fuel{}, errors.New("--overwrite: expected with --output FILE")
	}
	o.gone = gone
	if o.output != "" {
		if err := soundWorkbook(o.output, o.overwrite, append([]string{o.limits}, args...)...); err != nil {
			return repair.Fuel{}, err
		}
	}
	return o.fuel.fuel()
}

// print renders the page in the format that was asked for.
func (r *retest) print(to *bytes.Buffer, page *report.RepairPage) error {
	switch r.o.format {
	case "json":
		return report.RepairJSON(to, page)
	case "csv":
		var out bytes.Buffer
		if err := report.RepairCSV(&out, page); err != nil {
			return err
		}
		to.Write(r.env.data(out.Bytes()))
		return nil
	}
	return report.RepairTable(to, page, r.env.tableOptions())
}

// side is one test of a comparison, from the logbook or from a file.
type side struct {
	page   *report.Page
	logged *loggedTest // nil for a file
	label  string
}

// side reads a test: a file where there is one of that name, else the logbook's.
func (r *retest) side(ctx context.Context, arg string) (side, error) {
	if info, err := os.Stat(arg); arg == "-" || err == nil && !info.IsDir() {
		return r.fileSide(arg)
	}
	if r.book == nil {
		book, err := r.o.logbook.toRead(ctx, r.env)
		if err != nil {
			return side{}, err
		}
		r.book = book
	}
	tests, err := loggedTests(ctx, r.book, []string{arg})
	if err != nil {
		return side{}, noFileEither(arg, err)
	}
	t := &tests[0]
	return side{page: t.page(r.env), logged: t, label: testLabel(t.entry)}, nil
}

// testLabel is what people call a test of the logbook.
func testLabel(e logbook.Entry) string { return fmt.Sprintf("test %d", e.Number) }

// fileSide reads the one test of a file.
func (r *retest) fileSide(name string) (side, error) {
	c := newCheck(r.env, &checkOptions{limits: r.o.limits, state: r.o.state, job: r.o.job, output: name})
	j, err := c.onlyTest(name, "a test", "one test; the file holds more")
	if err != nil {
		return side{}, err
	}
	result, err := leakback.Evaluate(j.test, j.sheet)
	if err != nil {
		return side{}, j.blame(fmt.Errorf("test %s: %w", j.test.ID, err))
	}
	return side{page: newPage(result, j.info, j.digest()), label: "test " + j.test.ID}, nil
}

// page compares the sides and puts together what the report shows.
func (r *retest) page(ctx context.Context, sides []side, fuel repair.Fuel) (*report.RepairPage, error) {
	page := &report.RepairPage{
		NotSeen: advice.NotSeen(), Cautions: advice.Cautions(), CautionLine: advice.CautionLine(), Version: version(),
	}
	compared := make([]repair.Side, len(sides))
	for i := range sides {
		s := &sides[i]
		compared[i] = repair.Side{Result: s.page.Result, Label: s.label, When: s.when(r.env)}
		if s.logged != nil {
			compared[i].ComplaintGone = repair.ComplaintGone(s.logged.record)
		}
		if i > 0 {
			works, err := r.between(ctx, &sides[i-1], s)
			if err != nil {
				return nil, err
			}
			compared[i].Work = works
		}
		page.Tests = append(page.Tests, s.page)
		page.Tightening = tighteningOf(s.page.Result.Sheet, page.Tightening)
	}
	if r.o.gone != "" {
		compared[len(compared)-1].ComplaintGone = r.o.gone
	}
	comparison, err := repair.Compare(compared, fuel)
	if err != nil {
		return nil, err
	}
	page.Comparison, page.Advice = comparison, advice.NextAfter(comparison)
	return page, nil
}

// tighteningOf are a sheet's steps, else those known before.
func tighteningOf(sheet *limits.Sheet, before []limits.Step) []limits.Step {
	if sheet != nil && len(sheet.Tightening) > 0 {
		return sheet.Tightening
	}
	return before
}

// when is when a test was done, as people read it.
func (s *side) when(env *environment) string {
	if tested := s.page.Job.Tested; tested != "" || s.logged == nil {
		return tested
	}
	return time.UnixMicro(s.logged.entry.StartedUS).In(env.zone()).Format("2006-01-02 15:04")
}

// between is the work that was done between two tests: what hangs on the first,
// and on the tests of the same vehicle that lie between them in time.
func (r *retest) between(ctx context.Context, before, after *side) ([]repair.Work, error) {
	if before.logged == nil {
		return nil, nil
	}
	if after.logged == nil || before.logged.entry.Vehicle == "" {
		return repair.Works(before.logged.record)
	}
	first, last := before.logged.entry, after.logged.entry
	tests, err := r.book.Tests(ctx, logbook.Filter{Vehicle: first.Vehicle, SinceUS: first.StartedUS, UntilUS: last.StartedUS})
	if err != nil {
		return nil, err
	}
	if !slices.ContainsFunc(tests, func(e logbook.Entry) bool { return e.ID == first.ID }) {
		tests = append(tests, first) // a later test may have been entered first
	}
	events, err := r.book.EventsOf(ctx, ids(tests))
	if err != nil {
		return nil, err
	}
	var all []repair.Work
	for _, t := range slices.Backward(tests) {
		if t.ID == last.ID {
			continue
		}
		works, err := repair.Works(leakback.NewRecord(events[t.ID]))
		if err != nil {
			return nil, fmt.Errorf("test %d: %w", t.Number, err)
		}
		all = append(all, works...)
	}
	return all, nil
}
