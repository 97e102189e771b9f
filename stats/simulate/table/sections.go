package main

import (
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"strings"

	"leakback/stats"
	"leakback/stats/simulate"
)

// printer writes the sections; the first error of the writer stays.
type printer struct {
	w       io.Writer
	seed    uint64
	engines int
	err     error
}

func (p *printer) say(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format+"\n", args...)
	}
}

func (p *printer) row(cells ...string) { p.say("| %s |", strings.Join(cells, " | ")) }

func (p *printer) header(cells ...string) {
	p.row(cells...)
	p.row(slices.Repeat([]string{"---"}, len(cells))...)
}

// run judges engines of a scene by the rules; the shops learn where asked to.
func (p *printer) run(scene simulate.Scene, engines int, rules ...simulate.Rule) []simulate.Tally {
	x := simulate.Experiment{Scene: scene, Rules: rules, Engines: engines, Seed: p.seed, AssumedCV: assumedCV}
	x.Learn = learnFrom
	return x.Run()
}

func rulesFor(rule stats.SetRule, knowings ...knowledge) []simulate.Rule {
	var rules []simulate.Rule
	for _, k := range knowings {
		rules = append(rules, simulate.Consensus{Knows: k.knows, Rule: rule})
	}
	return rules
}

func fine(t simulate.Tally, count int) string   { return fmt.Sprintf("%.2f", 100*t.Rate(count)) }
func coarse(t simulate.Tally, count int) string { return fmt.Sprintf("%.1f", 100*t.Rate(count)) }

func (p *printer) falseAlarms() {
	engines := 5 * p.engines
	p.say("### False alarms on healthy engines, spread known\n")
	p.say("Share of engines in %%, %d engines a line, seed %d. Nominal: a high fail in 1 %%, a fail or a hint in 5 %%, "+
		"without the practical ratio of 1.3, which can only lower them: here it bites below a spread of about 7 %%, as at 5 %%.\n", engines, p.seed)
	p.header("cylinders", "high fail", "fail or hint", "called low", "any flag", "no-consensus",
		"high fail, with 1.3", "any flag, with 1.3", "8 %: high fail", "5 %: high fail", "5 %, with 1.3")
	for n := 3; n <= 16; n++ {
		scene := simulate.Bench(n)
		rules := append(rulesFor(simulate.ChancesOnly, known), rulesFor(simulate.Default, known)...)
		t := p.runPlain(scene, engines, rules...)
		scene.HealthyCV = 0.08
		less := p.runPlain(scene, engines, rules...)
		scene.HealthyCV = 0.05
		least := p.runPlain(scene, engines, rules...)
		p.row(fmt.Sprint(n), fine(t[0], t[0].High), fine(t[0], t[0].HighOrHint), fine(t[0], t[0].Low),
			fine(t[0], t[0].Any), fine(t[0], t[0].Disagrees), fine(t[1], t[1].High), fine(t[1], t[1].Any),
			fine(less[0], less[0].High), fine(least[0], least[0].High), fine(least[1], least[1].High))
	}
	p.say("")
}

// runPlain is run without anything to learn.
func (p *printer) runPlain(scene simulate.Scene, engines int, rules ...simulate.Rule) []simulate.Tally {
	return simulate.Experiment{Scene: scene, Rules: rules, Engines: engines, Seed: p.seed}.Run()
}

func names(knowings []knowledge) []string {
	var s []string
	for _, k := range knowings {
		s = append(s, k.name)
	}
	return s
}

func (p *printer) falseAlarmsByKnowledge() {
	p.say("### False alarms on healthy engines by what is known of the spread\n")
	p.say("True spread 12 %%. High fails and, behind the stroke, fails or hints in %% of engines, with the practical "+
		"ratio, %d engines a line. Learned: from so many earlier tests of which a third hold an injector at twice its return; "+
		"a shop judges ten engines by what it learned once.\n", p.engines)
	p.header(append([]string{"cylinders"}, names(allKnowings)...)...)
	for _, n := range []int{3, 4, 6, 8, 12, 16} {
		cells := []string{fmt.Sprint(n)}
		for _, t := range p.run(simulate.Bench(n), p.engines, rulesFor(simulate.Default, allKnowings...)...) {
			cells = append(cells, fine(t, t.High)+" / "+coarse(t, t.HighOrHint))
		}
		p.row(cells...)
	}
	p.say("")
}

