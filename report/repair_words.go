package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"leakback/leakback"
	"leakback/leakback/repair"
	"leakback/limits/quantity"
	"leakback/stats"
)

// RepairAnswer is the answer for a repair in one sentence: the word for it and
// the reason that weighs most.
func RepairAnswer(p *repair.Pair) string {
	text := string(p.Answer)
	if len(p.Reasons) > 0 {
		text += ": " + p.Reasons[0].Text
	}
	return Sentence(text)
}

// otherReasons are those that the answer does not name.
func otherReasons(p *repair.Pair) []string {
	var texts []string
	for i, r := range p.Reasons {
		if i > 0 {
			texts = append(texts, Sentence(r.Text))
		}
	}
	return texts
}

// complaintWords say of the complaint what was said of it. It is another question
// than the return, and never an answer to it.
var complaintWords = map[string]string{
	repair.Yes:      "the complaint is gone",
	repair.No:       "the complaint is NOT gone, whatever the return says",
	repair.NotTried: "whether the complaint is gone was not tried",
	"":              "whether the complaint is gone was not asked",
}

// ComplaintSaid is what is known of the complaint, as a sentence.
func ComplaintSaid(c *repair.Comparison) string {
	return Sentence(complaintWords[c.ComplaintGone] + "; a normal return clears no injector")
}

// comparableSaid says whether two tests may be held against one another.
func comparableSaid(p *repair.Pair) string {
	switch {
	case !p.Comparable:
		return "not comparable as they are"
	case p.Temperature.Apart:
		return "comparable over a range only: the fuel temperatures lie apart"
	case len(p.Remarks) > 0:
		return "comparable, with this to be said"
	}
	return "comparable: nothing that was recorded differs by enough to matter"
}

// remarksSaid are the remarks on two tests as sentences, those that keep them from
// being compared first.
func remarksSaid(p *repair.Pair) []string {
	var doubting, other []string
	for _, r := range p.Remarks {
		text := r.Text
		switch {
		case r.DoubtsPass && r.DoubtsFail:
			text += "; neither a pass nor a fail by a limit proves anything then"
		case r.DoubtsPass:
			text += "; a pass proves nothing then"
		case r.DoubtsFail:
			text += "; a fail by a limit proves nothing then"
		default:
			other = append(other, Sentence(text))
			continue
		}
		doubting = append(doubting, Sentence(text))
	}
	return append(doubting, other...)
}

// shiftText is a change with its expanded uncertainty, "-36.0 ± 5.3", a bound
// marked as one, and "" where there is none. It has at least so many decimals, and
// as many more as show why it is more than noise, or not.
func shiftText(s repair.Shift, decimals int) string {
	d := shiftDecimals(s, decimals)
	switch {
	case math.IsNaN(s.Value):
		return ""
	case s.Bound != leakback.Exact:
		return s.Bound.String() + " " + signed(s.Value, d)
	}
	return signed(s.Value, d) + " ± " + quantity.Fixed(expanded(s), d)
}

// shiftDecimals is how many decimals a change needs.
func shiftDecimals(s repair.Shift, least int) int {
	u := expanded(s)
	if math.IsNaN(u) {
		return least
	}
	for d := least; d <= mostDigits; d++ {
		if agrees(math.Abs(s.Value), u, 0, d) {
			return d
		}
	}
	return least
}

// signed is a figure with its sign, none before zero.
func signed(x float64, decimals int) string {
	text := quantity.Fixed(x, decimals)
	if x > 0 && strings.Trim(text, "0.") != "" {
		return "+" + text
	}
	return text
}

// noiseSaid says how a change compares with measurement noise, as it was decided:
// by the ratio, and throughout the exponent, where temperatures lie apart.
func noiseSaid(c *repair.Change) string {
	switch {
	case c.Range != nil:
		return rangeNoise(c)
	case c.RatioCounts:
		return c.Ratio.Words()
	}
	return c.Rate.Words()
}

// changeSaid is a cylinder's change in words: how far it moved as measured, what
// counts where that is the ratio, and how it compares with noise.
func changeSaid(c *repair.Change, decimals int) string {
	text := shiftText(c.Rate, decimals)
	if text != "" {
		text += " mL/min"
	}
	if ratio := shiftText(c.Ratio, ratioDecimals); c.RatioCounts && ratio != "" {
		text = strings.TrimPrefix(text+"; × set "+ratio+":", "; ") + " " + noiseSaid(c)
		return text
	}
	return strings.TrimPrefix(text+", "+noiseSaid(c), ", ")
}

// ratioDecimals is how many decimals show a ratio to the cylinders that agree.
const ratioDecimals = 2

// setRatioText is a ratio to the cylinders that agree, a bound marked as one.
func setRatioText(f *repair.Figures) string {
	switch {
	case math.IsNaN(f.RatioToConsensus):
		return "-"
	case f.Bound != leakback.Exact:
		return f.Bound.String() + " " + quantity.Fixed(f.RatioToConsensus, ratioDecimals)
	}
	return quantity.Fixed(f.RatioToConsensus, ratioDecimals)
}

// pairDecimals is how many decimals show the rates of both tests.
func pairDecimals(before, after *leakback.Result) int { return max(Decimals(before), Decimals(after)) }

