package command

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"leakback/leakback"
	"leakback/leakback/advice"
	"leakback/leakback/terminal"
	"leakback/limits/quantity"
	"leakback/report"
)

// printer renders results for stdout. It may be used by many at once.
type printer struct {
	env *environment
	o   *checkOptions
}

func newPrinter(env *environment, o *checkOptions) *printer { return &printer{env, o} }

// detail is how much of a result the format shows.
func (p *printer) detail() leakback.Detail {
	if p.o.format == "csv" {
		return leakback.Verdicts
	}
	return leakback.Full
}

// print renders a result that has so many others before it.
func (p *printer) print(to *bytes.Buffer, r *leakback.Result, about leakback.Job, before int) error {
	switch p.o.format {
	case "json":
		return report.JSON(to, r)
	case "csv":
		if before == 0 {
			to.WriteString(report.CSVHeader())
		}
		to.Write(report.AppendCSV(to.AvailableBuffer(), r))
		return nil
	}
	if before > 0 {
		to.WriteByte('\n')
	}
	return report.Table(to, newPage(r, about, ""), p.env.tableOptions())
}

// data is CSV as it goes to stdout: as it is where a program reads it, and with
// nothing in it that is obeyed on a terminal.
func (env *environment) data(csv []byte) []byte {
	if !env.screen.terminal {
		return csv
	}
	var out, row []byte
	for line := range bytes.Lines(csv) {
		row = append(row, line...)
		if bytes.Count(row, []byte(`"`))%2 == 0 { // no cell goes on in the next line
			out = append(out, terminal.Printable(string(bytes.TrimSuffix(row, []byte("\n"))))...)
			out, row = append(out, '\n'), row[:0]
		}
	}
	return out
}

// tableOptions say how tables are drawn on stdout.
func (env *environment) tableOptions() report.TableOptions {
	s := env.screen
	return report.TableOptions{Width: s.width, Color: s.color, Unicode: s.unicode, Zone: env.zone()}
}

// newPage puts together what a report shows.
func newPage(r *leakback.Result, about leakback.Job, digest string) *report.Page {
	page := &report.Page{
		Result: r, Job: about, Advice: advice.Next(r), NotSeen: advice.NotSeen(),
		Cautions: advice.Cautions(), CautionLine: advice.CautionLine(),
		Version: version(), Digest: digest,
	}
	if r.Test.Method == leakback.MethodBlockOff {
		page.MethodCaution = strings.Join(advice.CautionsAbout(advice.Blocking), " ")
	}
	return page
}

// single prints the only test of a source and writes the customer's workbook.
func (c *check) single(ctx context.Context, src *source) (leakback.Verdict, error) {
	j, err := src.next()
	if err != nil {
		return leakback.Pass, err
	}
	r, err := leakback.Evaluate(j.test, j.sheet)
	if err != nil {
		return leakback.Pass, j.blame(fmt.Errorf("test %s: %w", j.test.ID, err))
	}
	p, out := newPrinter(c.env, c.o), new(bytes.Buffer)
	if err := p.print(out, r, j.info, 0); err != nil {
		return r.Verdict, err
	}
	if _, err := c.env.stdout.Write(out.Bytes()); err != nil {
		return r.Verdict, stdoutError(err)
	}
	if err := c.logAll(ctx, []job{j}); err != nil {
		return r.Verdict, err
	}
	page, err := c.loggedPage(ctx, &j)
	if err != nil {
		return r.Verdict, err
	}
	if page == nil {
		page = newPage(r, j.info, j.digest())
	}
	return r.Verdict, c.publish(func(w io.Writer) error { return report.Workbook(w, page) })
}

// history prints the tests of a source and writes the workbook of them all.
func (c *check) history(ctx context.Context, src *source) (leakback.Verdict, error) {
	h := report.NewHistory(version())
	defer h.Close()
	worst, err := c.batch(ctx, src, h)
	if err != nil {
		return worst, err
	}
	return worst, c.publish(func(w io.Writer) error { return h.Write(untilDone{ctx, w}) })
}

// untilDone is a writer that fails once its context has ended, so that a long
// write ends as one that failed and cleans up after itself.
type untilDone struct {
	ctx context.Context
	io.Writer
}

// Write writes, or fails.
func (w untilDone) Write(p []byte) (int, error) {
	if err := w.ctx.Err(); err != nil {
		return 0, err
	}
	return w.Writer.Write(p)
}

// publish writes the workbook and says so.
func (c *check) publish(write func(io.Writer) error) error {
	return c.env.publish(c.o.output, c.o.overwrite, write)
}

// publish writes a file and says so.
func (env *environment) publish(path string, overwrite bool, write func(io.Writer) error) error {
	if err := writeFile(path, overwrite, write); err != nil {
		return err
	}
	env.wrote(path)
	return nil
}

// wrote says that a file is there now.
func (env *environment) wrote(path string) { env.say("wrote " + quantity.Name(path)) }

// stdoutError marks a failure to write to stdout as one of files.
func stdoutError(err error) error {
	if err == nil {
		return nil
	}
	var marked *fileError
	if errors.As(err, &marked) {
		return err
	}
	return &fileError{fmt.Errorf("standard output: cannot be written: %w", reason(err))}
}

// counted is "1 reading" or "3 readings".
func counted(n int, word string) string {
	if n == 1 {
		return "1 " + word
	}
	return quantity.Grouped(float64(n)) + " " + word + "s"
}
