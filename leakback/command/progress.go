package command

import (
	"fmt"
	"io"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"leakback/limits/quantity"
)

// progress shows on a terminal how far a long batch is, in one line that is
// written over and wiped away at the end. A nil progress shows nothing.
type progress struct {
	w     io.Writer
	src   *source
	start time.Time
	tests atomic.Int64

	ended chan struct{}
	drawn sync.WaitGroup
	width int // of the line that stands there
}

// When the line appears, and how often it is written anew.
const (
	progressAfter = time.Second
	progressEvery = 200 * time.Millisecond
)

// watch shows the progress of a batch where somebody can see it.
func (env *environment) watch(src *source) *progress {
	if !env.watched {
		return nil
	}
	p := &progress{w: env.stderr, src: src, start: time.Now(), ended: make(chan struct{})}
	p.drawn.Go(p.run)
	return p
}

func (p *progress) run() {
	wait := time.NewTimer(progressAfter)
	defer wait.Stop()
	for {
		select {
		case <-p.ended:
			p.draw("")
			return
		case now := <-wait.C:
			p.draw(p.line(now.Sub(p.start)))
			wait.Reset(progressEvery)
		}
	}
}

// add counts tests that are done.
func (p *progress) add(tests int) {
	if p != nil {
		p.tests.Add(int64(tests))
	}
}

// stop wipes the line away.
func (p *progress) stop() {
	if p != nil {
		close(p.ended)
		p.drawn.Wait()
	}
}

// line says how many tests are done after that time, how fast it goes and,
// where the size of the input is known, what share of it was read.
func (p *progress) line(after time.Duration) string {
	tests := float64(p.tests.Load())
	text := fmt.Sprintf("leakback: %s tests, %s a second", quantity.Grouped(tests),
		quantity.Grouped(float64(int64(tests/after.Seconds()))))
	if size := p.src.size; size > 0 {
		text += fmt.Sprintf(", %d %%", min(100*p.src.read.Load()/size, 100))
	}
	return text
}

// draw writes a line over the one that stands there; spaces wipe away what is
// left of it on every terminal.
func (p *progress) draw(line string) {
	if line == "" && p.width == 0 {
		return
	}
	fmt.Fprintf(p.w, "\r%s\r%s", strings.Repeat(" ", p.width), line)
	p.width = len(line)
}
