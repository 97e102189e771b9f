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
	what  string // is counted: "tests"
	start time.Time
	count atomic.Int64
	// share is how much is done, of 100; false where one cannot tell.
	share func() (percent int64, known bool)

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
	return env.count("tests", func() (int64, bool) {
		if src.size == 0 {
			return 0, false
		}
		return min(100*src.read.Load()/src.size, 100), true
	})
}

// count shows how many of something are done where somebody can see it.
func (env *environment) count(what string, share func() (int64, bool)) *progress {
	if !env.watched {
		return nil
	}
	p := &progress{w: env.stderr, what: what, share: share, start: time.Now(), ended: make(chan struct{})}
	p.drawn.Go(p.run)
	return p
}

// countOf shows how many of all are done, by what set tells.
func (env *environment) countOf(what string) (p *progress, set func(done, all int64)) {
	var all atomic.Int64
	p = env.count(what, func() (int64, bool) {
		if all.Load() == 0 {
			return 0, false
		}
		return min(100*p.count.Load()/all.Load(), 100), true
	})
	return p, func(done, of int64) {
		all.Store(of)
		if p != nil {
			p.count.Store(done)
		}
	}
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

// add counts some that are done.
func (p *progress) add(done int) {
	if p != nil {
		p.count.Add(int64(done))
	}
}

// stop wipes the line away.
func (p *progress) stop() {
	if p != nil {
		close(p.ended)
		p.drawn.Wait()
	}
}

// line says how many are done after that time, how fast it goes and, where that
// is known, what share of all.
func (p *progress) line(after time.Duration) string {
	done := float64(p.count.Load())
	text := fmt.Sprintf("leakback: %s %s, %s a second", quantity.Grouped(done), p.what,
		quantity.Grouped(float64(int64(done/after.Seconds()))))
	if percent, known := p.share(); known {
		text += fmt.Sprintf(", %d %%", percent)
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
