package command

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"leakback/leakback"
	"leakback/leakback/learn"
	"leakback/limits"
	"leakback/limits/quantity"
	"leakback/stats"
)

// learnPrinter prints what was learned as plain text for people.
type learnPrinter struct {
	*sheetPrinter
	*learn.Learned
	engine string
	sheet  *limits.Sheet
	tests  []fileTest
	others int
	files  []string
}

// print prints what was learned; the writer must not fail.
func (l *learning) print(w io.Writer, learned *learn.Learned, sheet *limits.Sheet) {
	p := &learnPrinter{
		sheetPrinter: &sheetPrinter{w: w, screen: l.env.screen}, Learned: learned,
		engine: l.engine, sheet: sheet, tests: l.tests, others: l.others, files: l.fileNames(),
	}
	p.basis()
	p.within()
	p.between()
	p.changes()
}

// basis says what the figures rest on.
func (p *learnPrinter) basis() {
	title := "Learned from " + plural(p.Used, "test")
	if p.engine != "" {
		title += " of the " + p.engine
	}
	p.prose("", title)
	p.line("")
	p.fact("files", listed(p.files, ", "))
	p.fact("limits sheet", p.sheetBefore())
	for i := range p.Conditions {
		p.fact(first(i, "conditions"), p.condition(&p.Conditions[i]))
	}
	p.fact("cylinders", fmt.Sprintf("%s; %s agree with the others of their engine, %s %s set aside in %s",
		grouped(p.Cylinders), grouped(p.Cylinders-p.Aside), grouped(p.Aside), were(p.Aside), plural(p.AsideTests, "test")))
	p.fact("set aside", listed(p.setAside(), "; "))
	for i, text := range p.unused() {
		p.fact(first(i, "not used"), text)
	}
	if p.others > 0 {
		p.fact("passed over", plural(p.others, "test")+" of other engines")
	}
	p.fact("repeated runs", p.repeats())
}

// sheetBefore is the sheet whose figures the learned ones replace.
func (p *learnPrinter) sheetBefore() string {
	if p.sheet.Path == "" {
		return string(p.sheet.Origin)
	}
	return p.sheet.Name + ", " + string(p.sheet.Origin)
}

// first is a fact's name, for the first of several lines only.
func first(i int, name string) string {
	if i > 0 {
		return ""
	}
	return name
}

func were(n int) string {
	if n == 1 {
		return "was"
	}
	return "were"
}

func grouped(n int) string { return quantity.Grouped(float64(n)) }

// plural is a number of things in words.
func plural(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return grouped(n) + " " + thing + "s"
}

// mostNamed is how many things of a kind are named.
const mostNamed = 12

// listed joins texts, so many at most.
func listed(texts []string, between string) string {
	if more := len(texts) - mostNamed; more > 0 {
		return fmt.Sprintf("%s and %s more", strings.Join(texts[:mostNamed], between), grouped(more))
	}
	return strings.Join(texts, between)
}

// condition is what one running state shows.
func (p *learnPrinter) condition(c *learn.Condition) string {
	text := fmt.Sprintf("%s: %s", c.Name, plural(c.Tests, "test"))
	if len(p.Conditions) > 1 {
		text += fmt.Sprintf(", healthy injectors differ by %s", percent(c.HealthyCV))
	}
	return text
}

func (p *learnPrinter) setAside() (list []string) {
	for i := range p.Tests {
		t := &p.Tests[i]
		if !t.Used() || t.Aside() == 0 {
			continue
		}
		var parts []string
		for k, cylinder := range t.Cylinders {
			if t.Consensus.IsHigh(k) {
				parts = append(parts, strconv.Itoa(cylinder)+" high")
			} else if t.Consensus.IsLow(k) {
				parts = append(parts, strconv.Itoa(cylinder)+" low")
			}
		}
		for _, b := range t.Beyond {
			parts = append(parts, strconv.Itoa(b.Cylinder)+beyondWord(b.Bound))
		}
		list = append(list, t.ID+": "+strings.Join(parts, ", "))
	}
	return list
}

func beyondWord(b leakback.Bound) string {
	if b == leakback.AtLeast {
		return " overflowed"
	}
	return " below the first mark"
}

func beyondSign(b leakback.Bound) string {
	if b == leakback.AtLeast {
		return above
	}
	return below
}

// unused names the tests that do not count, a line for each reason.
func (p *learnPrinter) unused() (lines []string) {
	var reasons []string
	tests := map[string][]string{}
	for i := range p.Tests {
		if t := &p.Tests[i]; !t.Used() {
			why := whyUnused(t)
			if tests[why] == nil {
				reasons = append(reasons, why)
			}
			tests[why] = append(tests[why], t.ID)
		}
	}
	for _, why := range reasons {
		lines = append(lines, listed(tests[why], ", ")+": "+why)
	}
	return lines
}