func (p *printer) oneLeak() {
	p.say("### One leaking injector\n")
	p.say("Found, in %% of engines: failed by the comparison and, behind the stroke, failed or hinted at; %d engines a line. Limit: the "+
		"likelihood-ratio test with the same spread, for a high fail in 1 %% of healthy engines if that spread is true.\n", p.engines)
	p.header(append(append([]string{"leak", "cylinders"}, names(allKnowings)...), "limit, known", "limit, default", "limit, 8 %", "limit, 18 %")...)
	for _, leak := range []float64{1.5, 2, 3} {
		for _, n := range []int{3, 4, 6, 8} {
			rules := rulesFor(simulate.Default, allKnowings...)
			for _, k := range []knowledge{known, assumed, tooSmall, tooLarge} {
				rules = append(rules, p.limit(simulate.Bench(n), 1, leak, k))
			}
			cells := []string{fmt.Sprint(leak), fmt.Sprint(n)}
			for i, t := range p.run(simulate.Bench(n).With(leak), p.engines, rules...) {
				cell := coarse(t, t.FoundAll)
				if i < len(allKnowings) {
					cell += " / " + coarse(t, t.HintedAll)
				}
				cells = append(cells, cell)
			}
			p.row(cells...)
		}
	}
	p.say("")
}

// limit is the likelihood-ratio test for a scene, its bar set on healthy
// engines of the spread that it goes by.
func (p *printer) limit(scene simulate.Scene, leaking int, ratio float64, k knowledge) simulate.Rule {
	l := simulate.Limit{Knows: k.knows, Leaking: leaking, Ratio: ratio}
	return scene.CalibrateLimit(l, k.cv, simulate.Default.FalseAlarm, 2*p.engines, p.seed)
}

// hardCase is a scene with faults; leaking is how many leak at 2 times where
// the limit can be told, 0 where not.
type hardCase struct {
	name    string
	scene   simulate.Scene
	factors []float64
	leaking int
}

func hardCases() []hardCase {
	var cases []hardCase
	add := func(name string, leaking int, factors []float64, sizes ...int) {
		for _, n := range sizes {
			cases = append(cases, hardCase{name, simulate.Bench(n), factors, leaking})
		}
	}
	two := simulate.Repeat
	add("two at 2", 2, two(2, 2), 4, 5, 6, 8)
	add("half at 2: three", 3, two(3, 2), 6)
	add("half at 2: four", 4, two(4, 2), 8)
	add("most at 2: two", 2, two(2, 2), 3)
	add("most at 2: three", 3, two(3, 2), 4)
	add("most at 2: four", 4, two(4, 2), 6)
	add("most at 2: six", 6, two(6, 2), 8)
	add("one at half flow", 0, []float64{0.5}, 3, 4, 6, 8)
	add("one without return", 0, []float64{0}, 3, 4, 6, 8)
	add("one at 2, one without return", 0, []float64{2, 0}, 4, 6)
	for _, n := range []int{4, 6} {
		cases = append(cases, hardCase{"5 mL read to 1 mL, one at 2", little(n), []float64{2}, 1})
	}
	return cases
}

// little is the bench with little return: 5 mL read to 1 mL.
func little(n int) simulate.Scene {
	s := simulate.Bench(n)
	s.LevelMLMin = 5
	return s
}

// three are the states of knowledge that the wider tables show, in each cell.
var three = []knowledge{known, assumed, learned10}

// each joins one figure of every tally.
func each(tallies []simulate.Tally, cell func(simulate.Tally) string) string {
	var cells []string
	for _, t := range tallies {
		cells = append(cells, cell(t))
	}
	return strings.Join(cells, " / ")
}

