package command

import (
	"context"
	"errors"
	"io"

	"github.com/spf13/cobra"

	"leakback/leakback/repair"
	"leakback/report"
)

// reportOptions are the flags of leakback report.
type reportOptions struct {
	logbook   logbookOptions
	output    string
	overwrite bool
}

func newReportCommand(env *environment) *cobra.Command {
	o := &reportOptions{}
	cmd := &cobra.Command{
		Use:   "report TEST... --output FILE.xlsx",
		Short: "write the customer's workbook of a logged test, or of a repair",
		Long: `Write the workbook for the customer's file from the logbook: the same as check
writes for the same readings, and with it when each reading was entered, by whom,
and every correction. TEST is the test's number, its id or the end of it. Several
tests of one engine, the earliest first, make the workbook of a repair that
leakback retest writes.

Exit codes: 0 written; 2 bad use, or no such test; 3 the logbook cannot be read or
the workbook cannot be written.`,
		Example: `  leakback report 17 --output report.xlsx
  leakback report 17 19 --output repair.xlsx`,
		Args: arguments("TEST..."),
		RunE: func(c *cobra.Command, args []string) error {
			return o.run(c.Context(), env, args)
		},
		ValidArgsFunction: cobra.NoFileCompletions,
	}
	f := cmd.Flags()
	f.SortFlags = false
	addFile(f, &o.output, "output", "o", "the workbook (.xlsx)")
	f.BoolVar(&o.overwrite, "overwrite", false, "replace an existing report")
	o.logbook.addFlag(f)
	return cmd
}

func (o *reportOptions) run(ctx context.Context, env *environment, refs []string) error {
	if o.output == "" {
		return &hintedError{errors.New("--output: expected the name of the workbook to write"),
			"to see a test on the screen: leakback history " + refs[0]}
	}
	if err := soundWorkbook(o.output, o.overwrite); err != nil {
		return err
	}
	if len(refs) > 1 {
		return o.repair(ctx, env, refs)
	}
	book, err := o.logbook.toRead(ctx, env)
	if err != nil {
		return err
	}
	defer book.Close()
	tests, err := loggedTests(ctx, book, refs)
	if err != nil {
		return err
	}
	page := tests[0].page(env)
	return env.publish(o.output, o.overwrite, func(w io.Writer) error { return report.Workbook(w, page) })
}

// repair writes the workbook of several tests of one engine.
func (o *reportOptions) repair(ctx context.Context, env *environment, refs []string) error {
	r := &retest{env: env, o: &retestOptions{logbook: o.logbook}}
	page, err := r.compared(ctx, refs, repair.AssumedFuel())
	if err != nil {
		return err
	}
	return env.publish(o.output, o.overwrite, func(w io.Writer) error { return report.RepairWorkbook(w, page) })
}
