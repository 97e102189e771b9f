package command

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"leakback/leakback"
	"leakback/leakback/advice"
	"leakback/leakback/entry/flow"
	"leakback/leakback/entry/recorded"
	"leakback/leakback/logbook"
	"leakback/leakback/repair"
	"leakback/limits"
	"leakback/limits/quantity"
	"leakback/report"
)

// recordOptions are the flags of leakback record.
type recordOptions struct {
	logbook   logbookOptions
	skin      skinOptions
	resume    string
	fresh     bool
	from      string
	limits    string
	output    string
	overwrite bool
	state     stateOptions
	job       leakback.Job
}

func newRecordCommand(env *environment) *cobra.Command {
	o := &recordOptions{}
	cmd := &cobra.Command{
		Use:   "record",
		Short: "take a test at the engine, question by question",
		Long: `Take a return-flow test at the engine: the job, the cautions, priming, timed runs
and their readings, one question at a time. Every answer is in the logbook the
moment it is given; a test that was broken off, by a flat battery or by you, goes
on where it stood.

On a terminal it is a form with a large clock. With --plain, in a pipe and for a
screen reader the same questions are asked line by line: prompts on standard
error, answers from standard input. At any question: back goes back, forward to
the first that is open, skip leaves it open, ? explains, quit leaves (what was
answered is kept), give up closes a test that nobody will finish.

What the flags say is not asked. --from begins with what a filled-in entry form
(leakback form) or a readings file of one test holds, and asks for the rest.

Exit codes: 0 finished; 2 bad use or bad input; 3 the logbook or the report
cannot be read or written; 130 left before the end.`,
		Example: `  leakback record --engine "My engine"
  leakback record --resume 17
  leakback record --from form.xlsx --output report.xlsx`,
		Args: arguments(),
		RunE: func(c *cobra.Command, _ []string) error {
			return (&recording{o: o, entering: &entering{env: env}}).run(c.Context())
		},
		ValidArgsFunction: cobra.NoFileCompletions,
	}
	f := cmd.Flags()
	f.SortFlags = false
	f.StringVar(&o.resume, "resume", "", "go on with this test: its number, or the end of its id")
	f.BoolVar(&o.fresh, "new", false, "begin a new test without a word about those that were broken off")
	addFile(f, &o.from, "from", "", "begin with an entry form (.xlsx) or a readings file")
	addFile(f, &o.output, "output", "o", "write the customer's workbook (.xlsx) at the end")
	f.BoolVar(&o.overwrite, "overwrite", false, "replace an existing report")
	o.logbook.addFlag(f)
	o.skin.addFlags(f)
	addFile(f, &o.limits, "limits", "", "limits sheet (TOML); else LEAKBACK_LIMITS, else by engine")
	o.state.addFlags(f)
	addJobFlags(f, &o.job)
	completeWords(cmd, stateWords)
	return cmd
}

// recording is one run of the command.
type recording struct {
	o *recordOptions
	*entering
}

func (r *recording) run(ctx context.Context) error {
	if err := r.sound(); err != nil {
		return err
	}
	from, err := r.begin()
	if err != nil {
		return err
	}
	if r.entering, err = openToEnter(ctx, r.env, &r.o.logbook); err != nil {
		return err
	}
	defer r.close()
	steps, err := r.flow(ctx, from)
	if err != nil {
		return r.left(err)
	}
	if err := r.o.skin.ask(ctx, r.env, telling{steps, r.entering}); err != nil {
		return r.left(err)
	}
	return r.finish(ctx)
}

// sound refuses flags that contradict one another, before anything is asked.
func (r *recording) sound() error {
	o := r.o
	switch {
	case o.resume != "" && (o.fresh || o.from != ""):
		return errors.New("--resume with --new or --from: expected one of them")
	case o.overwrite && o.output == "":
		return errors.New("--overwrite: expected with --output FILE")
	}
	if err := o.state.tidy(); err != nil {
		return err
	}
	if err := soundJob(&o.job); err != nil {
		return err
	}
	if o.limits != "" { // the test may be long, and the sheet is asked for in the midst of it
		if _, err := r.env.findSheet("", o.limits); err != nil {
			return err
		}
	}
	if o.output == "" {
		return nil
	}
	if err := soundWorkbook(o.output, o.overwrite, o.limits, o.from); err != nil {
		return err
	}
	return writable(o.output)
}

