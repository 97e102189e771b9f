package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"leakback/leakback/logbook"
	"leakback/limits/quantity"
)

// verifyHelp says what is compared, and what that proves and does not prove.
const verifyHelp = `Work the whole logbook out again, as check does; or hold reports against it: the
workbooks that report, record --output, check --log --output and retest --output
wrote. Each is built again from the entries that it was made of, and compared cell
by cell, then with its drawings and looks; what differs is named with its sheet and
cell. Entries that were added to a test later do no harm.

A report that another spreadsheet program has saved is compared by its cells alone,
which is said. Of a repair with tests from readings files the readings and entries
of the others are compared. A report without a record (of check without --log)
cannot be verified.

--heads FILE holds the logbook against a list that leakback logbook heads printed
earlier and that somebody else kept.

What that proves: entries, their order, times, persons and wording are those that
the logbook has, and none was changed, left out or put in since the report or the
list was made. What it cannot prove: that an entry was true when it was made, that
the machine's clock was right, or that nobody rewrote the whole logbook and then
printed the report again. Only a head that was kept elsewhere shows that: in a list
of heads, or in a report that the customer has.

Exit codes: 0 all tell the same story; 2 bad use, or a file that is no report with
a record; 3 a report tells another story, or the logbook is damaged or cannot be
read.`

// verifyOptions are the flags of leakback logbook verify.
type verifyOptions struct {
	*logbookOptions
	heads string
}

func newLogbookVerifyCommand(env *environment, l *logbookOptions) *cobra.Command {
	o := &verifyOptions{logbookOptions: l}
	cmd := &cobra.Command{
		Use:   "verify [REPORT.xlsx...]",
		Short: "say whether logbook and reports tell the same story",
		Long:  verifyHelp,
		Example: `  leakback logbook verify
  leakback logbook verify report.xlsx
  leakback logbook verify --heads heads-2026-01-31.txt`,
		RunE: func(c *cobra.Command, args []string) error {
			return o.run(c.Context(), env, args)
		},
		ValidArgsFunction: cobra.FixedCompletions(nil, cobra.ShellCompDirectiveDefault),
	}
	addFile(cmd.Flags(), &o.heads, "heads", "", "a list of heads that was kept")
	return cmd
}

func (o *verifyOptions) run(ctx context.Context, env *environment, reports []string) error {
	book, err := o.toRead(ctx, env)
	if err != nil {
		return err
	}
	defer book.Close()
	var all []error
	if len(reports) == 0 {
		all = append(all, o.checkAll(ctx, env, book))
	}
	if o.heads != "" {
		all = append(all, o.againstHeads(ctx, env, book))
	}
	v := &verification{env: env, book: book}
	for _, path := range reports {
		if err := v.report(ctx, path); err != nil {
			return err
		}
	}
	return errors.Join(append(all, v.outcome())...)
}

// againstHeads holds the logbook against a list that somebody kept.
func (o *verifyOptions) againstHeads(ctx context.Context, env *environment, book *logbook.Book) error {
	f, err := os.Open(o.heads)
	if err != nil {
		return unread(o.heads, err)
	}
	defer f.Close()
	checked, err := book.CheckHeads(ctx, f)
	if err != nil {
		return fmt.Errorf("%s: %w", quantity.Name(o.heads), err)
	}
	if err := o.faults(env, checked); err != nil {
		return err
	}
	_, err = fmt.Fprintf(env.stdout, "%s: the logbook has all that the list has: %s with %s\n", quantity.Name(o.heads),
		counted(int(checked.Tests), "test"), counted(int(checked.Events), "event"))
	return stdoutError(err)
}

func newLogbookHeadsCommand(env *environment, o *logbookOptions) *cobra.Command {
	return &cobra.Command{
		Use:   "heads",
		Short: "print the head of each test, for somebody else to keep",
		Long: `Print the head of each test: the SHA-256 of the chain of its entries, which stands
for all of them. Give the list to somebody outside the workshop; logbook verify
--heads then shows what was changed or removed since, even where the whole logbook
was rewritten. It says nothing of what was entered.

The list is lines of JSON: a first line with its format and version, a line for
each test in the order of their ids, a last line with the number of tests and
events and the SHA-256 of all lines before it:

  {"format":"leakback heads","version":1}
  {"test":"ID","number":17,"events":43,"head":"64 HEX DIGITS"}
  {"end":"leakback heads","tests":1,"events":43,"sha256":"64 HEX DIGITS"}

That digest is said on stderr too; it stands for the whole list, and fits on paper.

Exit codes: 0 printed; 3 the logbook cannot be read.`,
		Example: `  leakback logbook heads > heads-2026-01-31.txt`,
		Args:    arguments(),
		RunE: func(c *cobra.Command, _ []string) error {
			return o.printHeads(c.Context(), env)
		},
	}
}

func (o *logbookOptions) printHeads(ctx context.Context, env *environment) error {
	book, err := o.toRead(ctx, env)
	if err != nil {
		return err
	}
	defer book.Close()
	out := &markedWriter{w: env.stdout}
	digest, err := book.WriteHeads(ctx, out)
	switch {
	case out.err != nil:
		return stdoutError(out.err)
	case err != nil:
		return err
	}
	env.say("the digest of this list is " + digest)
	return nil
}

// markedWriter remembers that it failed, so that its failure is not taken for
// another one's.
type markedWriter struct {
	w   io.Writer
	err error
}

// Write writes, and remembers an error.
func (m *markedWriter) Write(p []byte) (int, error) {
	n, err := m.w.Write(p)
	if err != nil {
		m.err = err
	}
	return n, err
}
