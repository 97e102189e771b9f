package repair

import (
	"cmp"
	"fmt"
	"slices"

	"leakback/leakback"
	"leakback/stats"
)

// Outcome is what a swap test shows.
type Outcome string

// The outcomes of a swap test.
const (
	// Followed: the leak is now at the cylinder that the injector went to.
	Followed Outcome = "followed the injector"
	// Stayed: the leak is where it was, under another injector.
	Stayed Outcome = "stayed with the cylinder"
	// Vanished: it is at neither cylinder.
	Vanished Outcome = "vanished with the refit"
	// Unclear: what happened is none of the three for certain.
	Unclear Outcome = "unclear"
)

// CommonPractice is what everything that a swap test is said to mean rests on.
const CommonPractice = "common practice, no source"

// Swap is a swap test: the injectors of two cylinders were exchanged between two
// tests.
type Swap struct {
	// A and B are the two cylinders, the lower number first.
	A, B int
	// High is the one of them that was high before; 0 where not exactly one was.
	High int
	// Tubes is New where both feed tubes were new, Reused where one went back,
	// "" where that was not recorded.
	Tubes   string
	Outcome Outcome
	// Text is what happened and what it means, a sentence without its capital and
	// its stop.
	Text string
	// Basis is what the meaning rests on.
	Basis string
}

// SwapPair is two cylinders whose injectors were exchanged.
type SwapPair struct{ A, B int }

// Swaps are the exchanges of injectors in a work: of two cylinders that both say
// so, or of which one says so and the other nothing else, and of which no third
// says that it got one of theirs.
func (w *Work) Swaps() []SwapPair {
	var list []SwapPair
	for _, p := range w.Positions {
		other := w.At(p.SwappedWith)
		mutual := p.Injector == Swapped && other.Injector == Swapped && other.SwappedWith == p.Cylinder
		if mutual && p.Cylinder < other.Cylinder && w.partners(p.Cylinder) == 1 && w.partners(other.Cylinder) == 1 {
			list = append(list, SwapPair{p.Cylinder, other.Cylinder})
		}
	}
	return list
}

// partners is how many cylinders say that they were swapped with that one.
func (w *Work) partners(cylinder int) (n int) {
	for _, p := range w.Positions {
		if p.Injector == Swapped && p.SwappedWith == cylinder {
			n++
		}
	}
	return n
}

// readSwaps reads the swap tests among the work out. Injectors that were swapped
// and swapped back are where they were.
func (p *Pair) readSwaps() {
	var order []SwapPair
	times := map[SwapPair]int{}
	for i := range p.Work {
		for _, pair := range p.Work[i].Swaps() {
			if times[pair]++; times[pair] == 1 {
				order = append(order, pair)
			}
		}
	}
	for _, pair := range order {
		if times[pair]%2 == 1 {
			p.Swaps = append(p.Swaps, p.readSwap(pair))
		}
	}
}

func (p *Pair) readSwap(pair SwapPair) Swap {
	s := Swap{A: pair.A, B: pair.B, Outcome: Unclear, Tubes: p.tubes(pair), Basis: CommonPractice}
	why := p.swapUnclear(pair)
	if why == "" {
		s.High = pair.A
		if p.At(pair.B).Before.High {
			s.High = pair.B
		}
		s.Outcome, why = p.outcome(s.High, pair.A+pair.B-s.High)
	}
	s.Text = s.words(why, p.lastTube)
	return s
}

// swapUnclear says why a swap cannot be read out; "" where it can.
func (p *Pair) swapUnclear(pair SwapPair) string {
	a, b := p.At(pair.A), p.At(pair.B)
	switch {
	case a == nil || b == nil || !a.Before.Read() || !b.Before.Read() || !a.After.Read() || !b.After.Read():
		return "both cylinders must be read in both tests"
	case p.nothingBefore || p.nothingAfter:
		return "next to nothing came back from most of the engine in one of the tests"
	case a.Before.High == b.Before.High:
		return "one of the two must be high before, and the other not"
	case p.otherInjector(pair):
		return "another injector was fitted, or one was cleaned, at the same time"
	case slices.ContainsFunc(p.Remarks, func(r Remark) bool { return r.DoubtsPass || r.DoubtsFail }):
		return "the two tests cannot be compared"
	}
	return ""
}