// begin reads the form or file to begin with.
func (r *recording) begin() ([]leakback.Event, error) {
	if r.o.from == "" {
		return nil, nil
	}
	c := newCheck(r.env, &checkOptions{limits: r.o.limits, state: r.o.state, job: r.o.job})
	j, err := c.onlyTest(r.o.from, "a test to begin with",
		"one test to go on with; the file holds more (leakback check --log keeps them all)")
	if err != nil {
		return nil, err
	}
	return append(recorded.Events(j.test, j.info, j.sheet), j.more...), nil
}

// flow is the new test, or the one to go on with.
func (r *recording) flow(ctx context.Context, from []leakback.Event) (*flow.Flow, error) {
	ref := r.o.resume
	if ref == "" && !r.o.fresh && from == nil {
		chosen, err := r.offer(ctx)
		if err != nil {
			return nil, err
		}
		ref = chosen
	}
	options := r.options(ctx)
	if ref == "" {
		r.id = logbook.NewTestID()
		options.From, r.unbegun = from, from == nil && r.o.job == (leakback.Job{}) // flags that name the job are an answer
		return flow.New(options)
	}
	found, err := r.book.Find(ctx, ref)
	if err != nil {
		return nil, err
	}
	if found.Ended != "" {
		return nil, &hintedError{
			fmt.Errorf("test %d: is finished (%s): expected one that was broken off", found.Number, quantity.Name(found.Ended)),
			fmt.Sprintf("see it with leakback history %d", found.Number) + r.named(),
		}
	}
	events, err := r.book.Events(ctx, found.ID)
	if err != nil {
		return nil, err
	}
	r.id, r.number, r.events = found.ID, found.Number, events
	return flow.Resume(options, events)
}

// options are what the flow is told of the world.
func (r *recording) options(ctx context.Context) flow.Options {
	return flow.Options{
		Now: r.env.clock, Version: version(), Person: r.o.job.Technician,
		Given: r.given(),
		Keep:  func(drafts []leakback.Event) error { return r.keep(ctx, drafts) },
		SheetFor: func(engine string) (*limits.Sheet, error) {
			return r.env.findSheet(engine, r.o.limits)
		},
		Earlier:  func(field string) []string { return r.earlier(ctx, field) },
		Known:    func(vehicle string) map[string]string { return r.known(ctx, vehicle) },
		Before:   func(vehicle string) []string { return r.before(ctx, vehicle) },
		Cautions: cautionsBefore,
		Table: func(result *leakback.Result, width int) string {
			return r.env.table(newPage(result, leakback.Job{}, ""), width, !r.o.skin.drawn(r.env))
		},
	}
}

// cautionsBefore are the cautions to read before a test starts.
func cautionsBefore(method leakback.Method, _ string) []string {
	if method == leakback.MethodBlockOff {
		return advice.Cautions()
	}
	blocking := advice.CautionsAbout(advice.Blocking)
	var list []string
	for _, caution := range advice.Cautions() {
		if caution != blocking[0] {
			list = append(list, caution)
		}
	}
	return list
}

// table draws the verdict table for people, or says it in words.
func (env *environment) table(page *report.Page, width int, words bool) string {
	var text strings.Builder
	if err := report.Table(&text, page, report.TableOptions{Width: width, Unicode: speaksUTF8(env.getenv), Brief: true, Words: words}); err != nil {
		return err.Error() + "\n" // it fails only where the writer does
	}
	return text.String()
}

// earlier are answers given before, as far as the logbook can tell.
func (r *recording) earlier(ctx context.Context, field string) []string {
	const offered = 9
	list, err := r.book.Earlier(ctx, field, offered)
	if err != nil { // a question without an offer is still a question
		return nil
	}
	return list
}

