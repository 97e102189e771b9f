package repair

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"leakback/leakback"
)

// Side is one test of a comparison.
type Side struct {
	// Result is its evaluation (leakback.Full); it is not judged again.
	Result *leakback.Result
	// Label is what people call it in a sentence: "test 12", a file's name; "" is
	// its place among the sides.
	Label string
	// When is when it was done, as people read it; "" where that is not known.
	When string
	// Work is what was done to the engine before this test and after the one
	// that stands before it here.
	Work []Work
	// ComplaintGone is what the test's own record says of the complaint
	// (ComplaintGone of that record): Yes, No, NotTried or "".
	ComplaintGone string
}

// Comparison is two or more tests of one engine, held side by side.
type Comparison struct {
	// Sides are the tests in the order in which they were given, which is that
	// of time.
	Sides []Side
	// Fuel is what the temperatures were brought together by.
	Fuel Fuel
	// Steps hold each test against the one before it.
	Steps []Pair
	// Whole holds the last test against the first, with all the work between:
	// the answer for the repair. Of two tests it is the only step.
	Whole *Pair
	// ComplaintGone is the last that was said of the complaint: Yes, No, NotTried
	// or "". It never enters the answer: a normal return clears no injector.
	ComplaintGone string
}

// Pair is a later test held against an earlier one.
type Pair struct {
	// From and To are the places of the two among the sides, from 0.
	From, To int
	// Work is what was done between them.
	Work []Work
	// Cylinders are those of either test, in their order.
	Cylinders []Change
	// Total is the whole return, of cylinder 0; its figures are NaN where there
	// is none.
	Total Change
	// Temperature is how the fuel's temperatures lie to one another.
	Temperature Temperature
	// Remarks say what keeps the two from being compared as they are, what is
	// merely different, and what was not recorded.
	Remarks []Remark
	// Comparable says that no remark doubts what the later test shows. An answer
	// is still given where the difference can only have worked against it. Tests
	// whose fuel temperatures lie apart are comparable over the range of the
	// exponent only.
	Comparable bool
	// Swaps are the swap tests among the work, read out.
	Swaps []Swap
	// Answer is that for the repair, and Reasons say why.
	Answer  Answer
	Reasons []Reason
	// Settle is what would turn an undecided into an answer; nil otherwise.
	Settle *leakback.Settle

	// sides are all of the comparison, before and after two of them.
	sides         []Side
	before, after *Side
	fuel          Fuel
	// nothingBefore and nothingAfter say that next to nothing came back from most
	// of the engine.
	nothingBefore, nothingAfter bool
}

// Compare holds tests of one engine, in the order of time, against one another.
// The fuel brings temperatures together; AssumedFuel stands in where nobody gave
// it. The error says why the tests cannot be of one engine.
func Compare(sides []Side, fuel Fuel) (*Comparison, error) {
	if len(sides) < 2 {
		return nil, fmt.Errorf("%d given: expected two or more tests of one engine", len(sides))
	}
	for i := 1; i < len(sides); i++ {
		if err := oneEngine(&sides[0], &sides[i]); err != nil {
			return nil, err
		}
	}
	c := &Comparison{Sides: slices.Clone(sides), Fuel: fuel}
	for i := range c.Sides {
		c.Sides[i].Label = cmp.Or(c.Sides[i].Label, fmt.Sprintf("test %d", i+1))
	}
	for to := 1; to < len(sides); to++ {
		c.Steps = append(c.Steps, c.pair(to-1, to))
	}
	whole := c.Steps[0]
	if len(sides) > 2 {
		whole = c.pair(0, len(sides)-1)
	}
	c.Whole = &whole
	c.ComplaintGone = c.complaint()
	return c, nil
}