func (p *printer) hardCases() {
	p.say("### Harder sets\n")
	p.say("In %% of engines, %d engines a line; spread known / default 15 %% / learned from 10. Found: every faulty "+
		"cylinder failed as high, or called low where it returns too little. False high, false low: a cylinder called so "+
		"that is not. Silent: no flag and no no-consensus. Limit: the test that knows the spread, that a leak is 2 times "+
		"and that at most half leak / how many leak, which beyond half of a set nobody can know.\n", p.engines)
	p.header("case", "cylinders", "found all", "found one", "false high", "false low", "no-consensus", "silent", "limit")
	for _, c := range hardCases() {
		rules := rulesFor(simulate.Default, three...)
		if c.leaking > 0 {
			rules = append(rules, p.limit(c.scene, 0, 2, known), p.limit(c.scene, c.leaking, 2, known))
		}
		t := p.run(c.scene.With(c.factors...), p.engines, rules...)
		own, limits := t[:len(three)], t[len(three):]
		all := func(t simulate.Tally) string { return coarse(t, t.FoundAll) }
		p.row(c.name, fmt.Sprint(c.scene.Cylinders), each(own, all),
			each(own, func(t simulate.Tally) string { return coarse(t, t.FoundOne) }),
			each(own, func(t simulate.Tally) string { return coarse(t, t.FalseHigh) }),
			each(own, func(t simulate.Tally) string { return coarse(t, t.FalseLow) }),
			each(own, func(t simulate.Tally) string { return coarse(t, t.Disagrees) }),
			each(own, func(t simulate.Tally) string { return coarse(t, t.Silent) }), each(limits, all))
	}
	p.say("")
}

// variants are benches that differ in how they are read or how healthy
// injectors spread.
func variants(n int) []hardCase {
	vary := func(name string, change func(*simulate.Scene)) hardCase {
		s := simulate.Bench(n)
		change(&s)
		return hardCase{name: name, scene: s}
	}
	shape := func(shape simulate.Shape) func(*simulate.Scene) {
		return func(s *simulate.Scene) { s.Shape = shape }
	}
	minute := simulate.Run{IntervalS: 60}
	return []hardCase{
		vary("as the bench", func(*simulate.Scene) {}),
		vary("5 mL read to 1 mL", func(s *simulate.Scene) { *s = little(n) }),
		vary("tubes with marks of 1, 2 and 5 mL", func(s *simulate.Scene) {
			s.Tubes = []simulate.Tube{{GraduationML: 1, ToleranceML: 1}, {GraduationML: 2, ToleranceML: 2}, {GraduationML: 5, ToleranceML: 5}}
		}),
		vary("a second run of 30 s holds half of them", func(s *simulate.Scene) {
			s.Runs = []simulate.Run{minute, {IntervalS: 30, Cylinders: n / 2}}
		}),
		vary("three runs", func(s *simulate.Scene) { s.Runs = []simulate.Run{minute, minute, minute} }),
		vary("heavy-tailed healthy spread", shape(simulate.HeavyTailed)),
		vary("healthy spread skewed up", shape(simulate.Skewed)),
		vary("healthy spread skewed down", shape(simulate.SkewedDown)),
	}
}

func (p *printer) otherSpreads() {
	p.say("### Other readings, other healthy spreads\n")
	p.say("High fails on healthy engines without and with the practical ratio, fails or hints with it, and one leak found "+
		"at 1.5 and 2 times; in %% of engines, %d engines a line; spread known / default 15 %% / learned from 10. The rule "+
		"takes the healthy spread for normal.\n", p.engines)
	p.header("scene", "cylinders", "high fail", "with 1.3", "fail or hint", "found at 1.5", "found at 2")
	for _, n := range []int{4, 6, 8} {
		for _, c := range variants(n) {
			plain := p.run(c.scene, p.engines, rulesFor(simulate.ChancesOnly, three...)...)
			with := p.run(c.scene, p.engines, rulesFor(simulate.Default, three...)...)
			high := func(t simulate.Tally) string { return fine(t, t.High) }
			found := func(leak float64) string {
				return each(p.run(c.scene.With(leak), p.engines, rulesFor(simulate.Default, three...)...),
					func(t simulate.Tally) string { return coarse(t, t.FoundAll) })
			}
			p.row(c.name, fmt.Sprint(n), each(plain, high), each(with, high),
				each(with, func(t simulate.Tally) string { return coarse(t, t.HighOrHint) }), found(1.5), found(2))
		}
	}
	p.say("")
}

