package command

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"leakback/leakback"
	"leakback/leakback/entry/frame"
	"leakback/leakback/logbook"
)

// correctOptions are the flags of leakback logbook correct.
type correctOptions struct {
	job        leakback.Job
	by, reason string
	given      func(flag string) bool // whether a flag was
}

func newLogbookCorrectCommand(env *environment, o *logbookOptions) *cobra.Command {
	c := &correctOptions{}
	cmd := &cobra.Command{
		Use:   "correct TEST",
		Short: "correct the work order of a finished test",
		Long: `Correct what a finished test says of vehicle, customer, work order and the rest of
the job. Nothing is overwritten: what stood stays in the record, and beside it the
correction with its time, person and reason. "" takes an entry back. Readings are
corrected while a test is recorded; what is wrong in a finished one is tested again.
TEST is the test's number, its id or the end of it.

Exit codes: 0 corrected; 2 bad use or bad input; 3 the logbook cannot be read or
written.`,
		Example: `  leakback logbook correct 17 --vehicle "Unit 12" --by "Kim Invented" --reason "plate misread"`,
		Args:    arguments("TEST"),
		RunE: func(cmd *cobra.Command, args []string) error {
			c.given = cmd.Flags().Changed
			return c.run(cmd.Context(), env, o, args[0])
		},
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.StringVar(&c.by, "by", "", "who corrects it")
	f.StringVar(&c.reason, "reason", "", "why")
	addJobFlags(f, &c.job)
	return cmd
}

func (c *correctOptions) run(ctx context.Context, env *environment, o *logbookOptions, ref string) error {
	if err := c.sound(); err != nil {
		return err
	}
	book, err := o.toEnter(ctx, env, true)
	if err != nil {
		return err
	}
	e := &entering{env: env, at: o.where(env), flag: o.address, book: book}
	defer e.close()
	found, err := book.Find(ctx, ref)
	if err != nil {
		return err
	}
	events, err := book.Events(ctx, found.ID)
	if err != nil {
		return err
	}
	e.id, e.number, e.events = found.ID, found.Number, events
	if found.Ended == "" {
		return &hintedError{fmt.Errorf("test %d: is not finished: expected one that is", found.Number),
			fmt.Sprintf("go on with it, and back to what is wrong: leakback record --resume %d", found.Number) + e.named()}
	}
	return c.correct(ctx, e, found)
}

// sound refuses a correction that nobody answers for.
func (c *correctOptions) sound() error {
	for _, text := range []struct {
		flag, value string
		most        int
	}{{"--by", c.by, leakback.LongestJobText}, {"--reason", c.reason, leakback.LongestSentence}} {
		_, expected := frame.Words(text.most)(text.value)
		switch {
		case strings.TrimSpace(text.value) == "":
			return fmt.Errorf("%s: expected who corrects it with --by, and why with --reason", text.flag)
		case expected != "":
			return fmt.Errorf("%s: %w", text.flag, frame.Refuse(text.value, expected))
		}
	}
	return soundJob(&c.job)
}

// correct enters what says something else than the record.
func (c *correctOptions) correct(ctx context.Context, e *entering, found logbook.Entry) error {
	record := leakback.NewRecord(e.events)
	now := e.env.clock().UnixMicro()
	drafts := []leakback.Event{{AtUS: now, Person: c.by, Key: leakback.Key{Kind: leakback.KindOpen}, Value: version()}}
	var said []string
	for _, field := range leakback.JobFields() {
		value, before := strings.TrimSpace(*c.job.Field(field)), record.Set(field)
		if value == before || !c.given(strings.ReplaceAll(field, "_", "-")) {
			continue
		}
		drafts = append(drafts, leakback.Event{AtUS: now, Person: c.by, Reason: c.reason, Value: value,
			Key: leakback.Key{Kind: leakback.KindSet, Field: field}})
		said = append(said, fmt.Sprintf("test %d, %s: %s (was %s)", found.Number, strings.ReplaceAll(field, "_", " "),
			orNothing(value), orNothing(before)))
	}
	if len(said) == 0 {
		return errors.New("nothing to correct: expected a flag such as --vehicle with what the test does not say yet")
	}
	if err := e.keep(ctx, drafts); err != nil {
		return err
	}
	e.sayNotices()
	for _, text := range said {
		e.env.say(text)
	}
	return nil
}
