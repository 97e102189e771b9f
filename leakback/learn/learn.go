// Package learn turns a shop's own tests of one engine into what a limits sheet
// rests on: how far sound injectors of that engine differ, how well a reading
// repeats, and what a sheet with these figures will find. Nobody has to say
// which injectors were sound. It learns no absolute limit: those belong to the
// engine's maker.
package learn

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/limits"
	"leakback/stats"
)

// The least that is learned from.
const (
	// FewestTests is the least number of engines: with two, one odd engine is
	// half of what is known.
	FewestTests = 3
	// FewestDoF is the least degrees of freedom of the tests' own spread, as many
	// as the assumed one is trusted with: below that the figure would be called
	// learned and be mostly assumed. Three sixes make 15, four threes 8. Learned
	// from three sixes of which one leaks, the chance that a healthy engine has an
	// injector failed is 0.5 % at a true spread of 12 %, 1.3 % at one of 15 %
	// (drawn engines; nominal 1 %).
	FewestDoF = stats.AssumedDoF
)

// Figure is one spread, relative, as it was before and as it was learned.
type Figure struct {
	// BeforeCV is the sheet's figure.
	BeforeCV float64
	// AssumedCV is what the tests were pooled with, at 8 degrees of freedom: the
	// sheet's figure, or the built-in one where the sheet's was learned before,
	// perhaps from some of these very tests.
	AssumedCV float64
	// TestsCV is what the tests alone say; NaN where they say nothing.
	TestsCV float64
	// DoF is the degrees of freedom of TestsCV.
	DoF float64
	// CV is the figure learned, rounded up to three decimals; BeforeCV where the
	// tests say nothing.
	CV float64
}

// Learned says whether the tests said anything.
func (f Figure) Learned() bool { return f.DoF > 0 }

// figure pools a variance that the tests show, at least that of leastCV, with
// what was assumed; no figure learned is below leastCV.
func figure(before, assumed float64, tests scatter, leastCV float64) Figure {
	f := Figure{BeforeCV: before, AssumedCV: assumed, TestsCV: math.NaN(), CV: before}
	if tests.dof > 0 {
		variance := tests.variance(leastCV)
		f.TestsCV, f.DoF = math.Sqrt(variance), tests.dof
		pooled := stats.PoolVariance(assumed*assumed, tests.dof*variance, tests.dof)
		f.CV = roundedUp(math.Max(math.Sqrt(pooled), leastCV))
	}
	return f
}

// roundedUp is x to three decimals: a spread errs on the large side.
func roundedUp(x float64) float64 { return math.Ceil(stats.Round6(1000*x)) / 1000 }

// Test is one test and what became of it.
type Test struct {
	*leakback.Sample
	// Consensus is the set as it was cleaned in the end, in the order of the
	// sample's Cylinders; of Size 0 where there is no set.
	Consensus stats.Consensus
	// Disagrees says that the cylinders left do not agree with one another at
	// the spread of all tests: most of them may leak. Such a test is left out.
	Disagrees bool
}

// Used says whether the spread of healthy injectors rests on the test too.
func (t *Test) Used() bool { return t.Without == "" && !t.Disagrees }

// Aside is how many of its cylinders were set aside.
func (t *Test) Aside() int { return t.Consensus.High + t.Consensus.Low + len(t.Beyond) }

// CentreMLMin is the rate that the agreeing cylinders of a test with a set
// agree on.
func (t *Test) CentreMLMin() float64 { return math.Exp(t.Consensus.Mean) }

// Unsteady is a cylinder whose repeated readings were left out, because they
// scatter beyond what the others' do.
type Unsteady struct {
	ID       string
	Cylinder int
}

// Learned is what the tests teach.
type Learned struct {
	// Tests are all tests, in their order.
	Tests []Test
	// Used counts the tests that the spread of healthy injectors rests on,
	// Cylinders theirs, Aside those of them that were set aside, in AsideTests
	// tests.
	Used, Cylinders, Aside, AsideTests int
	// Repeated counts the tests with repeated runs.
	Repeated int
	// Unsteady are the cylinders whose repeats were left out.
	Unsteady []Unsteady
	// Healthy, Repeatability and Common are healthy_cv, repeatability_cv and
	// common_cv of the sheet.
	Healthy, Repeatability, Common Figure
	// Conditions are the running states that went in, in the order of the tests.
	Conditions []Condition
	// Size is how many cylinders the engine has that Before and After are for:
	// as the sheet says, else as most tests have.
	Size int
	// Before and After are what the comparison finds with the sheet's figures
	// and with the learned ones.
	Before, After Power
}

