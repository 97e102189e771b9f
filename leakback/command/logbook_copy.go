package command

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"leakback/leakback/logbook"
)

func newLogbookCopyCommand(env *environment) *cobra.Command {
	return &cobra.Command{
		Use:   "copy FROM TO",
		Short: "add to one logbook what another has",
		Long: `Add to the logbook TO what FROM has: each entry once, tests that TO has in part
are completed. Either may be a file or postgres://HOST/DATABASE; a file that is not
there is begun. That is how a workshop moves to a server, and how tests that were
entered while the server was away are delivered. Interrupted, it can be done again.
A test of which the two tell different stories is left as it is, and named.

User and password come from the address, the usual PG variables or the password
file, and are never shown.

Exit codes: 0 copied; 3 a logbook cannot be read or written, or a test was left
out; 130 interrupted.`,
		Example: `  leakback logbook copy ~/.local/share/leakback/logbook.db postgres://server/leakback
  leakback logbook copy postgres://server/leakback archive.db`,
		Args: arguments("FROM", "TO"),
		RunE: func(c *cobra.Command, args []string) error {
			return copyLogbook(c.Context(), env, args[0], args[1])
		},
	}
}

func copyLogbook(ctx context.Context, env *environment, from, to string) error {
	if sameFile(from, to) {
		return fmt.Errorf("%s: expected two different logbooks", shownPath(env, to))
	}
	source, err := env.openBook(ctx, from, logbook.Options{ReadOnly: true, MustExist: true})
	if err != nil {
		return err
	}
	defer source.Close()
	target, err := env.openBook(ctx, to, logbook.Options{})
	if err != nil {
		return err
	}
	defer target.Close()
	p, set := env.countOf("events")
	done, err := logbook.Copy(ctx, source, target, set)
	p.stop()
	text := fmt.Sprintf("copied to %s: %s new, %s completed, %s in all; %d of %s were there already",
		shownPath(env, to), counted(int(done.Tests), "test"), counted(int(done.Continued), "test"),
		counted(int(done.Events), "event"), done.Same, counted(int(done.All), "test"))
	if err != nil {
		env.say(text)
		if errors.Is(err, context.Canceled) {
			return &hintedError{&interruptedError{errors.New("interrupted; what was copied stands")}, "do it again to copy the rest"}
		}
		return err
	}
	if _, err := fmt.Fprintln(env.stdout, text); err != nil {
		return stdoutError(err)
	}
	if len(done.Refused) == 0 {
		return nil
	}
	for _, refused := range done.Refused {
		env.say(refused.String())
	}
	return &fileError{&hintedError{
		fmt.Errorf("%s left as it is in both logbooks", counted(len(done.Refused), "test")),
		"look at both with leakback history; one of them was changed, or two bays went on with one test",
	}}
}
