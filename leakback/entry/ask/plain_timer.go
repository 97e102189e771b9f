package ask

import (
	"math"
	"time"

	"leakback/limits/quantity"
)

// running says whether a clock runs while the question stands.
func (q *Question) running() bool { return q.Kind == Rest || q.Kind == Timer && q.Running }

// leftS is how long the clock of a question still has to run, in s; below 0 how
// long it has run over. It is +Inf where nobody said how long it should run.
func (p *plain) leftS(q *Question) float64 {
	if q.TargetS <= 0 {
		return math.Inf(1)
	}
	return q.TargetS - p.flow.Elapsed().Seconds()
}

// started says that a clock runs, and what ends it.
func (p *plain) started(q *Question) {
	left := p.leftS(q)
	switch {
	case p.again:
	case q.Kind == Rest:
		p.paragraph(q.asked())
		if left > 0 && !math.IsInf(left, 0) {
			p.paragraph(whole(math.Ceil(left)) + " to go")
		}
	case math.IsInf(left, 0):
		p.paragraph("started, Enter stops")
	case left > 0:
		p.paragraph("started: " + whole(math.Ceil(left)) + " to go, Enter stops")
	}
}

// tick says where a clock stands, and when to look at it again: each second on a
// terminal, now and then where somebody listens, else when its time is up.
func (p *plain) tick(q *Question) <-chan time.Time {
	if !q.running() {
		return nil
	}
	left := p.leftS(q)
	if left <= 0 && !p.up {
		p.up = true
		p.timeUp(q)
	}
	switch {
	case p.o.Live && p.o.Still:
		return p.seldom(q, left)
	case !p.o.Live:
		if p.up || math.IsInf(left, 0) {
			return nil
		}
		return p.o.Tick(pause(left))
	}
	p.over(q, left)
	elapsed := p.flow.Elapsed().Seconds()
	next := 1 - (elapsed - math.Floor(elapsed))
	if left > 0 {
		next = min(next, left)
	}
	return p.o.Tick(pause(next))
}

// pause is a pause of that many seconds, and never so short that the machine
// does nothing else.
func pause(s float64) time.Duration {
	return max(time.Duration(s*float64(time.Second)), 5*time.Millisecond)
}

// nearlyEnd is when the end of a clock is announced, in s before it.
const nearlyEnd = 10

// following is the next time to say how long is left, in s: each whole minute before
// the end and behind it, and once as the end comes near.
func following(left float64) float64 {
	next := 60*math.Ceil(left/60) - 60
	if left > nearlyEnd && next < nearlyEnd {
		return nearlyEnd
	}
	return next
}

// seldom says how long is left where it is time to say it, and waits for the next.
func (p *plain) seldom(q *Question, left float64) <-chan time.Time {
	endless := math.IsInf(left, 0)
	if endless {
		left = -p.flow.Elapsed().Seconds()
	}
	if math.IsNaN(p.next) {
		p.next = following(left)
	}
	due := math.NaN()
	for left <= p.next {
		due, p.next = p.next, following(p.next)
	}
	switch {
	case endless && due < 0:
		p.paragraph(whole(-due))
	case due < 0 && q.Kind == Timer: // a rest is not spoiled by more of it
		p.paragraph(whole(-due) + " over")
	case due > 0:
		p.paragraph(whole(due) + " to go")
	}
	return p.o.Tick(pause(left - p.next))
}

// timeUp says, and rings, that a clock has run for its time.
func (p *plain) timeUp(q *Question) {
	target := quantity.Plain(q.TargetS, 1) + " s"
	text := "time is up: " + target + ", Enter stops"
	if q.Kind == Rest {
		text = "the rest of " + target + " is over, Enter goes on"
	}
	if p.o.Bell {
		text += "\a"
	}
	if p.o.Live && !p.o.Still {
		text = "\r" + text
	}
	p.to.print(text + "\n")
}

// over writes the time that is left, or that has run, over what stood in the
// line.
func (p *plain) over(q *Question, left float64) {
	text := whole(math.Ceil(left)) + " left"
	switch {
	case math.IsInf(left, 0):
		text = whole(math.Floor(p.flow.Elapsed().Seconds()))
	case left <= 0 && q.Kind == Rest:
		return // nothing is spoiled by more of it
	case left <= 0:
		text = whole(math.Floor(-left)) + " over"
	}
	p.to.print("\r" + text + blanks[min(len(text), len(blanks)):])
}

// blanks wipe out what stood in the line.
const blanks = "                "

// whole is a time in whole seconds.
func whole(s float64) string { return quantity.Plain(s, 0) + " s" }
