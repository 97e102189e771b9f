package command

import (
	"bufio"
	"errors"
	"fmt"
	"io"

	"leakback/leakback"
	"leakback/leakback/advice"
	"leakback/report"
)

// emitter prints results as they come and writes the workbook at the end.
type emitter struct {
	env *environment
	o   *checkOptions
	w   *bufio.Writer
	csv *report.CSV
	// held is the one result that waits for the end of the input, because a
	// workbook is to be written: a single test prints nothing unless all of it
	// is sound.
	held   *leakback.Result
	digest func() string
	tests  int
}

func newEmitter(env *environment, o *checkOptions) *emitter {
	e := &emitter{env: env, o: o, w: bufio.NewWriterSize(env.stdout, 1<<16)}
	if o.format == "csv" {
		e.csv = report.NewCSV(e.w)
	}
	return e
}

// emit takes one result; digest gives the digest of the input once it ends.
func (e *emitter) emit(r *leakback.Result, digest func() string) error {
	if e.o.output == "" {
		return e.print(r)
	}
	if e.held != nil {
		return fmt.Errorf("--output: %s and %s: a workbook of several tests is not supported yet; "+
			"expected one test", e.held.Test.ID, r.Test.ID)
	}
	e.held, e.digest = r, digest
	return nil
}

func (e *emitter) print(r *leakback.Result) error {
	e.tests++
	return stdoutError(e.render(r))
}

func (e *emitter) render(r *leakback.Result) error {
	switch e.o.format {
	case "json":
		return report.JSON(e.w, r)
	case "csv":
		if e.tests == 1 {
			if err := e.csv.Header(); err != nil {
				return err
			}
		}
		return e.csv.Result(r)
	}
	if e.tests > 1 {
		if _, err := io.WriteString(e.w, "\n"); err != nil {
			return err
		}
	}
	s := e.env.screen
	return report.Table(e.w, e.page(r, ""), report.TableOptions{Width: s.width, Color: s.color, Unicode: s.unicode})
}

// page puts together what a report shows.
func (e *emitter) page(r *leakback.Result, digest string) *report.Page {
	return &report.Page{
		Result: r, Job: e.o.job, Advice: advice.Next(r), NotSeen: advice.NotSeen(),
		Cautions: advice.Cautions(), CautionLine: advice.CautionLine(),
		Version: version(), Digest: digest,
	}
}

// flush prints what was rendered so far.
func (e *emitter) flush() error {
	if e.csv != nil {
		if err := e.csv.Flush(); err != nil {
			return stdoutError(err)
		}
	}
	return stdoutError(e.w.Flush())
}

// close prints what is left and writes the workbook.
func (e *emitter) close() error {
	if e.held != nil {
		if err := e.print(e.held); err != nil {
			return err
		}
	}
	if err := e.flush(); err != nil || e.held == nil {
		return err
	}
	page := e.page(e.held, e.digest())
	err := writeFile(e.o.output, e.o.overwrite, func(w io.Writer) error { return report.Workbook(w, page) })
	if err != nil {
		return err
	}
	e.env.say("wrote " + e.o.output)
	return nil
}

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