func (p *printer) usual() {
	p.say("### Beside the usual rules\n")
	p.say("False: a healthy engine with a high fail. Found: every leaking cylinder. First at the textbook bar, behind the "+
		"stroke at the bar that makes 1 %% false on healthy engines of that size and of the true spread (a dash where none does, for lack of values or "+
		"because readings that fall on one mark make more than 1 %% of engines as extreme as can be). In %% of engines, %d engines a line.\n", p.engines)
	p.header("rule", "cylinders", "false", "one at 1.5", "one at 2", "one at 3", "two at 2")
	for _, n := range []int{4, 6, 8} {
		p.usualOf(n)
	}
	p.say("")
}

func (p *printer) usualOf(n int) {
	scene, usual := simulate.Bench(n), simulate.UsualRules()
	var scores []simulate.Score
	for _, u := range usual {
		scores = append(scores, u.Score)
	}
	bars := scene.Bars(scores, simulate.Default.FalseAlarm, 2*p.engines, p.seed)
	rules := rulesFor(simulate.Default, known, assumed, learned10)
	own := len(rules)
	for i, u := range usual {
		rules = append(rules, simulate.Threshold{Score: u.Score, Bar: u.Bar(n)}, simulate.Threshold{Score: u.Score, Bar: bars[i]})
	}
	var results [][]simulate.Tally
	for _, faults := range [][]float64{nil, {1.5}, {2}, {3}, {2, 2}} {
		results = append(results, p.run(scene.With(faults...), p.engines, rules...))
	}
	for i, name := range []string{"consensus, spread known", "consensus, default 15 %", "consensus, learned from 10"} {
		p.row(append([]string{name, fmt.Sprint(n)}, across(results, i)...)...)
	}
	for i, u := range usual {
		textbook, matched := across(results, own+2*i), across(results, own+2*i+1)
		for k := range textbook {
			if results[0][own+2*i+1].High == 0 {
				matched[k] = "–"
			}
			textbook[k] += " / " + matched[k]
		}
		p.row(append([]string{u.Name, fmt.Sprint(n)}, textbook...)...)
	}
}

// across is one rule's line: false on the healthy engines, then found.
func across(results [][]simulate.Tally, rule int) []string {
	healthy := results[0][rule]
	cells := []string{coarse(healthy, healthy.High)}
	for _, r := range results[1:] {
		cells = append(cells, coarse(r[rule], r[rule].FoundAll))
	}
	return cells
}

func (p *printer) learned() {
	shops := max(100, p.engines/10)
	p.say("### What is learned\n")
	p.say("Relative spread learned in %% of the true one (12 %%): the 5th, 50th and 95th of a hundred shops, of %d, "+
		"with a third of the tests holding an injector at twice its return; from the tests alone and pooled with the assumed 15 %%. "+
		"Rounds: the most it took; settled: the share that came to rest.\n", shops)
	p.header("scene", "cylinders", "tests", "from the tests alone", "pooled", "rounds", "settled")
	for _, n := range []int{3, 4, 6, 8} {
		for _, count := range learnFrom {
			p.learnedOf("bench", simulate.Bench(n), count, shops)
		}
	}
	for _, count := range learnFrom {
		p.learnedOf("5 mL read to 1 mL", little(6), count, shops)
	}
	p.say("")
}

func (p *printer) learnedOf(name string, scene simulate.Scene, tests, shops int) {
	r := rand.New(rand.NewPCG(p.seed, uint64(1000*scene.Cylinders+tests)))
	truth := stats.LogSpread(trueCV)
	var alone, pooled []float64
	rounds, settled := 0, 0
	for range shops {
		l := stats.LearnSpread(scene.EarlierTests(r, tests), stats.LogSpread(assumedCV))
		alone, pooled = append(alone, 100*l.FromTests/truth), append(pooled, 100*l.Spread/truth)
		rounds = max(rounds, l.Rounds)
		if l.Settled {
			settled++
		}
	}
	p.row(name, fmt.Sprint(scene.Cylinders), fmt.Sprint(tests), spread(alone), spread(pooled), fmt.Sprint(rounds),
		fmt.Sprintf("%.1f", 100*float64(settled)/float64(shops)))
}

// spread gives the 5th, 50th and 95th of a hundred.
func spread(x []float64) string {
	slices.Sort(x)
	at := func(p float64) float64 { return x[int(p*float64(len(x)-1))] }
	return fmt.Sprintf("%.0f %.0f %.0f", at(0.05), at(0.5), at(0.95))
}