// otherInjector says whether more than the swap was done to the injectors.
func (p *Pair) otherInjector(pair SwapPair) bool {
	for i := range p.Work {
		for _, n := range []int{pair.A, pair.B} {
			if at := p.Work[i].At(n); at.Injector == Replaced || at.Injector == Cleaned ||
				at.Injector == Swapped && at.SwappedWith != pair.A+pair.B-n {
				return true
			}
		}
	}
	return false
}

// tubes is what was done to the feed tubes of both cylinders.
func (p *Pair) tubes(pair SwapPair) string {
	a, b := p.lastTube(pair.A), p.lastTube(pair.B)
	switch {
	case a == New && b == New:
		return New
	case a == Reused, b == Reused:
		return Reused
	}
	return ""
}

// lastTube is what the tube of a cylinder is after the work: New, Reused, or ""
// where nobody said.
func (p *Pair) lastTube(cylinder int) string {
	last := ""
	for i := range p.Work {
		last = cmp.Or(p.Work[i].At(cylinder).FeedTube, last)
	}
	if last == Reseated {
		return Reused
	}
	return last
}

// normal says that a cylinder of the later test is clear of any doubt, also as it
// would have been at the temperature of the earlier test.
func (c *Change) normal() bool {
	if c.After.NextToNothing || c.After.High || c.After.Low || c.After.Doubtful || c.After.Verdict != leakback.Pass {
		return false
	}
	return c.Range == nil || c.Range.Throughout(func(d Decisions) bool { return !d.Apart && d.Limit != stats.Above })
}

// outcome reads a swap out: high is the cylinder that was high before.
func (p *Pair) outcome(high, other int) (Outcome, string) {
	h, o := p.At(high), p.At(other)
	fell, _ := h.Direction()
	rose, _ := o.Direction()
	switch {
	case o.After.High && h.normal() && fell < 0 && rose > 0:
		return Followed, ""
	case h.After.High && o.normal():
		return Stayed, ""
	case h.normal() && o.normal() && fell < 0 && rose <= 0:
		return Vanished, ""
	case h.After.High && o.After.High:
		return Unclear, "both cylinders are high now"
	}
	return Unclear, "the later test does not show for certain where the leak is now"
}

// words say what happened and what it means. A tube is the one that the leak is at
// now: what was done to the other's tells nothing of it.
func (s *Swap) words(why string, tube func(cylinder int) string) string {
	exchanged := fmt.Sprintf("the injectors of cylinders %d and %d were exchanged", s.A, s.B)
	other := s.A + s.B - s.High
	switch s.Outcome {
	case Followed:
		return fmt.Sprintf("%s, and the leak followed the injector from cylinder %d to cylinder %d: it is the injector's%s",
			exchanged, s.High, other, followedBut(tube(other)))
	case Stayed:
		return fmt.Sprintf("%s, and the leak stayed with cylinder %d: %s", exchanged, s.High, staysWith(tube(s.High)))
	case Vanished:
		return fmt.Sprintf("%s, and the leak is gone from both: it was the fit, not the injector%s", exchanged, vanishedBut(s.Tubes))
	}
	return fmt.Sprintf("%s, and what that shows is unclear: %s", exchanged, why)
}

func followedBut(tube string) string {
	if tube == Reused {
		return ", or the used feed tube's that was fitted with it"
	}
	return ""
}

func staysWith(tube string) string {
	switch tube {
	case New:
		return "it is the seat's or the line's, or the new feed tube does not seal"
	case Reused:
		return "it is the feed tube's, the line's or the seat's, and a tube that was used before is the first to suspect"
	}
	return "it is the feed tube's, the line's or the seat's"
}

func vanishedBut(tubes string) string {
	switch tubes {
	case New:
		return " (or the old feed tube)"
	case Reused:
		return "; a feed tube that was used again may leak again"
	}
	return ""
}