func (p *learnPrinter) repeats() string {
	if p.Repeated == 0 {
		return "none; repeatability_cv and common_cv stay as they are"
	}
	text := "in " + plural(p.Repeated, "test")
	var names []string
	for _, u := range p.Unsteady {
		names = append(names, fmt.Sprintf("%s cylinder %d", u.ID, u.Cylinder))
	}
	if len(names) > 0 {
		text += "; left out as unsteady: " + listed(names, ", ")
	}
	return text
}

// within draws how the cylinders of each test lie to those that agree.
func (p *learnPrinter) within() {
	p.heading("Within each engine: each return as a multiple of those that agree")
	s := p.signs()
	c := newChart(p.sheetPrinter, newRatioAxis(p), s)
	c.mark(1, s.centre)
	c.mark(p.After.BitingRatio, s.bites)
	c.head("cyl")
	c.rows(p.Tests, func(t *learn.Test, row []string) string {
		for k := range t.Cylinders {
			c.put(row, t.Consensus.Ratio(k), s.cylinder(t, k))
		}
		for _, b := range t.Beyond {
			c.put(row, b.RateMLMin/t.CentreMLMin(), beyondSign(b.Bound))
		}
		return strconv.Itoa(len(t.Cylinders) + len(t.Beyond))
	})
	c.legend(s.bites + " the learned sheet speaks from " + quantity.Fixed(p.After.BitingRatio, 2) + " on")
}

// between draws the rate that the cylinders of each test agree on.
func (p *learnPrinter) between() {
	s := p.signs()
	for i := range p.Conditions {
		cond := &p.Conditions[i]
		p.heading("Between engines: what each one's cylinders agree on, mL/min (" + cond.Name + ")")
		c := newChart(p.sheetPrinter, newRateAxis(cond), s)
		c.head("mL/min")
		c.rows(ofCondition(p.Tests, cond.Name), func(t *learn.Test, row []string) string {
			c.put(row, t.CentreMLMin(), s.level)
			return quantity.Fixed(t.CentreMLMin(), 1)
		})
		if !math.IsNaN(cond.BetweenCV) {
			p.prose("  ", "engines differ by "+percent(cond.BetweenCV)+", one standard deviation; no limit follows from it")
		}
	}
}

func ofCondition(tests []learn.Test, name string) (list []learn.Test) {
	for i := range tests {
		if tests[i].Used() && tests[i].ConditionName() == name {
			list = append(list, tests[i])
		}
	}
	return list
}

// changes says what the learned sheet does that the one before did not.
func (p *learnPrinter) changes() {
	p.heading(fmt.Sprintf("What changes, for an engine of %d cylinders that is measured like these", p.Size))
	p.line("")
	p.change("", "before", "learned", "tests alone")
	p.spread("healthy_cv", p.Healthy)
	p.spread("repeatability_cv", p.Repeatability)
	p.spread("common_cv", p.Common)
	p.change("one stands out from ... times", quantity.Fixed(p.Before.BitingRatio, 2), quantity.Fixed(p.After.BitingRatio, 2), "")
	for i, leak := range learn.Leaks {
		p.change("a leak of "+plain(leak)+" times is found", percent(p.Before.Found[i]), percent(p.After.Found[i]), "")
	}
	p.line("")
	p.prose("  ", "In brackets: degrees of freedom."+p.assumed()+" The chances hold where one injector leaks "+
		"and the others differ as learned. No absolute limit was learned: those belong to the engine's maker.")
}

func (p *learnPrinter) change(what, before, after, alone string) {
	p.line(fmt.Sprintf("  %-31s%9s%10s   %s", what, before, after, alone))
}

func (p *learnPrinter) spread(key string, f learn.Figure) {
	alone := "-"
	if f.Learned() {
		alone = fmt.Sprintf("%s (%.0f)", quantity.Fixed(f.TestsCV, 3), f.DoF)
	}
	p.change(key, plain(f.BeforeCV), plain(f.CV), alone)
}

// assumed names the figures that were assumed before.
func (p *learnPrinter) assumed() string {
	var keys []string
	set, m := p.sheet.Set, p.sheet.Measurement
	for _, f := range []struct{ key, source string }{
		{"healthy_cv", set.SourceOf("healthy_cv")}, {"repeatability_cv", m.SourceOf("repeatability_cv")},
		{"common_cv", m.SourceOf("common_cv")},
	} {
		if limits.Assumed(f.source) {
			keys = append(keys, f.key)
		}
	}
	if len(keys) == 0 {
		return ""
	}
	return " Before, assumed: " + strings.Join(keys, ", ") + "."
}

// percent is a chance or a spread in per cent; what is nearly certain is not
// called certain.
func percent(x float64) string {
	switch p := 100 * x; {
	case math.IsNaN(x):
		return "unknown"
	case x < 1 && stats.Round6(p) >= 99.5:
		return "> 99 %"
	case p > 0 && p < 0.5:
		return "< 1 %"
	default:
		return quantity.Fixed(p, 0) + " %"
	}
}
