package command

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"leakback/leakback/logbook"
	"leakback/limits/quantity"
)

// exportName is the file that an export writes into its folder.
const exportName = "logbook.jsonl"

func newLogbookCommand(env *environment) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "logbook",
		Short: "check, verify, correct, back up, export, import or copy the logbook",
		Long: `The logbook keeps every test as it was entered, answer by answer; nothing in it is
ever overwritten. It is looked for in this order:

  --logbook FILE, or postgres://HOST/DATABASE for many bays
  the one that ` + logbookVariable + ` names
  leakback/logbook.db in your data folder`,
		Args: onlyCommands,
		RunE: func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	o := &logbookOptions{}
	o.addFlag(cmd.PersistentFlags())
	cmd.AddCommand(newLogbookCheckCommand(env, o), newLogbookVerifyCommand(env, o), newLogbookHeadsCommand(env, o), newLogbookCorrectCommand(env, o),
		newLogbookBackupCommand(env, o), newLogbookExportCommand(env, o), newLogbookImportCommand(env, o), newLogbookCopyCommand(env))
	return cmd
}

func newLogbookCheckCommand(env *environment, o *logbookOptions) *cobra.Command {
	return &cobra.Command{
		Use:   "check",
		Short: "say whether the logbook is whole",
		Long: `Read the whole logbook and say whether it is sound: the file itself, every test's
events without a gap, each linked to the one before, and the list of tests.

Exit codes: 0 sound; 3 damaged, or it cannot be read.`,
		Args: arguments(),
		RunE: func(c *cobra.Command, _ []string) error {
			return o.check(c.Context(), env)
		},
	}
}

func (o *logbookOptions) check(ctx context.Context, env *environment) error {
	book, err := o.toRead(ctx, env)
	if err != nil {
		return err
	}
	defer book.Close()
	return o.checkAll(ctx, env, book)
}

// checkAll goes through the whole logbook.
func (o *logbookOptions) checkAll(ctx context.Context, env *environment, book *logbook.Book) error {
	p, set := env.countOf("events")
	checked, err := book.Check(ctx, set)
	p.stop()
	if err != nil {
		return err
	}
	if err := o.faults(env, checked); err != nil {
		return err
	}
	_, err = fmt.Fprintf(env.stdout, "%s: sound: %s with %s\n", shownPath(env, o.where(env)),
		counted(int(checked.Tests), "test"), counted(int(checked.Events), "event"))
	return stdoutError(err)
}

// faults says what is wrong with the logbook; an error where anything is.
func (o *logbookOptions) faults(env *environment, checked *logbook.Checked) error {
	if len(checked.Faults) == 0 {
		return nil
	}
	for _, fault := range checked.Faults {
		env.say(fault.String())
	}
	return &fileError{&hintedError{
		fmt.Errorf("%s: %s found", shownPath(env, o.where(env)), counted(len(checked.Faults)+int(checked.More), "fault")),
		"keep the file as it is, and go on in a new one; a backup or an export holds what it held that day",
	}}
}

func newLogbookBackupCommand(env *environment, o *logbookOptions) *cobra.Command {
	var overwrite bool
	cmd := &cobra.Command{
		Use:   "backup FILE",
		Short: "copy the logbook while it is in use",
		Long: `Write a copy of the logbook that is whole in itself, while others go on entering.
(A copy of the file alone misses what was entered last.)

Exit codes: 0 written and read back; 3 it cannot be read or written.`,
		Example: `  leakback logbook backup logbook-2026-01-31.db`,
		Args:    arguments("FILE"),
		RunE: func(c *cobra.Command, args []string) error {
			return o.backup(c.Context(), env, args[0], overwrite)
		},
	}
	cmd.Flags().BoolVar(&overwrite, "overwrite", false, "replace an existing file")
	return cmd
}

func (o *logbookOptions) backup(ctx context.Context, env *environment, path string, overwrite bool) error {
	book, err := o.toRead(ctx, env)
	if err != nil {
		return err
	}
	defer book.Close()
	for _, used := range []string{o.where(env), env.getenv(logbookVariable), env.logbook} {
		if sameFile(used, path) {
			return fmt.Errorf("%s: expected another file than the logbook", quantity.Name(path))
		}
	}
	if err := writeCopy(path, overwrite, func(temporary string) error { return book.Backup(ctx, temporary) }); err != nil {
		return err
	}
	env.wrote(path)
	return nil
}

func newLogbookExportCommand(env *environment, o *logbookOptions) *cobra.Command {
	var overwrite bool
	cmd := &cobra.Command{
		Use:   "export FOLDER",
		Short: "write all of the logbook as text",
		Long: `Write every event of the logbook into FOLDER/` + exportName + `: JSON Lines, one event a
line, complete. import reads it back into an equal logbook.

Exit codes: 0 written; 3 it cannot be read or written.`,
		Args: arguments("FOLDER"),
		RunE: func(c *cobra.Command, args []string) error {
			return o.export(c.Context(), env, args[0], overwrite)
		},
	}
	cmd.Flags().BoolVar(&overwrite, "overwrite", false, "replace an existing export")
	return cmd
}

func (o *logbookOptions) export(ctx context.Context, env *environment, folder string, overwrite bool) error {
	book, err := o.toRead(ctx, env)
	if err != nil {
		return err
	}
	defer book.Close()
	made, err := makeFolder(folder)
	if err != nil {
		return err
	}
	err = env.publish(filepath.Join(folder, exportName), overwrite,
		func(w io.Writer) error { return book.Export(ctx, untilDone{ctx, w}) })
	if err != nil {
		removeFolders(made)
	}
	return err
}

func newLogbookImportCommand(env *environment, o *logbookOptions) *cobra.Command {
	return &cobra.Command{
		Use:   "import FOLDER",
		Short: "add what an export holds",
		Long: `Add the tests of an export (a folder, or its file) to the logbook. What it has
already is not added again; a test that reads otherwise there and here is refused
and named. An import that was interrupted can be done again.

Exit codes: 0 imported; 2 the export is not sound; 3 it cannot be read, or the
logbook not written.`,
		Args: arguments("FOLDER"),
		RunE: func(c *cobra.Command, args []string) error {
			return o.importFrom(c.Context(), env, args[0])
		},
	}
}

func (o *logbookOptions) importFrom(ctx context.Context, env *environment, path string) error {
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		path = filepath.Join(path, exportName)
	}
	f, err := os.Open(path)
	if err != nil {
		return unread(path, err)
	}
	defer f.Close()
	book, err := o.toWrite(ctx, env)
	if err != nil {
		return err
	}
	defer book.Close()
	done, err := book.Import(ctx, bufio.NewReader(f))
	text := fmt.Sprintf("imported %s with %s; %s already there",
		counted(int(done.Tests), "test"), counted(int(done.Events), "event"), wasThere(done.Known))
	if err != nil {
		if done.Tests > 0 {
			env.say(text)
		}
		return fmt.Errorf("%s: %w", quantity.Name(path), err)
	}
	_, err = fmt.Fprintln(env.stdout, text)
	return stdoutError(err)
}

func wasThere(n int64) string {
	if n == 1 {
		return "1 event was"
	}
	return quantity.Grouped(float64(n)) + " events were"
}