// oneEngine refuses tests that name different engines.
func oneEngine(a, b *Side) error {
	name := func(s *Side) string { return strings.TrimSpace(s.Result.Test.Engine) }
	if name(a) != "" && name(b) != "" && !strings.EqualFold(name(a), name(b)) {
		return fmt.Errorf("%s is of engine %s and %s of engine %s: expected tests of one engine",
			a.Label, name(a), b.Label, name(b))
	}
	if m, n := cylindersOf(a), cylindersOf(b); m != n && m != 0 && n != 0 {
		return fmt.Errorf("%s has %d cylinders and %s has %d: expected tests of one engine", a.Label, m, b.Label, n)
	}
	return nil
}

// cylindersOf is how many cylinders a test's engine is said to have; 0 where
// only the readings tell.
func cylindersOf(s *Side) int {
	if n := s.Result.Test.Cylinders; n != 0 || s.Result.Sheet == nil {
		return n
	}
	return s.Result.Sheet.Cylinders
}

// complaint is the last that was said of it.
func (c *Comparison) complaint() string {
	for i := len(c.Sides) - 1; i >= 0; i-- {
		if said := c.Sides[i].ComplaintGone; said != "" {
			return said
		}
		for _, w := range slices.Backward(c.Sides[i].Work) {
			if w.ComplaintGone != "" {
				return w.ComplaintGone
			}
		}
	}
	return ""
}

// pair holds one side against an earlier one.
func (c *Comparison) pair(from, to int) Pair {
	p := Pair{From: from, To: to, sides: c.Sides, before: &c.Sides[from], after: &c.Sides[to], fuel: c.Fuel}
	for i := from + 1; i <= to; i++ {
		p.Work = append(p.Work, c.Sides[i].Work...)
	}
	p.Temperature = newTemperature(p.before.Result.Test, p.after.Result.Test, c.Fuel)
	p.remark()
	p.compareCylinders()
	p.compareTotal()
	p.findNothing()
	p.readSwaps()
	p.answer()
	return p
}

// numbers are the cylinders of either test.
func (p *Pair) numbers() []int {
	list := make([]int, len(p.Cylinders))
	for i := range p.Cylinders {
		list[i] = p.Cylinders[i].Cylinder
	}
	return list
}

// workedOn says whether something was done between the tests that can change the
// cylinder's return.
func (p *Pair) workedOn(cylinder int) bool { return slices.Contains(p.allWorkedOn(), cylinder) }

// allWorkedOn are those cylinders, also such as neither test has.
func (p *Pair) allWorkedOn() []int { return WorkedOn(p.Work, p.numbers()...) }

// At is how a cylinder changed, or for 0 the whole return; nil where neither test
// has the cylinder.
func (p *Pair) At(cylinder int) *Change {
	if cylinder == wholeEngine {
		return &p.Total
	}
	for i := range p.Cylinders {
		if p.Cylinders[i].Cylinder == cylinder {
			return &p.Cylinders[i]
		}
	}
	return nil
}

// compareCylinders gathers the cylinders of both tests.
func (p *Pair) compareCylinders() {
	before, after := figuresOf(p.before.Result), figuresOf(p.after.Result)
	var numbers []int
	for _, all := range []map[int]Figures{before, after} {
		for n := range all {
			numbers = append(numbers, n)
		}
	}
	slices.Sort(numbers)
	for _, n := range slices.Compact(numbers) { // all of them, before any is compared
		p.Cylinders = append(p.Cylinders, Change{Cylinder: n})
	}
	for i := range p.Cylinders {
		n := p.Cylinders[i].Cylinder
		p.Cylinders[i] = p.change(n, orUnread(before, n), orUnread(after, n))
	}
}

func orUnread(all map[int]Figures, cylinder int) Figures {
	if f, ok := all[cylinder]; ok {
		return f
	}
	nan := math.NaN()
	return Figures{RateMLMin: nan, UMLMin: nan, DoF: nan, RatioToConsensus: nan, RatioU: nan, RatioDoF: nan, BitingRatio: nan,
		Verdict: leakback.Unread}
}

// compareTotal compares the whole return.
func (p *Pair) compareTotal() {
	p.Total = p.change(wholeEngine, totalOf(p.before.Result), totalOf(p.after.Result))
}