// swapsSaid are the swap tests as sentences.
func swapsSaid(p *repair.Pair) []string {
	texts := make([]string, len(p.Swaps))
	for i, s := range p.Swaps {
		texts[i] = Sentence(s.Text + " (" + s.Basis + ")")
	}
	return texts
}

// exponentSaid says what the exponent m is, and that nothing was corrected.
func exponentSaid(c *repair.Comparison, p *repair.Pair) string {
	t := &p.Temperature
	return fmt.Sprintf("m says how far a leak follows the fuel's viscosity: 0 not at all, as through a damaged seat, 1 with 1/viscosity, as "+
		"through clearances; which of them a cylinder has is not known. Viscosity %s mm²/s in %s and %s mm²/s in %s, by %s. "+
		"No rate was corrected: what is decided holds for every m or is undecided.",
		quantity.Fixed(t.BeforeViscosityMM2S, 2), c.Sides[p.From].Label, quantity.Fixed(t.AfterViscosityMM2S, 2), c.Sides[p.To].Label, c.Fuel)
}

// rangedOver are the cylinders of which the change is a range over the exponent.
func rangedOver(p *repair.Pair) []*repair.Change {
	var list []*repair.Change
	for i := range p.Cylinders {
		if c := &p.Cylinders[i]; c.Range != nil {
			list = append(list, c)
		}
	}
	return list
}

// stretch is a stretch of the exponent on which something is the same.
type stretch struct {
	from, to float64
	text     string
}

// stretches are those of something that depends on the exponent, in their order.
func stretches(r *repair.Range, of func(repair.Decisions) string) []stretch {
	var all []stretch
	for _, piece := range r.Pieces {
		text := of(piece.Decisions)
		if n := len(all); n > 0 && all[n-1].text == text {
			all[n-1].to = piece.ToM
			continue
		}
		all = append(all, stretch{piece.FromM, piece.ToM, text})
	}
	return all
}

// String is "more than noise below m = 0.78".
func (s stretch) String() string {
	at := func(m float64) string { return quantity.Fixed(m, exponentDecimals(m)) }
	switch {
	case s.from == 0 && s.to == 1:
		return s.text + " at every m"
	case s.from == 0:
		return s.text + " below m = " + at(s.to)
	case s.to == 1:
		return s.text + " from m = " + at(s.from)
	}
	return s.text + " from m = " + at(s.from) + " to " + at(s.to)
}

// exponentDecimals shows a crossing so that it is neither 0 nor 1.
func exponentDecimals(m float64) int {
	return max(quantity.Apart(m, 0, 2), quantity.Apart(m, 1, 2))
}

func joinStretches(all []stretch) string {
	texts := make([]string, len(all))
	for i, s := range all {
		texts[i] = s.String()
	}
	return strings.Join(texts, ", ")
}

// rangeNoise says how a change compares with noise over the exponent.
func rangeNoise(c *repair.Change) string {
	if _, settled := c.Direction(); settled {
		return repair.Shift{Level: c.Level()}.Words() + " at every m"
	}
	all := stretches(c.Range, func(d repair.Decisions) string {
		if c.RatioCounts {
			return movedWords[d.Ratio]
		}
		return movedWords[d.Rate]
	})
	return joinStretches(slices.DeleteFunc(all, func(s stretch) bool { return s.text == movedWords[0] })) + " only"
}

var movedWords = map[int]string{-1: "lower beyond noise", 0: "not more than noise", 1: "higher beyond noise"}

// crossingsSaid are the decisions about a cylinder that depend on the exponent,
// beside whether it changed at all.
func crossingsSaid(c *repair.Change) []string {
	var texts []string
	for _, of := range []func(repair.Decisions) string{
		func(d repair.Decisions) string { return limitWords[d.Limit] },
		func(d repair.Decisions) string { return apartWords[d.Apart] },
	} {
		if all := stretches(c.Range, of); len(all) > 1 {
			texts = append(texts, joinStretches(all))
		}
	}
	return texts
}

var limitWords = map[stats.Decision]string{
	stats.Below: "within the limit", stats.Open: "too close to the limit to tell", stats.Above: "over the limit",
}

var apartWords = map[bool]string{true: "apart from its set", false: "not apart from its set"}

// pairName is "test 1 to test 2".
func (p *RepairPage) pairName(pair *repair.Pair) string {
	return p.label(pair.From) + " to " + p.label(pair.To)
}

// testLine is one test in a line: its label, when it was, its state, its own answer.
func (p *RepairPage) testLine(side int) string {
	s := &p.Comparison.Sides[side]
	parts := []string{s.Label}
	if s.When != "" {
		parts = append(parts, s.When)
	}
	if state := StateLine(s.Result); state != "" {
		parts = append(parts, state)
	}
	return strings.Join(parts, ", ") + ": " + VerdictWord(s.Result.Verdict)
}

// concerns says whether a cylinder is one that a reader looks for: it failed in
// either test, or was worked on.
func concerns(p *repair.Pair, c *repair.Change) bool {
	return c.Before.Verdict == leakback.Fail || c.After.Verdict == leakback.Fail || slices.Contains(repair.WorkedOn(p.Work, c.Cylinder), c.Cylinder)
}