// Condition is what the tests of one running state say.
type Condition struct {
	// Name is the condition, with the state of the injectors where recorded.
	Name string
	// Tests counts the tests used.
	Tests int
	// Healthy is the relative spread of healthy injectors of these tests alone,
	// with its degrees of freedom.
	HealthyCV, DoF float64
	// LowestMLMin and HighestMLMin are the rates that the tests agree on, and
	// BetweenCV is how far engines differ in it; NaN of one test.
	LowestMLMin, HighestMLMin, BetweenCV float64
}

// TooFewError refuses to learn from so few tests.
type TooFewError struct {
	// Usable counts the tests that hold a set; More is how many more are needed
	// at least, each with as many cylinders as these.
	Usable, More int
	// Tests are all of them.
	Tests []Test
}

// Error says how many more there must be.
func (e *TooFewError) Error() string {
	return fmt.Sprintf("%s to learn from: expected at least %d more, each of another engine of the kind",
		counted(e.Usable, "test"), e.More)
}

// counted is a number of things in words: "1 test", "2 tests".
func counted(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return strconv.Itoa(n) + " " + thing + "s"
}

// MixedError refuses to learn from tests of several engines at once.
type MixedError struct {
	// Engines are their names as the tests have them, each once; "" for tests
	// that name none.
	Engines []string
}

// Error names the engines.
func (e *MixedError) Error() string {
	names := make([]string, len(e.Engines))
	for i, name := range e.Engines {
		names[i] = name
		if name == "" {
			names[i] = "(no name)"
		}
	}
	return fmt.Sprintf("tests of %d engines: %s: expected one", len(names), strings.Join(names, ", "))
}

// Learn learns from the samples of tests of one engine, each taken with that
// sheet. Repeatability and common scatter come from repeated runs, then the
// spread of healthy injectors from all tests with a set, by stats.LearnSpread:
// in whatever test cylinders stand apart, they are set aside. Tests that do
// not agree with themselves at the spread so found are then left out as a
// whole, and it is found anew. The error is a *MixedError or a *TooFewError,
// or says that the spread is none that a sheet can hold.
func Learn(samples []leakback.Sample, sheet *limits.Sheet) (*Learned, error) {
	names := make([]string, len(samples))
	for i := range samples {
		names[i] = samples[i].Engine
	}
	if err := OneEngine(names); err != nil {
		return nil, err
	}
	l := &Learned{Tests: make([]Test, len(samples))}
	for i := range samples {
		l.Tests[i].Sample = &samples[i]
	}
	m := sheet.Measurement
	l.repeats(m)
	m.RepeatabilityCV, m.CommonCV = l.Repeatability.CV, l.Common.CV
	l.healthy(sheet.Set, m)
	l.count()
	if more := l.missing(sheet.Cylinders); more > 0 {
		return nil, &TooFewError{l.Used, more, l.Tests}
	}
	if l.Healthy.CV > mostHealthyCV {
		return nil, fmt.Errorf("a spread of %.0f %% between injectors that agree: expected at most %.0f %%; "+
			"look at the tests, this is no set of sound injectors", 100*l.Healthy.CV, 100*mostHealthyCV)
	}
	l.Size = l.size(sheet.Cylinders)
	l.powers(sheet, m)
	return l, nil
}

// mostHealthyCV is the most that a sheet takes.
const mostHealthyCV = 1.0

// OneEngine refuses tests of several engines, of which it is given the names. The
// error is a *MixedError.
func OneEngine(engines []string) error {
	seen := map[string]bool{}
	var names []string
	for _, engine := range engines {
		if slug := limits.Slug(engine); !seen[slug] {
			seen[slug] = true
			names = append(names, engine)
		}
	}
	if len(names) > 1 {
		return &MixedError{names}
	}
	return nil
}

// healthy learns the spread of healthy injectors, and says for each test what
// was set aside.
func (l *Learned) healthy(set limits.Set, m limits.Measurement) {
	sets := make([]stats.SetSample, len(l.Tests))
	for i := range l.Tests {
		sets[i] = l.Tests[i].Set(m)
	}
	assumedCV := assumed(set.SourceOf("healthy_cv"), set.HealthyCV, limits.Builtin().Set.HealthyCV)
	l.Healthy = figure(set.HealthyCV, assumedCV, scatter{}, 0)
	s := l.agree(sets, stats.LogSpread(assumedCV))
	if s.DoF > 0 {
		l.Healthy.TestsCV, l.Healthy.DoF = stats.RelativeSpread(s.FromTests), s.DoF
		l.Healthy.CV = roundedUp(stats.RelativeSpread(math.Max(s.Spread, stats.LeastSpread)))
	}
	l.conditions(sets, stats.LogSpread(assumedCV))
}