// known is what the latest test of a vehicle says of it.
func (r *recording) known(ctx context.Context, vehicle string) map[string]string {
	tests, err := r.book.Tests(ctx, logbook.Filter{Vehicle: vehicle, Most: 1})
	if err != nil || len(tests) == 0 {
		return nil
	}
	t := tests[0]
	return map[string]string{
		leakback.FieldVehicle: t.Vehicle, leakback.FieldVIN: t.VIN, leakback.FieldEngine: t.Engine,
		leakback.FieldEngineSerial: t.EngineSerial, leakback.FieldCustomer: t.Customer,
		leakback.FieldOdometer: t.Odometer,
	}
}

// mostBefore is how many earlier tests are looked at for work that was done.
const mostBefore = 20

// before is what was done to a vehicle earlier, the latest work last.
func (r *recording) before(ctx context.Context, vehicle string) []string {
	tests, err := r.book.Tests(ctx, logbook.Filter{Vehicle: vehicle, Most: mostBefore})
	if err != nil { // the test goes on without
		return nil
	}
	records, err := recordsOf(ctx, r.book, tests)
	if err != nil {
		return nil
	}
	var lines []string
	for i := range slices.Backward(tests) {
		switch {
		case tests[i].ID == r.id:
		case records[i].damage != nil:
			lines = append(lines, fmt.Sprintf("test %d: not known, as its entries are damaged", tests[i].Number))
		default:
			lines = append(lines, workLines(r.env, &tests[i], records[i].Record)...)
		}
	}
	if len(lines) > 0 {
		lines = append([]string{"done to this vehicle before:"}, lines...)
	}
	return lines
}

// workLines are the works after a test, in lines.
func workLines(env *environment, t *logbook.Entry, record *leakback.Record) []string {
	works, err := repair.Works(record)
	if err != nil {
		return []string{err.Error()}
	}
	if len(works) == 0 {
		return nil
	}
	var steps []limits.Step
	if sheet, err := recorded.Sheet(record); err == nil {
		steps = sheet.Tightening
	}
	lines := report.WorkLines(works, steps, env.zone())
	lines[0] = fmt.Sprintf("after test %d: %s", t.Number, lines[0])
	return lines
}

// given are the answers that the flags give, by field.
func (r *recording) given() map[string]string {
	given := map[string]string{leakback.FieldName: r.env.clock().In(r.env.zone()).Format("2006-01-02 15:04")}
	for _, field := range leakback.JobFields() {
		if text := *r.o.job.Field(field); text != "" {
			given[field] = text
		}
	}
	for field, text := range r.o.state.given() {
		given[field] = text
	}
	return given
}

// left ends a recording before its end and says what was kept.
func (r *recording) left(err error) error {
	if r.number != 0 {
		return r.brokenOff(err, fmt.Sprintf("test %d", r.number), "leakback record --resume")
	}
	if chosenToLeave(err) {
		return &interruptedError{errors.New("left before anything was answered; nothing was kept")}
	}
	return err
}

// finish says where the test is, and writes the report where one is wanted.
func (r *recording) finish(ctx context.Context) error {
	r.env.say(fmt.Sprintf("test %d is in the logbook, %s", r.number, shownPath(r.env, r.at)))
	r.sayAway()
	later := fmt.Sprintf("leakback report %d --output report.xlsx", r.number) + r.named()
	if r.o.output == "" {
		r.env.say("next: " + later)
		return nil
	}
	if err := r.report(ctx); err != nil {
		return &hintedError{err, "the test is safe; write its report with: " + later}
	}
	return nil
}

// report writes the customer's workbook.
func (r *recording) report(ctx context.Context) error {
	tests, err := loggedTests(ctx, r.book, []string{r.id})
	if err != nil {
		return err
	}
	page := tests[0].page(r.env)
	return r.env.publish(r.o.output, r.o.overwrite, func(w io.Writer) error { return report.Workbook(w, page) })
}
