package command

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"

	"leakback/limits"
	"leakback/limits/quantity"
)

func newLimitsCommand(env *environment) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "limits",
		Short: "show, check, start or learn a limits sheet",
		Long: `A limits sheet (TOML) holds the figures an engine is judged by, each with its
source. A sheet is looked for in this order:

  --limits FILE
  the file that ` + limits.EnvironmentVariable + ` names
  leakback/limits/ENGINE.toml in your configuration folder, ENGINE in lower case
  with a hyphen for everything that is no letter or digit
  the built-in sheet, which has assumed figures and no limit of the maker`,
		Args: onlyCommands,
		RunE: func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	cmd.AddCommand(newLimitsShowCommand(env), newLimitsCheckCommand(env), newLimitsStartCommand(env),
		newLimitsLearnCommand(env))
	return cmd
}

func newLimitsShowCommand(env *environment) *cobra.Command {
	var engine, path string
	cmd := &cobra.Command{
		Use:   "show",
		Short: "show the sheet that applies, every figure with its source",
		Long: `Show which limits sheet applies to an engine, how it was found, and every figure
in it with its source.

Exit codes: 0 shown; 2 bad use or a sheet that is not sound; 3 cannot read.`,
		Example: `  leakback limits show --engine "My engine"
  leakback limits show --limits engine.toml`,
		Args: arguments(),
		RunE: func(*cobra.Command, []string) error {
			sheet, err := env.findSheet(engine, path)
			if err != nil {
				return err
			}
			var text bytes.Buffer
			showSheet(&text, env.screen, sheet)
			_, err = env.stdout.Write(text.Bytes())
			return stdoutError(err)
		},
		ValidArgsFunction: cobra.NoFileCompletions,
	}
	cmd.Flags().StringVar(&engine, "engine", "", "the engine's name, which picks its limits sheet")
	addFile(cmd.Flags(), &path, "limits", "", "limits sheet (TOML); else "+limits.EnvironmentVariable+", else by engine")
	_ = cmd.MarkFlagFilename("limits", "toml") // it fails only for a flag that does not exist
	return cmd
}

func newLimitsCheckCommand(env *environment) *cobra.Command {
	return &cobra.Command{
		Use:   "check FILE...",
		Short: "say what is wrong with a sheet, line by line",
		Long: `Say of each limits sheet that it is sound, or what is wrong with it: file, line,
column, the value and what was expected, up to twenty faults a sheet.

Exit codes: 0 every sheet is sound; 2 one is not; 3 one cannot be read.`,
		Example: `  leakback limits check engine.toml`,
		Args:    arguments("FILE..."),
		RunE: func(_ *cobra.Command, files []string) error {
			var wrong []error
			for _, file := range files {
				if _, err := limits.Load(file); err != nil {
					wrong = append(wrong, unreadSheet(err))
				} else if _, err := fmt.Fprintf(env.stdout, "%s: sound\n", quantity.Name(file)); err != nil {
					return stdoutError(err)
				}
			}
			return errors.Join(wrong...)
		},
		ValidArgsFunction: cobra.FixedCompletions([]cobra.Completion{"toml"}, cobra.ShellCompDirectiveFilterFileExt),
	}
}

func newLimitsStartCommand(env *environment) *cobra.Command {
	var output string
	var overwrite bool
	cmd := &cobra.Command{
		Use:   "start ENGINE",
		Short: "start a sheet for an engine, explained and without a figure",
		Long: `Start a limits sheet for an engine: every key explained, and not one figure,
because figures come from the engine maker's service information or from the
shop's own measurements. The sheet is refused until it is filled in.

Without --output it is printed. An existing file is replaced only with
--overwrite.

Exit codes: 0 written; 2 bad use; 3 cannot write.`,
		Example: `  leakback limits start "My engine" --output my-engine.toml`,
		Args:    oneEngine,
		RunE: func(_ *cobra.Command, args []string) error {
			return startSheet(env, args[0], output, overwrite)
		},
		ValidArgsFunction: cobra.NoFileCompletions,
	}
	addFile(cmd.Flags(), &output, "output", "o", "file to write (.toml)")
	cmd.Flags().BoolVar(&overwrite, "overwrite", false, "replace an existing file")
	_ = cmd.MarkFlagFilename("output", "toml") // it fails only for a flag that does not exist
	return cmd
}

// oneEngine asks for the quotes that an engine's name mostly needs.
func oneEngine(_ *cobra.Command, args []string) error {
	if len(args) == 1 {
		return nil
	}
	return &hintedError{
		fmt.Errorf("%d arguments: expected the engine's name", len(args)),
		`put a name of several words in quotes: leakback limits start "My engine"`,
	}
}

// startSheet writes the sheet and says what to do with it.
func startSheet(env *environment, engine, output string, overwrite bool) error {
	if overwrite && output == "" {
		return errors.New("--overwrite: expected with --output FILE")
	}
	var text bytes.Buffer
	if err := limits.Start(&text, engine); err != nil {
		return err
	}
	if output == "" {
		if _, err := env.stdout.Write(text.Bytes()); err != nil {
			return stdoutError(err)
		}
	} else {
		write := func(w io.Writer) error { _, err := w.Write(text.Bytes()); return err }
		if err := writeFile(output, overwrite, write); err != nil {
			return err
		}
		env.wrote(output)
	}
	sayNext(env, engine, cmp.Or(output, "FILE"))
	return nil
}

// sayNext says what makes a started sheet one that serves.
func sayNext(env *environment, engine, file string) {
	env.say("next: fill in the figures from the service information and say where each is from")
	env.say("then: leakback limits check " + quotedWhereSpaced(file))
	sayWhereToKeep(env, engine)
}

// findSheet finds the limits sheet of an engine, or the one at a path.
func (env *environment) findSheet(engine, path string) (*limits.Sheet, error) {
	sheet, err := limits.Find(engine, path, env.getenv, env.configDir)
	return sheet, unreadSheet(err)
}

// unreadSheet says of a sheet that the system refused which it is and why; other
// errors stay as they are.
func unreadSheet(err error) error {
	var path *fs.PathError
	if !errors.As(err, &path) {
		return err
	}
	return &fileError{fmt.Errorf("%s: cannot be read: %w", quantity.Name(path.Path), reason(err))}
}

// sayWhereToKeep says where a sheet is found by its engine's name.
func sayWhereToKeep(env *environment, engine string) {
	if slug := limits.Slug(engine); env.configDir != "" && slug != "" {
		env.say("keep it as " + filepath.Join(env.configDir, limits.Folder, limits.FileName(engine)) + " and --engine finds it")
	}
}

// quotedWhereSpaced is a file's name as it can be pasted into a shell.
func quotedWhereSpaced(name string) string {
	if slices.Contains([]byte(name), ' ') {
		return `"` + name + `"`
	}
	return name
}
