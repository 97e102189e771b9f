package command

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"runtime"

	"leakback/leakback"
	"leakback/limits/quantity"
	"leakback/report"
)

// chunkTests is how many tests are handed from step to step of a batch at once.
const chunkTests = 128

// chunk is some tests that follow one another, and what became of them. Chunks
// go round: the reader fills one, a worker evaluates and renders it, and what
// it holds is written in the order of the input.
type chunk struct {
	first int // how many tests stand before it
	jobs  []job
	done  chan struct{} // a worker has finished it

	out   bytes.Buffer // what to print
	rows  []report.HistoryRow
	count int // of the tests that were evaluated
	worst leakback.Verdict
	// err is what ended the batch in this chunk; what stands before it is sound.
	err error
}

// batch evaluates the tests of a source on all cores and prints their results
// in order; history, where there is one, takes them as well. What was sound
// before a fault or an interruption has been printed and stands.
func (c *check) batch(ctx context.Context, src *source, history *report.History) (leakback.Verdict, error) {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	workers := runtime.GOMAXPROCS(0)
	b := &pipeline{
		check: c, printer: newPrinter(c.env, c.o), history: history,
		free: make(chan *chunk, 2*workers+2), work: make(chan *chunk, 2*workers+2), order: make(chan *chunk, 2*workers+2),
	}
	for range cap(b.free) {
		b.free <- &chunk{done: make(chan struct{}, 1)}
	}
	go b.read(ctx, src)
	for range workers {
		go b.evaluate()
	}
	progress := c.env.watch(src)
	defer progress.stop()
	return b.write(ctx, c.env.stdout, progress)
}

// pipeline is the steps of a batch. No channel ever blocks its sender, because
// each has room for all chunks: only an empty free list makes the reader wait.
type pipeline struct {
	check             *check
	printer           *printer
	history           *report.History
	free, work, order chan *chunk
}

// read fills chunks until the source ends, with io.EOF or a fault.
func (b *pipeline) read(ctx context.Context, src *source) {
	defer close(b.work)
	defer close(b.order)
	defer src.close()
	for tests := 0; ; {
		var c *chunk
		select {
		case c = <-b.free:
		case <-ctx.Done():
			return
		}
		c.fill(src, tests)
		tests += len(c.jobs)
		b.order <- c
		b.work <- c
		if c.err != nil {
			return
		}
	}
}

// fill begins the chunk anew with the next tests of the source.
func (c *chunk) fill(src *source, first int) {
	c.first, c.jobs, c.rows = first, c.jobs[:0], c.rows[:0]
	c.count, c.worst, c.err = 0, leakback.Pass, nil
	c.out.Reset()
	for len(c.jobs) < chunkTests && c.err == nil {
		j, err := src.next()
		if err != nil {
			c.err = err
			return
		}
		c.jobs = append(c.jobs, j)
	}
}

// evaluate works off chunks.
func (b *pipeline) evaluate() {
	evaluator := leakback.NewEvaluator(b.printer.detail())
	for c := range b.work {
		for i := range c.jobs {
			if err := b.judge(evaluator, c, &c.jobs[i]); err != nil {
				c.err = err
				break
			}
		}
		c.done <- struct{}{}
	}
}

// judge evaluates and renders one test of a chunk.
func (b *pipeline) judge(evaluator *leakback.Evaluator, c *chunk, j *job) error {
	r, err := evaluator.Evaluate(j.test, j.sheet)
	if err != nil {
		return j.blame(fmt.Errorf("test %s: %w", j.test.ID, err))
	}
	if err := b.printer.print(&c.out, r, j.info, c.first+c.count); err != nil {
		return err
	}
	if b.history != nil {
		c.rows = report.AppendHistory(c.rows, r)
	}
	c.count++
	c.worst = max(c.worst, r.Verdict)
	return nil
}

// write prints the chunks in the order of the input and gives the worst verdict.
func (b *pipeline) write(ctx context.Context, stdout io.Writer, p *progress) (leakback.Verdict, error) {
	worst := leakback.Pass
	for {
		c, err := b.next(ctx)
		if c == nil {
			return worst, err
		}
		if _, err := stdout.Write(c.out.Bytes()); err != nil {
			return worst, stdoutError(err)
		}
		if b.history != nil {
			if err := b.history.Add(c.rows); err != nil {
				return worst, &fileError{fmt.Errorf("%s: not written: %w", quantity.Name(b.printer.o.output), reason(err))}
			}
		}
		if err := b.check.logAll(ctx, c.jobs[:c.count]); err != nil {
			return worst, err
		}
		worst = max(worst, c.worst)
		p.add(c.count)
		switch c.err {
		case nil:
			b.free <- c
		case io.EOF:
			return worst, nil
		default:
			return worst, c.err
		}
	}
}

// next is the next chunk in order, finished; nil where the batch is
// interrupted. A reader that waits for input is not waited for.
func (b *pipeline) next(ctx context.Context) (*chunk, error) {
	var c *chunk
	select {
	case c = <-b.order:
	case <-ctx.Done():
	}
	if c == nil { // the reader leaves only when interrupted
		return nil, ctx.Err()
	}
	select {
	case <-c.done:
		return c, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}
