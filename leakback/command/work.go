package command

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"leakback/leakback"
	"leakback/leakback/advice"
	"leakback/leakback/entry/worklog"
	"leakback/limits"
)

// workOptions are the flags of leakback work.
type workOptions struct {
	logbook logbookOptions
	skin    skinOptions
	person  string
	done    bool
	said    []worklog.Value // in the order in which it was typed
}

func newWorkCommand(env *environment) *cobra.Command {
	o := &workOptions{}
	cmd := &cobra.Command{
		Use:   "work TEST",
		Short: "log what was done to the engine after a test",
		Long: `Log what was done after a test: injectors, feed tubes, lines and seals at each
cylinder, serial numbers and correction codes, where the old part is, fault codes
and symptoms, and the tightening steps of the limits sheet in their order, each
with the value that was reached. A step out of order, left out or outside its
tolerance is shown at once; a torque that would be right in another unit is asked
about. Every answer is kept the moment it is given, and what was broken off goes
on where it stood. TEST is the test's number, its id or the end of it.

The same by flags: --cylinder names the cylinder that the flags behind it speak
of. What they say is not asked; with --done nothing is.

Exit codes: 0 logged; 2 bad use or bad input; 3 the logbook cannot be read or
written; 130 left before the end.`,
		Example: `  leakback work 17
  leakback work 17 --cylinder 4 --injector refitted --feed-tube new \
      --step "1=60 N·m" --step "2=44 N·m" --complaint-gone not-tried --done`,
		Args: arguments("TEST"),
		RunE: func(c *cobra.Command, args []string) error {
			return (&working{o: o, entering: &entering{env: env}}).run(c.Context(), args[0])
		},
		ValidArgsFunction: cobra.NoFileCompletions,
	}
	f := cmd.Flags()
	f.SortFlags = false
	o.addFlags(f)
	f.BoolVar(&o.done, "done", false, "the flags say it all: ask nothing")
	f.StringVar(&o.person, "technician", "", "who did the work")
	o.logbook.addFlag(f)
	o.skin.addFlags(f)
	return cmd
}

// addFlags adds the flags that say what was done. They share the cylinder that
// was named last before them.
func (o *workOptions) addFlags(f *pflag.FlagSet) {
	cylinder := new(cylinderValue)
	f.Var(cylinder, "cylinder", "the cylinder that the flags behind it speak of; 0 is the engine as a whole")
	for _, flag := range worklog.Flags() {
		f.Var(&workValue{o: o, flag: flag.Name, cylinder: cylinder}, flag.Name, flag.Usage)
	}
}

// cylinderValue is the cylinder that was named last. It is a pflag.Value.
type cylinderValue int

// Set reads a cylinder's number.
func (v *cylinderValue) Set(text string) error {
	n, err := strconv.Atoi(strings.TrimSpace(text))
	if err != nil || n < 0 || n > limits.MostCylinders {
		return fmt.Errorf("%q: expected a cylinder from 1 to %d, or 0 for the engine as a whole", text, limits.MostCylinders)
	}
	*v = cylinderValue(n)
	return nil
}

// String is nothing before one was named.
func (v *cylinderValue) String() string {
	if v == nil || *v == 0 {
		return ""
	}
	return strconv.Itoa(int(*v))
}

// Type is the word that help shows behind the flag's name.
func (v *cylinderValue) Type() string { return "number" }

// workValue adds what is said to the list. It is a pflag.Value.
type workValue struct {
	o        *workOptions
	flag     string
	cylinder *cylinderValue
}

// Set adds it, with the cylinder that was named before.
func (v *workValue) Set(text string) error {
	v.o.said = append(v.o.said, worklog.Value{Flag: v.flag, Cylinder: int(*v.cylinder), Text: text})
	return nil
}

// String is nothing: what was said is in the list.
func (v *workValue) String() string { return "" }

// Type is the word that help shows behind the flag's name.
func (v *workValue) Type() string { return "text" }

// working is one run of the command.
type working struct {
	o *workOptions
	*entering
	before int // how many events the test had
}

func (w *working) run(ctx context.Context, ref string) error {
	book, err := w.o.logbook.toEnter(ctx, w.env, true)
	if err != nil {
		return err
	}
	defer func() { w.close() }()
	w.book = book
	tests, err := loggedTests(ctx, book, []string{ref})
	if err != nil {
		return err
	}
	t := &tests[0]
	w.entering = &entering{env: w.env, at: w.o.logbook.where(w.env), flag: w.o.logbook.address, book: book, id: t.entry.ID, number: t.entry.Number,
		events: t.record.Events}
	w.before = len(w.events)
	w.examine(ctx)
	if t.entry.Ended == "" {
		return &hintedError{fmt.Errorf("test %d: is not finished: expected one that is", t.entry.Number),
			fmt.Sprintf("finish it with: leakback record --resume %d", t.entry.Number) + w.named()}
	}
	f, err := w.flow(ctx, t)
	if err != nil {
		return w.left(err)
	}
	if w.o.done {
		return w.finish(f)
	}
	if err := w.o.skin.ask(ctx, w.env, telling{f, w.entering}); err != nil {
		return w.left(err)
	}
	return w.say(f)
}

// flow begins the work, or goes on with one that was broken off.
func (w *working) flow(ctx context.Context, t *loggedTest) (*worklog.Flow, error) {
	sheet := t.result.Sheet
	cylinders := max(len(t.result.Cylinders), sheet.Cylinders)
	given, notices, err := worklog.FromFlags(w.o.said, worklog.Sheet{Cylinders: cylinders, Tightening: sheet.Tightening})
	if err != nil {
		return nil, err
	}
	for _, notice := range notices {
		w.env.say(notice)
	}
	if w.o.done && len(given) == 0 {
		return nil, errors.New("--done: expected with flags that say what was done")
	}
	return worklog.New(worklog.Options{
		Now: w.env.localClock, Keep: func(drafts []leakback.Event) error { return w.keep(ctx, drafts) },
		Version: version(), Person: w.o.person, Events: t.record.Events, Result: t.result,
		Tightening: sheet.Tightening, Cylinders: cylinders, Given: given,
		Cautions: advice.CautionsAbout(advice.OpeningLines),
	})
}

// finish ends a work that the flags have said all of.
func (w *working) finish(f *worklog.Flow) error {
	if err := f.Finish(); err != nil {
		return w.left(err)
	}
	w.sayNotices()
	for _, said := range f.Said() {
		w.env.say(said)
	}
	return w.say(f)
}

// say shows what was logged.
func (w *working) say(f *worklog.Flow) error {
	work, err := f.Work()
	if err != nil {
		return err
	}
	for _, item := range work.Items() {
		w.env.say("logged: " + item.String())
	}
	w.env.say(fmt.Sprintf("work %d of test %d is in the logbook", work.Number, w.number))
	w.sayAway()
	w.env.say(fmt.Sprintf("next: test again (leakback record), then leakback retest %d NUMBER", w.number) + w.named())
	return nil
}

// left ends the questions before their end and says what was kept, if anything was.
func (w *working) left(err error) error {
	if len(w.events) == w.before && !chosenToLeave(err) && !errors.As(err, new(*sharedError)) {
		return err
	}
	return w.brokenOff(err, fmt.Sprintf("the work after test %d", w.number), "leakback work")
}