// agree learns the spread, empties the sets of the tests that do not agree with
// themselves, and learns anew.
func (l *Learned) agree(sets []stats.SetSample, assumed float64) stats.LearnedSpread {
	all := stats.LearnSpread(sets, assumed)
	for i := range l.Tests {
		t := &l.Tests[i]
		t.Consensus = all.Consensus[i]
		if t.Disagrees = t.Consensus.Disagrees(stats.Agreement); t.Disagrees {
			sets[i] = stats.SetSample{}
		}
	}
	best := stats.LearnSpread(sets, assumed)
	for i := range l.Tests {
		if t := &l.Tests[i]; t.Used() {
			t.Consensus = best.Consensus[i]
		}
	}
	return best
}

// assumed is what the tests are pooled with. A figure that was learned before
// may rest on these very tests and must not count twice.
func assumed(source string, sheetCV, builtinCV float64) float64 {
	if FromTests(source) {
		return builtinCV
	}
	return sheetCV
}

// conditions sums the tests up by running state.
func (l *Learned) conditions(sets []stats.SetSample, assumed float64) {
	var groups [][]int
	for i := range l.Tests {
		if !l.Tests[i].Used() {
			continue
		}
		name := l.Tests[i].ConditionName()
		k := slices.IndexFunc(l.Conditions, func(c Condition) bool { return c.Name == name })
		if k < 0 {
			k = len(l.Conditions)
			l.Conditions, groups = append(l.Conditions, Condition{Name: name}), append(groups, nil)
		}
		groups[k] = append(groups[k], i)
	}
	for k, group := range groups {
		l.Conditions[k].sum(l.Tests, sets, group, assumed)
	}
}

// sum fills in the figures of the tests of one state.
func (c *Condition) sum(tests []Test, sets []stats.SetSample, group []int, assumed float64) {
	var some []stats.SetSample
	var centres []float64
	for _, i := range group {
		some = append(some, sets[i])
		centres = append(centres, tests[i].Consensus.Mean)
	}
	spread := stats.LearnSpread(some, assumed)
	c.Tests, c.DoF = len(group), spread.DoF
	c.HealthyCV = stats.RelativeSpread(spread.FromTests)
	c.LowestMLMin, c.HighestMLMin = math.Exp(slices.Min(centres)), math.Exp(slices.Max(centres))
	c.BetweenCV = stats.RelativeSpread(stats.StdDev(centres))
}

// ConditionName is the condition in words, with the state of the injectors
// where it was recorded.
func (t *Test) ConditionName() string {
	name := t.Condition
	if name == "" {
		name = "condition not recorded"
	}
	if t.Injectors != "" {
		name += ", injectors " + t.Injectors
	}
	return name
}

// count sums the tests up.
func (l *Learned) count() {
	for i := range l.Tests {
		t := &l.Tests[i]
		if !t.Used() {
			continue
		}
		l.Used++
		l.Cylinders += len(t.Cylinders) + len(t.Beyond)
		l.Aside += t.Aside()
		if t.Aside() > 0 {
			l.AsideTests++
		}
	}
}

// missing is how many tests like these there must be more.
func (l *Learned) missing(cylinders int) int {
	each := float64(max(l.size(cylinders), 3) - 1)
	if l.Used > 0 {
		each = l.Healthy.DoF / float64(l.Used)
	}
	more := math.Ceil(stats.Round6((FewestDoF - l.Healthy.DoF) / each))
	return max(FewestTests-l.Used, int(more), 0)
}

// size is how many cylinders the engine has: as the sheet says, else as most
// tests have, the larger number of two that are as frequent; 0 without any.
func (l *Learned) size(cylinders int) int {
	if cylinders > 0 {
		return cylinders
	}
	times := map[int]int{}
	most := 0
	for i := range l.Tests {
		if n := len(l.Tests[i].Cylinders) + len(l.Tests[i].Beyond); n > 0 {
			times[n]++
			if times[n] > times[most] || times[n] == times[most] && n > most {
				most = n
			}
		}
	}
	return most
}
